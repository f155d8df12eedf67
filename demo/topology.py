"""Two services by hand on one redis-server that syncs every write; docker-compose.yml has a replica beside it.

    python demo/topology.py           starts it on free ports, checks it, stops it
    python demo/topology.py --stay    leaves it running until Ctrl-C
    python demo/topology.py --one-in 3    compares a third of the orders, and another third under the new revision

Checked: a day's orders are answered alike by both; what is published on one is answered by the other within two
seconds; with the store gone both go on answering, and say so; with the store back they are as before. Exits 1 if that
does not hold, 2 if it could not be started. Needs redis-server.
"""

from __future__ import annotations

import argparse
import contextlib
import copy
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import requests
from run import DEMO, DayError, read_order, seeded, started_on

from accord_client import AccordError, Client

LIMIT = "dye.polyester_share_full"
SLOW = (3.05, 60.0)
SEEN_S = 2.0
AT_ONCE = 4  # orders; as many as the services have workers
NOTICED_S = 1.0  # a worker asks the store each half second; what it knew before that it calls live
REDIS = ("appendonly yes", "appendfsync always", "maxmemory-policy noeviction", 'save ""')


class Otherwise(RuntimeError):
    """Something does not hold that should."""


@dataclass
class Redis:
    """A redis-server of this run, which can be killed and started again on what it kept."""

    folder: Path
    port: int
    process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"redis://127.0.0.1:{self.port}/0"

    @property
    def password_file(self) -> Path:
        return self.folder / "store-password"

    def start(self) -> None:
        program = shutil.which("redis-server")
        if program is None:
            raise DayError("redis-server is missing; python3 machine.py missing names the package that brings it")
        if not self.password_file.exists():
            _write_secret(self.password_file, secrets.token_hex(32))
        # A file and not a command line, which every user of the machine can read.
        config = self.folder / "redis.conf"
        password = self.password_file.read_text(encoding="ascii")
        place = ("bind 127.0.0.1", f"port {self.port}", f'dir "{self.folder}"', f"requirepass {password}")
        _write_secret(config, "\n".join((*place, *REDIS)))
        self.process = subprocess.Popen([program, str(config)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        until = time.monotonic() + 10
        while not self._listens():
            if self.process.poll() is not None or time.monotonic() > until:
                raise DayError("redis-server does not answer")
            time.sleep(0.05)

    def _listens(self) -> bool:
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    def kill(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait()


def _write_secret(file: Path, text: str) -> None:
    """A file that only this user can read."""
    with open(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w", encoding="utf-8") as out:
        out.write(text)


@dataclass(frozen=True)
class Topology:
    """Two services, the store behind them, and the folder of keys."""

    urls: tuple[str, str]
    redis: Redis
    keys: Path

    def client(self, service: int, key: str) -> Client:
        return Client(self.urls[service], self.token(key), SLOW)

    def token(self, key: str) -> str:
        return (self.keys / key).read_text(encoding="ascii").strip()


def free_ports(count: int) -> list[int]:
    with contextlib.ExitStack() as stack:
        probes = [stack.enter_context(socket.socket()) for _ in range(count)]
        for probe in probes:
            probe.bind(("127.0.0.1", 0))
        return [int(probe.getsockname()[1]) for probe in probes]


@contextlib.contextmanager
def running() -> Iterator[Topology]:
    """The topology, seeded with the demo collective, for as long as the block runs."""
    with tempfile.TemporaryDirectory(prefix="accord-topology-") as data, contextlib.ExitStack() as stack:
        redis_port, *ports = free_ports(3)
        redis = Redis(Path(data), redis_port)
        stack.callback(redis.kill)
        redis.start()
        env = os.environ | {"ACCORD_DATA": data, "ACCORD_STORE_URL": redis.url, "ACCORD_WORKERS": "2"}
        env["ACCORD_STORE_PASSWORD_FILE"] = str(redis.password_file)
        env.pop("PROMETHEUS_MULTIPROC_DIR", None)
        seeded(env)
        keys = Path(data, "keys")
        services = [started_on(port, env, keys) for port in ports]
        with ThreadPoolExecutor(len(services)) as threads:
            first, second = threads.map(stack.enter_context, services)
        yield Topology((first, second), redis, keys)


# -- what must hold ----------------------------------------------------------------------------------------------------


def both_answer_alike(town: Topology, first: int, one_in: int) -> int:
    """The number of orders whose answers are the same bytes, which is all from the ``first`` on, one in ``one_in``."""
    expected: dict[str, Any] = tomllib.loads((DEMO / "expected.toml").read_text(encoding="utf-8"))
    names = [*expected][first::one_in]

    def ask(name: str) -> None:
        headers = {"Authorization": f"Bearer {town.token(expected[name]['shop'] + '-counter')}"}
        answers = [
            requests.post(f"{url}/v1/validate", json=read_order(name), headers=headers, timeout=20) for url in town.urls
        ]
        if {answer.status_code for answer in answers} != {200} or answers[0].content != answers[1].content:
            raise Otherwise(f"{name}: {[answer.text[:200] for answer in answers]}")

    with ThreadPoolExecutor(AT_ONCE) as threads:
        return len(list(threads.map(ask, names)))


def published_on_one(town: Topology) -> int:
    """Change a limit through the first service; the new revision's number."""
    with (
        town.client(0, "harbour-lane-owner") as owner,
        town.client(0, "mill-steps-steward") as steward,
    ):
        head = next(iter(owner.governance.revisions()))
        entry = copy.deepcopy(owner.limit(LIMIT).entry)
        changed = {"kind": "limits", "id": LIMIT, "value": {**entry, "value": entry["value"] + 1}}
        base = {"revision": head["revision"], "digest": head["digest"]}
        draft = owner.governance.propose(base, [changed], "To see it cross over.", "A topology to be checked.")
        owner.governance.open(draft["proposal_id"])
        owner.governance.wait_for_effect(draft["proposal_id"])
        steward.governance.approve(owner.governance.status(draft["proposal_id"]))
        return int(steward.governance.publish(draft["proposal_id"])["revision"])


def seen_on_the_other(town: Topology, revision: int) -> float:
    """The seconds until every worker of the second service answers from the revision: ten answers in a row."""
    began_s, in_a_row = time.monotonic(), 0
    headers = {"Authorization": f"Bearer {town.token('harbour-lane-counter')}"}
    first_s = 0.0
    while in_a_row < 10:
        answer = requests.get(f"{town.urls[1]}/v1/limits/{LIMIT}", headers=headers, timeout=20).json()
        in_a_row = in_a_row + 1 if answer["revision"] == revision else 0
        first_s = time.monotonic() - began_s if in_a_row == 1 else first_s
        if first_s > SEEN_S or time.monotonic() - began_s > 5 * SEEN_S:
            raise Otherwise(f"revision {revision} is not everywhere after {time.monotonic() - began_s:.1f} s")
    return first_s


def goes_on_without_the_store(town: Topology) -> float:
    """Kill the store; the longest wait for a held answer. Then start it again and wait until both are live."""
    town.redis.kill()
    order, longest_s = read_order("009-team-tees-dye"), 0.0
    headers = {"Authorization": f"Bearer {town.token('mill-steps-counter')}"}
    time.sleep(NOTICED_S)
    for url in town.urls * 10:
        began_s = time.monotonic()
        answer = requests.post(f"{url}/v1/validate", json=order, headers=headers, timeout=20)
        longest_s = max(longest_s, time.monotonic() - began_s)
        recorded = requests.post(f"{url}/v1/records", json=order, headers=headers, timeout=20)
        if answer.status_code != 200 or recorded.status_code != 503:
            raise Otherwise(f"without the store: {answer.status_code}, for a record {recorded.status_code}")
    if requests.post(f"{town.urls[0]}/v1/validate", json=order, headers=headers, timeout=20).json()["basis"] != "held":
        raise Otherwise("without the store an answer calls itself live")
    town.redis.start()
    until = time.monotonic() + 10
    while not all(_is_live(url, order, headers) for url in town.urls * 4):
        if time.monotonic() > until:
            raise Otherwise("the store is back, and they do not see it")
        time.sleep(0.1)
    return longest_s


def _is_live(url: str, order: Any, headers: dict[str, str]) -> bool:
    recorded = requests.post(f"{url}/v1/records", json=order, headers=headers, timeout=20)
    return recorded.status_code == 201 and recorded.json()["answer"]["basis"] == "live"


def check(town: Topology, one_in: int) -> None:
    print(f"{both_answer_alike(town, 0, one_in)} orders: the same bytes from both services")
    revision = published_on_one(town)
    promised_s = time.monotonic() + SEEN_S
    seen_s = seen_on_the_other(town, revision)
    print(f"revision {revision}, published on the one, is everywhere on the other after {seen_s:.2f} s")
    # Until then a worker may answer from the revision before; from then on none of either service does.
    time.sleep(max(0.0, promised_s - time.monotonic()))
    print(f"{both_answer_alike(town, 1 % one_in, one_in)} orders: the same bytes again, under the new revision")
    longest_s = goes_on_without_the_store(town)
    print(f"without the store the longest wait for a held answer was {longest_s:.3f} s; with it back, both are live")


def main() -> int:
    parser = argparse.ArgumentParser(description="Two services on one Redis.", allow_abbrev=False)
    parser.add_argument("--stay", action="store_true", help="leave it running until Ctrl-C, unchecked")
    parser.add_argument("--one-in", type=int, default=1, choices=range(1, 11), metavar="N", help="orders to compare")
    arguments = parser.parse_args()
    try:
        with running() as town:
            print(f"services: {' and '.join(town.urls)}; store: {town.redis.url}; keys: {town.keys}", flush=True)
            if arguments.stay:
                signal.pause()
            check(town, arguments.one_in)
    except KeyboardInterrupt:
        return 0
    except Otherwise as error:
        print(f"otherwise than it should: {error}", file=sys.stderr)
        return 1
    except (AccordError, DayError, OSError) as error:
        print(f"it could not be run: {error}", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
