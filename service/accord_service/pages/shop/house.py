"""House rules of the shop: limits made stricter, with the refusal and its witness as one types; rules; versions."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import groupby
from math import isclose
from typing import Any

import tomlkit
from flask import Response, request

from accord_rules.documents import typed, units
from accord_rules.documents.reading import DocumentError, unescape
from accord_rules.governance.house import far_limits
from accord_rules.governance.words import PREFIX
from accord_rules.revision.rule import ABOUT, STATUSES
from accord_rules.verdict import LEVELS
from accord_service.api.v1.delete_house_rule import delete_house_rule
from accord_service.api.v1.get_facts import get_facts
from accord_service.api.v1.get_house_limit import get_house_limit
from accord_service.api.v1.get_house_rule import get_house_rule
from accord_service.api.v1.get_house_rules import get_house_rules
from accord_service.api.v1.get_house_version import get_house_version
from accord_service.api.v1.get_house_versions import get_house_versions
from accord_service.api.v1.get_limit import get_limit
from accord_service.api.v1.get_limits import get_limits
from accord_service.api.v1.get_shop import get_shop
from accord_service.api.v1.post_house_rules import post_house_rules
from accord_service.api.v1.put_house_limit import put_house_limit
from accord_service.api.v1.put_house_rule import put_house_rule
from accord_service.http.problems import ChangedMeanwhile, HouseRulesRefused, NotFound, Problem
from accord_service.pages.counter.told import sign_of
from accord_service.pages.forms import (
    ETAG,
    Form,
    Moved,
    as_difference,
    moved_since,
    seen_in,
    seen_text,
    with_unit,
    without_unit,
)
from accord_service.pages.library.showing import limit_step
from accord_service.pages.shop.asking import REFUSALS
from accord_service.pages.shop.rooms import answered, is_check, led_to, shown
from accord_service.pages.shop.witness import refused_in_words
from accord_service.pages.visit import Visit, page
from accord_service.steps.readable import plain_number, written

Document = Mapping[str, Any]
_STAFF = ("counter", "operator", "owner")
_EXAMPLES_MOST, _DOTS_MOST = 20_000, 100
_OWNER = ("owner",)
# What the names of limits begin with, in words.
GROUPS: Mapping[str, str] = {
    "care": "Care labels",
    "children": "Children's products",
    "dye": "Dye prints",
    "electric": "Electricity",
    "fibres": "Fibres",
    "film": "Films, powder and sheets",
    "fumes": "Fumes",
    "ground": "White grounds",
    "hard_goods": "Hard goods",
    "heat": "What heat does",
    "label": "Sewn-in labels",
    "migration": "Dye migration",
    "order": "Orders that make sense",
    "people": "People",
    "plan": "Plans",
    "prepress": "Pre-presses of plans",
    "press": "Presses",
    "pressure": "Pressure",
    "process": "Pressings",
    "sample": "Samples on record",
    "sequence": "Several decorations",
    "settings": "Settings",
    "sheet": "Makers' sheets",
    "wash": "Washing",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitLine:
    """One limit as the desk lists it: the collective's value and the shop's, empty where it is the same."""

    id: str
    title: str
    shared: str
    own: str
    stricter: str
    safety: bool


# -- the list ----------------------------------------------------------------------------------------------------------


@page("/shop/house", roles=_STAFF)
def house_page(visit: Visit) -> Response:
    """Limits that the shop has stricter, its rules, what it does without, and every limit of the book."""
    house = visit.ask(get_house_rules).document
    system = _system(visit)
    lines = [_line(limit["id"], limit["entry"], house["limits"], system) for limit in visit.entries(get_limits)]
    known = {line.id for line in lines}
    return shown(
        "house",
        own=[line for line in lines if line.own],
        gone=[(name, value) for name, value in house["limits"].items() if name not in known],
        groups=[(group_title(name), tuple(of)) for name, of in groupby(lines, lambda line: line.id.partition(".")[0])],
        count=len(lines),
        rules=house["rules"],
        without=[(kind, name) for kind, names in house["without"].items() for name in names],
        may_limit=visit.may(put_house_limit),
        may_add=visit.may(post_house_rules),
    )


def group_title(name: str) -> str:
    """What limits whose names begin so are about."""
    return GROUPS.get(name, name.replace("_", " ").capitalize())


def _line(id_: str, entry: Document, own: Mapping[str, Any], system: units.UnitPreferences) -> LimitLine:
    return LimitLine(
        id=id_,
        title=entry["title"],
        shared=amount(entry, entry["value"], system),
        own=amount(entry, own[id_], system) if id_ in own else "",
        stricter=entry["stricter"],
        safety=entry["safety"],
    )


def amount(entry: Document, value: str | float, system: units.UnitPreferences) -> str:
    """A limit's value as the book writes it, and behind it in the shop's own unit where that is another."""
    dimension = units.DIMENSIONS[entry["dimension"]]
    if not isinstance(value, str):
        return f"{plain_number(value)} {dimension.symbol}".rstrip()
    try:
        own = units.show(dimension, units.parse(dimension, value), system)
    except units.UnitError:
        return value
    said = value.replace("Δ°F", "°F")  # as people say a difference
    return said if own.split()[-1] == said.split()[-1] or dimension is units.TIME else f"{said} ({own})"


def _system(visit: Visit) -> units.UnitPreferences:
    return units.UNIT_SYSTEMS[visit.ask(get_shop).document["unit_system"]]


# -- one limit ---------------------------------------------------------------------------------------------------------

_VALUE = "value"
# What a value that was written in another unit is off by in a field, which shows six decimals.
_ROUNDED = 1e-5


@page("/shop/house/limits/<limit_id>", roles=_STAFF)
def limit_page(visit: Visit, limit_id: str) -> Response:
    """One limit: what it is, where the collective has it, where the shop, and a form to move it."""
    told = visit.ask(get_house_limit, path={"limit_id": limit_id})
    entry = _of_book(visit, limit_id)
    if entry is None:
        return _gone_shown(visit, told.document, told.etag)
    value = _field_value(told.document["value"], entry["entry"], _system(visit))
    return _limit_shown(visit, entry, told.document, told.etag, Form.of({_VALUE: value}))


@page("/shop/house/limits/<limit_id>", methods=("POST",), roles=_OWNER)
def move_limit(visit: Visit, limit_id: str) -> Response:
    """Make the limit stricter, give it back to the book, or only have it looked at (``do`` is ``check``)."""
    form = Form.sent()
    told = visit.ask(get_house_limit, path={"limit_id": limit_id})
    entry = _of_book(visit, limit_id)
    if entry is None:
        return _give_back(visit, told.document, form)
    back, checking = form.value("do") == "back", is_check(form)
    try:
        value = None if back else _typed(form.text(_VALUE), entry["entry"], _system(visit))
    except typed.TypedError as error:
        return _limit_shown(visit, entry, told.document, form.value(ETAG), form.wrong(_VALUE, f"It {error}."))
    if _same(value, told.document["value"], entry["entry"]) and not checking:
        return led_to("/shop/house")  # sent twice, or nothing was changed
    doubts = _doubts_left(visit, limit_id, value, form)
    if doubts and not checking:
        return _limit_shown(visit, entry, told.document, form.value(ETAG), replace(form, doubts=doubts, status=422))
    try:
        visit.ask(
            put_house_limit,
            path={"limit_id": limit_id},
            document={"id": limit_id, "value": value},
            query={"validate_only": "true"} if checking else {},
            if_match=form.value(ETAG),
        )
    except ChangedMeanwhile as problem:
        refused = form.refused(problem, ())
        moved = moved_since(seen_in(form), told.document)
        return _limit_shown(visit, entry, told.document, told.etag, refused, moved=moved)
    except HouseRulesRefused as problem:
        refused = replace(form, status=problem.status)
        return _limit_shown(visit, entry, told.document, form.value(ETAG), refused, problem=problem)
    except REFUSALS as problem:
        refused = form.refused(problem, (_VALUE,), lambda pointer: pointer.removeprefix("/"))
        return _limit_shown(visit, entry, told.document, form.value(ETAG), refused)
    if checking:
        looked_at = replace(form, doubts=doubts)
        return _limit_shown(visit, entry, told.document, form.value(ETAG), looked_at, would_be=value)
    return led_to(
        f"/shop/house?moved={limit_id}",
    )


# The doubt about a limit that may be set aside, and what it is.
_FAR = "far-from-book"


def _doubts_left(visit: Visit, limit_id: str, value: str | float | None, form: Form) -> dict[str, str]:
    """That the value is far from the book's, where nobody said that it is meant; none of what can't be read, which the
    API refuses."""
    if value is None or form.has("despite", _FAR):
        return {}
    try:
        doubts = far_limits({limit_id: value}, visit.snapshot.book, _system(visit))
    except DocumentError:
        return {}
    return {_FAR: doubts[0].because} if doubts else {}


def _of_book(visit: Visit, limit_id: str) -> Document | None:
    """The limit as the book has it; None where it has it no more, though the house rules still name it."""
    try:
        entry: Document = visit.ask(get_limit, path={"name": limit_id}).document
    except NotFound:
        return None
    return entry


def _give_back(visit: Visit, there: Document, form: Form) -> Response:
    """Take a limit out of the house rules that the book has no more: nothing else can be done with it."""
    try:
        visit.ask(
            put_house_limit,
            path={"limit_id": there["id"]},
            document={"id": there["id"], "value": None},
            if_match=form.value(ETAG),
        )
    except REFUSALS as problem:
        now = visit.ask(get_house_limit, path={"limit_id": there["id"]})
        return _gone_shown(visit, now.document, now.etag, form.refused(problem, ()))
    return led_to(f"/shop/house?removed={there['id']}")


_UNTYPED = Form()


def _gone_shown(visit: Visit, there: Document, etag: str, form: Form = _UNTYPED) -> Response:
    return shown("gone_limit", form.status, limit=there, etag=etag, form=form, may=visit.may(put_house_limit))


def _limit_shown(
    visit: Visit,
    limit: Document,
    there: Document,
    etag: str,
    form: Form,
    *,
    problem: Problem | None = None,
    moved: tuple[Moved, ...] = (),
    would_be: str | float | None = None,
) -> Response:
    entry, system = limit["entry"], _system(visit)
    return shown(
        "limit",
        answered(form),
        limit=limit,
        line=_line(limit["id"], entry, {limit["id"]: there["value"]} if there["value"] is not None else {}, system),
        step=limit_step(entry, system),
        unit=_field_unit(entry, system),
        form=form,
        etag=etag,
        seen=seen_text(there) if moved or form.status == 200 else form.value("seen"),
        moved=moved,
        doubt_names={_FAR: "far from the book's value"},
        refused=() if problem is None else refused_in_words(visit, problem.refusals),
        sign_of=sign_of,
        would_be="" if would_be is None else amount(entry, would_be, system),
        may=visit.may(put_house_limit),
    )


def _field_unit(entry: Document, system: units.UnitPreferences) -> str:
    """The unit beside the field, which a bare number is meant in: the shop's; of what shops have no unit of their own
    for, such as times, the book's. That of a difference is the temperatures', as people say it."""
    dimension, value = units.DIMENSIONS[entry["dimension"]], entry["value"]
    if not isinstance(value, str):
        return str(dimension.symbol)
    if dimension is units.TEMPERATURE_DIFFERENCE:
        return system.temperature
    return system.unit(dimension).symbol if hasattr(system, dimension.name) else value.split(" ", 1)[1]


def _field_value(own: str | float | None, entry: Document, system: units.UnitPreferences) -> str:
    """The shop's value as its field shows it, in the shop's unit; empty where the book's holds."""
    if own is None:
        return ""
    if not isinstance(own, str):
        return plain_number(own)
    dimension = units.DIMENSIONS[entry["dimension"]]
    if dimension is units.TIME:
        return without_unit(own, _field_unit(entry, system))
    return units.shortest(system.unit(dimension).outside(units.parse(dimension, own)))


def _same(value: str | float | None, there: str | float | None, entry: Document) -> bool:
    """Whether both say the same, be it in other units; what is no quantity is the same as nothing."""
    if not (isinstance(value, str) and isinstance(there, str)):
        return value == there
    dimension = units.DIMENSIONS[entry["dimension"]]
    try:
        return isclose(units.parse(dimension, value), units.parse(dimension, there), rel_tol=_ROUNDED)
    except units.UnitError:
        return False


def _typed(text: str, entry: Document, system: units.UnitPreferences) -> str | float:
    """A value as the book writes it. Raises typed.TypedError."""
    if isinstance(entry["value"], str):
        if not text:
            raise typed.TypedError("has to be a number")
        whole = with_unit(text, _field_unit(entry, system))
        is_difference = units.DIMENSIONS[entry["dimension"]] is units.TEMPERATURE_DIFFERENCE
        return as_difference(whole) if is_difference else whole
    return typed.number(text.removesuffix("%").strip(), whole=False)


# -- one rule ----------------------------------------------------------------------------------------------------------

EXAMPLES = "examples"
_LINES = ("level", "title", "about", "when", "because", "fix", "status", "defers_to")
_RULE_FIELDS = ("id", *(f"rule/{name}" for name in (*_LINES, "sources")), EXAMPLES)
NEW_EXAMPLES = """\
[[fires]]
note = "what it is meant for"
facts = { "item.textile" = true }

[[silent]]
note = "what it leaves alone"
facts = { "item.textile" = false }
"""


@page("/shop/house/add", roles=_OWNER)
def rule_form(visit: Visit) -> Response:
    """An empty form for a rule of the shop's own."""
    form = Form.of(
        {
            "id": PREFIX,
            "rule/level": "requires",
            "rule/about": "order",
            "rule/status": STATUSES[0],
            "rule/sources": "project-choice",
            EXAMPLES: NEW_EXAMPLES,
        }
    )
    return _rule_shown(visit, form, None)


@page("/shop/house/add", methods=("POST",), roles=_OWNER)
def add_rule(visit: Visit) -> Response:
    """Add the rule, or only have it tried on its examples."""
    form = Form.sent()
    checking = is_check(form)
    try:
        document = _rule_document(form, {})
        query = {"validate_only": "true"} if checking else {}
        told = visit.ask(post_house_rules, document=document, query=query)
    except tomllib.TOMLDecodeError as error:
        return _rule_shown(visit, form.wrong(EXAMPLES, _toml_fault(error)), None)
    except REFUSALS as problem:
        return _rule_shown(visit, _rule_refused(form, problem), None)
    if checking:
        return _rule_shown(visit, form, None, holds=True)
    return led_to(
        f"/shop/house?added={told.document['id']}",
    )


@page("/shop/house/rules/<rule_id>", roles=_STAFF)
def rule_page(visit: Visit, rule_id: str) -> Response:
    """One rule; for the owner as a form."""
    told = visit.ask(get_house_rule, path={"rule_id": rule_id})
    rule = told.document["rule"]
    values: dict[str, str] = {f"rule/{name}": str(rule.get(name, "")) for name in _LINES}
    values |= {"id": rule_id, "rule/sources": ", ".join(rule.get("sources", ())), EXAMPLES: _examples_text(rule)}
    return _rule_shown(visit, Form.of(values), rule_id, etag=told.etag, seen=seen_text(told.document))


@page("/shop/house/rules/<rule_id>", methods=("POST",), roles=_OWNER)
def edit_rule(visit: Visit, rule_id: str) -> Response:
    """Replace the rule, or only have it tried on its examples."""
    form = Form.sent()
    there = visit.ask(get_house_rule, path={"rule_id": rule_id})
    checking, etag, seen = is_check(form), form.value(ETAG), form.value("seen")
    path = {"rule_id": rule_id}
    try:
        document = {**_rule_document(form, there.document["rule"]), "id": rule_id}
        if document == there.document and not checking:
            return led_to("/shop/house")  # sent twice, or nothing was changed
        query = {"validate_only": "true"} if checking else {}
        visit.ask(put_house_rule, path=path, document=document, query=query, if_match=etag)
    except tomllib.TOMLDecodeError as error:
        return _rule_shown(visit, form.wrong(EXAMPLES, _toml_fault(error)), rule_id, etag=etag, seen=seen)
    except ChangedMeanwhile as problem:
        moved = moved_since(seen_in(form), there.document)
        refused, now = form.refused(problem, ()), seen_text(there.document)
        return _rule_shown(visit, refused, rule_id, etag=there.etag, seen=now, moved=moved)
    except REFUSALS as problem:
        return _rule_shown(visit, _rule_refused(form, problem), rule_id, etag=etag, seen=seen)
    if checking:
        return _rule_shown(visit, form, rule_id, etag=etag, seen=seen, holds=True)
    return led_to(
        f"/shop/house?added={rule_id}",
    )


@page("/shop/house/rules/<rule_id>/remove", roles=_OWNER)
def remove_rule_page(visit: Visit, rule_id: str) -> Response:
    """Ask once more before a rule is taken out."""
    told = visit.ask(get_house_rule, path={"rule_id": rule_id})
    return shown("remove_rule", rule=told.document, etag=told.etag, refused=None)


@page("/shop/house/rules/<rule_id>/remove", methods=("POST",), roles=_OWNER)
def remove_rule(visit: Visit, rule_id: str) -> Response:
    """Take the rule out of the house rules."""
    path = {"rule_id": rule_id}
    try:
        visit.ask(delete_house_rule, path=path, if_match=request.form.get(ETAG, ""))
    except REFUSALS as problem:
        told = visit.ask(get_house_rule, path=path)
        return shown("remove_rule", problem.status, rule=told.document, etag=told.etag, refused=problem)
    return led_to(
        f"/shop/house?removed={rule_id}",
    )


def _rule_shown(
    visit: Visit,
    form: Form,
    rule_id: str | None,
    *,
    etag: str = "",
    seen: str = "",
    moved: tuple[Moved, ...] = (),
    holds: bool = False,
) -> Response:
    return shown(
        "rule",
        answered(form),
        form=form,
        rule_id=rule_id,
        etag=etag,
        seen=seen,
        moved=moved,
        holds=holds,
        levels=LEVELS,
        abouts=tuple(ABOUT),
        statuses=STATUSES,
        may=visit.may(put_house_rule),
    )


def _rule_document(form: Form, there: Document) -> dict[str, Any]:
    """The rule that was typed; what the form has no field for stays. Raises tomllib.TOMLDecodeError."""
    examples = _examples(form.value(EXAMPLES).replace("\r\n", "\n"))
    said = {name: form.text(f"rule/{name}").replace("\r\n", "\n") for name in _LINES}
    sources = [word for word in form.text("rule/sources").replace(",", " ").split() if word]
    kept = {name: value for name, value in there.items() if name not in (*_LINES, "sources", "fires", "silent")}
    rule = kept | {name: text for name, text in said.items() if text} | examples
    return {"id": form.text("id"), "rule": rule | ({"sources": sources} if sources else {})}


def _examples(text: str) -> dict[str, Any]:
    """The examples that were typed. Raises tomllib.TOMLDecodeError, also for what no example has and would be read for
    a long time, or is nothing that JSON has."""
    if len(text) > _EXAMPLES_MOST:
        raise tomllib.TOMLDecodeError(f"they are over {_EXAMPLES_MOST} characters")
    if any(line.count(".") > _DOTS_MOST for line in text.split("\n")):
        raise tomllib.TOMLDecodeError(f"a line has over {_DOTS_MOST} dots")
    try:
        examples = tomllib.loads(text)
        json.dumps(examples, allow_nan=False)
    except tomllib.TOMLDecodeError:
        raise
    except (ValueError, TypeError, RecursionError) as error:
        raise tomllib.TOMLDecodeError(f"something in them is no text, number, flag, list or table: {error}") from None
    return examples


def _examples_text(rule: Document) -> str:
    return tomlkit.dumps({name: rule[name] for name in ("fires", "silent") if name in rule})


def _toml_fault(error: tomllib.TOMLDecodeError) -> str:
    """Where the examples can't be read; tomllib says the line."""
    return f"The examples are no TOML: {error}."


def _rule_refused(form: Form, problem: Problem) -> Form:
    """Each refusal beside its field; one of an example says at which line that begins."""
    lines = dict(_example_lines(form.value(EXAMPLES)))

    def moved(pointer: str) -> str:
        steps = pointer.strip("/").split("/")
        return EXAMPLES if steps[:1] == ["rule"] and steps[1:2] in (["fires"], ["silent"]) else pointer.strip("/")

    def with_line(pointer: str, message: str) -> str:
        steps = [unescape(step) for step in pointer.strip("/").split("/")]
        line = lines.get("/".join(steps[1:3])) if moved(pointer) == EXAMPLES else None
        if line is None:
            return message
        return f"Line {line}, {' '.join([steps[1], str(int(steps[2]) + 1), *steps[3:]])}: {message}"

    faults = tuple(replace(fault, message=with_line(fault.pointer, fault.message)) for fault in problem.faults)
    return form.refused(problem, _RULE_FIELDS, moved, faults)


def _example_lines(text: str) -> Iterator[tuple[str, int]]:
    """At which line each example begins, by its place: fires/0, silent/2."""
    counts = {"fires": 0, "silent": 0}
    for number, line in enumerate(text.splitlines(), 1):
        name = line.strip().removeprefix("[[").removesuffix("]]")
        if line.strip().startswith("[[") and name in counts:
            yield f"{name}/{counts[name]}", number
            counts[name] += 1


# -- facts, for conditions ---------------------------------------------------------------------------------------------

_SHOWN_MOST = 40


@page("/shop/house/facts", roles=_STAFF)
def facts_page(visit: Visit) -> Response:
    """Facts that conditions may speak of, found by words of their names and descriptions."""
    wanted = request.args.get("find", "").casefold().split()
    every = visit.entries(get_facts) if wanted else []
    found = [fact for fact in every if all(w in f"{fact['id']} {fact['description']}".casefold() for w in wanted)]
    return shown("facts", find=request.args.get("find", ""), facts=found[:_SHOWN_MOST], count=len(found))


# -- versions ----------------------------------------------------------------------------------------------------------


@page("/shop/house/versions", roles=_STAFF)
def house_versions(visit: Visit) -> Response:
    """Every version that is kept, newest first, and who wrote it."""
    return shown("versions", versions=visit.entries(get_house_versions))


@page("/shop/house/versions/<version>", roles=_STAFF)
def house_version(visit: Visit, version: str) -> Response:
    """One version, and what it changed of the one before."""
    told = visit.ask(get_house_version, path={"version": version}).document
    system, of_book = _system(visit), {limit["id"]: limit["entry"] for limit in visit.entries(get_limits)}

    def in_unit(name: str, value: Any) -> str:
        return _side(value) if value is None or name not in of_book else amount(of_book[name], value, system)

    changes = [_change(change, in_unit) for change in told["changes"] or ()]
    limits = {name: in_unit(name, value) for name, value in told["house_rules"]["limits"].items()}
    return shown("version", version=told, changes=changes, limits=limits)


def _change(change: Document, in_unit: Callable[[str, Any], str]) -> tuple[str, str, str]:
    steps = [unescape(step) for step in change["pointer"].strip("/").split("/")]
    sides = (change[side] for side in ("before", "after"))
    if len(steps) == 2 and steps[0] == "limits":
        before, after = (in_unit(steps[1], value) for value in sides)
    else:
        before, after = map(_side, sides)
    return " ".join(steps), before, after


def _side(value: Any) -> str:
    if value is None:
        return ""
    return tomlkit.dumps(value).strip() if isinstance(value, Mapping) else written(value)
