"""The suite, and one account of it at the very end.

    python tests/suite.py [FILE ...]

Three runs of pytest: what can share the machine runs on all of its cores; what measures seconds that were promised (the
marker ``alone``) runs afterwards, first what keeps no more than one core busy (``one_core`` too), two files at a time
where there are two cores, then the rest with nothing beside it. Then the last lines: what failed, what could not run
here and which Debian package brings what it lacks, how many tests were left for longer runs, and the sum of all runs in
the words of pytest's own closing line.

With ``ACCORD_LONG=1`` it runs what CI runs with every change, with ``ACCORD_NIGHTLY=1`` what the night runs
(``tiers.py``).

With ``ACCORD_ALL=1`` nothing may be skipped. Exits with 1 if a test failed, or was skipped that had to run, or none
ran; with 2 if pytest itself broke off.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

# pytest's exit codes, https://docs.pytest.org/en/stable/reference/exit-codes.html
TESTS_FAILED, NOTHING_COLLECTED = 1, 5
# The markers of tests that a longer run takes, and what is said of them.
LEFT = {
    "long": "left for CI, which runs them with every change (ACCORD_LONG=1)",
    "nightly": "left for the night (make nightly)",
}
LEFT_OUT = "left-out"
WRITTEN_MOST_BYTES = 3 * 1024**3  # the tests' folders, by far not reached
LINUX_ONLY = (
    "The tests start the store that comes along, which is there for Linux alone: run them in a container or a virtual"
    " machine, for example with docker run -v $PWD:/accord -w /accord python:3.12 make test."
)


@dataclass(frozen=True)
class Run:
    """One run of pytest: the tests it takes, and how they are spread over processes. ``kind``: see ``markers.py``."""

    marker: str
    spread: tuple[str, ...] = ()
    kind: str | None = None

    def report(self, folder: Path) -> Path:
        return folder / f"{self.marker}.xml"


def _over(processes: int) -> tuple[str, ...]:
    return "-n", str(processes), "--dist", "loadfile", "--no-loadscope-reorder"


def runs() -> tuple[Run, ...]:
    cores = len(os.sched_getaffinity(0))
    return (
        # One process more than there are cores: many tests wait, for a start or for a time limit.
        Run("not alone", _over(cores + 1)),
        Run("alone and one_core", _over(min(cores, 2)), "one_core"),
        Run("alone and not one_core", (), "alone"),
    )


@dataclass(frozen=True)
class Account:
    """What became of the tests. ``failed`` names them; ``skipped`` is why, once for each test; ``left`` is the marker
    by which each was left for a longer run."""

    passed: int
    failed: tuple[str, ...]
    skipped: tuple[str, ...]
    left: tuple[str, ...] = ()

    def __add__(self, more: Account) -> Account:
        return Account(
            self.passed + more.passed, self.failed + more.failed, self.skipped + more.skipped, self.left + more.left
        )


def account_of(report: Path) -> Account:
    """Read a report in the JUnit format. A test that fails and then cannot be torn down counts once."""
    passed, failed, skipped = 0, [], []
    for case in ElementTree.parse(report).iter("testcase"):
        reason = case.find("skipped")
        if case.find("failure") is not None or case.find("error") is not None:
            failed.append(f"{case.get('file', case.get('classname', ''))}::{case.get('name')}")
        elif reason is not None:
            skipped.append(reason.get("message", ""))
        else:
            passed += 1
    return Account(passed, tuple(dict.fromkeys(failed)), tuple(skipped))


def closing_lines(account: Account, seconds: float) -> list[str]:
    """The last lines of the output, the very last one in pytest's own words."""
    lines = [f"failed: {name}" for name in account.failed]
    reasons = Counter(account.skipped).most_common()
    lines += [f"not run here: {_need_of(count, reason)}" for reason, count in reasons]
    lines += [f"{said}: {_tests(count)}" for tier, said in LEFT.items() if (count := account.left.count(tier))]
    counts = {"failed": len(account.failed), "passed": account.passed, "skipped": len(account.skipped)}
    counted = ", ".join(f"{count} {word}" for word, count in counts.items() if count) or "no tests ran"
    minutes, rest = divmod(round(seconds), 60)
    return [*lines, f" {counted} in {seconds:.2f}s ({minutes // 60}:{minutes % 60:02}:{rest:02}) ".center(100, "=")]


def _need_of(count: int, reason: str) -> str:
    """Such as "7 tests need redis-server (package redis-server)"; other reasons after a colon."""
    what = reason.removeprefix("needs ")
    if what == reason:
        return f"{_tests(count)}: {reason}"
    return f"{_tests(count)} {'needs' if count == 1 else 'need'} {what}"


def _tests(count: int) -> str:
    return f"{count} {'test' if count == 1 else 'tests'}"


def run_pytest(run: Run, folder: Path, words: Sequence[str]) -> int | None:
    """Run the tests whose markers fit; pytest's exit code. None where the run before said that there are none.

    ``folder``: what the runs have in common, and where their tests write. Compiled code is kept whatever the
    environment says: the tests start many processes, and each would compile the program anew.
    """
    env = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    env["ACCORD_TESTS_FOLDER"] = str(folder)
    written = folder / "with-alone"
    if run.kind is None:
        env["ACCORD_ALONE_INTO"] = str(written)
        env["ACCORD_LEFT_INTO"] = str(folder / LEFT_OUT)
    elif written.exists():
        files = files_of(run.kind, written.read_text(encoding="utf-8"))
        if not files:
            return None
        listed = folder / f"{run.kind}.files"
        listed.write_text("\n".join(files), encoding="utf-8")
        env["ACCORD_FILES_FROM"] = str(listed)
    # A short path, since that of a socket has to fit into 107 bytes (unix(7)).
    options = ["-m", run.marker, f"--basetemp={folder / (run.kind or 'all')}"]
    options += [f"--junitxml={run.report(folder)}", "-o", "junit_family=xunit1"]
    command = [sys.executable, "-m", "pytest", *options, *run.spread, *words]
    return subprocess.run(command, env=env, check=False).returncode


def files_of(kind: str, written: str) -> list[str]:
    """The files with tests of this kind, of lines like ``alone /home/ann/accord/tests/store/test_away.py``."""
    return [file for line in written.splitlines() for of, _, file in [line.partition(" ")] if of == kind]


def _left_out(written: Path) -> tuple[str, ...]:
    """The marker by which each test was left out; none if pytest broke off before it knew."""
    return tuple(written.read_text(encoding="utf-8").split()) if written.exists() else ()


def exit_code(codes: Iterable[int], account: Account, *, all_must_run: bool) -> int:
    broken = any(code not in (0, TESTS_FAILED, NOTHING_COLLECTED) for code in codes)
    wrong = account.failed or not account.passed or (all_must_run and account.skipped)
    return 2 if broken else int(bool(wrong) or TESTS_FAILED in codes)


def folder_in_memory() -> Path | None:
    """A file system in memory with room for all that the tests write; None where there is none.

    A store has each commit on the disk before it says so, and the tests make some ten thousand of them.
    """
    memory = Path("/dev/shm")
    try:
        room, flags = shutil.disk_usage(memory).free, os.statvfs(memory).f_flag
        available_kib = re.search(r"^MemAvailable: +(\d+) kB$", Path("/proc/meminfo").read_text(), re.MULTILINE)
    except OSError:
        return None
    can_be_used = os.access(memory, os.W_OK | os.X_OK) and not flags & os.ST_NOEXEC
    is_free = available_kib is not None and int(available_kib[1]) * 1024 >= 2 * WRITTEN_MOST_BYTES
    return memory if can_be_used and is_free and room >= WRITTEN_MOST_BYTES else None


def main(words: Sequence[str]) -> int:
    if sys.platform != "linux":
        print(LINUX_ONLY, file=sys.stderr)
        return 2
    began_s, codes, account = time.monotonic(), [], Account(0, (), ())
    with tempfile.TemporaryDirectory(prefix="accord-tests-", dir=folder_in_memory()) as name:
        folder = Path(name)
        for run in runs():
            if (code := run_pytest(run, folder, words)) is None:
                continue
            codes.append(code)
            report = run.report(folder)
            account += account_of(report) if report.exists() else Account(0, (), ())
        account += Account(0, (), (), _left_out(folder / LEFT_OUT))
    print(*closing_lines(account, time.monotonic() - began_s), sep="\n", flush=True)
    return exit_code(codes, account, all_must_run=os.environ.get("ACCORD_ALL") == "1")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
