"""Orders made at random from names of the book: whatever they say, they are judged or refused, never failed on."""

from __future__ import annotations

import json
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.tiers import NIGHTLY, of_this_run

from accord_rules.documents import reading
from accord_rules.load.loader import load_book
from accord_rules.orders.order import Order
from accord_rules.orders.sizes import SIZES, GarmentSizeText

BOOK = load_book()
FIBRES = st.sampled_from(
    [{"PES": 100}, {"CO": 100}, {"PES": 65, "CO": 35}, {"WO": 80, "PA": 20}, {"PAN": 55, "EL": 45}]
)
COLOURS = st.sampled_from(["#F4F4F0", "navy", "black", "#c8102e", "white"])


def values(reader: reading.Reader) -> st.SearchStrategy[Any]:
    match reader:
        case reading.Name(name_of=str(kind)):
            return st.sampled_from(sorted(name for part in kind.split("|") for name in BOOK.catalogue[part]))
        case reading.Text():
            return st.just("bench-38")
        case reading.Choice(words):
            return st.sampled_from(words)
        case GarmentSizeText():
            return st.sampled_from([*SIZES])
        case reading.Flag():
            return st.booleans()
        case reading.Date():
            return st.dates().map(str)
        case reading.Whole(least, most):
            return st.integers(least, min(most, least + 30))
        case reading.Number(least, most):
            return st.floats(least, most)
        case reading.Quantity(dimension=dimension, most=most):
            low, high = max(dimension.least, 0.0), min(most or dimension.most, 400.0)
            return st.floats(low + 0.5, high).map(lambda number: f"{number:.1f} {dimension.symbol}")
        case reading.Many(item, most, least, distinct):
            unique = repr if distinct else None
            return st.lists(values(item), min_size=least, max_size=min(most, least + 2), unique_by=unique)
        case reading.Either(_, first, second):
            return values(first) | values(second)
        case reading.Object(into):
            return parts(into)
    raise AssertionError(f"no strategy for {reader}")


def parts(cls: type) -> st.SearchStrategy[dict[str, Any]]:
    special = {
        "fibres": FIBRES,
        "colour": COLOURS,
        "palette": st.lists(COLOURS, min_size=1, max_size=2),
        "age_from": st.integers(0, 14),
        "age_to": st.integers(14, 99),
        "over": st.just(0),
    }
    needed, free = {}, {}
    for name, (reader, required) in reading.readers_of(cls).items():
        strategy = special[name] if name in special else values(reader)
        (needed if required else free)[name] = strategy
    return st.fixed_dictionaries(needed, optional=free)


def grounded(order: dict[str, Any]) -> dict[str, Any]:
    """The first decoration lies on none."""
    order["decorations"][0].pop("over", None)
    return order


# The same orders with every change, so that none fails for what it did not touch; other ones each night.
SETTINGS = settings(
    max_examples=of_this_run(30, 60, 600),
    derandomize=not NIGHTLY,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    database=None,
)


@pytest.mark.parametrize("path", ["/v1/validate", "/v1/recommend"])
@SETTINGS
@given(order=parts(Order).map(grounded))
def test_random_orders_are_answered(client: FlaskClient, key: dict[str, str], path: str, order: dict[str, Any]) -> None:
    answer = client.post(path, json=order, headers=key)
    assert answer.status_code in (200, 422), answer.text
    json.loads(answer.data, parse_constant=pytest.fail)  # NaN and Infinity are no JSON
    assert answer.data == client.post(path, json=order, headers=key).data or answer.status_code == 422
