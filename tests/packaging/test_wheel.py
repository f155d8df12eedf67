"""The wheels as a shop gets them: built, installed in a fresh environment, asked about one order both ways.

Third-party packages are lent from the running environment by a path file, so nothing is downloaded. The project itself
comes from the wheels alone: the fresh environment's own packages come first, and a path file's folder brings no path
files of its own (https://docs.python.org/3/library/site.html), so an editable install cannot step in.
"""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import sysconfig
import time
import urllib.error
import urllib.request
import venv
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
PACKAGES = {
    "accord_rules": ROOT / "rules" / "accord_rules",
    "accord_service": ROOT / "service" / "accord_service",
    "accord_client": ROOT / "clients" / "python" / "accord_client",
}
KEYS = """
[[key]]
shop = "wheelwright"
role = "counter"
holder = "Ada Reyes"
"""
SHOP = """
id = "wheelwright"
name = "The Wheelwright"
market = "eu"
unit_system = "metric"
standing = ["extraction", "heat-gloves", "trained-operators"]
[[presses]]
id = "bench"
type = "swing-away"
[stock]
products = ["sub-paper-fast-dry"]
consumables = ["ptfe-sheet", "silicone-paper", "plain-paper", "heat-tape"]
"""
ORDER: dict[str, Any] = {
    "reference": "WW-1",
    "item": {"blank": "tee-heavy-white"},
    "decorations": [
        {"transfer": "dye-sublimation", "placement": "front", "size": {"width": "200 mm", "height": "200 mm"}}
    ],
    "press": "bench",
}
START_S = 60.0


def run(*command: str | Path, env: dict[str, str] | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run([str(part) for part in command], env=env, capture_output=True, text=True, timeout=300)


@pytest.fixture(scope="module")
def wheels(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Distribution to its wheel, built without network by the backend of the running environment."""
    folder = tmp_path_factory.mktemp("wheels")
    options = ("--no-deps", "--no-build-isolation", "--no-index", "--quiet", "--disable-pip-version-check")
    for source in (ROOT, ROOT / "clients" / "python"):
        built = run(sys.executable, "-m", "pip", "wheel", *options, "--wheel-dir", folder, source)
        assert built.returncode == 0, built.stdout + built.stderr
    by_name = {wheel.name.split("-")[0]: wheel for wheel in folder.glob("*.whl")}
    assert set(by_name) == {"platen_accord", "platen_accord_client"}
    return by_name


def content(wheel: Path) -> set[str]:
    with zipfile.ZipFile(wheel) as archive:
        return set(archive.namelist())


@pytest.mark.parametrize("package", PACKAGES)
def test_a_wheel_holds_every_file_of_its_packages(package: str, wheels: dict[str, Path]) -> None:
    """Code, the book's TOML, pages, static files, scripts and the mark that the package is typed."""
    folder = PACKAGES[package]
    wanted = {
        f"{package}/{file.relative_to(folder).as_posix()}"
        for file in folder.rglob("*")
        if file.is_file() and "cache" not in file.relative_to(folder).as_posix() and file.suffix != ".pyc"
    }
    names = content(wheels["platen_accord_client" if package == "accord_client" else "platen_accord"])
    assert f"{package}/py.typed" in names
    assert wanted - names == set()


def test_the_wheels_hold_nothing_else(wheels: dict[str, Path]) -> None:
    for name, packages in {
        "platen_accord": {"accord_rules", "accord_service"},
        "platen_accord_client": {"accord_client"},
    }.items():
        tops = {file.split("/")[0] for file in content(wheels[name])}
        assert {top for top in tops if not top.endswith(".dist-info")} == packages
        assert any(file.endswith(".dist-info/METADATA") for file in content(wheels[name]))


def test_the_book_and_the_pages_are_there(wheels: dict[str, Path]) -> None:
    names = content(wheels["platen_accord"])
    assert len([name for name in names if name.startswith("accord_rules/book/rules/")]) >= 90
    for name in ("book/blanks.toml", "book/sources.toml", "book/limits/base.toml", "book/css_colours.toml"):
        assert f"accord_rules/{name}" in names
    for kind, ending in (("templates", ".html"), ("static", ".css"), ("static", ".js")):
        assert [n for n in names if n.startswith(f"accord_service/pages/{kind}/") and n.endswith(ending)]


def test_the_wheel_names_the_client_and_the_licence(wheels: dict[str, Path]) -> None:
    with zipfile.ZipFile(wheels["platen_accord"]) as archive:
        (name,) = [member for member in archive.namelist() if member.endswith(".dist-info/METADATA")]
        metadata = archive.read(name).decode()
    assert "Requires-Dist: platen-accord-client\n" in metadata
    assert "License-Expression: Apache-2.0\n" in metadata
    assert "Requires-Python: <3.14,>=3.11\n" in metadata


# -- installed -------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def installed(wheels: dict[str, Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of commands of a fresh environment with both wheels."""
    home = tmp_path_factory.mktemp("fresh") / "env"
    venv.EnvBuilder(with_pip=False, system_site_packages=False).create(home)
    python = home / "bin" / "python"
    pip = (sys.executable, "-m", "pip", "--python", python, "--disable-pip-version-check")
    done = run(*pip, "install", "--no-deps", "--no-index", "--quiet", *wheels.values())
    assert done.returncode == 0, done.stdout + done.stderr
    location = run(python, "-I", "-c", "import sysconfig; print(sysconfig.get_paths()['purelib'])")
    lent = {sysconfig.get_paths()["purelib"], sysconfig.get_paths()["platlib"]}
    Path(location.stdout.strip(), "zz-lent.pth").write_text("\n".join(sorted(lent)) + "\n", encoding="utf-8")
    return python.parent


@pytest.fixture(scope="module")
def clean_env() -> dict[str, str]:
    """Nothing of the working tree: no path, no settings of a shell that develops it."""
    return {
        name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "ACCORD", "PROMETHEUS"))
    }


@pytest.fixture(scope="module")
def order_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("order") / "order.json"
    file.write_text(json.dumps(ORDER), encoding="utf-8")
    return file


@pytest.fixture(scope="module")
def collective(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("collective")
    (folder / "shops").mkdir()
    (folder / "shops" / "wheelwright.toml").write_text(SHOP, encoding="utf-8")
    (folder / "keys.toml").write_text(KEYS, encoding="utf-8")
    return folder


def test_the_project_comes_from_the_wheels(installed: Path, clean_env: dict[str, str], tmp_path: Path) -> None:
    code = "import accord_client, accord_rules, accord_service\n" + "".join(
        f"print({package}.__file__)\n" for package in PACKAGES
    )
    answer = subprocess.run(
        [str(installed / "python"), "-c", code], env=clean_env, cwd=tmp_path, capture_output=True, text=True, timeout=60
    )
    assert answer.returncode == 0, answer.stderr
    places = [Path(line) for line in answer.stdout.splitlines()]
    assert len(places) == len(PACKAGES)
    assert all(place.is_relative_to(installed.parent) for place in places), places


def test_the_command_judges_an_order_in_process(
    installed: Path, clean_env: dict[str, str], order_file: Path, collective: Path
) -> None:
    shop = collective / "shops" / "wheelwright.toml"
    judged = run(installed / "accord", "validate", "--shipped", "--json", "--shop", shop, order_file, env=clean_env)
    assert judged.returncode == 1, judged.stderr
    (verdict,) = json.loads(judged.stdout)
    assert verdict["verdict"] == "rejected"
    assert "dye-on-natural-fibre" in {finding["rule"] for finding in verdict["findings"]}
    assert run(installed / "accord", "--version", env=clean_env).stdout.startswith("accord, version 0.")


def free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])


@dataclass(frozen=True)
class Served:
    """``accord serve`` as installed, and a counter's token."""

    url: str
    token: str
    process: subprocess.Popen[bytes]


@pytest.fixture
def served(installed: Path, clean_env: dict[str, str], collective: Path, tmp_path: Path) -> Iterator[Served]:
    data, port, log = tmp_path / "data", free_port(), tmp_path / "log"
    seeded = run(installed / "accord", "seed", collective, "--data", data, env=clean_env)
    assert seeded.returncode == 0, seeded.stderr
    (key,) = [file for file in (data / "keys").iterdir() if file.name.startswith("wheelwright-counter")]
    url = f"http://127.0.0.1:{port}"
    command = [str(installed / "accord"), "serve", "--port", str(port), "--workers", "1", "--data", str(data)]
    with (
        log.open("wb") as out,
        subprocess.Popen(command, env=clean_env, cwd=tmp_path, stdout=out, stderr=out) as process,
    ):
        try:
            wait_until_ready(url, process, log)
            yield Served(url, key.read_text(encoding="utf-8").strip(), process)
        finally:
            if process.poll() is None:
                process.send_signal(signal.SIGTERM)
            process.wait(30)


def wait_until_ready(url: str, process: subprocess.Popen[bytes], log: Path) -> None:
    deadline = time.monotonic() + START_S
    while time.monotonic() < deadline:
        if process.poll() is not None:
            pytest.fail(f"accord serve stopped: {log.read_text()}")
        try:
            with urllib.request.urlopen(f"{url}/readyz", timeout=START_S):
                return
        except urllib.error.URLError:
            time.sleep(0.1)
    pytest.fail(f"accord serve is not ready after {START_S} s: {log.read_text()}")


ASK = """
import json, sys
from accord_client import Client
url, token, file = sys.argv[1:]
with open(file, encoding="utf-8") as opened, Client(url, token) as client:
    print(json.dumps(client.validate(json.load(opened)).document))
"""


# That the wheels hold every file is held above, what a service answers by all others.
@pytest.mark.long
def test_the_client_asks_the_service(
    served: Served, installed: Path, clean_env: dict[str, str], order_file: Path
) -> None:
    validated = run(installed / "python", "-c", ASK, served.url, served.token, order_file, env=clean_env)
    assert validated.returncode == 0, validated.stderr
    verdict = json.loads(validated.stdout)
    assert (verdict["verdict"], verdict["reference"]) == ("rejected", "WW-1")
    for page in ("/docs", "/static/pages.css", "/v1/openapi.json"):
        with urllib.request.urlopen(served.url + page, timeout=20) as answer:
            assert answer.status == 200
    served.process.send_signal(signal.SIGTERM)
    assert served.process.wait(30) == 0
