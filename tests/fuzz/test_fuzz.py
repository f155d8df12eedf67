"""Whatever once failed, and some changed inputs, with every change; fuzzing by coverage by night (``run.py``)."""

from __future__ import annotations

import importlib.util
import os
import random
import subprocess
import sys
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from tests.fuzz import targets
from tests.fuzz.mutations import mutated, shrunk
from tests.fuzz.targets import TARGETS, ask_quantity

from accord_rules.documents import units
from accord_rules.documents.reading import DocumentError
from accord_rules.infer.judge import Judge
from accord_service.http import wire

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


def ask_on_a_few_days(name: str) -> None:
    """Each day has few inputs."""
    for seed in ("day", "another day", "a third", "a fourth"):
        ask_changed_inputs(name, seed)


def ask_changed_inputs(name: str, seed: str) -> None:
    target, rng = TARGETS[name], random.Random(seed)
    pool = list(target.seeds())
    for _ in range(BY_DAY[name]):
        data = mutated(rng.choice(pool), rng, pool, is_json=target.is_json)
        try:
            target.ask(data)
        except Exception as error:
            error.add_note(f"input: {data[:2000]!r}")
            raise


@pytest.mark.parametrize("name", TARGETS)
def test_changed_inputs_are_answered(name: str) -> None:
    ask_changed_inputs(name, os.environ.get("ACCORD_SEED", "day"))


@pytest.mark.parametrize("name", TARGETS)
def test_seeds_are_taken(name: str) -> None:
    """Fuzzing that starts from what is refused anyway would try nothing but the refusals."""
    seeds = list(TARGETS[name].seeds())
    assert len(seeds) >= 30
    tried = seeds[:: max(1, len(seeds) // SEEDS_BY_DAY.get(name, len(seeds)))]
    taken = [TARGETS[name].ask(seed) for seed in tried]
    assert taken.count(True) >= TAKEN_LEAST * len(tried)


def let_out_of_bounds(patch: pytest.MonkeyPatch) -> None:
    """Readings are let pass out of bounds."""
    patch.setattr(units, "_check_bounds", lambda *_: None)


def let_no_rule_fire(patch: pytest.MonkeyPatch) -> None:
    """The judge finds nothing."""
    judge = Judge.judge
    patch.setattr(Judge, "judge", lambda self, *facts: replace(judge(self, *facts), fired=()))


def let_the_edge_take_anything(patch: pytest.MonkeyPatch) -> None:
    """The service takes what the rules' own reading refuses."""
    load = wire.load

    def take(cls: type, document: Any) -> Any:
        with suppress(DocumentError):
            return load(cls, document)

    patch.setattr(wire, "load", take)


def let_changes_change_nothing(patch: pytest.MonkeyPatch) -> None:
    """A change set is taken, and the book stays as it was."""
    patch.setattr(targets, "check", lambda documents, changes: targets.book())


PLANTED: Mapping[str, tuple[Callable[[pytest.MonkeyPatch], None], str]] = {
    "quantities": (let_out_of_bounds, "input: "),
    "conditions": (let_no_rule_fire, "true where every atom of some branch is"),
    "orders": (let_the_edge_take_anything, "one parser"),
    "sheets": (let_the_edge_take_anything, "one parser"),
    "proposals": (let_changes_change_nothing, "input: "),
}


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=pytest.mark.long) if name == "conditions" else name for name in TARGETS]
)
def test_a_fault_is_found_by_the_inputs_of_a_few_days(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Fuzzing that finds nothing has to be able to find something."""
    plant, said = PLANTED[name]
    plant(monkeypatch)
    with pytest.raises(AssertionError, match=said):
        ask_on_a_few_days(name)


def test_a_target_that_fails_is_seen_and_made_smaller(monkeypatch: pytest.MonkeyPatch) -> None:
    """A reading that is let pass out of bounds: the target has to notice, or it could find nothing."""
    let_out_of_bounds(monkeypatch)

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
