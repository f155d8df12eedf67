"""One shape, one home: what an answer's dataclass declares is what its document has, to the key and in that order."""

from __future__ import annotations

from typing import Any

import pytest

from accord_rules.authority import Authority
from accord_rules.documents.reading import DocumentError, members_of, read
from accord_rules.documents.writing import Documented
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_rules.verdict import Envelope, Recommendation, Verdict

ORDERS: dict[str, dict[str, Any]] = {
    "nothing is said": {"item": {}, "decorations": [{}], "reference": "HL-1"},
    "it is rejected": {"item": {"blank": "tee-heavy-white"}, "decorations": [{"transfer": "dye-sublimation"}]},
    "it can be done": {
        "item": {"blank": "tee-heavy-white"},
        "decorations": [{"transfer": "cut-film", "placement": "front", "size": {"width": "8 in", "height": "20 cm"}}],
        "quantity": 12,
    },
}


@pytest.fixture(params=ORDERS)
def answers(request: pytest.FixtureRequest, authority: Authority, book: Book) -> list[Documented]:
    document, shop = ORDERS[request.param], book.example_shop
    order = read(Order, document)
    return [
        authority.validate(order, shop),
        authority.recommend(read(Order, document), shop),
        authority.envelope(order, shop),
    ]


def test_a_document_has_the_declared_fields_in_their_order(answers: list[Documented]) -> None:
    assert [type(answer) for answer in answers] == [Verdict, Recommendation, Envelope]
    written = [list(answer.document()) for answer in answers]
    assert written == [[member.name for member in members_of(type(answer))] for answer in answers]
    first = ["id", "verdict", "unsaid", "revision", "digest", "house_digest", "basis"]
    assert written[0][: len(first)] == first, "the basis is spread"


def test_a_document_is_read_back_by_the_same_readers(answers: list[Documented]) -> None:
    documents = [answer.document() for answer in answers]
    assert [read(type(answer), answer.document()).document() for answer in answers] == documents


def test_a_document_with_a_field_too_many_or_too_few_is_no_answer(answers: list[Documented]) -> None:
    verdict = answers[0].document()
    of_press = {"press_title": "p", "titles": {}, "settings": None, "pressings": None, "sequence": None}
    of_press |= {"blocked_by": [], "because": None}
    for broken, pointer in (
        (verdict | {"surprise": 1}, "/surprise"),
        ({name: value for name, value in verdict.items() if name != "needs"}, "/needs"),
        (verdict | {"verdict": "maybe"}, "/verdict"),
        (verdict | {"presses": [{"press": "p"} | of_press]}, "/presses/0/verdict"),
    ):
        with pytest.raises(DocumentError) as caught:
            read(Verdict, broken)
        assert [fault.pointer for fault in caught.value.faults] == [pointer]


def kinds_of(cls: type) -> set[type]:
    return {cls, *(deeper for subclass in cls.__subclasses__() for deeper in kinds_of(subclass))}


def test_no_answer_writes_its_document_by_hand() -> None:
    shapes = {shape for shape in kinds_of(Documented) if shape.__module__.startswith("accord_rules.")} - {Documented}
    assert len(shapes) > 20
    assert {shape.__name__ for shape in shapes if "document" in vars(shape)} == set()
    assert {f"{shape.__name__}.{m.name}" for shape in shapes for m in members_of(shape) if not m.about} == set()
