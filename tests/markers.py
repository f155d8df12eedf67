"""The markers ``needs``, ``long``, ``nightly``, ``gate``, ``alone`` and ``one_core``; for ``conftest.py`` to take over.

Loading all files of tests takes seconds, and those with a test marked ``alone`` are few: the first run of ``suite.py``
has their names written into the file that ``ACCORD_ALONE_INTO`` names, and in later runs no files are loaded but those
that ``ACCORD_FILES_FROM`` lists. How many tests were left for a longer run goes into the file that ``ACCORD_LEFT_INTO``
names.
"""

from __future__ import annotations

import os
from functools import cache
from pathlib import Path

import machine
import pytest
from tests import tiers

# Files whose tests take longest, longest first: started early, they do not keep one core busy when all others are done.
LONGEST = (
    "tests/mutation/test_code_mutants.py",  # by night
    "tests/fuzz/test_fuzz.py",  # by night
    "tests/bench/test_search.py",  # by night
    "tests/docs/test_readme.py",  # by CI
    "tests/docs/test_steward.py",  # by CI
    "tests/service/api/test_proposals.py",
    "tests/service/steps/test_effect_faults.py",
    "tests/rules/laws/test_answers.py",
    "tests/cli/test_command.py",
    "tests/e2e/test_faults.py",
    "tests/rules/governance/test_effect.py",
    "tests/rules/advise/test_remedies.py",
    "tests/rules/governance/test_house.py",
    "tests/contract/test_schemathesis.py",
    "tests/client/javascript/test_javascript.py",
    "tests/rules/book/test_spoken.py",
    "tests/service/worker/test_revisions.py",
    "tests/rules/laws/test_unassumed.py",
    "tests/service/http/test_roles.py",
    "tests/service/serving/test_serving.py",
    "tests/contract/test_laws.py",
    "tests/service/serving/test_helpers.py",
    "tests/service/serving/test_first_start.py",
    "tests/demo/test_run.py",
    "tests/e2e/test_topology.py",
    "tests/service/serving/test_slow_clients.py",
    "tests/service/serving/test_lines.py",
    "tests/service/serving/test_heavy.py",
    "tests/service/serving/test_gunicorn.py",
    "tests/service/http/test_wire.py",
    "tests/rules/load/test_affected.py",
    "tests/service/api/test_house_pieces.py",
    "tests/service/api/test_bundle.py",
    "tests/packaging/test_wheel.py",
    "tests/docs/test_suite.py",
    "tests/browser/test_pages.py",
    "tests/cli/test_tables.py",
    "tests/rules/published/test_windows.py",
    "tests/rules/load/test_loader.py",
    "tests/rules/load/test_loader_errors.py",
    "tests/rules/load/test_bands.py",
)
# What keeps a wrong verdict out: folders and files whose tests are marked ``gate``.
GATES = (
    "tests/demo/test_month.py",
    "tests/demo/test_orders.py",
    "tests/demo/test_plans.py",
    "tests/demo/test_served.py",
    "tests/mutation",
    "tests/rules/load/test_bands.py",
    "tests/rules/infer/test_differential.py",
    "tests/rules/laws",
    "tests/rules/published",
    "tests/service/http/test_roles.py",
)


def pytest_ignore_collect(collection_path: Path) -> bool | None:
    """Of the files of tests only those listed, where there is a list."""
    name = collection_path.name
    if "ACCORD_FILES_FROM" not in os.environ or not (name.startswith("test_") and name.endswith(".py")):
        return None
    return str(collection_path) not in _files_listed() or None


@cache
def _files_listed() -> frozenset[str]:
    return frozenset(Path(os.environ["ACCORD_FILES_FROM"]).read_text(encoding="utf-8").splitlines())


# First, since pytest itself then takes out what is not wanted in this run.
@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark the gates; leave out tests marked ``long`` or ``nightly`` but where ``tiers.py`` says that they run; put the
    longest files first; write down where tests marked ``alone`` are, and how many were left out."""
    gates = tuple(f"{gate}{end}" for gate in GATES for end in ("/", "::"))
    for item in items:
        if item.nodeid.startswith(gates):
            item.add_marker("gate")
    left = {item: tier for item in items if (tier := _left_for(item)) is not None}
    if left:
        config.hook.pytest_deselected(items=[*left])
        items[:] = [item for item in items if item not in left]
    if into := os.environ.get("ACCORD_LEFT_INTO"):
        Path(into).write_text("".join(f"{tier}\n" for tier in sorted(left.values())), encoding="utf-8")
    if into := os.environ.get("ACCORD_ALONE_INTO"):
        # Each process of a run finds the same ones.
        alone = [item for item in items if item.get_closest_marker("alone")]
        lines = {f"{'one_core' if item.get_closest_marker('one_core') else 'alone'} {item.path}\n" for item in alone}
        Path(into).write_text("".join(sorted(lines)), encoding="utf-8")
    rank = {file: place for place, file in enumerate(LONGEST)}
    items.sort(key=lambda item: rank.get(item.nodeid.partition("::")[0], len(LONGEST)))


def _left_for(item: pytest.Item) -> str | None:
    """The marker by which a test is not of this run, of the longest tier that it has."""
    for marker, runs in (("nightly", tiers.NIGHTLY), ("long", tiers.LONG)):
        if not runs and item.get_closest_marker(marker):
            return marker
    return None


def pytest_runtest_setup(item: pytest.Item) -> None:
    """A test marked ``needs(program, ...)`` is skipped where one is missing; with ``ACCORD_ALL=1`` it fails."""
    needed = {str(program) for mark in item.iter_markers("needs") for program in mark.args}
    if missing := machine.missing(sorted(needed)):
        reason = f"needs {' and '.join(machine.with_package(program) for program in missing)}"
        if os.environ.get("ACCORD_ALL") == "1":
            pytest.fail(reason, pytrace=False)
        pytest.skip(reason)
