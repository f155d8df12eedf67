"""Two services on one real redis-server; a proposal's whole way: scripts people run."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from tests.tiers import of_this_run

DEMO = Path(__file__).parents[2] / "demo"
# A sixth of the day's orders by day: that the service judges each of them as expected, tests/demo/test_served.py holds.
ONE_IN = of_this_run(6, 6, 1)
# Orders at edges that an effect is of; what comes of all of them, tests/rules/governance/test_effect.py holds.
EDGES = of_this_run("200", "200", "4000")
LIMIT_S = 240


def run(script: str) -> str:
    """What a script of the demo prints; it must end well."""
    env = os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, sys.path)), "ACCORD_EDGES_MOST": EDGES}
    env.pop("PROMETHEUS_MULTIPROC_DIR", None)
    ended = subprocess.run(
        [sys.executable, str(DEMO / script), "--one-in", str(ONE_IN)],
        env=env, capture_output=True, text=True, timeout=LIMIT_S, check=False,
    )  # fmt: skip
    assert ended.returncode == 0, ended.stdout + ended.stderr
    return ended.stdout


@pytest.mark.long
@pytest.mark.alone
@pytest.mark.needs("redis-server")
def test_two_services_on_one_redis() -> None:
    output = run("topology.py")
    orders = len(list((DEMO / "orders").glob("*.json")))
    before = re.search(r"^(\d+) orders: the same bytes from both services", output, re.MULTILINE)
    after = re.search(r"^(\d+) orders: the same bytes again, under the new revision", output, re.MULTILINE)
    assert before is not None
    assert after is not None
    assert min(int(before[1]), int(after[1])) >= orders // ONE_IN
    seen_s = re.search(r"everywhere on the other after ([0-9.]+) s", output)
    assert seen_s is not None
    assert float(seen_s[1]) < 2.0
    held_s = re.search(r"a held answer was ([0-9.]+) s", output)
    assert held_s is not None
    assert float(held_s[1]) < 1.0, "at most the store's time limit on top of judging"


# service/api/test_proposals.py takes one the same way in the tests' own process.
@pytest.mark.long
def test_a_proposal_goes_its_whole_way() -> None:
    output = run("worked_proposal.py")
    steps = [int(number) for number in re.findall(r"^(\d+)\. ", output, re.MULTILINE)]
    assert steps == list(range(1, 14))
