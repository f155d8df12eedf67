"""The markers ``needs``, ``nightly`` and ``gate``; for ``conftest.py`` to take over."""

from __future__ import annotations

import os

import machine
import pytest

# Files whose tests take longest, longest first: started early, they do not keep one core busy when all others are done.
LONGEST = (
    "tests/mutation/test_code_mutants.py",  # by night
    "tests/fuzz/test_fuzz.py",  # by night
    "tests/bench/test_search.py",  # by night
    "tests/contract/test_schemathesis.py",
    "tests/docs/test_readme.py",
    "tests/service/api/test_proposals.py",
    "tests/cli/test_command.py",
    "tests/rules/laws/test_answers.py",
    "tests/service/serving/test_slow_clients.py",
    "tests/e2e/test_topology.py",
    "tests/demo/test_run.py",
    "tests/rules/governance/test_house.py",
    "tests/service/worker/test_revisions.py",
    "tests/cli/test_administration.py",
    "tests/rules/laws/test_brute_force.py",
    "tests/docs/test_suite.py",
)
# What keeps a wrong verdict out: folders and files whose tests are marked ``gate``.
GATES = (
    "tests/demo",
    "tests/mutation",
    "tests/rules/load/test_bands.py",
    "tests/rules/infer/test_differential.py",
    "tests/rules/laws",
    "tests/rules/published",
    "tests/service/http/test_roles.py",
)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark the gates; leave out tests marked ``nightly`` but for ``ACCORD_NIGHTLY=1``; put the longest files first."""
    for item in items:
        if any(item.nodeid.startswith((f"{gate}/", f"{gate}::")) for gate in GATES):
            item.add_marker("gate")
    if os.environ.get("ACCORD_NIGHTLY") != "1":
        config.hook.pytest_deselected(items=[item for item in items if item.get_closest_marker("nightly")])
        items[:] = [item for item in items if not item.get_closest_marker("nightly")]
    rank = {file: place for place, file in enumerate(LONGEST)}
    items.sort(key=lambda item: rank.get(item.nodeid.partition("::")[0], len(LONGEST)))


def pytest_runtest_setup(item: pytest.Item) -> None:
    """A test marked ``needs(program, ...)`` is skipped where one is missing; with ``ACCORD_ALL=1`` it fails."""
    needed = {str(program) for mark in item.iter_markers("needs") for program in mark.args}
    if missing := machine.missing(sorted(needed)):
        reason = f"needs {' and '.join(machine.with_package(program) for program in missing)}"
        if os.environ.get("ACCORD_ALL") == "1":
            pytest.fail(reason, pytrace=False)
        pytest.skip(reason)
