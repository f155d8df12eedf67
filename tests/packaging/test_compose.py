"""The container files: no engine runs them here, so they are held to the compose schema and to the code they start.

Source: the compose specification's JSON schema, as it comes inside check-jsonschema; "COPY" and ".dockerignore" as in
Docker's reference, from memory.
"""

from __future__ import annotations

import re
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
import yaml

from accord_service.api.watch import VIEWS
from accord_service.run.config import Config
from accord_service.store import Store, StoreBroken

ROOT = Path(__file__).parents[2]
COMPOSE = ROOT / "docker-compose.yml"
DOCKERFILE = (ROOT / "service" / "Dockerfile").read_text(encoding="utf-8")
READERS = ("run/config.py", "serving/gunicorn_config.py")


@pytest.fixture(scope="module")
def compose() -> Mapping[str, Any]:
    return yaml.safe_load(COMPOSE.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def replicas(compose: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    built = [service for service in compose["services"].values() if "build" in service]
    assert built
    return built


def instructions(text: str) -> list[tuple[str, str]]:
    """The Dockerfile's instructions, continued lines joined."""
    joined = re.sub(r"\\\n", " ", re.sub(r"^#.*\n", "", text, flags=re.MULTILINE))
    return [(word, rest) for word, _, rest in (line.partition(" ") for line in joined.splitlines() if line.strip())]


def stages() -> list[list[tuple[str, str]]]:
    stages_: list[list[tuple[str, str]]] = []
    for word, rest in instructions(DOCKERFILE):
        if word == "FROM":
            stages_.append([])
        stages_[-1].append((word, rest))
    return stages_


def copied() -> Iterator[str]:
    """What is copied from the repository, not from another stage."""
    for word, rest in instructions(DOCKERFILE):
        if word == "COPY" and not rest.startswith("--from"):
            yield from rest.split()[:-1]


def dockerfile_env(stage: list[tuple[str, str]]) -> dict[str, str]:
    pairs = " ".join(rest for word, rest in stage if word == "ENV").split()
    return dict(pair.split("=", 1) for pair in pairs)


def check_schema(file: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec", str(file)]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)


def test_the_compose_file_keeps_to_the_specification() -> None:
    checked = check_schema(COMPOSE)
    assert checked.returncode == 0, checked.stdout + checked.stderr


def test_the_check_sees_a_misspelt_key(tmp_path: Path) -> None:
    broken = tmp_path / "docker-compose.yml"
    broken.write_text(COMPOSE.read_text(encoding="utf-8").replace("depends_on", "dependson"), encoding="utf-8")
    assert check_schema(broken).returncode == 1


def test_every_variable_set_is_one_that_the_code_reads(replicas: list[Mapping[str, Any]]) -> None:
    package = ROOT / "service" / "accord_service"
    sources = "".join((package / name).read_text(encoding="utf-8") for name in READERS)
    read = set(re.findall(r'"(ACCORD_[A-Z_]+)"', sources))
    named = {name for replica in replicas for name in replica["environment"]}
    named |= {name for stage in stages() for name in dockerfile_env(stage) if name.startswith("ACCORD_")}
    assert named
    assert named <= read


def test_the_code_takes_the_values(replicas: list[Mapping[str, Any]], tmp_path: Path) -> None:
    secret = tmp_path / "store-password"
    secret.write_text("half/open\n", encoding="utf-8")
    for replica in replicas:
        config = Config.from_env(replica["environment"] | {"ACCORD_STORE_PASSWORD_FILE": str(secret)})
        address = urlsplit(replica["environment"]["ACCORD_STORE_URL"])
        assert address.password is None
        assert config.store_url == f"redis://:half%2Fopen@{address.netloc}{address.path}"
        assert str(config.data) == replica["environment"]["ACCORD_DATA"]


def test_the_first_key_is_written_where_it_lasts(compose: Mapping[str, Any], replicas: list[Mapping[str, Any]]) -> None:
    """The rest of the container's disk is read-only, and a volume takes over the owner of the image's folder."""
    for replica in replicas:
        (mounted,) = replica["volumes"]
        volume, _, folder = mounted.partition(":")
        assert volume in compose["volumes"]
        assert folder == replica["environment"]["ACCORD_DATA"]
        assert f"--home-dir {folder}" in next(rest for word, rest in stages()[-1] if word == "RUN")


def test_there_are_two_replicas_on_two_published_ports(replicas: list[Mapping[str, Any]]) -> None:
    published = [port for replica in replicas for port in replica["ports"]]
    assert len(replicas) == 2
    assert len({port.rsplit(":", 1)[0] for port in published}) == 2


def test_every_port_is_the_one_that_gunicorn_binds(replicas: list[Mapping[str, Any]]) -> None:
    binds = {replica["environment"]["ACCORD_BIND"] for replica in replicas} | {
        dockerfile_env(stages()[-1])["ACCORD_BIND"]
    }
    (bind,) = binds
    code = "from accord_service.serving import gunicorn_config as c; print(c.bind)"
    env = {"PYTHONPATH": ":".join(sys.path), "ACCORD_BIND": bind}
    bound = subprocess.run(
        [sys.executable, "-c", code], env=env, capture_output=True, text=True, timeout=60, check=True
    ).stdout.strip()
    port = bound.rsplit(":", 1)[1]
    assert {mapping.rsplit(":", 1)[1] for replica in replicas for mapping in replica["ports"]} == {port}
    last = dict(stages()[-1])
    assert last["EXPOSE"] == port
    assert f"http://127.0.0.1:{port}/readyz" in last["HEALTHCHECK"]
    assert "/readyz" in VIEWS


def test_the_store_is_the_one_the_replicas_are_told_of(
    compose: Mapping[str, Any], replicas: list[Mapping[str, Any]]
) -> None:
    for replica in replicas:
        address = urlsplit(replica["environment"]["ACCORD_STORE_URL"])
        store = compose["services"][address.hostname]
        assert address.port == 6379, "what redis-server listens on when nothing is said"
        assert set(store["networks"]) & set(replica["networks"])
        assert replica["depends_on"][address.hostname] == {"condition": "service_healthy"}
        assert "ports" not in store
        assert all(compose["networks"][network]["internal"] for network in store["networks"])


def test_the_store_has_a_password_that_each_service_reads_from_the_same_file(
    compose: Mapping[str, Any], replicas: list[Mapping[str, Any]]
) -> None:
    """There is none by itself: without the file nothing starts."""
    (secret,) = compose["secrets"]
    assert compose["secrets"][secret] == {"file": f"./secrets/{secret}"}
    assert "/secrets/" in (ROOT / ".gitignore").read_text(encoding="utf-8").splitlines()
    mounted = f"/run/secrets/{secret}"
    store = compose["services"]["store"]
    assert store["secrets"] == [secret]
    assert mounted in store["entrypoint"][-1]
    assert mounted in store["healthcheck"]["test"][-1]
    for replica in replicas:
        assert replica["secrets"] == [secret]
        assert replica["environment"]["ACCORD_STORE_PASSWORD_FILE"] == mounted


@pytest.mark.needs("redis-server")
def test_the_store_as_it_is_started_wants_the_password(compose: Mapping[str, Any], tmp_path: Path) -> None:
    """By the same words, and the secret where this test may put it; the process list does not tell it."""
    password = 'a "quoted" pass\\word'
    (tmp_path / "store-password").write_text(password + "\n", encoding="utf-8")
    store = compose["services"]["store"]
    entry = [word.replace("$$", "$").replace("/run/secrets", str(tmp_path)) for word in store["entrypoint"]]
    socket_file = tmp_path / "store.sock"
    words = [*entry, *store["command"], "--port", "0", "--unixsocket", str(socket_file), "--dir", str(tmp_path)]
    process = subprocess.Popen(words, stdout=subprocess.DEVNULL)
    try:
        until = time.monotonic() + 30
        while not socket_file.exists():
            assert time.monotonic() < until
            time.sleep(0.02)
        with pytest.raises(StoreBroken, match="Authentication required"):
            Store.at(f"unix://{socket_file}").ping()
        secret = {
            "ACCORD_STORE_URL": f"unix://{socket_file}",
            "ACCORD_STORE_PASSWORD_FILE": f"{tmp_path}/store-password",
        }
        Store.at(Config.from_env(secret).store_url).ping()
        told = Path(f"/proc/{process.pid}/cmdline").read_bytes() + Path(f"/proc/{process.pid}/environ").read_bytes()
        assert b"redis-server" in told
        assert b"quoted" not in told
    finally:
        process.kill()
        process.wait()


def test_the_store_syncs_every_write_and_forgets_nothing(compose: Mapping[str, Any]) -> None:
    words = compose["services"]["store"]["command"]
    options = dict(zip(words[1::2], words[2::2], strict=True))
    assert options["--appendonly"] == "yes"
    assert options["--appendfsync"] == "always"
    assert options["--maxmemory-policy"] == "noeviction"
    volume, _, folder = compose["services"]["store"]["volumes"][0].partition(":")
    assert volume in compose["volumes"]
    assert folder == "/data"


def test_nobody_is_root(compose: Mapping[str, Any]) -> None:
    assert dict(stages()[-1])["USER"] not in ("root", "0")
    assert compose["services"]["store"]["user"] not in ("root", "0")
    for service in compose["services"].values():
        assert service["cap_drop"] == ["ALL"]


def test_each_has_a_health_check(compose: Mapping[str, Any]) -> None:
    assert "HEALTHCHECK" in dict(stages()[-1])
    assert compose["services"]["store"]["healthcheck"]["test"]


def test_the_compiler_stays_in_the_builder() -> None:
    builder, runtime = stages()
    assert any("gcc" in rest for _, rest in builder)
    assert not any("gcc" in rest or "pip" in rest for word, rest in runtime if word == "RUN")


def test_what_is_copied_exists_and_is_let_through() -> None:
    lines = (ROOT / ".dockerignore").read_text(encoding="utf-8").splitlines()
    assert "*" in lines
    let_through = [line.removeprefix("!") for line in lines if line.startswith("!")]
    paths = list(copied())
    assert paths
    for path in paths:
        assert (ROOT / path).exists(), path
        assert any(path == pattern or path.startswith(f"{pattern}/") for pattern in let_through), path


def test_the_wheels_are_built_from_what_is_copied() -> None:
    """pyproject.toml's readme, licence and packages must be there when the builder makes the wheels."""
    there = [ROOT / path for path in copied()]
    needed = ["pyproject.toml", "README.md", "LICENSE", "rules/accord_rules", "service/accord_service",
              "clients/python/pyproject.toml", "clients/python/accord_client"]  # fmt: skip
    for path in needed:
        assert any((ROOT / path).is_relative_to(folder) for folder in there), path
