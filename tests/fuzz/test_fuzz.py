"""Whatever once failed, and some changed inputs, with every change; fuzzing by coverage by night (``run.py``)."""

from __future__ import annotations

import importlib.util
import os
import random
import subprocess
import sys
from pathlib import Path

import pytest
from tests.fuzz.mutations import mutated, shrunk
from tests.fuzz.targets import TARGETS, ask_quantity

ROOT = Path(__file__).parents[2]
INPUTS = Path(__file__).with_name("inputs")
NIGHTLY_S = int(os.environ.get("ACCORD_FUZZ_S", "120"))  # for each of the five targets: ten minutes
START_MOST_S = 300
# Changed inputs a target, by day: a proposal's book is loaded anew each time.
BY_DAY = {"quantities": 3000, "conditions": 400, "orders": 100, "sheets": 100, "proposals": 15}
SEEDS_BY_DAY = {"orders": 30, "proposals": 6}  # of those that take long; of the others all
TAKEN_LEAST = 0.8
KEPT = sorted(file for file in INPUTS.rglob("*") if file.is_file())


@pytest.mark.parametrize("file", KEPT, ids=lambda file: f"{file.parent.name}-{file.name}")
def test_what_failed_once_is_answered(file: Path) -> None:
    TARGETS[file.parent.name].ask(file.read_bytes())


@pytest.mark.parametrize("name", TARGETS)
def test_changed_inputs_are_answered(name: str) -> None:
    target, rng = TARGETS[name], random.Random(os.environ.get("ACCORD_SEED", "day"))
    pool = list(target.seeds())
    for _ in range(BY_DAY[name]):
        data = mutated(rng.choice(pool), rng, pool, is_json=target.is_json)
        try:
            target.ask(data)
        except Exception as error:
            error.add_note(f"input: {data[:2000]!r}")
            raise


@pytest.mark.parametrize("name", TARGETS)
def test_seeds_are_taken(name: str) -> None:
    """Fuzzing that starts from what is refused anyway would try nothing but the refusals."""
    seeds = list(TARGETS[name].seeds())
    assert len(seeds) >= 30
    tried = seeds[:: max(1, len(seeds) // SEEDS_BY_DAY.get(name, len(seeds)))]
    taken = [TARGETS[name].ask(seed) for seed in tried]
    assert taken.count(True) >= TAKEN_LEAST * len(tried)


def test_a_target_that_fails_is_seen_and_made_smaller(monkeypatch: pytest.MonkeyPatch) -> None:
    """A reading that is let pass out of bounds: the target has to notice, or it could find nothing."""
    monkeypatch.setattr("accord_rules.documents.units._check_bounds", lambda *_: None)

    def fails(data: bytes) -> bool:
        try:
            ask_quantity(data)
        except AssertionError:
            return True
        return False

    assert fails(b"\x00 99999 \xc2\xb0C")
    assert shrunk(b"\x00 99999 \xc2\xb0C", fails, is_json=False) in (b"\x009999K", b"\x009999F", b"\x009999C")


@pytest.mark.nightly
@pytest.mark.parametrize("name", TARGETS)
def test_fuzzing_by_coverage_finds_nothing(name: str) -> None:
    if importlib.util.find_spec("atheris") is None:
        reason = "needs atheris (python -m pip install --require-hashes -r tests/nightly.lock)"
        if os.environ.get("ACCORD_ALL") == "1":
            pytest.fail(reason, pytrace=False)
        pytest.skip(reason)
    command = [sys.executable, "tests/fuzz/run.py", name, "--seconds", str(NIGHTLY_S)]
    done = subprocess.run(
        command, cwd=ROOT, capture_output=True, text=True, timeout=NIGHTLY_S + START_MOST_S, check=False
    )
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-4000:]
