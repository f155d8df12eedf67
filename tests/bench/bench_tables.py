"""Orders in bulk: rows a second through ``accord validate`` and a service of its own, memory by length of the file.

    python tests/bench/bench_tables.py [ROWS]

Rows are the demo's table with other sizes, quantities and references, no two alike. The service has one worker. Memory
is the most that a process of the command ever held (VmHWM: ru_maxrss would count what this program held when it began
that one), with answers that cost nothing.
"""

from __future__ import annotations

import csv
import os
import signal
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

import openpyxl

ROOT = Path(__file__).parents[2]
ACCORD = [sys.executable, "-c", "from accord_service.cli.main import main; main(prog_name='accord')"]
STUBBED = """
import sys
from contextlib import contextmanager
import accord_service.cli.validate as command
ANSWER = {"verdict": "accepted", "judged_on": "bench", "findings": [], "needs": [], "conditions": [], "remedies": [],
          "presses": [{"press": "bench", "settings": None, "sequence": None}], "revision": 1, "basis": "live"}
class Stub:
    introduction = ""
    def validate_all(self, orders, revision):
        return (ANSWER for _ in orders)
@contextmanager
def answerer(**who):
    yield Stub()
command.answerer = answerer
try:
    command.validate(sys.argv[1:])
except SystemExit:
    print(next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")))
"""
PORT = 18_480
REFERENCE, WIDTH, QUANTITY = 0, 6, 13  # columns of the table


def varied(count: int) -> list[list[str]]:
    """The headers, and rows of the demo's table that can be read, no two alike."""
    with (ROOT / "demo" / "orders.csv").open(encoding="utf-8", newline="") as file:
        header, *rows = [row for row in csv.reader(file) if row]
    rows = [row for row in rows if row[QUANTITY].isdigit() and "cm" not in row[WIDTH]]
    made = [header]
    for number in range(count):
        row = list(rows[number % len(rows)])
        row[REFERENCE], row[QUANTITY] = f"V-{number}", str(number + 1)
        row[WIDTH] = f"{2 + number % 29 / 16:g}"
        made.append(row)
    return made


def written(folder: Path, count: int) -> tuple[Path, Path]:
    """The rows as CSV and as a workbook."""
    rows = varied(count)
    text, book = folder / f"{count}.csv", folder / f"{count}.xlsx"
    with text.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)
    made = openpyxl.Workbook(write_only=True)
    sheet = made.create_sheet("Orders")
    for row in rows:
        sheet.append(row)
    made.save(book)
    return text, book


def through_a_service(folder: Path, count: int) -> None:
    """Prints rows a second."""
    data = folder / "data"
    subprocess.run([*ACCORD, "seed", "demo", "--data", str(data)], check=True, cwd=ROOT, stdout=subprocess.DEVNULL)
    serve = [*ACCORD, "serve", "--data", str(data), "--port", str(PORT), "--workers", "1"]
    text, _ = written(folder, count)
    with (folder / "log").open("wb") as log, subprocess.Popen(serve, stdout=log, stderr=log) as server:
        try:
            wait_until_ready(f"http://127.0.0.1:{PORT}/readyz")
            token = (data / "keys" / "harbour-lane-counter").read_text(encoding="ascii").strip()
            env = {**os.environ, "ACCORD_URL": f"http://127.0.0.1:{PORT}", "ACCORD_TOKEN": token}
            began = time.monotonic()
            ask = [*ACCORD, "validate", str(text), "--output", "csv", "--to", str(folder / "results.csv")]
            done = subprocess.run(ask, env=env, capture_output=True, text=True)
            took_s = time.monotonic() - began
        finally:
            server.send_signal(signal.SIGTERM)
    print(done.stderr.strip())
    print(f"{count} rows in {took_s:.0f} s: {count / took_s:.0f} a second (load {os.getloadavg()[0]:.0f})")


def wait_until_ready(url: str) -> None:
    until = time.monotonic() + 120
    while True:
        try:
            urllib.request.urlopen(url, timeout=2).close()
            return
        except OSError:
            if time.monotonic() > until:
                raise
            time.sleep(0.2)


def memory(folder: Path) -> None:
    """Prints the most that the command holds for files of two lengths."""
    for count in (1_000, 100_000):
        for file in written(folder, count):
            ask = [sys.executable, "-c", STUBBED, str(file), "--output", "csv", "--to", str(folder / "out.csv")]
            done = subprocess.run(ask, capture_output=True, text=True)
            print(f"{file.suffix} of {count} rows: {int(done.stdout) / 1024:.0f} MB")


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 2_000
    with tempfile.TemporaryDirectory() as name:
        memory(Path(name))
        through_a_service(Path(name), count)


if __name__ == "__main__":
    main()
