"""docker-compose.yml, really built and run: what only a container engine can show.

    python -m tests.containers.trial                    everything in a folder of its own, which is gone afterwards
    python -m tests.containers.trial --keep FOLDER      leaves the base images there, for the next time

Starts a container engine of its own, makes the base images of Debian's packages, under the names that
service/Dockerfile and docker-compose.yml ask for, so that no registry is needed (their Python is Debian's, not the one
named), builds the service's image and brings all of docker-compose.yml up. Then: one order of both services, a record;
limits and read-only disks; a stranger without the password; a service killed, the primary killed, the primary lost and
the replica promoted, a service stopped under load, all taken down and brought up again. Nothing acknowledged may be
gone, no answer may differ. Ends what it started.

Exits 1 if something does not hold, 2 if it could not be run. Needs root, and the programs of machine.py's CONTAINERS.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import machine
import requests
import yaml

from accord_client import Client

ROOT = Path(__file__).resolve().parents[2]
COMPOSE = ROOT / "docker-compose.yml"
PROJECT = "accord-trial"
PYTHON_IMAGE, STORE_IMAGE, SERVICE_IMAGE = "python:3.12-slim", "redis:7.2-bookworm", "platen-accord:local"
SUITE = "bookworm"
CERTIFICATES = Path("/etc/ssl/certs/ca-certificates.crt")
START_S, PROMOTED_S, ANSWER_S = 180.0, 30.0, 20.0
SERVICES, STORES = ("service-a", "service-b"), ("store-a", "store-b")
SENTINELS = ("sentinel-a", "sentinel-b", "sentinel-c")
ORDER, SHOP = "009-team-tees-dye", "mill-steps"


class Otherwise(RuntimeError):
    """Something does not hold that should."""


class NotRun(RuntimeError):
    """It could not be tried; the message says why."""


# -- the engine, and the images ----------------------------------------------------------------------------------------


def run(words: Sequence[str], env: Mapping[str, str] | None = None, timeout_s: float = 900.0) -> str:
    """What a program prints. Raises NotRun with the end of what it said."""
    done = subprocess.run(
        words,
        env={**os.environ, **(env or {})},
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=timeout_s,
        check=False,
    )
    if done.returncode:
        raise NotRun(f"{' '.join(words[:4])} ended with {done.returncode}: {(done.stdout + done.stderr)[-3000:]}")
    return done.stdout


@dataclass(frozen=True)
class Engine:
    """A container engine of this run alone."""

    address: Path

    @property
    def env(self) -> dict[str, str]:
        return {"DOCKER_HOST": f"unix://{self.address}", "DOCKER_BUILDKIT": "0"}

    def docker(self, *words: str) -> str:
        return run(["docker", *words], self.env)

    def has(self, image: str) -> bool:
        return bool(self.docker("images", "--quiet", image).strip())


FORWARDING = Path("/proc/sys/net/ipv4/ip_forward")


@contextlib.contextmanager
def left_as_it_was(folder: Path) -> Iterator[None]:
    """An engine leaves rules for packets, and a mount below its folder: after the block both are as before it."""
    rules, forwarding = run(["iptables-save"]), FORWARDING.read_text()
    try:
        yield
    finally:
        mounted = [line.split()[1] for line in Path("/proc/mounts").read_text().splitlines()]
        for below in sorted((place for place in mounted if place.startswith(f"{folder}/")), reverse=True):
            subprocess.run(["umount", "--lazy", below], check=False)
        for table in ("filter", "nat"):  # restoring a table without rules would leave those that are there
            subprocess.run(["iptables", "-t", table, "-F"], check=False)
            subprocess.run(["iptables", "-t", table, "-X"], check=False)
        subprocess.run(["iptables-restore"], input=with_policies(rules), text=True, check=False)
        FORWARDING.write_text(forwarding)


def with_policies(rules: str) -> str:
    """What iptables-save printed; where it printed nothing, as for rules never touched, that everything passes."""
    chains = {"filter": ("INPUT", "FORWARD", "OUTPUT"), "nat": ("PREROUTING", "INPUT", "OUTPUT", "POSTROUTING")}
    for table, names in chains.items():
        if f"*{table}" not in rules:
            rules += "\n".join([f"*{table}", *(f":{name} ACCEPT [0:0]" for name in names), "COMMIT", ""])
    return rules


@contextlib.contextmanager
def engine(folder: Path) -> Iterator[Engine]:
    """Started in ``folder``; ended, with its containers and mounts, when the block is left."""
    address, log = folder / "engine.sock", folder / "engine.log"
    words = ["dockerd", "--host", f"unix://{address}", "--data-root", str(folder / "data"), "--bridge", "none"]
    words += ["--exec-root", str(folder / "run"), "--pidfile", str(folder / "engine.pid")]
    with log.open("wb") as out, subprocess.Popen(words, stdout=out, stderr=out, start_new_session=True) as process:
        started = Engine(address)
        try:
            _until(lambda: _succeeds(lambda: started.docker("info")), 60, "the container engine does not answer")
            yield started
        except (NotRun, Otherwise) as error:
            if process.poll() is not None:
                raise NotRun(f"the container engine ended: {log.read_text(errors='replace')[-2000:]}") from error
            raise
        finally:
            process.send_signal(signal.SIGTERM)
            try:
                process.wait(60)
            except subprocess.TimeoutExpired:
                process.kill()


def _succeeds(ask: Callable[[], object]) -> bool:
    try:
        ask()
    except (NotRun, OSError, requests.RequestException):
        return False
    return True


def _until(holds: Callable[[], bool], seconds: float, otherwise: str) -> float:
    """Wait until it holds; the seconds that took. Raises Otherwise."""
    began_s = time.monotonic()
    while not holds():
        if time.monotonic() - began_s > seconds:
            raise Otherwise(f"{otherwise} after {seconds:.0f} s")
        time.sleep(0.1)
    return time.monotonic() - began_s


def make_base_images(docker: Engine, folder: Path) -> None:
    """Debian with Python, and the same with a redis-server; kept as archives in ``folder``."""
    python, store = folder / "python.tar", folder / "store.tar"
    if not (python.exists() and store.exists()):
        tree = folder / "tree"
        run(["debootstrap", "--variant=minbase", "--include=ca-certificates", SUITE, str(tree)])
        shutil.copy("/etc/resolv.conf", tree / "etc/resolv.conf")
        shutil.copy(CERTIFICATES, tree / CERTIFICATES.relative_to("/"))  # those that this machine trusts
        (tree / "usr/sbin/policy-rc.d").write_text("#!/bin/sh\nexit 101\n", encoding="ascii")  # start nothing
        (tree / "usr/sbin/policy-rc.d").chmod(0o755)
        _install(tree, "python3", "python3-venv", "python3-dev")
        (tree / "usr/local/bin/python").symlink_to("/usr/bin/python3")
        _archive(tree, python)
        _install(tree, "redis-server")
        run(["chroot", str(tree), "install", "-d", "-o", "redis", "-g", "redis", "/data"])
        _archive(tree, store)
        shutil.rmtree(tree)
    docker.docker("import", "--change", "CMD python", str(python), PYTHON_IMAGE)
    docker.docker("import", "--change", "VOLUME /data", "--change", "WORKDIR /data", str(store), STORE_IMAGE)


def _install(tree: Path, *packages: str) -> None:
    quiet = {"DEBIAN_FRONTEND": "noninteractive"}
    run(["chroot", str(tree), "apt-get", "update", "-qq"], quiet)
    run(["chroot", str(tree), "apt-get", "install", "-y", "-qq", "--no-install-recommends", *packages], quiet)


def _archive(tree: Path, file: Path) -> None:
    run(["tar", "-C", str(tree), "--exclude=./var/cache/apt/*", "--exclude=./dev/*", "-cf", f"{file}.part", "."])
    Path(f"{file}.part").rename(file)


def build(docker: Engine) -> None:
    """The service's image, as its Dockerfile says. The host's network, since this engine has none of its own."""
    words = ["build", "--network", "host", "-f", "service/Dockerfile", "-t", SERVICE_IMAGE]
    for name in ("http_proxy", "https_proxy", "no_proxy", "PIP_INDEX_URL", "PIP_CERT"):
        words += ["--build-arg", name] if name in os.environ else []
    docker.docker(*words, ".")


def free_ports(count: int) -> list[int]:
    with contextlib.ExitStack() as stack:
        probes = [stack.enter_context(socket.create_server(("127.0.0.1", 0))) for _ in range(count)]
        return [int(probe.getsockname()[1]) for probe in probes]


# -- the compose file --------------------------------------------------------------------------------------------------


@dataclass
class Town:
    """docker-compose.yml, up."""

    engine: Engine
    file: Path
    ports: Mapping[str, int]
    token: str = ""
    records: dict[str, Any] = field(default_factory=dict)

    def compose(self, *words: str) -> str:
        words = ("-p", PROJECT, "-f", str(self.file), "--project-directory", str(ROOT), *words)
        return run([*COMPOSE_COMMAND, *words], self.engine.env)

    def url(self, service: str) -> str:
        return f"http://127.0.0.1:{self.ports[service]}"

    def container(self, name: str) -> str:
        return self.compose("ps", "-q", name).strip()

    def inspect(self, name: str) -> Any:
        return json.loads(self.engine.docker("inspect", self.container(name)))[0]

    def inside(self, name: str, *words: str) -> str:
        return self.engine.docker("exec", self.container(name), *words)

    def is_healthy(self, name: str) -> bool:
        state = self.inspect(name)["State"]
        return bool(state["Running"] and state["Health"]["Status"] == "healthy")

    def kill(self, name: str) -> None:
        """kill -9 of its first process from outside: to the engine a crash, after which it starts it again."""
        pid = int(self.inspect(name)["State"]["Pid"])
        os.kill(pid, signal.SIGKILL)
        _until(lambda: not Path(f"/proc/{pid}").exists(), START_S, f"{name} does not end")

    # -- what is asked of the services --

    def ask(self, service: str, path: str = "/v1/validate", body: Any = None) -> requests.Response:
        headers = {"Authorization": f"Bearer {self.token}"}
        order = read_order() if body is None else body
        return requests.post(f"{self.url(service)}{path}", json=order, headers=headers, timeout=ANSWER_S)

    def answers(self, service: str) -> bool:
        return _succeeds(lambda: self.ask(service).raise_for_status())

    def record(self, service: str) -> bool:
        """Whether a record was acknowledged; it is remembered, and looked for at the end."""
        answer = self.ask(service, "/v1/records")
        if answer.status_code == 201:
            self.records[answer.json()["record_id"]] = answer.json()
        elif answer.status_code != 503:
            raise Otherwise(f"a record was answered with {answer.status_code}: {answer.text[:300]}")
        return answer.status_code == 201

    def records_are_there(self) -> int:
        """How many acknowledged records both services still have, which is all of them."""
        headers = {"Authorization": f"Bearer {self.token}"}
        for service in SERVICES:
            for record_id in self.records:
                got = requests.get(f"{self.url(service)}/v1/records/{record_id}", headers=headers, timeout=ANSWER_S)
                if got.status_code != 200:
                    raise Otherwise(f"an acknowledged record is gone: {got.status_code} from {service}")
        return len(self.records)


def read_order() -> Any:
    return json.loads((ROOT / "demo" / "orders" / f"{ORDER}.json").read_text(encoding="utf-8"))


def _compose_command() -> list[str]:
    """The plugin where there is one; else Debian's program, which is older."""
    plugin = subprocess.run(["docker", "compose", "version"], capture_output=True, check=False)
    return ["docker", "compose"] if plugin.returncode == 0 else ["docker-compose"]


COMPOSE_COMMAND = _compose_command() if shutil.which("docker") else []


def for_the_trial(ports: Mapping[str, int], password: Path) -> dict[str, Any]:
    """docker-compose.yml with what is built already, on free ports, with a password of its own; all else is unchanged.

    The older program knows no name in the file: the project is named by an option.
    """
    document: dict[str, Any] = yaml.safe_load(COMPOSE.read_text(encoding="utf-8"))
    del document["name"]
    for name, service in document["services"].items():
        service.pop("build", None)
        if name in ports:
            service["ports"] = [f"127.0.0.1:{ports[name]}:8080"]
    document["secrets"]["store-password"]["file"] = str(password)
    return {key: part for key, part in document.items() if not key.startswith("x-")}


@contextlib.contextmanager
def town(docker: Engine, folder: Path, ports: Mapping[str, int]) -> Iterator[Town]:
    file, password = folder / "docker-compose.json", folder / "store-password"
    file.write_text(json.dumps(for_the_trial(ports, password)), encoding="utf-8")
    password.write_text(secrets.token_hex(32) + "\n", encoding="ascii")
    up = Town(docker, file, ports)
    try:
        up.compose("up", "-d", "--no-build")
        yield up
    except BaseException:
        with contextlib.suppress(NotRun):
            print(up.compose("ps"), up.compose("logs", "--tail=15"), sep="\n", file=sys.stderr)
        raise
    finally:
        with contextlib.suppress(NotRun):
            up.compose("down", "-v", "--timeout", "2")


# -- what must hold ----------------------------------------------------------------------------------------------------


def furnish(up: Town) -> None:
    """A shop and its counter's key, given by the first admin."""
    admin_token = up.inside("service-a", "cat", "/var/lib/accord/keys/admin").strip()
    shop = tomllib.loads((ROOT / "demo" / "shops" / f"{SHOP}.toml").read_text(encoding="utf-8"))
    with Client(up.url("service-a"), admin_token) as admin:
        admin.administration.add_shop(shop)
        up.token = admin.administration.issue_key(SHOP, "counter", holder="Robin Vale")["token"]


def same_bytes(up: Town) -> str:
    answers = [up.ask(service) for service in SERVICES]
    if {answer.status_code for answer in answers} != {200} or len({answer.content for answer in answers}) != 1:
        raise Otherwise(f"they do not answer alike: {[answer.text[:200] for answer in answers]}")
    return str(answers[0].json()["verdict"])


def limits_are_in_force(up: Town) -> str:
    told = []
    for name, service in yaml.safe_load(COMPOSE.read_text(encoding="utf-8"))["services"].items():
        host = up.inspect(name)["HostConfig"]
        if not (host["Memory"] and host["PidsLimit"] and host["NanoCpus"] and host["ReadonlyRootfs"]):
            raise Otherwise(f"{name} runs without its limits: {host}")
        if _succeeds(lambda name=name: up.inside(name, "touch", "/etc/written")):  # type: ignore[misc]
            raise Otherwise(f"{name} can write to its own disk")
        if name in SERVICES:
            told.append(f"{name} {service['mem_limit']}")
    return ", ".join(told)


def a_stranger_is_refused(up: Town) -> None:
    said = up.inside("store-a", "redis-cli", "-h", "10.119.7.12", "get", "x")
    if "NOAUTH" not in said:
        raise Otherwise(f"without the password the store says {said!r}")


def memory(up: Town) -> str:
    words = ("stats", "--no-stream", "--format", "{{.Name}} {{.MemUsage}} {{.PIDs}}")
    lines = sorted(line.split() for line in up.engine.docker(*words).splitlines())
    return "; ".join(
        f"{line[0].removeprefix(PROJECT).strip('-_')} {line[1]}, {line[-1]} processes and threads" for line in lines
    )


def primary_of(up: Town) -> str:
    address = up.inside("sentinel-a", "redis-cli", "-p", "26379", "sentinel", "get-master-addr-by-name", "accord")
    return {"10.119.7.11": "store-a", "10.119.7.12": "store-b"}[address.split()[0]]


def _records_again(up: Town) -> bool:
    """Whether both services acknowledge one."""
    taken = []
    for service in SERVICES:
        try:
            taken.append(up.record(service))
        except requests.RequestException:
            taken.append(False)
    return all(taken)


def killed_service(up: Town) -> str:
    began_s, answered = time.monotonic(), 0
    up.kill("service-a")
    while not up.answers("service-a"):
        if up.ask("service-b").status_code != 200:
            raise Otherwise("the other service does not answer while one is away")
        answered += 1
        if time.monotonic() - began_s > START_S:
            raise Otherwise("the killed service does not come back")
        time.sleep(0.2)
    same_bytes(up)
    return f"back after {time.monotonic() - began_s:.1f} s; meanwhile the other answered {answered} orders"


def killed_primary(up: Town) -> str:
    began_s, longest_s, held = time.monotonic(), 0.0, 0
    up.kill(primary_of(up))
    recorded = False
    while not recorded:
        asked_s = time.monotonic()
        answer = up.ask("service-a")
        longest_s = max(longest_s, time.monotonic() - asked_s)
        if answer.status_code != 200:
            raise Otherwise(f"without its store a service answers {answer.status_code}")
        held += answer.json()["basis"] == "held"
        recorded = _records_again(up)
        if time.monotonic() - began_s > START_S:
            raise Otherwise("no record is taken after the primary was killed and started again")
    return (
        f"records again after {time.monotonic() - began_s:.1f} s; {held} orders answered from what was held,"
        f" the longest wait {longest_s:.2f} s"
    )


def lost_primary(up: Town) -> str:
    """Stopped by hand, so that the engine does not start it again, until the other is promoted."""
    lost = primary_of(up)
    up.engine.docker("stop", "--time", "0", up.container(lost))
    began_s = time.monotonic()
    promoted_s = _until(lambda: primary_of(up) != lost, PROMOTED_S, "nobody is promoted")
    live_s = promoted_s + _until(
        lambda: all(up.ask(service).json()["basis"] == "live" for service in SERVICES), 30, "they do not go on live"
    )
    if up.record("service-a"):
        raise Otherwise("a primary that no replica follows acknowledged a record")
    up.engine.docker("start", up.container(lost))
    _until(lambda: _records_again(up), START_S, "no record is taken after the lost one came back")
    recorded_s = time.monotonic() - began_s
    records = up.records_are_there()
    return (
        f"{primary_of(up)} is promoted after {promoted_s:.1f} s, orders are answered live after {live_s:.1f} s; records"
        f" are refused until the other is back as replica, taken after {recorded_s:.1f} s; all {records} are there"
    )


def stopped_under_load(up: Town) -> str:
    """docker stop, as an update does: whatever was accepted is answered.

    Asked at the container's own address: at the published port the engine's own proxy accepts also what nobody serves.
    """
    networks = up.inspect("service-b")["NetworkSettings"]["Networks"]
    address = next(network["IPAddress"] for name, network in networks.items() if name.endswith("outside"))
    url, headers = f"http://{address}:8080/v1/validate", {"Authorization": f"Bearer {up.token}"}
    answered, lost, stopping = [0], list[str](), threading.Event()

    def ask_on() -> None:
        while not stopping.is_set():
            try:
                requests.post(url, json=read_order(), headers=headers, timeout=ANSWER_S).raise_for_status()
                answered[0] += 1
            except requests.RequestException as error:
                if "Connection refused" not in str(error) and "ConnectTimeout" not in repr(error):
                    lost.append(str(error))
                stopping.wait(0.05)

    threads = [threading.Thread(target=ask_on) for _ in range(4)]
    for thread in threads:
        thread.start()
    time.sleep(2)
    began_s = time.monotonic()
    up.engine.docker("stop", "--time", "30", up.container("service-b"))
    took_s = time.monotonic() - began_s
    stopping.set()
    for thread in threads:
        thread.join()
    code = up.inspect("service-b")["State"]["ExitCode"]
    if code or lost:
        raise Otherwise(f"service-b ended with {code} and lost {len(lost)} requests: {lost[:3]}")
    up.engine.docker("start", up.container("service-b"))
    _until(lambda: up.is_healthy("service-b"), START_S, "service-b does not come back")
    return f"ended with 0 after {took_s:.1f} s, {answered[0]} orders answered, none lost"


def down_and_up(up: Town) -> str:
    """Containers away, volumes kept: roles, passwords and data must be as they were."""
    before = primary_of(up)
    up.compose("down", "--timeout", "30")
    began_s = time.monotonic()
    up.compose("up", "-d", "--no-build")
    _until(lambda: all(up.is_healthy(service) for service in SERVICES), START_S, "they are not healthy again")
    up_s = time.monotonic() - began_s
    if primary_of(up) != before:
        raise Otherwise(f"{before} was the primary, and it is not any more")
    _until(lambda: _records_again(up), 60, "no record is taken after all was taken down and up")
    same_bytes(up)
    return f"healthy after {up_s:.0f} s, {before} still the primary, all {up.records_are_there()} records there"


def audit_is_whole(up: Town) -> str:
    admin = up.inside("service-a", "cat", "/var/lib/accord/keys/admin").strip()
    said = up.inside("service-b", "accord", "audit", "check", "--url", "http://127.0.0.1:8080", "--token", admin)
    return said.strip()


STEPS = (killed_service, killed_primary, lost_primary, stopped_under_load, down_and_up, audit_is_whole, memory)


def check(docker: Engine, folder: Path) -> None:
    ports = dict(zip(SERVICES, free_ports(len(SERVICES)), strict=True))
    began_s = time.monotonic()
    with town(docker, folder, ports) as up:
        _until(lambda: all(up.is_healthy(service) for service in SERVICES), START_S, "the services are not healthy")
        print(f"up: {len(SERVICES + STORES + SENTINELS)} containers healthy after {time.monotonic() - began_s:.0f} s")
        furnish(up)
        print(f"one order of both: {same_bytes(up)}, the same bytes; a record: {_records_again(up)}")
        print(f"limits in force, disks read-only: {limits_are_in_force(up)}")
        a_stranger_is_refused(up)
        print("without the password the store answers nothing")
        for step in STEPS:
            print(f"{step.__name__.replace('_', ' ')}: {step(up)}", flush=True)


def not_possible() -> str | None:
    """Why it can't be tried here, in one sentence; None where it can."""
    if os.geteuid() != 0:
        return "Only root can start a container engine and make its images: run it with sudo."
    if missing := machine.missing(machine.CONTAINERS):
        wanted = ", ".join(machine.with_package(program) for program in missing)
        return f"What it needs is missing: {wanted}."
    return None


def main() -> int:
    parser = argparse.ArgumentParser(description="docker-compose.yml, really built and run.", allow_abbrev=False)
    parser.add_argument("--keep", type=Path, help="a folder in which the base images stay for the next time")
    keep = parser.parse_args().keep
    if why := not_possible():
        print(why, file=sys.stderr)
        return 2
    with contextlib.ExitStack() as stack:
        # Not below /tmp, which may be memory: an engine's images are two gigabytes.
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="accord-containers-", dir="/var/tmp")))
        images = folder if keep is None else keep.resolve()
        images.mkdir(parents=True, exist_ok=True)
        try:
            stack.enter_context(left_as_it_was(folder))
            docker = stack.enter_context(engine(folder))
            for doing, do in (
                ("base images of Debian's packages", lambda: make_base_images(docker, images)),
                ("the service's image", lambda: build(docker)),
            ):
                began_s = time.monotonic()
                do()
                print(f"{doing}: made in {time.monotonic() - began_s:.0f} s", flush=True)
            check(docker, folder)
        except Otherwise as error:
            print(f"otherwise than it should: {error}", file=sys.stderr)
            return 1
        except (NotRun, OSError, subprocess.TimeoutExpired) as error:
            print(f"it could not be run: {error}", file=sys.stderr)
            return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
