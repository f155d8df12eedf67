"""What a whole answer costs: validate and recommend in process, and validate over HTTP beside a bare echo.

Run ``python tests/bench/bench_service.py``; it takes less than a minute. In process: CPU time an order (median and 99th
percentile) for a plain order, a rejected one and the rest of the demo's day, and for a recommendation over 25 transfers
and 5 presses. Over HTTP: the service and a bare Flask application that answers with the body it was sent, both under
gunicorn with the same configuration and as many workers, asked in turns in one run over kept-alive connections. Figures
change with the machine; the ratios are what to compare. Then gunicorn's own thread worker beside the service's,
otherwise with the same configuration, asked over several connections at once. Last, the recommendations of
``bench_recommend`` (25 transfers, 5 presses, pieces of every kind, none like another) over HTTP, beside the same echo.
"""

from __future__ import annotations

import http.client
import json
import os
import shutil
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import bench_recommend as recommending

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.load.loader import load_book
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop

DEMO = Path(__file__).parents[2] / "demo"
WIDE = "wide"  # the shop of bench_recommend
WIDE_WORDS = f"{recommending.TRANSFERS} transfers on {len(recommending.PRESSES)} presses"
WORKERS = 2
WARM_UP, ROUNDS, A_ROUND = 30, 20, 15
RECOMMENDATIONS = 40
CONNECTIONS, WORKER_ROUNDS, A_WORKER_ROUND_S = 8, 5, 1.0
MOST_S = 12.0  # for any one line
START_S = 120.0  # a machine may be busy with other things

ECHO = """
from flask import Flask, Response, request

app = Flask(__name__)


@app.post("/v1/validate")
@app.post("/v1/recommend")
def echo():
    return Response(request.get_data(), content_type="application/json")


@app.get("/healthz")
def healthz():
    return "ok"
"""


def demo_orders() -> list[tuple[str, dict[str, Any], Shop]]:
    """The demo's day: expected verdict, order and shop."""
    expected = tomllib.loads((DEMO / "expected.toml").read_text(encoding="utf-8"))
    shops = {file.stem: read(Shop, tomllib.loads(file.read_text("utf-8"))) for file in (DEMO / "shops").glob("*.toml")}
    return [
        (wanted["verdict"], json.loads((DEMO / "orders" / f"{name}.json").read_text("utf-8")), shops[wanted["shop"]])
        for name, wanted in expected.items()
    ]


# -- in process ------------------------------------------------------------------------------------------------------


def cpu_ms(ask: Callable[[], object], times: int) -> list[float]:
    """CPU milliseconds of each call, as many as asked for or as there is time for."""
    samples: list[float] = []
    end = time.monotonic() + MOST_S
    while len(samples) < times and (time.monotonic() < end or len(samples) < 3):
        start = time.process_time()
        ask()
        samples.append((time.process_time() - start) * 1000)
    return samples


def print_times(name: str, samples: Sequence[float], floor: float | None = None) -> float:
    """Print a line; the median."""
    ordered = sorted(samples)
    median, high = statistics.median(ordered), ordered[min(len(ordered) - 1, int(len(ordered) * 0.99))]
    ratio = "" if floor is None else f"  {median / floor:7.1f} x"
    print(f"  {name:52} {median:8.2f} ms   p99 {high:8.2f} ms   n={len(ordered):<4}{ratio}")
    return median


def in_process() -> None:
    print("in process, CPU time (an order is read, resolved, judged on its presses, worded; remedies weighed)")
    authority = Authority(load_book())
    try:
        day = demo_orders()
        plain = next((order, shop) for verdict, order, shop in day if verdict == "accepted")
        refused = next((order, shop) for verdict, order, shop in day if verdict == "rejected")

        def ask(order: Mapping[str, Any], shop: Shop) -> Callable[[], object]:
            return lambda: authority.validate(read(Order, order), shop).document()

        floor = print_times("validate, a plain order", cpu_ms(ask(*plain), 200))
        print_times("validate, a rejected order with its remedies", cpu_ms(ask(*refused), 60), floor)
        every = [sample for _, order, shop in day for sample in cpu_ms(ask(order, shop), 1)[:1]]
        print_times(f"validate, the demo's {len(day)} orders, once each", every, floor)
        book = authority.book
        shop = read(Shop, recommending.shop_document(book))
        request = read(Order, recommending.request_for(book, recommending.EVERYDAY[0]))
        samples = cpu_ms(lambda: authority.recommend(request, shop).document(), RECOMMENDATIONS)
        print_times(f"recommend, {WIDE_WORDS}", samples, floor)
        counts = authority.counts
        assert counts.disagreements == counts.engine_errors == 0, counts
    finally:
        authority.close()


# -- over HTTP -------------------------------------------------------------------------------------------------------


def free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])


@contextmanager
def under_gunicorn(application: str, folder: Path, data: str, *more: str) -> Iterator[int]:
    """The port of an application served with the service's own gunicorn configuration, and a store of its own."""
    port = free_port()
    env = os.environ | {
        "PYTHONPATH": os.pathsep.join([str(folder), *sys.path]),
        "ACCORD_DATA": str(folder / data),
        "ACCORD_RATE_LIMITS": "counter=10000000,owner=10000000",  # the speed is looked for, not the limit
    }
    env.pop("PROMETHEUS_MULTIPROC_DIR", None)
    command = [sys.executable, "-m", "gunicorn", "-c", "python:accord_service.serving.gunicorn_config"]
    command += ["--bind", f"127.0.0.1:{port}", "--workers", str(WORKERS), *more, application]
    with (
        (folder / f"{port}.log").open("wb") as log,
        subprocess.Popen(command, env=env, stdout=log, stderr=log) as server,
    ):
        try:
            wait_until_up(port, server, folder / f"{port}.log")
            yield port
        finally:
            server.send_signal(signal.SIGTERM)
            server.wait(30)


def wait_until_up(port: int, server: subprocess.Popen[bytes], log: Path) -> None:
    end = time.monotonic() + START_S
    while time.monotonic() < end and server.poll() is None:
        try:
            connection = http.client.HTTPConnection("127.0.0.1", port, timeout=START_S)
            connection.request("GET", "/healthz")
            connection.getresponse().read()
            return
        except OSError:
            time.sleep(0.05)
    raise RuntimeError(f"the server did not start: {log.read_text()}")


class Asker:
    """One kept-alive connection that asks one question over and over; times in milliseconds of wall clock."""

    def __init__(self, port: int, body: bytes, token: str) -> None:
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=START_S)
        self._connection.connect()
        self._connection.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._body = body
        self._headers = {"Content-Type": "application/json", "Authorization": f"Bearer {token}"}
        self.samples: list[float] = []

    def ask(self, times: int, keep: bool = True) -> bytes:
        content = b""
        for _ in range(times):
            content = self.ask_once("/v1/validate", self._body, keep)
        return content

    def ask_once(self, path: str, body: bytes, keep: bool = True, token: str = "") -> bytes:
        """``token``: another key's than the one it was made with."""
        if token:
            self._headers["Authorization"] = f"Bearer {token}"
        start = time.perf_counter()
        self._connection.request("POST", path, body, self._headers)
        answer = self._connection.getresponse()
        content = answer.read()
        if keep:
            self.samples.append((time.perf_counter() - start) * 1000)
        assert answer.status == 200, content
        return content

    def close(self) -> None:
        self._connection.close()


def over_http() -> None:
    print(f"over HTTP, wall clock, one connection, {WORKERS} workers each, asked in turns")
    day = demo_orders()
    questions = {
        f"validate, {name} order": next((o, s) for verdict, o, s in day if verdict == wanted)
        for name, wanted in (("a plain", "accepted"), ("a rejected", "rejected"))
    }
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        (folder / "echo.py").write_text(ECHO, encoding="utf-8")
        tokens = seeded(folder, {shop.id for _, shop in questions.values()})
        shutil.copytree(folder / "data", folder / "gthread-data")
        with (
            under_gunicorn("echo:app", folder, "echo-data") as echo,
            under_gunicorn("accord_service.app:create_app()", folder, "data") as service,
        ):
            for name, (order, shop) in questions.items():
                compare(name, echo, service, json.dumps(order).encode(), tokens[shop.id])
            order, shop = questions["validate, a plain order"]
            compare_workers(folder, echo, service, json.dumps(order).encode(), tokens[shop.id])
            whatever_comes(echo, service, tokens[WIDE])


def compare_workers(folder: Path, echo: int, service: int, body: bytes, token: str) -> None:
    """The service's worker beside gunicorn's thread worker: requests a second and the slowest, in turns."""
    print(f"over HTTP, {CONNECTIONS} connections at once, gunicorn's thread worker beside the service's own")
    threaded = ("--worker-class", "gthread")
    with (
        under_gunicorn("echo:app", folder, "gthread-echo-data", *threaded) as threaded_echo,
        under_gunicorn("accord_service.app:create_app()", folder, "gthread-data", *threaded) as threaded_service,
    ):
        for name, ports in (
            ("an echo", {"gthread": threaded_echo, "own": echo}),
            ("validate, a plain order", {"gthread": threaded_service, "own": service}),
        ):
            rounds: dict[str, list[tuple[float, list[float]]]] = {"gthread": [], "own": []}
            for number in range(WORKER_ROUNDS + 1):
                for worker, port in ports.items():
                    round_ = asked_at_once(port, body, token)
                    if number:  # the first round warms up
                        rounds[worker].append(round_)
            compared(name, rounds)


def asked_at_once(port: int, body: bytes, token: str) -> tuple[float, list[float]]:
    """Requests a second over all connections, and each request's milliseconds."""
    askers = [Asker(port, body, token) for _ in range(CONNECTIONS)]
    ends = time.monotonic() + A_WORKER_ROUND_S

    def ask_on(asker: Asker) -> None:
        while time.monotonic() < ends:
            asker.ask(1)

    try:
        start = time.monotonic()
        with ThreadPoolExecutor(CONNECTIONS) as pool:
            list(pool.map(ask_on, askers))
        seconds = time.monotonic() - start
    finally:
        for asker in askers:
            asker.close()
    samples = [sample for asker in askers for sample in asker.samples]
    return len(samples) / seconds, samples


def compared(name: str, rounds: Mapping[str, Sequence[tuple[float, list[float]]]]) -> None:
    rates = {worker: statistics.median(rate for rate, _ in samples) for worker, samples in rounds.items()}
    slowest = {
        worker: statistics.median(statistics.quantiles(samples, n=100)[98] for _, samples in runs)
        for worker, runs in rounds.items()
    }
    for worker in rounds:
        print(
            f"  {name + ', ' + worker:52} {rates[worker]:8.0f} /s   p99 {slowest[worker]:8.2f} ms"
            f"   {rates[worker] / rates['gthread']:7.2f} x /s   {slowest[worker] / slowest['gthread']:7.2f} x p99"
        )


def whatever_comes(echo: int, service: int, token: str) -> None:
    """Each order once. The first ones find nothing kept in either worker; at the further ones most blanks are known."""
    book = load_book()
    for name, seed in (("nothing kept", 7), ("further ones", 8)):
        bare, settling = Asker(echo, b"", token), Asker(service, b"", token)
        try:
            for document in recommending.any_order(book, seed):
                body = json.dumps(document).encode()
                bare.ask_once("/v1/recommend", body)
                settling.ask_once("/v1/recommend", body)
            floor = print_times("a bare Flask echo of the same bodies", bare.samples)
            print_times(f"recommend, {WIDE_WORDS}, any order, {name}", settling.samples, floor)
        finally:
            bare.close()
            settling.close()


def written(document: Mapping[str, Any]) -> str:
    """A shop's document as TOML; JSON's strings, numbers and lists are TOML's too."""
    plain = [f"{name} = {json.dumps(value)}" for name, value in document.items() if not _is_table(value)]
    for name, value in document.items():
        if isinstance(value, Mapping):
            plain += [f"[{name}]", *(f"{key} = {json.dumps(item)}" for key, item in value.items())]
        elif _is_table(value):
            for entry in value:
                plain += [f"[[{name}]]", *(f"{key} = {json.dumps(item)}" for key, item in entry.items())]
    return "\n".join(plain) + "\n"


def _is_table(value: Any) -> bool:
    return isinstance(value, Mapping) or (
        isinstance(value, list) and any(isinstance(entry, Mapping) for entry in value)
    )


def seeded(folder: Path, shops: set[str]) -> dict[str, str]:
    """A store with the demo's shops that are needed; shop to its counter's token."""
    (folder / "shops").mkdir()
    for shop in shops:
        shutil.copy(DEMO / "shops" / f"{shop}.toml", folder / "shops")
    wide = recommending.shop_document(load_book()) | {"id": WIDE}
    (folder / "shops" / f"{WIDE}.toml").write_text(written(wide), encoding="utf-8")
    shops = {*shops, WIDE}
    keys = "".join(
        f'[[key]]\nshop = "{shop}"\nrole = "counter"\nholder = "The counter of {shop}"\n' for shop in sorted(shops)
    )
    (folder / "keys.toml").write_text(keys, encoding="utf-8")
    command = [sys.executable, "-c", "from accord_service.cli.main import main; main()", "seed", str(folder)]
    env = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    subprocess.run(
        [*command, "--data", str(folder / "data")], env=env, check=True, stdout=subprocess.DEVNULL, timeout=60
    )
    files = {file.name.split("-counter")[0]: file for file in (folder / "data" / "keys").iterdir()}
    return {shop: files[shop].read_text(encoding="utf-8").strip() for shop in shops}


def compare(name: str, echo: int, service: int, body: bytes, token: str) -> None:
    askers = {"a bare Flask echo of the same body": Asker(echo, body, token), name: Asker(service, body, token)}
    try:
        bare, judged = askers.values()
        assert bare.ask(WARM_UP, keep=False) == body
        assert json.loads(judged.ask(WARM_UP // 3, keep=False))["verdict"] in ("accepted", "rejected")
        end = time.monotonic() + MOST_S
        for _ in range(ROUNDS):
            for asker in askers.values():
                asker.ask(A_ROUND if asker is bare else max(1, A_ROUND // 5))
            if time.monotonic() > end:
                break
        floor: float | None = None
        for title, asker in askers.items():
            floor = print_times(title, asker.samples, floor)
    finally:
        for asker in askers.values():
            asker.close()


def main() -> None:
    in_process()
    over_http()


if __name__ == "__main__":
    main()
