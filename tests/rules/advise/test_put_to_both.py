"""What a recommendation tells was put to engine and judge; what it does not, to the judge alone."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from accord_rules.advise import plans
from accord_rules.authority import Authority
from accord_rules.derive.case import Case
from accord_rules.documents.reading import read
from accord_rules.infer.inference import Inference
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book

PRESSES = ("clamshell", "hand-held", "draw")


@pytest.fixture
def fresh(book: Book) -> Iterator[Authority]:
    opened = Authority(book)
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def wide(book: Book) -> Shop:
    """A shop with a dozen products and some presses, so that there is more than is told."""
    document = book.documents["base_example"]["shop"]
    stock = {**document["stock"], "products": list(book.catalogue["products"])[:12]}
    return read(Shop, {**document, "stock": stock, "presses": [{"id": name, "type": name} for name in PRESSES]})


def order(blank: str) -> Order:
    size = {"width": "90 mm", "height": "90 mm"}
    return read(Order, {"item": {"blank": blank}, "quantity": 3, "decorations": [{"placement": "front", "size": size}]})


def put_to_both(authority: Authority, case: Case) -> bool:
    section = authority.scales._enforced[case.scope.rank]
    return (section, section.values(case)) in authority.scales._answered


@pytest.mark.parametrize("blank", ["tee-heavy-white", "hoodie-zip-navy", "hardboard-coaster"])
def test_whatever_will_not_do_is_put_to_both(blank: str, fresh: Authority, wide: Shop) -> None:
    searched = plans.search(fresh.scales, order(blank), wide)
    told = [case for way in searched.hopeless for case in way.decorations]
    told += [case for candidate in searched.others for case in candidate.on_press.cases]
    told += [case.parent for case in told if case.parent is not None and case.parent.parent is not None]
    assert told
    assert all(put_to_both(fresh, case) for case in told)


def test_what_is_possible_is_put_to_both_when_it_is_offered(
    fresh: Authority, wide: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    searched = plans.search(fresh.scales, order("tee-heavy-white"), wide)
    pressings = [candidate.on_press.cases[0] for candidate in searched.possible]
    assert not any(put_to_both(fresh, case) for case in pressings)
    asked: list[object] = []
    infer = Inference.infer
    monkeypatch.setattr(Inference, "infer", lambda self, *question: asked.append(question) or infer(self, *question))
    offered = fresh.recommend(order("tee-heavy-white"), wide).plans
    # Each plan put back is one question at least about its pressing, with settings that the order then says.
    assert len(asked) >= len(offered) > 5
