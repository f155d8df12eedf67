"""The working day of the demo collective: every order sent with its shop's key, some settled, the day summed up.

    python demo/run.py                            seeds a store, starts the service itself on a free port
    python demo/run.py --url http://127.0.0.1:8080 --keys .data/demo/keys
                                                  asks a service that runs on a store seeded with this folder

Exits 1 if any verdict is not the one written down in expected.toml, 2 if the day could not be run.
"""

from __future__ import annotations

import argparse
import contextlib
import copy
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import textwrap
import time
import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from accord_client import AccordError, Client, Plan, Settlement, Verdict

DEMO = Path(__file__).resolve().parent
ORDERS = DEMO / "orders"
LEVELS = ("blocks", "requires", "cautions")
START_SECONDS = 60.0  # for a service started here, which loads and tests the book first
ANSWER_SECONDS = 5.0  # for one that should be running already
STOP_SECONDS = 25.0
SETTABLE = ("temperature", "time", "pressure", "peel", "cover", "pad", "tape", "pre_press", "second_press")


class DayError(RuntimeError):
    """The day cannot be run; the message says why."""


# -- the service -------------------------------------------------------------------------------------------------------


def _free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


@contextlib.contextmanager
def service() -> Iterator[tuple[str, Path]]:
    """The real service on a store seeded with this folder, for as long as the block runs; its address and keys."""
    with tempfile.TemporaryDirectory(prefix="accord-demo-") as data:
        env = os.environ | {"ACCORD_DATA": data, "ACCORD_STORE_URL": ""}
        keys = Path(data, "keys")
        seeded(env)
        with started_on(_free_port(), env, keys) as url:
            yield url, keys


def seeded(env: Mapping[str, str]) -> None:
    """Put this folder's shops into the store that ``env`` names, and their keys into its data folder."""
    accord = [sys.executable, "-c", "from accord_service.cli.main import main; main(prog_name='accord')"]
    done = subprocess.run(
        [*accord, "seed", str(DEMO)], env=_with_path(env), capture_output=True, text=True, check=False
    )
    if done.returncode:
        raise DayError(f"the store could not be seeded: {done.stderr}")


@contextlib.contextmanager
def started_on(port: int, env: Mapping[str, str], keys: Path) -> Iterator[str]:
    """The real service on a port of this machine, ready, for as long as the block runs; its address."""
    url = f"http://127.0.0.1:{port}"
    told = _with_path(env) | {"ACCORD_BIND": f"127.0.0.1:{port}"}
    command = [sys.executable, "-m", "gunicorn", "-c", "python:accord_service.gunicorn_config"]
    with tempfile.TemporaryFile() as log, subprocess.Popen(command, env=told, stdout=log, stderr=log) as process:
        try:
            _wait(url, token("mill-steps", keys), START_SECONDS, process)
            yield url
        except DayError as error:
            log.seek(0)
            raise DayError(f"{error}\n{log.read().decode(errors='replace')[-4000:]}") from None
        finally:
            process.send_signal(signal.SIGTERM)
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(STOP_SECONDS)
            process.kill()


def _with_path(env: Mapping[str, str]) -> dict[str, str]:
    return {**env, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}


def _wait(url: str, key: str, seconds: float, process: subprocess.Popen[bytes] | None = None) -> None:
    """Wait until the service says that it is ready. Raises DayError if it stops, or is not ready in time."""
    deadline, last = time.monotonic() + seconds, "no answer"
    while time.monotonic() < deadline:
        if process is not None and process.poll() is not None:
            raise DayError("the service stopped while starting")
        try:
            with Client(url, key, retries=0) as accord:
                health = accord.health()
            if health.ready:
                return
            last = json.dumps(health.document)
        except AccordError as error:
            last = str(error)
        time.sleep(0.2)
    raise DayError(f"the service at {url} was not ready after {seconds:.0f} s: {last}")


def token(shop: str, keys: Path) -> str:
    """The key of a shop's counter, from the file that seeding wrote it to."""
    return (keys / f"{shop}-counter").read_text(encoding="ascii").strip()


# -- the day sheet -----------------------------------------------------------------------------------------------------


def main_sentence(answer: Verdict) -> str:
    """What the counter has to know first: the question to ask, or what the weightiest finding says."""
    if answer.verdict == "undetermined" and answer.needs:
        return answer.needs[0].question
    for level in LEVELS:
        for finding in answer.at(level):
            return f"{finding.because} {finding.fix}".strip()
    return "Nothing stands in the way."


def print_order(name: str, answer: Verdict, wanted: Mapping[str, Any], width: int) -> None:
    mark = " " if answer.verdict == wanted["verdict"] else "!"
    print(f"{mark} {name:<40} {answer.verdict}")
    print(textwrap.fill(main_sentence(answer), width, initial_indent=" " * 6, subsequent_indent=" " * 6))
    if mark == "!":
        expected = f"EXPECTED {wanted['verdict']}: {wanted['why']}"
        print(textwrap.fill(expected, width, initial_indent=" " * 4, subsequent_indent=" " * 6))


def day(accords: Mapping[str, Client], expected: Mapping[str, Any], width: int) -> dict[str, Verdict]:
    """Send every order, shop by shop, and print the day sheet."""
    answers = {}
    for shop, accord in accords.items():
        print(f"\n== {accord.shop().shop['name']} ({shop}) ".ljust(width, "="))
        for name, wanted in expected.items():
            if wanted["shop"] == shop:
                answers[name] = accord.validate(read_order(name))
                print_order(name, answers[name], wanted, width)
    return answers


def read_order(name: str) -> dict[str, Any]:
    document: dict[str, Any] = json.loads((ORDERS / f"{name}.json").read_text(encoding="utf-8"))
    return document


# -- settling ----------------------------------------------------------------------------------------------------------


def left_open(order: Mapping[str, Any], fields: Sequence[str]) -> dict[str, Any]:
    """The order without ``fields`` ("press", "transfer", "settings"), for the service to fill in."""
    opened = {key: copy.deepcopy(value) for key, value in order.items() if key not in fields}
    for decoration in opened["decorations"]:
        for field in fields:
            decoration.pop(field, None)
    return opened


def print_settlement(name: str, fields: Sequence[str], found: Settlement, width: int) -> None:
    print(f"\n{name}, with {' and '.join(fields)} left open")
    if not found.plans:
        print("  no way found:", *(need.question for need in found.needs[:1]))
        return
    best = found.plans[0]
    print(f"  best of {len(found.plans)}: on {best.press}, {best.verdict}")
    for index in best.sequence:
        _print_decoration(best, index, width)
    for title, sentences in (("if", best.conditions), ("mind", best.cautions)):
        for sentence in sentences:
            print(textwrap.fill(f"{title}: {sentence}", width, initial_indent="    ", subsequent_indent="      "))


def _print_decoration(plan: Plan, index: int, width: int) -> None:
    planned = plan.decorations[index]
    asked = planned.order_settings
    settings = ", ".join(f"{name.replace('_', '-')} {asked[name]}" for name in SETTABLE if name in asked)
    print(textwrap.fill(f"{planned.transfer}: {settings}", width, initial_indent="    ", subsequent_indent="      "))
    for number, step in enumerate(planned.steps, start=1):
        print(textwrap.fill(f"{number}. {step}", width, initial_indent="      ", subsequent_indent="         "))


# -- the whole ---------------------------------------------------------------------------------------------------------


def run(url: str, keys: Path, width: int) -> int:
    expected = tomllib.loads((DEMO / "expected.toml").read_text(encoding="utf-8"))
    shops = list(dict.fromkeys(wanted["shop"] for wanted in expected.values()))
    with contextlib.ExitStack() as stack:
        accords = {shop: stack.enter_context(Client(url, token(shop, keys))) for shop in shops}
        answers = day(accords, expected, width)
        print("\n== Settled ".ljust(width, "="))
        for name, wanted in expected.items():
            if fields := wanted.get("settle"):
                found = accords[wanted["shop"]].recommend(left_open(read_order(name), fields))
                print_settlement(name, fields, found, width)
    counts = Counter(answer.verdict for answer in answers.values())
    wrong = [name for name, answer in answers.items() if answer.verdict != expected[name]["verdict"]]
    print("\n== The day ".ljust(width, "="))
    print(f"{len(answers)} orders: " + ", ".join(f"{count} {verdict}" for verdict, count in counts.most_common()))
    print("every verdict as expected" if not wrong else f"{len(wrong)} not as expected: {', '.join(wrong)}")
    return 1 if wrong else 0


def main() -> int:
    parser = argparse.ArgumentParser(description="Run the demo collective's working day.", allow_abbrev=False)
    parser.add_argument("--url", help="a service that is running already; else one is started for the day")
    parser.add_argument("--keys", type=Path, default=Path(".data/demo/keys"), help="that service's folder of keys")
    asked = parser.parse_args()
    width = min(shutil.get_terminal_size((110, 24)).columns, 120)
    try:
        if asked.url:
            _wait(asked.url, token("mill-steps", asked.keys), ANSWER_SECONDS)
            return run(asked.url, asked.keys, width)
        with service() as (url, keys):
            return run(url, keys, width)
    except (AccordError, DayError, OSError) as error:
        print(f"the day could not be run: {error}", file=sys.stderr)
        return 2


if __name__ == "__main__":
    sys.exit(main())
