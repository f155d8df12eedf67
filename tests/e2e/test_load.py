"""The load that faults are tried under must see what is wrong: it is told wrong answers and lost writes."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from types import SimpleNamespace
from typing import Any

import pytest
from tests.e2e.faults.load import HOUSE_RULES, HOUSE_SHOP, Load, Reply
from tests.e2e.faults.table import Figures, Row


def load_of(**parts: Any) -> Load:
    """On a town whose store has these parts."""

    @contextmanager
    def store() -> Iterator[Any]:
        yield SimpleNamespace(**parts)

    town: Any = SimpleNamespace(store=store)
    return Load(town)


def order_of(load: Load, shop: str) -> str:
    return next(name for name, wanted in load._expected.items() if wanted["shop"] == shop)


def faults(load: Load, name: str, sent_s: float = 100.0, **changed: Any) -> list[str]:
    answer = {"basis": "live", "revision": 3, "digest": "d3", "house_digest": "h1"}
    answer |= {"verdict": load._expected[name]["verdict"], **changed}
    return load._faults(Reply("answered", 200, answer), name, sent_s)


def test_another_verdict_and_another_answer_to_the_same_are_seen() -> None:
    load = load_of()
    name = order_of(load, "harbour-lane")
    assert faults(load, name) == []
    assert faults(load, name, basis="held") == [], "how fresh it is, is no other answer"
    assert [text.split(": ")[1] for text in faults(load, name, because="else")] == ["two answers under revision 3"]
    (verdict, _) = faults(load, name, verdict="undetermined")
    assert verdict.endswith(f"undetermined, not {load._expected[name]['verdict']}")
    assert faults(load, name, revision=4, because="else") == [], "under another revision it may be another answer"


def test_an_answer_from_what_was_replaced_is_seen_unless_it_says_so() -> None:
    load = load_of()
    name = order_of(load, HOUSE_SHOP)
    load._floor = (4, 90.0)
    assert "live from revision 3" in faults(load, name)[0]
    assert faults(load, name, sent_s=89.0) == [], "not due yet"
    assert faults(load, name, basis="held") == []
    load._floor, load._house = (3, 0.0), ("h2", 90.0)
    assert "house rules that were replaced 10.0 s before" in faults(load, name)[0]
    assert faults(load, name, sent_s=89.0) == []
    assert faults(load, order_of(load, "harbour-lane")) == [], "another shop's"


def test_any_other_status_is_wrong() -> None:
    load = load_of()
    (fault,) = load._faults(Reply("answered", 500, {"title": "broken"}), order_of(load, "harbour-lane"), 0.0)
    assert "status 500" in fault


def test_what_is_gone_or_done_twice_is_seen() -> None:
    nothing = SimpleNamespace(get=lambda *_: None)
    twice = SimpleNamespace(items=(1, 2))
    load = load_of(
        records=SimpleNamespace(get=lambda *_: None, page=lambda *_, **__: twice),
        keys=nothing,
        proposals=nothing,
        revisions=SimpleNamespace(
            revision=lambda number: SimpleNamespace(digest="other"), head=lambda: SimpleNamespace(number=1)
        ),
        shops=SimpleNamespace(houses=lambda: ()),
    )
    load.done.records["rec_1"] = "F-1"
    load.done.keys.add("key_1")
    load.done.proposals.add("pr_1")
    load.done.revisions[2] = "d2"
    load.done.house = dict(HOUSE_RULES[0])
    lost = load.lost()
    assert [text.split()[0] for text in lost] == ["record", "reference", "key", "proposal", "revision", "house"]
    load._seen.add((2, "d2"))
    assert load.from_lost_revisions() == ["answered from revision 2, which is gone"]


@pytest.mark.parametrize("what", [{"lost": ("a",)}, {"broken": "b"}, {"wrong": ("c",)}])
def test_a_row_with_any_of_it_does_not_hold(what: Any) -> None:
    assert Row("f", Figures()).holds
    assert not Row("f", Figures(), **what).holds
