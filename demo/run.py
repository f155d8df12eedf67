"""The working day of the demo collective: every order sent with its shop's key, some left open, the day summed up.

    python demo/run.py                            seeds a store, starts the service itself on a free port
    python demo/run.py --store redis://127.0.0.1:6379/0
                                                  the same on a Redis of yours, where no store comes along (macOS)
    python demo/run.py --url http://127.0.0.1:8080 --keys .data/demo/keys
                                                  asks a service that runs on a store seeded with this folder

The sum and three telling orders come first, then the day sheet.

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
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from accord_client import AccordError, Client, Plan, Recommendation, Verdict

DEMO = Path(__file__).resolve().parent
ORDERS = DEMO / "orders"
LEVELS = ("blocks", "requires", "cautions")
START_SECONDS = 120.0  # for a service started here, which loads and tests the book first
ANSWER_SECONDS = 5.0  # for one that should be running already
STOP_SECONDS = 25.0
# What works, what does not and what would instead, and what must be known first because it could hurt somebody.
TELLING = ("009-team-tees-dye", "079-cotton-tee-dye", "046-kids-tees-undeclared-film")
KEPT_DATA = Path(".data/demo")  # for a store that outlives the day; its keys must be found again the next time
PORT_TRIES = 3  # another program may take the free port before the service does
SETTABLE = ("temperature", "time", "pressure", "peel", "cover", "pad", "tape", "pre_press", "second_press")


class DayError(RuntimeError):
    """The day cannot be run; the message says why."""


class PortTaken(DayError):
    """Another program listens on the port."""


# -- the service -------------------------------------------------------------------------------------------------------


def _free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])


@contextlib.contextmanager
def service(store: str = "") -> Iterator[tuple[str, Path]]:
    """The real service on a store seeded with this folder, for as long as the block runs; its address and keys.

    ``store``: the address of a Redis to use; without one, the store that comes along is started in a folder of its own.
    """
    with contextlib.ExitStack() as stack:
        data = str(KEPT_DATA)
        if not store:
            data = stack.enter_context(tempfile.TemporaryDirectory(prefix="accord-demo-"))
        env = os.environ | {"ACCORD_DATA": data, "ACCORD_STORE_URL": store}
        keys = Path(data, "keys")
        seeded(env)
        yield stack.enter_context(_started(env, keys)), keys


@contextlib.contextmanager
def _started(env: Mapping[str, str], keys: Path) -> Iterator[str]:
    """The service on a free port; on another one if that was taken meanwhile."""
    with contextlib.ExitStack() as stack:
        for tries_left in reversed(range(PORT_TRIES)):
            try:
                url = stack.enter_context(started_on(_free_port(), env, keys))
                break
            except PortTaken:
                if not tries_left:
                    raise
        yield url


def seeded(env: Mapping[str, str]) -> None:
    """Put this folder's shops into the store that ``env`` names, and their keys into its data folder."""
    accord = [sys.executable, "-c", "from accord_service.cli.main import main; main(prog_name='accord')"]
    done = subprocess.run(
        [*accord, "seed", str(DEMO)], env=_with_path(env), capture_output=True, text=True, check=False
    )
    if done.returncode:
        raise DayError(done.stderr.removeprefix("Error: ").strip())


@contextlib.contextmanager
def started_on(port: int, env: Mapping[str, str], keys: Path) -> Iterator[str]:
    """The real service on a port of this machine, ready, for as long as the block runs; its address."""
    url = f"http://127.0.0.1:{port}"
    own_env = _with_path(env) | {"ACCORD_BIND": f"127.0.0.1:{port}"}
    command = [sys.executable, "-m", "gunicorn", "-c", "python:accord_service.serving.gunicorn_config"]
    with tempfile.TemporaryFile() as log, subprocess.Popen(command, env=own_env, stdout=log, stderr=log) as process:
        try:
            _wait(url, token("mill-steps", keys), START_SECONDS, process)
            yield url
        except DayError as error:
            log.seek(0)
            output = log.read().decode(errors="replace")
            if "Connection in use" in output:  # gunicorn's words
                raise PortTaken(f"port {port} is in use by another program") from None
            raise DayError(f"{error}\n{output[-4000:]}") from None
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


@dataclass(frozen=True, slots=True)
class Day:
    """Each order's name to what was expected of it, and to what was answered."""

    expected: Mapping[str, Any]
    answers: Mapping[str, Verdict]

    @property
    def wrong(self) -> list[str]:
        """The orders that were answered otherwise than expected."""
        return [name for name, answer in self.answers.items() if answer.verdict != self.expected[name]["verdict"]]


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
    elif "should_be" in wanted:
        known = f"KNOWN TO BE WRONG, should be {wanted['should_be']}: {wanted['why']}"
        print(textwrap.fill(known, width, initial_indent=" " * 4, subsequent_indent=" " * 6))


def judged(accords: Mapping[str, Client], expected: Mapping[str, Any]) -> dict[str, Verdict]:
    """Send every order with its shop's key."""
    return {name: accords[wanted["shop"]].validate(read_order(name)) for name, wanted in expected.items()}


def settings_told(settings: Mapping[str, Any]) -> str:
    """One decoration's settings, as an order writes them, in a line."""
    return ", ".join(f"{name.replace('_', '-')} {settings[name]}" for name in SETTABLE if name in settings)


def print_sum(day: Day, width: int) -> None:
    print("\n== The day ".ljust(width, "="))
    counts = Counter(answer.verdict for answer in day.answers.values())
    print(f"{len(day.answers)} orders: " + ", ".join(f"{count} {verdict}" for verdict, count in counts.most_common()))
    wrong = day.wrong
    print("every verdict as expected" if not wrong else f"{len(wrong)} not as expected: {', '.join(wrong)}")
    if known := [name for name, wanted in day.expected.items() if "should_be" in wanted]:
        print(f"{len(known)} of them known to be wrong, and said so below: {', '.join(known)}")


def print_telling(day: Day, width: int) -> None:
    print("\n== Three of them ".ljust(width, "="))
    for name in TELLING:
        answer = day.answers[name]
        print_order(name, answer, day.expected[name], width)
        more = [
            f"with {settings_told(settings)}"
            for settings in (answer.on.settings or ())[:1]
            if answer.verdict == "accepted"
        ]
        more += [f"instead: {remedy.text}" for remedy in answer.remedies[:1]]
        for sentence in more:
            print(textwrap.fill(sentence, width, initial_indent=" " * 6, subsequent_indent=" " * 8))


def print_sheet(day: Day, names: Mapping[str, str], width: int) -> None:
    """Every order, shop by shop."""
    for shop, name_of_shop in names.items():
        print(f"\n== {name_of_shop} ({shop}) ".ljust(width, "="))
        for name, wanted in day.expected.items():
            if wanted["shop"] == shop:
                print_order(name, day.answers[name], wanted, width)


def read_order(name: str) -> dict[str, Any]:
    document: dict[str, Any] = json.loads((ORDERS / f"{name}.json").read_text(encoding="utf-8"))
    return document


# -- what is recommended ---------------------------------------------------------------------------------------------


def left_open(order: Mapping[str, Any], fields: Sequence[str]) -> dict[str, Any]:
    """The order without ``fields`` ("press", "transfer", "settings"), for the service to fill in."""
    opened = {key: copy.deepcopy(value) for key, value in order.items() if key not in fields}
    for decoration in opened["decorations"]:
        for field in fields:
            decoration.pop(field, None)
    return opened


def print_recommendation(name: str, fields: Sequence[str], recommendation: Recommendation, width: int) -> None:
    print(f"\n{name}, with {' and '.join(fields)} left open")
    if not recommendation.plans:
        print("  no way found:", *(need.question for need in recommendation.needs[:1]))
        return
    best = recommendation.plans[0]
    print(f"  best of {len(recommendation.plans)}: on {best.press}, {best.verdict}")
    for index in best.sequence:
        _print_decoration(best, index, width)
    for title, sentences in (("if", best.conditions), ("mind", best.cautions)):
        for sentence in sentences:
            print(textwrap.fill(f"{title}: {sentence}", width, initial_indent="    ", subsequent_indent="      "))


def _print_decoration(plan: Plan, index: int, width: int) -> None:
    planned = plan.decorations[index]
    line = f"{planned.transfer}: {settings_told(planned.settings)}"
    print(textwrap.fill(line, width, initial_indent="    ", subsequent_indent="      "))
    for number, step in enumerate(planned.steps, start=1):
        print(textwrap.fill(f"{number}. {step.text}", width, initial_indent="      ", subsequent_indent="         "))


# -- the whole ---------------------------------------------------------------------------------------------------------


@contextlib.contextmanager
def timed(doing: str) -> Iterator[None]:
    """Say what is being done, and, when it is done, how long it took."""
    print(f"{doing} ... ", end="", flush=True)
    began_s = time.monotonic()
    try:
        yield
    except BaseException:
        print(flush=True)
        raise
    print(f"{time.monotonic() - began_s:.0f} s", flush=True)


def expectations() -> dict[str, Any]:
    return tomllib.loads((DEMO / "expected.toml").read_text(encoding="utf-8"))


def run(url: str, keys: Path, width: int) -> int:
    expected = expectations()
    shops = list(dict.fromkeys(wanted["shop"] for wanted in expected.values()))
    with contextlib.ExitStack() as stack:
        accords = {shop: stack.enter_context(Client(url, token(shop, keys))) for shop in shops}
        with timed(f"Sending {len(expected)} orders, each with its shop's key"):
            day = Day(expected, judged(accords, expected))
        open_fields = {name: wanted["left_open"] for name, wanted in expected.items() if "left_open" in wanted}
        with timed(f"Asking for {len(open_fields)} of them how they can be done"):
            recommendations = {
                name: accords[expected[name]["shop"]].recommend(left_open(read_order(name), fields))
                for name, fields in open_fields.items()
            }
        names = {shop: accord.shop().document["name"] for shop, accord in accords.items()}
    print_sum(day, width)
    print_telling(day, width)
    print_sheet(day, names, width)
    print("\n== Recommended ".ljust(width, "="))
    for name, fields in open_fields.items():
        print_recommendation(name, fields, recommendations[name], width)
    return 1 if day.wrong else 0


def main() -> int:
    parser = argparse.ArgumentParser(description="Run the demo collective's working day.", allow_abbrev=False)
    parser.add_argument("--url", help="a service that is running already; else one is started for the day")
    parser.add_argument("--keys", type=Path, default=KEPT_DATA / "keys", help="that service's folder of keys")
    parser.add_argument("--store", default="", help="the address of a Redis for the service that is started")
    options = parser.parse_args()
    width = min(shutil.get_terminal_size((110, 24)).columns, 120)
    try:
        if options.url:
            _wait(options.url, token("mill-steps", options.keys), ANSWER_SECONDS)
            return run(options.url, options.keys, width)
        print("The working day of four invented shops, judged by the real service: ten seconds or so on two cores.")
        with contextlib.ExitStack() as stack:
            with timed("Seeding a store and starting the service"):
                url, keys = stack.enter_context(service(options.store))
            return run(url, keys, width)
    except (AccordError, DayError, OSError) as error:
        print(f"the day could not be run: {error}", file=sys.stderr)
        return 2


if __name__ == "__main__":
    sys.exit(main())
