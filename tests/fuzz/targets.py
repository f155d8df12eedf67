"""What is fuzzed: whatever text somebody outside can send, and what has to hold of it.

A target takes bytes. What no reader takes is refused with the error declared for that; anything else that comes out of
it is a defect, and so is an AssertionError: what was read then says something else than it should.
"""

from __future__ import annotations

import functools
import json
import math
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from accord_rules.authority import Authority
from accord_rules.documents import units
from accord_rules.documents.files import BookError
from accord_rules.documents.reading import (
    CODES,
    DocumentError,
    Fault,
    LeafError,
    Object,
    Quantity,
    leaves_in,
    read,
    readers_of,
)
from accord_rules.documents.writing import written
from accord_rules.governance.changes import ChangeError, check, read_changes
from accord_rules.governance.refusals import faults_in
from accord_rules.infer import compiled
from accord_rules.infer.judge import Judge
from accord_rules.load.loader import load_book
from accord_rules.orders.order import Order
from accord_rules.orders.sheet import Sheet
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book, vocabulary_of
from accord_rules.revision.condition import UNITLESS, Condition, ConditionError, contradiction, parse
from accord_rules.revision.facts import Kind
from accord_rules.revision.names import resolve
from accord_rules.verdict import VERDICTS
from accord_service.http import strict_json, wire

DEMO = Path(__file__).parents[2] / "demo"
DIMENSIONS = tuple(
    dimension
    for dimension in vars(units).values()
    if isinstance(dimension, units.Dimension) and dimension not in UNITLESS
)
FIELDS = tuple(
    units.Field(most=most, zero=zero, hours=hours)
    for most in (None, units.PRESS_MOST_C)
    for zero in (False, True)
    for hours in (False, True)
)
MESSAGE_MOST = 4000  # characters; an answer shows all faults of a document


@dataclass(frozen=True)
class Target:
    """``ask`` holds one input to account, and says whether it was taken. ``seeds``: some that are. ``is_json``: whether
    they are documents."""

    ask: Callable[[bytes], bool]
    seeds: Callable[[], Iterator[bytes]]
    is_json: bool


# -- quantities ------------------------------------------------------------------------------------------------------


def ask_quantity(data: bytes) -> bool:
    """The first byte chooses the place that the text of the others stands in."""
    if not data:
        return False
    dimension, field = DIMENSIONS[data[0] % len(DIMENSIONS)], FIELDS[data[0] // len(DIMENSIONS) % len(FIELDS)]
    text = data[1:].decode("utf-8", "replace")
    reader = Quantity(dimension, most=field.most, zero=field.zero, hours=field.hours)
    refused = _refusal(reader, text)
    if refused is not None:
        _is_told(Fault("/it", str(refused), refused.allowed, code=refused.code))
        again = filter(None, (_refusal(reader, offered) for offered in refused.allowed))
        assert {refusal.code for refusal in again} <= {"out-of-range"}, refused.allowed
        return False
    value = reader.leaf(text)
    assert math.isfinite(value)
    assert dimension.least <= value <= min(field.most or math.inf, dimension.most) + 1e-9
    assert re.match(units.PATTERN, text), "the description would call it none"
    assert reader.leaf(f" {text} ") == value, "spaces around it say nothing"
    return True


def _refusal(reader: Quantity, text: str) -> LeafError | None:
    try:
        reader.leaf(text)
    except LeafError as error:
        return error
    return None


def quantity_seeds() -> Iterator[bytes]:
    for order in map(json.loads, order_seeds()):
        for _, reader, value in leaves_in(Object(Order), order):
            if isinstance(reader, Quantity) and isinstance(value, str):
                yield bytes([DIMENSIONS.index(reader.dimension)]) + value.encode()
    for text in ("1 h 1/2 min", "5 7/8 in", "1:10", "6'2\"", "½ in", "1,5 mm", "−3 °C"):
        yield from (bytes([place]) + text.encode() for place in range(len(DIMENSIONS)))


# -- conditions ------------------------------------------------------------------------------------------------------


@functools.cache
def book() -> Book:
    return load_book()


def ask_condition(data: bytes) -> bool:
    text = data.decode("utf-8", "replace")
    vocabulary = vocabulary_of(book().catalogue, book().limits)
    try:
        condition = parse(text, vocabulary)
    except ConditionError as error:
        _is_told(Fault("/when", str(error), error.allowed, code=error.code))
        return False
    contradiction(condition, book().limit_values)
    assert parse(str(condition.tree), vocabulary).branches == condition.branches, "as it is shown it says the same"
    judge = Judge({"it": condition})
    for value in range(3):
        facts = {name: _fact(condition, name, value) for name in condition.facts}
        fired = "it" in judge.judge(facts, book().limit_values).fired
        branches = [all(_holds(atom, facts) for atom in branch) for branch in condition.branches]
        assert fired is any(branches), "true where every atom of some branch is, and only there"
    judge.judge({}, book().limit_values)
    return True


def _holds(atom: Any, facts: Mapping[str, Any]) -> bool:
    return compiled.holds(atom, facts, book().limit_values) is True


def _fact(condition: Condition, name: str, choice: int) -> Any:
    """A value that a fact of this name may have, or None."""
    type_ = vocabulary_of(book().catalogue, book().limits).facts[name]
    words = sorted(vocabulary_of(book().catalogue, book().limits).words(type_)) if type_.domain else []
    match type_.kind:
        case Kind.BOOL:
            return (True, False, None)[choice]
        case Kind.NUMBER:
            return (0.0, 100.0, None)[choice]
        case Kind.ENUM:
            return (words[0], words[-1], None)[choice]
        case _:
            return (frozenset(), frozenset(words), None)[choice]


def condition_seeds() -> Iterator[bytes]:
    for rule in book().rules.values():
        yield rule.condition.text.encode()


# -- orders and sheets -----------------------------------------------------------------------------------------------


@functools.cache
def authority() -> Authority:
    return Authority(book())


@functools.cache
def shops() -> tuple[Shop, ...]:
    """The demo's shops, which have names of their own for some things, with the whole book in stock."""
    stock = {"products": list(book().catalogue["products"]), "consumables": list(book().catalogue["consumables"])}
    documents = (tomllib.loads(file.read_text(encoding="utf-8")) for file in sorted((DEMO / "shops").glob("*.toml")))
    return tuple(read(Shop, {**document, "stock": stock}) for document in documents)


def shop_for(order: Order) -> Shop:
    """The first shop whose things are all that the order names. Raises DocumentError as the last one does."""
    refusal = None
    for shop in shops():
        try:
            resolve(order, book(), shop)
        except DocumentError as error:
            refusal = error
        else:
            return shop
    assert refusal is not None
    raise refusal


def ask_order(data: bytes) -> bool:
    document = _json(data)
    return document is not None and _judge(document)


def _judge(document: Mapping[str, Any]) -> bool:
    """What the service does with an order, twice."""
    faults = _faults(lambda: read(Order, document))
    at_the_edge = _faults(lambda: wire.load(Order, document))
    assert {fault.pointer for fault in faults} == {fault.pointer for fault in at_the_edge}, "one parser"
    if faults:
        _are_told(at_the_edge)
        return False
    order = wire.load(Order, document)
    assert read(Order, document) == order
    try:
        shop = shop_for(order)
        verdict = authority().validate(order, shop)
    except DocumentError as error:
        _are_told(error.faults)
        return False
    assert verdict.verdict in VERDICTS
    assert verdict.verdict != "undetermined" or verdict.needs, "whatever is open asks something"
    answer = json.dumps(verdict.document(), ensure_ascii=False, allow_nan=False)
    answer.encode("utf-8")
    again = authority().validate(read(Order, written(order)), shop)
    assert json.dumps(again.document(), ensure_ascii=False) == answer, "the order as it is written down is the same"
    return True


def _faults(reading: Callable[[], Any]) -> tuple[Fault, ...]:
    try:
        reading()
    except DocumentError as error:
        return tuple(error.faults)
    return ()


def _json(data: bytes) -> Any:
    try:
        return strict_json.read(data)
    except strict_json.JsonError as error:
        _are_told(error.faults)
        return None


def order_seeds() -> Iterator[bytes]:
    for file in sorted((DEMO / "orders").glob("*.json")):
        yield file.read_bytes()


def ask_sheet(data: bytes) -> bool:
    """A maker's sheet on an order's print, and the transfer that it is of."""
    document = _json(data)
    if document is None:
        return False
    decoration = {"transfer": document.pop("transfer", "sub-paper-fast-dry"), "placement": "front", "sheet": document}
    return _judge({"item": {"blank": "tee-heavy-white"}, "decorations": [decoration]})


def _span(value: Any) -> Any:
    """Least and most, of what the book gives an aim as well."""
    is_span = isinstance(value, dict) and {"least", "most"} <= value.keys()
    return {"least": value["least"], "most": value["most"]} if is_span else value


def sheet_seeds() -> Iterator[bytes]:
    for name, product in book().documents["products"].items():
        if "sheet" in product:
            sheet = {key: _span(value) for key, value in product["sheet"].items() if key in readers_of(Sheet)}
            yield json.dumps({**sheet, "transfer": name}).encode()
    for order in map(json.loads, order_seeds()):
        for decoration in order["decorations"]:
            if "sheet" in decoration:
                yield json.dumps({**decoration["sheet"], "transfer": decoration.get("transfer", "")}).encode()


# -- proposals -------------------------------------------------------------------------------------------------------


def ask_proposal(data: bytes) -> bool:
    """A change set, laid on the shipped book."""
    document = _json(data)
    if document is None:
        return False
    try:
        changes = read_changes(document.get("changes"))
    except DocumentError as error:
        _are_told(error.faults)
        return False
    try:
        changed = check(book().documents, changes)
    except ChangeError as error:
        _are_told(error.faults)
        return False
    except BookError as error:
        faults = faults_in(changes, error)
        _are_told(faults)
        assert all(fault.pointer.startswith("/changes") for fault in faults)
        return False
    assert changed.digest != book().digest or not changes or _are_as_they_were(changes)
    return True


def _are_as_they_were(changes: Any) -> bool:
    return all(book().documents[change.kind].get(change.id) == change.value for change in changes)


def proposal_seeds() -> Iterator[bytes]:
    for kind in ("limits", "sources", "rules", "steps", "blanks", "products", "transfers", "fibres", "ambiguous_words"):
        entries = sorted(book().documents[kind].items())
        for name, value in (entries[0], entries[len(entries) // 2]):
            yield json.dumps({"changes": [{"kind": kind, "id": name, "value": value}]}).encode()
    limits = sorted(book().documents["limits"].items())
    for name, value in limits[::10]:
        moved = {**value, "value": value["value"] + value["step"]} if isinstance(value.get("value"), int) else value
        yield json.dumps({"changes": [{"kind": "limits", "id": name, "value": moved}]}).encode()
    yield b'{"changes": [{"kind": "rules", "id": "dye-on-nylon", "value": null}]}'


# -- what is told ----------------------------------------------------------------------------------------------------


def _are_told(faults: Any) -> None:
    assert faults
    for fault in faults:
        _is_told(fault)


def _is_told(fault: Fault) -> None:
    assert fault.code in CODES, fault.code
    assert fault.message
    assert len(fault.message) <= MESSAGE_MOST
    json.dumps([fault.message, fault.pointer, *fault.allowed], ensure_ascii=False).encode("utf-8")


TARGETS: Mapping[str, Target] = {
    "quantities": Target(ask_quantity, quantity_seeds, is_json=False),
    "conditions": Target(ask_condition, condition_seeds, is_json=False),
    "orders": Target(ask_order, order_seeds, is_json=True),
    "sheets": Target(ask_sheet, sheet_seeds, is_json=True),
    "proposals": Target(ask_proposal, proposal_seeds, is_json=True),
}
