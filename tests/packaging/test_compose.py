"""The container files, held to the compose schema and to the code they start; tests/containers really runs them.

Source: the compose specification's JSON schema, as it comes inside check-jsonschema; "COPY" and ".dockerignore" as in
Docker's reference, from memory.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator, Mapping
from ipaddress import ip_address, ip_network
from pathlib import Path
from typing import Any

import pytest
import yaml

from accord_service.api.watch import VIEWS
from accord_service.run.config import STORE_PASSWORD_FILE, Config
from accord_service.store.connection import replicas_asked_for, sentinel_address

ROOT = Path(__file__).parents[2]
CONTAINERS = ROOT / "service" / "containers"
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
        if stages_:  # what stands before the first is for all of them
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


def repeated_keys(node: yaml.Node) -> Iterator[str]:
    """Keys that stand twice in one mapping, with their lines: YAML 1.2 forbids them and compose refuses the file, where
    a lenient reader takes the last one in silence.
    """
    if isinstance(node, yaml.MappingNode):
        keys = [key.value for key, _ in node.value]
        for key, value in node.value:
            if keys.count(key.value) > 1 and key.value != "<<":
                yield f"line {key.start_mark.line + 1}: {key.value}"
            yield from repeated_keys(value)
    elif isinstance(node, yaml.SequenceNode):
        for item in node.value:
            yield from repeated_keys(item)


def test_no_key_stands_twice() -> None:
    # Source: YAML 1.2.2, section 3.2.1.3: the keys of a mapping are unique.
    assert list(repeated_keys(yaml.compose("a: {b: 1, c: 2, b: 3}"))) == ["line 1: b", "line 1: b"]
    assert list(repeated_keys(yaml.compose(COMPOSE.read_text(encoding="utf-8")))) == []


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
    (tmp_path / "password").write_text("half/open\n", encoding="ascii")
    for replica in replicas:
        given = replica["environment"]
        assert given[STORE_PASSWORD_FILE] == "/run/secrets/store-password"
        config = Config.from_env(given | {STORE_PASSWORD_FILE: str(tmp_path / "password")})
        assert config.store_url == given["ACCORD_STORE_URL"].replace("://", "://:half%2Fopen@")
        assert str(config.data) == given["ACCORD_DATA"]


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


def of_kind(compose: Mapping[str, Any], kind: str) -> dict[str, Mapping[str, Any]]:
    """The services of the compose file whose names begin so; there are some."""
    services = {name: service for name, service in compose["services"].items() if name.startswith(f"{kind}-")}
    assert services
    return services


def address(service: Mapping[str, Any]) -> str:
    return str(service["networks"]["inside"]["ipv4_address"])


def test_the_services_are_told_of_all_sentinels_and_wait_for_the_replicas_there_are(
    compose: Mapping[str, Any], replicas: list[Mapping[str, Any]]
) -> None:
    sentinels, stores = of_kind(compose, "sentinel"), of_kind(compose, "store")
    for replica in replicas:
        url, count = replicas_asked_for(replica["environment"]["ACCORD_STORE_URL"])
        assert {host for host, _ in sentinel_address(url).hosts} == set(map(address, sentinels.values()))
        assert count == len(stores) - 1, "a promotion would lose what only the primary has"
        assert "inside" in replica["networks"]
        assert replica["depends_on"] == {name: {"condition": "service_healthy"} for name in (*stores, *sentinels)}


def test_two_of_three_sentinels_promote_and_know_the_name_that_the_services_ask_for(
    compose: Mapping[str, Any], replicas: list[Mapping[str, Any]]
) -> None:
    assert len(of_kind(compose, "sentinel")) == 3
    (url,) = {replica["environment"]["ACCORD_STORE_URL"] for replica in replicas}
    name = sentinel_address(replicas_asked_for(url)[0]).service
    assert f"sentinel monitor {name} $STORE_PRIMARY 6379 2\n" in (CONTAINERS / "sentinel.sh").read_text()


def test_the_first_primary_is_one_and_everybody_knows_which(compose: Mapping[str, Any]) -> None:
    stores = of_kind(compose, "store")
    (primary,) = (address(store) for store in stores.values() if "STORE_PRIMARY" not in store["environment"])
    followers = [service for name, service in compose["services"].items() if "STORE_PRIMARY" in str(service)]
    assert len(followers) == len(stores) - 1 + 3
    assert {service["environment"]["STORE_PRIMARY"] for service in followers} == {primary}


def test_addresses_are_of_the_network_and_nobody_has_anothers(compose: Mapping[str, Any]) -> None:
    (subnet,) = (entry["subnet"] for entry in compose["networks"]["inside"]["ipam"]["config"])
    addresses = [address(service) for kind in ("store", "sentinel") for service in of_kind(compose, kind).values()]
    assert len(set(addresses)) == len(addresses)
    assert all(ip_address(text) in ip_network(subnet) for text in addresses)


def test_only_the_services_reach_the_stores(compose: Mapping[str, Any]) -> None:
    assert compose["networks"]["inside"]["internal"]
    sentinels = [address(sentinel) for sentinel in of_kind(compose, "sentinel").values()]
    for store in of_kind(compose, "store").values():
        assert store["environment"]["STORE_ADDRESS"] == address(store)
        assert store["environment"]["STORE_SENTINELS"].split() == sentinels
    for kind in ("store", "sentinel"):
        for service in of_kind(compose, kind).values():
            assert set(service["networks"]) == {"inside"}
            assert "ports" not in service
            assert "store-password" in service["secrets"]


def store_settings() -> dict[str, str]:
    lines = (CONTAINERS / "store.conf").read_text(encoding="utf-8").splitlines()
    return dict(line.split(" ", 1) for line in lines if line and not line.startswith("#"))


def test_the_store_syncs_every_write_and_forgets_nothing(compose: Mapping[str, Any]) -> None:
    settings = store_settings()
    assert settings["appendonly"] == "yes"
    assert settings["appendfsync"] == "always"
    assert settings["maxmemory-policy"] == "noeviction"
    assert settings["min-replicas-to-write"] == "1"
    for store in of_kind(compose, "store").values():
        (volume,) = (text.partition(":")[0] for text in store["volumes"] if text.endswith(":/data"))
        assert volume in compose["volumes"]
        assert settings["dir"] == "/data"


def test_a_store_refuses_writes_before_the_kernel_ends_it(compose: Mapping[str, Any]) -> None:
    most_mb = int(store_settings()["maxmemory"].removesuffix("mb"))
    for store in of_kind(compose, "store").values():
        assert most_mb <= 0.75 * 1024 * int(store["mem_limit"].removesuffix("g")), "a quarter for rewriting its file"


def test_everything_has_limits_and_a_disk_that_it_cannot_write(compose: Mapping[str, Any]) -> None:
    for name, service in compose["services"].items():
        assert service["mem_limit"], name
        assert service["pids_limit"], name
        assert service["cpus"], name
        assert service["read_only"], name
        assert service["logging"]["options"] == {"max-size": "10m", "max-file": "5"}, name


def test_a_stop_leaves_the_time_to_answer_what_was_accepted(replicas: list[Mapping[str, Any]]) -> None:
    code = "from accord_service.serving import gunicorn_config as c; print(c.graceful_timeout)"
    graceful = subprocess.run(
        [sys.executable, "-c", code],
        env={"PYTHONPATH": ":".join(sys.path)},
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    for replica in replicas:
        assert int(replica["stop_grace_period"].removesuffix("s")) > int(graceful.stdout)


STATE = "replicaof 10.0.0.9 6379"
STARTED = {
    "at first, as the primary": ("store.sh", {}, None, ['requirepass "p\\"w"', 'masterauth "p\\"w"'], ["replicaof"]),
    "named by the Sentinels": ("store.sh", {"TOLD": "10.0.0.1"}, f"{STATE}\n", ['requirepass "p\\"w"'], ["replicaof"]),
    "replaced while it was away": ("store.sh", {"TOLD": "10.0.0.2"}, "port 6379\n", ["replicaof 10.0.0.2 6379"], []),
    "told nonsense": ("store.sh", {"TOLD": "Error: no route"}, f"{STATE}\n", [STATE], []),
    "at first, as the replica": ("store.sh", {"STORE_PRIMARY": "10.0.0.1"}, None, ["replicaof 10.0.0.1 6379"], []),
    "promoted since": (
        "store.sh",
        {"STORE_PRIMARY": "10.0.0.1"},
        "port 6379\n",
        ['requirepass "p\\"w"'],
        ["replicaof"],
    ),
    "demoted since": (
        "store.sh",
        {},
        f"requirepass old\n{STATE}\n",
        [STATE, 'requirepass "p\\"w"'],
        ["requirepass old"],
    ),
    "Sentinel at first": (
        "sentinel.sh",
        {"STORE_PRIMARY": "10.0.0.1"},
        None,
        ["sentinel monitor accord 10.0.0.1 6379 2", 'sentinel auth-pass accord "p\\"w"'],
        [],
    ),
    "Sentinel later": (
        "sentinel.sh",
        {"STORE_PRIMARY": "10.0.0.1"},
        "sentinel monitor accord 10.0.0.9 6379 2\nsentinel auth-pass accord old\n",
        ["sentinel monitor accord 10.0.0.9 6379 2", 'sentinel auth-pass accord "p\\"w"'],
        ["10.0.0.1", "old"],
    ),
}


@pytest.mark.parametrize("case", STARTED)
def test_a_store_starts_in_the_role_that_it_had_last(case: str, tmp_path: Path) -> None:
    script, env, before, has, lacks = STARTED[case]
    text = (CONTAINERS / script).read_text(encoding="utf-8")
    for place, own in {
        "/run/secrets/": f"{tmp_path}/",
        "/etc/accord/": f"{CONTAINERS}/",
        "/data/": f"{tmp_path}/",
    }.items():
        text = text.replace(place, own)
    (tmp_path / "store-password").write_text('p"w\n', encoding="ascii")
    (tmp_path / "redis-server").write_text('#!/bin/sh\necho "$@"\n', encoding="ascii")
    (tmp_path / "redis-server").chmod(0o755)
    config = tmp_path / ("store.conf" if script == "store.sh" else "sentinel.conf")
    if before is not None:
        config.write_text(before, encoding="ascii")
    (tmp_path / "redis-cli").write_text('#!/bin/sh\necho "${TOLD:-}"\necho 6379\n', encoding="ascii")
    (tmp_path / "redis-cli").chmod(0o755)
    path = {"PATH": f"{tmp_path}:{os.environ['PATH']}", "STORE_ADDRESS": "10.0.0.1", "STORE_SENTINELS": "a b"}
    started = subprocess.run(
        ["sh", "-c", text], env={**path, **env}, capture_output=True, text=True, timeout=60, check=True
    )
    assert started.stdout.split()[0] == str(config)
    written = config.read_text(encoding="utf-8")
    assert config.stat().st_mode & 0o077 == 0, "the password is in it"
    for line in has:
        assert f"\n{line}\n" in f"\n{written}"
    for part in lacks:
        assert part not in written


@pytest.mark.parametrize(("told", "code"), [("sha256:" + "a" * 64, 0), ("", 1), ("no such host", 1)])
def test_images_are_pinned_by_what_the_registry_tells_or_not_at_all(told: str, code: int, tmp_path: Path) -> None:
    (tmp_path / "docker").write_text(f'#!/bin/sh\necho "{told}"\n', encoding="ascii")
    (tmp_path / "docker").chmod(0o755)
    env = {"PATH": f"{tmp_path}:{os.environ['PATH']}"}
    done = subprocess.run([CONTAINERS / "pin.sh"], env=env, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == code
    if code:
        assert done.stdout == ""
        assert "nothing is pinned" in done.stderr
    else:
        pinned = dict(line.split("=", 1) for line in done.stdout.splitlines())
        assert set(pinned) == {"ACCORD_PYTHON_IMAGE", "ACCORD_STORE_IMAGE"}
        for variable, image in pinned.items():
            name, _, digest = image.partition("@")
            assert digest == told
            assert f"${{{variable}:-{name}}}" in COMPOSE.read_text(encoding="utf-8"), "compose takes it from there"


def test_nobody_is_root(compose: Mapping[str, Any]) -> None:
    assert dict(stages()[-1])["USER"] not in ("root", "0")
    for service in compose["services"].values():
        assert "build" in service or service["user"] not in ("root", "0")
        assert service["cap_drop"] == ["ALL"]


def test_each_has_a_health_check(compose: Mapping[str, Any]) -> None:
    assert "HEALTHCHECK" in dict(stages()[-1])
    for service in compose["services"].values():
        assert "build" in service or service["healthcheck"]["test"]


def test_an_image_named_by_compose_is_the_one_of_the_dockerfile(replicas: list[Mapping[str, Any]]) -> None:
    default = dict(instructions(DOCKERFILE))["ARG"]
    for replica in replicas:
        assert replica["build"]["args"] == {"PYTHON_IMAGE": f"${{ACCORD_PYTHON_IMAGE:-{default.partition('=')[2]}}}"}
    assert all(stage[0][1].startswith("${PYTHON_IMAGE}") for stage in stages())


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


def test_the_proxy_says_scheme_and_whole_host(compose: Mapping[str, Any]) -> None:
    """The pages' cookie is Secure where the request came over TLS, and a form is taken from its own address alone."""
    example = (CONTAINERS / "nginx.conf").read_text(encoding="utf-8")
    assert "proxy_set_header Host $http_host;" in example
    assert "proxy_set_header X-Forwarded-Proto $scheme;" in example
    assert compose["x-environment"]["ACCORD_PROXIES"] == "*"
    for service in compose["services"].values():
        assert all(str(port).startswith("127.0.0.1:") for port in service.get("ports", ()))
