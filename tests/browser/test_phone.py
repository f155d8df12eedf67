"""The counter on a slow phone: usable within a second of the tap on its address, by Lighthouse's mobile preset."""

from __future__ import annotations

import statistics
from pathlib import Path

import pytest
from tests.browser.conftest import Served
from tests.browser.phone import LIGHTHOUSE, first_and_next, phone
from tests.browser.test_counter import sign_in

pytestmark = [pytest.mark.needs("chromium", "chromedriver"), pytest.mark.alone]


def test_the_counter_is_usable_within_a_second_at_the_first_visit(served: Served, tmp_path: Path) -> None:
    with phone(tmp_path, LIGHTHOUSE) as page:
        sign_in(page, served)
        visits = [first_and_next(page, served.url, LIGHTHOUSE, "/counter") for _ in range(3)]
    assert {first.requests for first, _ in visits} == {3}, "the page, its sheet and its script"
    assert max(first.bytes_ for first, _ in visits) < 22_000
    assert statistics.median(first.usable_s for first, _ in visits) <= 1.0
    # No less than the line takes: a handshake, the page, and its sheet, one after the other.
    assert min(first.painted_s for first, _ in visits) > 3 * LIGHTHOUSE.round_trip_s
