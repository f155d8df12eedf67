"""Ordinary work at usual settings on a press with readings. Common practice, no source: such orders need no word."""

from __future__ import annotations

import pytest
from tests.rules.heat.ordinary_orders import ORDERS, judged

from accord_rules.authority import Authority

# How many are accepted without a finding; what is said of the others belongs to care labels, pressure and dye.
PLAIN_LEAST = 16


@pytest.mark.parametrize(("blank", "transfer"), ORDERS)
def test_the_estimate_says_nothing_of_ordinary_orders(blank: str, transfer: str, authority: Authority) -> None:
    verdict = judged(blank, transfer, authority)
    assert verdict.verdict in ("accepted", "conditional")
    speaking = {finding.rule for finding in verdict.findings}
    assert not {name for name in speaking if authority.book.rules[name].topic == "heat-estimate"}


def test_most_ordinary_orders_pass_without_a_word(authority: Authority) -> None:
    verdicts = [judged(blank, transfer, authority) for blank, transfer in ORDERS]
    plain = [verdict for verdict in verdicts if verdict.verdict == "accepted" and not verdict.findings]
    assert len(ORDERS) == 27
    assert len(plain) >= PLAIN_LEAST
