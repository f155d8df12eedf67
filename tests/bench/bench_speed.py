"""What speed was promised and what it is, in one table of one run: ratios to a bare Flask echo of the same bytes.

Run ``python tests/bench/bench_speed.py``; it takes some five minutes. ``--beside CHECKOUT`` measures another checkout
of this code as well, in turns with this one; ``--only WORDS`` some of the parts; ``--long`` asks a worker a million
questions and 100,000 different orders for its memory (most of an hour; else 20,000 and 5,000).

Over HTTP the echo and the service run under gunicorn with the same configuration, the service's own worker class and
one worker each. One client asks all of them in turns, each over one connection that is kept alive, so that a busy
machine hits them alike; times are wall clock and have the client's own cost in them (``http.client``; about half of an
echo's time), in the echo's as in the others'. What is printed is the median, and its ratio to the echo's of the same
bodies.

- *a plain order*: the first accepted order of the demo's day. *plain orders*: all those accepted with one print.
- *new*: each time in a size and quantity that were not asked before; *new reference*: the very order under another
  reference; *same bytes*: the very request.
- *the demo's orders*: all of the day. First each as it is, of workers that never met it; then each in a new quantity.
- *requests a second a core*: from the processor time that the worker took.
- *recommend*: in process, a fixed sequence of random pieces of all blanks, 25 transfers and 5 presses
  (bench_recommend), in milliseconds of processor time.
- *rules*: a question about books of 100, 300 and 1,000 rules of which about as many fire whatever the size, put to
  engine and judge with neither remembering it, and with an engine that remembers its answers by record, as in service.
- *start*: from the command to the first answer to an order, with a store that is there and a book tried before.
"""

from __future__ import annotations

import argparse
import contextlib
import http.client
import json
import os
import random
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from copy import deepcopy
from pathlib import Path
from typing import Any
from unittest import mock

import bench_inference as inferring
import bench_recommend as recommending
import bench_service as serving

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.documents.units import LENGTH, parse
from accord_rules.infer.inference import ANSWERS_MOST, Inference
from accord_rules.load.loader import load_book
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.condition import Condition, Vocabulary
from accord_rules.revision.condition import parse as parse_condition
from accord_service.worker.collector import spare_the_book

HERE = Path(__file__).resolve().parents[2]
ROOMS = ("rules", "service", "clients/python", ".")
THIS, OTHER, ECHO = "this", "beside", "echo"
ROUNDS, WARM_UP = 200, 60
DEMO_ROUNDS = 1
SHORT, LONG = (20_000, 5_000), (1_000_000, 100_000)
HELPS, STARTS = 5, 3
SIZES = (100, 300, 1000)
FIRE = 5
ASKED_ANEW, REMEMBERED = "engine and judge asked", "the engine remembers"

Row = tuple[str, str, str, str]
# By part, how its values come to rows: what was measured of whom.
Figures = dict[str, dict[str, float]]


# -- the questions -------------------------------------------------------------------------------------------------


class Question:
    """An order of the demo's day with its shop; ``anew`` gives it as it was never asked."""

    def __init__(self, verdict: str, order: Mapping[str, Any], shop: str) -> None:
        self.verdict, self.order, self.shop = verdict, order, shop

    @property
    def body(self) -> bytes:
        return json.dumps(self.order).encode()

    def again(self, number: int) -> bytes:
        """Under another reference."""
        return json.dumps({**self.order, "reference": f"again {number}"}).encode()

    def in_quantity(self, number: int) -> bytes:
        """The same in another quantity."""
        return json.dumps({**self.order, "quantity": self.order["quantity"] + number}).encode()

    def anew(self, number: int) -> bytes:
        """A little smaller, by tenths of a millimetre, and in another quantity."""
        order = deepcopy(dict(self.order)) | {"quantity": self.order["quantity"] + number % 7}
        for decoration in order["decorations"]:
            for side, text in decoration["size"].items():
                millimetres = parse(LENGTH, text) * (1 - 0.0001 * (number % 800 + 1))
                decoration["size"][side] = f"{millimetres:.3f} mm"
        return json.dumps(order).encode()


def day() -> list[Question]:
    return [Question(verdict, order, shop.id) for verdict, order, shop in serving.demo_orders()]


def plain(questions: Iterable[Question]) -> list[Question]:
    """Those accepted, of one print."""
    return [q for q in questions if q.verdict == "accepted" and len(q.order["decorations"]) == 1]


# -- over HTTP -----------------------------------------------------------------------------------------------------


@contextmanager
def served(checkout: Path, application: str, folder: Path, data: str) -> Iterator[tuple[int, int]]:
    """The port of an application of a checkout with one worker, and the worker's process."""
    with (
        mock.patch.object(sys, "path", [*(str(checkout / room) for room in ROOMS), *sys.path]),
        serving.under_gunicorn(application, folder, data, "--workers", "1") as port,
    ):
        yield port, worker_of(port)


def worker_of(port: int) -> int:
    """The process that gunicorn's master on this port forked last."""
    for file in Path("/proc").glob("[0-9]*/cmdline"):
        with contextlib.suppress(OSError):
            if f"127.0.0.1:{port}".encode() in file.read_bytes():
                parent = (file.parent / "stat").read_text().rpartition(")")[2].split()[1]
                with contextlib.suppress(OSError):
                    if f"127.0.0.1:{port}".encode() in Path(f"/proc/{parent}/cmdline").read_bytes():
                        return int(file.parent.name)
    raise RuntimeError("no worker")


def cpu_s(process: int) -> float:
    """Seconds of processor time that a process has taken."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def resident_mb(process: int) -> float:
    return int(Path(f"/proc/{process}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


class Contest:
    """The echo and one or two services, asked in turns by one client."""

    def __init__(self, servers: Mapping[str, tuple[int, int]], tokens: Mapping[str, str]) -> None:
        self.workers = {name: process for name, (_, process) in servers.items()}
        self._tokens, self._ports = tokens, {name: port for name, (port, _) in servers.items()}
        self._askers = {name: serving.Asker(port, b"", "") for name, port in self._ports.items()}

    def ask(self, name: str, shop: str, body: bytes) -> float:
        """Milliseconds to the answer."""
        try:
            self._askers[name].ask_once("/v1/validate", body, token=self._tokens[shop])
        except (ConnectionError, http.client.RemoteDisconnected):
            # On a machine that stands still for a while the server has given the connection up.
            self._askers[name].close()
            self._askers[name] = serving.Asker(self._ports[name], b"", "")
            return self.ask(name, shop, body)
        return self._askers[name].samples.pop()

    def ask_all(self, asked: Sequence[tuple[str, bytes]]) -> dict[str, list[float]]:
        """Each question to each of them, by whom the milliseconds; whoever is first changes from one to the next."""
        times: dict[str, list[float]] = {name: [] for name in self.workers}
        names = list(self.workers)
        for number, (shop, body) in enumerate(asked):
            for name in names[number % len(names) :] + names[: number % len(names)]:
                times[name].append(self.ask(name, shop, body))
        return times

    def close(self) -> None:
        for asker in self._askers.values():
            asker.close()


def over_http(checkouts: Mapping[str, Path], most: tuple[int, int] | None) -> Iterator[Row]:
    questions = day()
    tokens: dict[str, str] = {}
    with tempfile.TemporaryDirectory() as temporary, ExitStack() as stack:
        folder = Path(temporary)
        (folder / "echo.py").write_text(serving.ECHO, encoding="utf-8")
        tokens = serving.seeded(folder, {question.shop for question in questions})
        servers = {ECHO: stack.enter_context(served(HERE, "echo:app", folder, "echo-data"))}
        for name, checkout in checkouts.items():
            shutil.copytree(folder / "data", folder / f"data-{name}")
            application = "accord_service.app:create_app()"
            servers[name] = stack.enter_context(served(checkout, application, folder, f"data-{name}"))
        contest = Contest(servers, tokens)
        try:
            yield from _latencies(contest, questions)
            if most is not None:
                yield from _memory(contest, questions, *most)
        finally:
            contest.close()


def _latencies(contest: Contest, questions: Sequence[Question]) -> Iterator[Row]:
    rng = random.Random(3)
    plain_ones = plain(questions)
    first = plain_ones[0]
    others = [question for question in plain_ones if question is not first]
    for number in range(WARM_UP):
        question = others[number % len(others)]
        contest.ask_all([(question.shop, question.anew(10_000 + number))])
    as_they_are = [(question.shop, question.body) for question in rng.sample(questions, len(questions))]
    met_first = contest.ask_all(as_they_are)
    begun = {name: cpu_s(process) for name, process in contest.workers.items()}
    new = contest.ask_all([(first.shop, first.anew(number)) for number in range(ROUNDS)])
    took = {name: cpu_s(process) - begun[name] for name, process in contest.workers.items()}
    yield from _against_echo("a plain order, new", new, "<= 4 (3)")
    mixed = [(q.shop, q.anew(number)) for number, q in enumerate(rng.choices(plain_ones, k=ROUNDS))]
    yield from _against_echo("plain orders, new", contest.ask_all(mixed), "<= 4 (3)")
    same = contest.ask_all([(first.shop, first.body)] * ROUNDS)
    yield from _against_echo("a plain order, same bytes", same, "<= 2")
    same = contest.ask_all([(q.shop, q.body) for q in rng.choices(plain_ones, k=ROUNDS)])
    yield from _against_echo("plain orders, same bytes", same, "<= 2")
    again = contest.ask_all([(first.shop, first.again(number)) for number in range(ROUNDS)])
    yield from _against_echo("a plain order, new reference", again, "")
    yield from _against_echo("the demo's orders, met first", met_first, "")
    asked = [
        (question.shop, question.in_quantity(number))
        for number in range(1, DEMO_ROUNDS + 1)
        for question in rng.sample(questions, len(questions))
    ]
    later = contest.ask_all(asked)
    yield from _against_echo("the demo's orders, new quantity, median", later, "<= 8 (6)")
    yield from _against_echo("the demo's orders, new quantity, p90", later, "", 0.9)
    for name, seconds in took.items():
        yield "requests a second a core, a plain order, new", name, f"{ROUNDS / seconds:8.0f} /s", ""


def _against_echo(title: str, times: Mapping[str, list[float]], aim: str, share: float = 0.5) -> Iterator[Row]:
    """Ratios of the share-th of the times to the echo's median; the echo's own line is its milliseconds."""
    floor = statistics.median(times[ECHO])
    for name, samples in times.items():
        ms = recommending.percentile(samples, share)
        yield title, name, f"{ms:8.2f} ms {ms / floor:7.2f} x", "" if name == ECHO else aim


def _memory(contest: Contest, questions: Sequence[Question], many: int, different: int) -> Iterator[Row]:
    """What a worker takes after so many questions about different orders, and so many more of the day's again."""
    rng = random.Random(9)
    services = [name for name in contest.workers if name != ECHO]
    started = {name: resident_mb(contest.workers[name]) for name in services}
    plain_ones, bodies = plain(questions), [(question.shop, question.body) for question in questions]

    def grown(title: str, asked: Iterable[tuple[str, bytes]]) -> Iterator[Row]:
        for shop, body in asked:
            for name in services:
                contest.ask(name, shop, body)
        for name in services:
            now = resident_mb(contest.workers[name])
            yield title, name, f"{now:8.0f} MB {now - started[name]:+7.0f} MB", "within 50 MB"

    done = 0
    for up_to in (different // 10, different):
        new = ((q.shop, q.anew(n)) for n in range(done, up_to) for q in [rng.choice(plain_ones)])
        yield from grown(f"memory of a worker, {up_to:,} different orders", new)
        done = up_to
    for up_to in dict.fromkeys((max(done, many // 100), max(done, many // 10), many)):
        yield from grown(f"memory of a worker, {up_to:,} questions", (rng.choice(bodies) for _ in range(done, up_to)))
        done = up_to


# -- in process ----------------------------------------------------------------------------------------------------


def recommend() -> Figures:
    """Of any order: milliseconds of processor time."""
    book = load_book()
    authority = Authority(book)
    shop = read(Shop, recommending.shop_document(book))
    spare_the_book()
    times, known, met, yards = [], [], set(), []
    try:
        for document in recommending.any_order(book):
            request = read(Order, document)
            begun = time.process_time()
            authority.recommend(request, shop)
            took_ms = (time.process_time() - begun) * 1e3
            times.append(took_ms)
            blank = document["item"]["blank"]
            known += [took_ms] if blank in met else []
            met.add(blank)
            begun = time.process_time()
            recommending.yardstick()
            yards.append((time.process_time() - begun) * 1e3)
        counts = authority.counts
        assert counts.disagreements == counts.engine_errors == 0, counts
    finally:
        authority.close()
    of = recommending.percentile
    return {
        "recommend over all blanks, p50": {"ms": of(times, 0.5)},
        "recommend over all blanks, p99": {"ms": of(times, 0.99)},
        "recommend, blanks met before, p99": {"ms": of(known, 0.99)},
        "a yardstick (20,000 squares), p50": {"ms": of(yards, 0.5)},
    }


def book_of(count: int, vocabulary: Vocabulary) -> dict[str, Condition]:
    """``count`` rules, of which ``FIRE`` always fire and each of the others for about one question in 500."""
    rng = random.Random(5)
    texts = [f"item.p{place} >= 0" for place in range(FIRE)]
    texts += [
        f"transfer.kind == '{rng.choice(inferring.KINDS)}' and item.e{rng.randrange(5)} == 'kind-{rng.randrange(5)}'"
        f" and {rng.choice(('', 'not '))}item.b{rng.randrange(8)} and "
        + rng.choice(
            (
                f"item.p{rng.randrange(5)} < {rng.randrange(10, 30)}",
                f"press.t{rng.randrange(5)}_c > limit('heat.l{rng.randrange(5, 8)}')",
            )
        )
        for _ in range(count - FIRE)
    ]
    return {f"rule-{place:04}": parse_condition(text, vocabulary) for place, text in enumerate(texts)}


def rules() -> Figures:
    """Microseconds of processor time a question, by the number of rules."""
    _, vocabulary, limits = inferring.made_up_book()
    samples = inferring.made_up_samples(vocabulary, limits, 300)
    figures: Figures = {}
    with ExitStack() as stack:
        contestants: dict[str, Callable[[inferring.Sample], object]] = {}
        for count in SIZES:
            chosen = book_of(count, vocabulary)
            for most, title in ((0, ASKED_ANEW), (ANSWERS_MOST, REMEMBERED)):
                inference = stack.enter_context(Inference(chosen, vocabulary.facts, 1, most))
                contestants[f"{count:4} rules, {title}"] = lambda sample, asked=inference: asked.infer(*sample)
            fired = statistics.mean(len(inference.infer(*sample).fired) for sample in samples)
            figures[f"{count:4} rules, {ASKED_ANEW}"] = {"fire": fired}
        medians = inferring._medians(contestants, samples, 9)
    for title, us in medians.items():
        least = medians[f"{SIZES[0]:4} rules, {title.partition(', ')[2]}"]
        figures[title] = {"us": us, "x 100 rules": us / least} | figures.get(title, {})
    return figures


PARTS: Mapping[str, Callable[[], Figures]] = {"recommend": recommend, "rules": rules}


def in_process(part: str, checkouts: Mapping[str, Path]) -> Iterator[Row]:
    for name, checkout in checkouts.items():
        command = [sys.executable, __file__, "--part", part]
        run = subprocess.run(command, cwd=HERE, env=env_of(checkout), capture_output=True, check=True, text=True)
        for title, figures in json.loads(run.stdout).items():
            aim = {"recommend over all blanks, p99": "<= 25 ms", f"1000 rules, {ASKED_ANEW}": "< 3 x"}.get(title, "")
            yield title, name, "  ".join(f"{value:8.2f} {what}" for what, value in figures.items()), aim


def env_of(checkout: Path) -> dict[str, str]:
    paths = [*(str(checkout / room) for room in ROOMS), str(HERE / "tests/rules")]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(paths)}


# -- the commands --------------------------------------------------------------------------------------------------


def children_s() -> float:
    """Seconds of processor time that all processes started from here took that are gone by now."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def children_cpu_s(command: Sequence[str], env: Mapping[str, str]) -> float:
    before_s = children_s()
    subprocess.run(command, env=env, check=True, stdout=subprocess.DEVNULL)
    return children_s() - before_s


def help_(checkouts: Mapping[str, Path]) -> Iterator[Row]:
    """The least of a few, since a file may have to be read from the disk first."""
    for name, checkout in checkouts.items():
        accord = "from accord_service.cli.main import main; main(['--help'])"
        bare, whole = (
            min(children_cpu_s([sys.executable, "-c", code], env_of(checkout)) for _ in range(HELPS))
            for code in ("pass", accord)
        )
        yield "accord --help, CPU", name, f"{whole:8.2f} s (a bare Python {bare:.2f} s)", "< 0.3 s"


def start(checkouts: Mapping[str, Path]) -> Iterator[Row]:
    """Seconds of wall clock to the first answer, and of processor time of all processes till they are gone again; the
    medians. The first start fills the caches and is left out."""
    question = day()[0]
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        tokens = serving.seeded(folder, {question.shop})
        walls: dict[str, list[float]] = {name: [] for name in checkouts}
        cpus: dict[str, list[float]] = {name: [] for name in checkouts}
        for _ in range(STARTS + 1):
            for name, checkout in checkouts.items():
                begun, before_s = time.perf_counter(), children_s()
                with served(checkout, "accord_service.app:create_app()", folder, "data") as (port, _):
                    asker = serving.Asker(port, question.body, tokens[question.shop])
                    asker.ask(1)
                    walls[name].append(time.perf_counter() - begun)
                    asker.close()
                cpus[name].append(children_s() - before_s)
        for name, samples in walls.items():
            wall_s, all_cpu_s = statistics.median(samples[1:]), statistics.median(cpus[name][1:])
            yield "start to the first answer, warm", name, f"{wall_s:8.2f} s ({all_cpu_s:.2f} s CPU)", "< 3 s"


def rows(checkouts: Mapping[str, Path], only: str, most: tuple[int, int]) -> Iterator[Row]:
    parts: dict[str, Callable[[], Iterator[Row]]] = {
        "http": lambda: over_http(checkouts, None),
        "memory": lambda: over_http(checkouts, most),
        "recommend": lambda: in_process("recommend", checkouts),
        "rules": lambda: in_process("rules", checkouts),
        "start": lambda: start(checkouts),
        "help": lambda: help_(checkouts),
    }
    wanted = only.split(",") if only else [part for part in parts if part != "http"]
    for part in wanted:
        yield from parts[part]()


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--beside", type=Path)
    parser.add_argument("--only", default="", help="of http, memory (with http), recommend, rules, start, help")
    parser.add_argument("--long", action="store_true")
    parser.add_argument("--part", choices=PARTS)
    given = parser.parse_args()
    if given.part:
        print(json.dumps(PARTS[given.part]()))
        return
    if given.beside and not (given.beside / ROOMS[0]).is_dir():
        parser.error(f"{given.beside} is no checkout of this code")
    checkouts = {THIS: HERE} | ({OTHER: given.beside.resolve()} if given.beside else {})
    print(f"{'':52} {'':8} {'':40} aim")
    for title, name, figures, aim in rows(checkouts, given.only, LONG if given.long else SHORT):
        print(f"{title:52} {name:8} {figures:40} {aim}", flush=True)


if __name__ == "__main__":
    main()
