"""What the endpoints about one piece of the house rules share. A piece is written with the whole: one version, one
commit, one check that nothing is loosened; only its ETag is its own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import MappingProxyType

from accord_rules.documents.reading import Fault, escape
from accord_rules.governance.house import HouseLimit, HouseRule, HouseRules, Refusal, read_house
from accord_service.api.endpoint import Call
from accord_service.http.problems import FaultyDocument, HouseRulesRefused, NotFound
from accord_service.http.writing import Answer, Prepared, Remember
from accord_service.store import HouseRecord

RULE_ID = MappingProxyType({"rule_id": "id of the rule, which starts with house."})
LIMIT_ID = MappingProxyType({"limit_id": "name of the limit in the book"})


def house_record(call: Call) -> HouseRecord:
    """The caller's shop's house rules as they are kept. Raises NoShop, StoreAway."""
    return call.room.store.shops.house(call.own.record.id)


def rule_answer(record: HouseRecord, id_: str) -> Answer:
    """One rule of a version of house rules as an answer. Raises NotFound."""
    rules = read_house(record.document).rules
    if id_ not in rules:
        raise NotFound(
            f"Your house rules have no rule {id_!r}. A new one is added with POST /v1/shop/house-rules/rules."
        )
    return _part(record, HouseRule(id_, rules[id_]))


def limit_answer(record: HouseRecord, id_: str) -> Answer:
    """Where a version of house rules has a limit, as an answer."""
    return _part(record, HouseLimit(id_, read_house(record.document).limits.get(id_)))


def whole_answer(record: HouseRecord) -> Answer:
    """One version of house rules as an answer."""
    return Answer(read_house(record.document).document(), version=record.version)


def _part(record: HouseRecord, piece: HouseRule | HouseLimit) -> Answer:
    return Answer(piece.document(), version=record.version, part=True)


def refuse_other_id(call: Call, id_: str) -> None:
    """Raises FaultyDocument where a body names another piece than its address."""
    if call.body.id != id_:
        raise FaultyDocument(faults=[Fault("/id", f"must be {id_!r}", (id_,), code="not-allowed")])


def written(call: Call, version: int, house: HouseRules, answer: Callable[[HouseRecord], Answer]) -> Prepared:
    """The version of house rules after ``version``; ``answer`` shows of it what was written."""
    shops, id_, document = call.room.store.shops, call.own.record.id, house.document()

    def commit(remember: Remember) -> Answer:
        return answer(
            shops.replace_house(
                id_, version, document, who=call.caller.key_id, also=lambda record: remember(answer(record))
            )
        )

    return Prepared(answer(HouseRecord(id_, version + 1, document, call.room.now_s)), commit)


def in_piece(error: HouseRulesRefused, place: str, field: str) -> HouseRulesRefused:
    """A refusal of whole house rules as who wrote one piece has it: ``place`` in the whole is ``field`` of the body.

    What keeps the rest from being taken is no fault of the body's field, and is told with its place in the rest.
    """

    def moved(refusal: Refusal) -> Refusal:
        if refusal.pointer == place or refusal.pointer.startswith(f"{place}/"):
            return replace(refusal, pointer=field + refusal.pointer.removeprefix(place))
        return replace(refusal, pointer="", message=f"the house rules' {refusal.pointer} can't stay: {refusal.message}")

    return HouseRulesRefused([moved(refusal) for refusal in error.refusals])


def rule_place(id_: str) -> str:
    """Where a rule stands in whole house rules."""
    return f"/rules/{escape(id_)}"


def limit_place(id_: str) -> str:
    """Where a limit stands in whole house rules."""
    return f"/limits/{escape(id_)}"
