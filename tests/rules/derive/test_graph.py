"""The graph of facts: what is wrong with a declaration is told with fact, file and line, and what follows from it."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from tests.rules.cases import house_rule, order_document, pressing, shop_of, whole_case

from accord_rules.derive import case as case_module
from accord_rules.derive.case import Case
from accord_rules.derive.graph import GRAPH, Graph
from accord_rules.derive.sources import ARRANGED, CHOICE, SOURCES, Part
from accord_rules.documents.files import BookError, shipped_folder
from accord_rules.load import loader
from accord_rules.load.examples import failures
from accord_rules.load.loader import load_folder
from accord_rules.revision.book import Book
from accord_rules.revision.facts import (
    BOOL,
    DATA,
    Ask,
    Assume,
    Of,
    Register,
    Scope,
    entries,
    later,
    limit,
    maybe,
    one_of,
    read,
    source,
)
from accord_rules.weigh.choice import choose
from accord_rules.weigh.sequence import find_sequence

ORDER, DECORATION, PRESSING = Scope.ORDER, Scope.DECORATION, Scope.PRESSING


# The fields alone: what is found by search stands on shipped facts.
RIM = "/decorations/{i}/rim_distanc"
FIELDS = {name: replace(source, reads=()) for name, source in SOURCES.items()}


def only(register: Register) -> str:
    """The one thing that is wrong with what was registered."""
    faults = Graph.of(register, FIELDS).faults
    assert len(faults) == 1
    (fault,) = faults
    assert fault.startswith("test_graph.py:"), "file and line"
    return fault.partition(": ")[2]


# -- what is wrong with a declaration --------------------------------------------------------------------------------


def test_the_shipped_facts_are_declared_rightly() -> None:
    assert GRAPH.faults == ()
    assert len(GRAPH.facts) > 250


def test_a_misspelt_read_is_told_with_the_nearest_name() -> None:
    register = Register()

    @register.fact("item.rigid", BOOL, ORDER)
    def rigid(substrate: str | None = source("/item/substrate")) -> bool:
        """Whether it is stiff."""
        return substrate == "metal"

    @register.fact("item.soft", BOOL, ORDER)
    def soft(stiff: bool = read("item.rigidd")) -> bool:
        """Whether it is soft."""
        return not stiff

    assert only(register) == ("fact item.soft: reads fact 'item.rigidd', and there is none (did you mean item.rigid?)")
    assert soft(stiff=False) is True, "tried with values, and no case"


def test_a_misspelt_field_is_told_with_the_nearest_name() -> None:
    register = Register()

    @register.fact("item.rigid", BOOL, ORDER)
    def rigid(substrate: str | None = source("/item/substrat")) -> bool:
        """Whether it is stiff."""
        return substrate == "metal"

    assert only(register).startswith(
        "fact item.rigid: reads source '/item/substrat', and there is none (did you mean /i"
    )


@pytest.mark.parametrize("missing", [Ask(RIM, "How far from the rim?"), Assume(RIM, 10.0, "as usual")])
def test_a_misspelt_place_where_it_would_be_said_is_told_with_the_nearest(missing: Ask | Assume) -> None:
    """Nobody could answer what is asked there."""
    register = Register()

    @register.fact("place.rim_mm", DATA, DECORATION, missing)
    def rim_mm(distance_mm: float | None = source("/decorations/{i}/rim_distance")) -> float | None:
        """How far from the rim it is."""
        return distance_mm

    assert only(register).startswith(
        f"fact place.rim_mm: no order has {RIM!r}, where it would be said (did you mean /decorations/{{i}}/rim_distance"
    )


def test_a_read_of_a_narrower_scope_is_refused() -> None:
    register = Register()

    @register.fact("item.hot", BOOL, ORDER)
    def hot(surface_c: float | None = source("chosen/surface_c")) -> bool:
        """Whether it gets hot."""
        return surface_c is not None

    assert only(register) == (
        "fact item.hot: is of the order and reads source 'chosen/surface_c', which is not known before the pressing"
    )


def test_what_is_assumed_is_held_to_the_same() -> None:
    register = Register()

    def usual(area: str = read("place.aera")) -> str:
        return area

    @register.fact("place.where", DATA, DECORATION, Assume("/decorations/{i}/placement", usual, "as usual"))
    def where(placement: str | None = source("/decorations/{i}/placement")) -> str | None:
        """Where it goes."""
        return placement

    assert only(register) == "fact place.where: reads fact 'place.aera', and there is none (did you mean place.where?)"


def test_facts_that_hang_on_themselves_are_refused_once() -> None:
    register = Register()

    @register.fact("a.first", BOOL, ORDER)
    def first(second_holds: bool = read("a.second")) -> bool:
        """One."""
        return second_holds

    @register.fact("a.second", BOOL, ORDER)
    def second(third_holds: Callable[[], bool] = later("a.third")) -> bool:
        """Two."""
        return third_holds()

    @register.fact("a.third", BOOL, ORDER)
    def third(first_holds: bool | None = maybe("a.first")) -> bool:
        """Three."""
        return bool(first_holds)

    assert only(register) == (
        "fact a.first: is worked out from itself: a.first reads a.second reads a.third reads a.first"
    )


def test_a_parameter_that_reads_nothing_is_refused() -> None:
    register = Register()

    @register.fact("item.rigid", BOOL, ORDER)
    def rigid(case: Any) -> bool:
        """Whether it is stiff."""
        return bool(case)

    assert only(register) == "fact item.rigid: parameter case does not say what it reads"


def test_facts_without_a_docstring_or_of_one_name_are_refused() -> None:
    register = Register()

    @register.fact("a.first", BOOL, ORDER)
    def first() -> bool:
        """One."""
        return True

    @register.fact("a.first", BOOL, ORDER)
    def undescribed() -> bool:
        return True

    again, nameless = sorted(fault.partition(": ")[2] for fault in Graph.of(register, FIELDS).faults)
    assert nameless.startswith("fact a.first: is declared at test_graph.py:")
    assert again == "fact a.first: has no docstring"


def test_limits_and_kinds_that_the_book_has_not_are_told(book: Book) -> None:
    register = Register()

    @register.fact("item.cap_c", one_of("transfer"), ORDER)
    def cap_c(cap: float = limit("fumes.pvc_mots"), known: Any = entries("transferz")) -> Any:
        """The cap."""
        return cap, known

    assert Graph.of(register, FIELDS).faults == ()
    misnamed = [
        fault.partition(": fact ")[2] for fault in Graph.of(register).misnamed_in_book(book.limits, book.catalogue)
    ]
    assert misnamed == [
        "item.cap_c: there is no limit 'fumes.pvc_mots' in the book (did you mean fumes.pvc_most?)",
        "item.cap_c: there is no kind of entry 'transferz' in the book (did you mean transfers?)",
        "item.cap_c: there is no kind of entry 'transfer' in the book (did you mean transfers?)",
    ]


# -- the loader holds facts to their declarations --------------------------------------------------------------------


def test_no_book_is_loaded_over_facts_that_are_declared_wrongly(monkeypatch: pytest.MonkeyPatch) -> None:
    register = Register()

    @register.fact("item.soft", BOOL, ORDER)
    def soft(stiff: bool = read("item.rigid")) -> bool:
        """Whether it is soft."""
        return not stiff

    monkeypatch.setattr(loader, "GRAPH", Graph.of(register))
    with pytest.raises(BookError, match=r"test_graph\.py:\d+: fact item\.soft: reads fact 'item\.rigid', and there is"):
        load_folder(shipped_folder())


@pytest.fixture
def few_rules(book: Book) -> Book:
    """The book with as many rules of a pressing as it takes to look at every fact."""
    rules = {name: rule for name, rule in book.rules.items() if rule.scope is PRESSING}
    return replace(book, rules=dict(list(rules.items())[:8]))


def test_the_shipped_facts_answer_as_they_declare(few_rules: Book) -> None:
    assert failures(few_rules) == []


def work_out_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """Facts whose answers are planted are worked out by these, and not with the rest of their layer."""
    monkeypatch.setattr(case_module, "fillers", lambda *_: {})


@pytest.mark.parametrize(
    ("name", "answer", "says"),
    [
        ("item.rigid", "yes", "answers 'yes', which is not true/false"),
        ("item.thickness_mm", True, "answers True, which is not number"),
        ("item.diameter_mm", float("nan"), "answers nan, which is not number"),
        ("item.family", "rubberr", "answers 'rubberr', which is not one of"),
        ("item.features", ["zip"], r"answers \['zip'\], which is not set of"),
        ("item.features", ("zipp",), r"answers \('zipp',\), which is not set of"),
        ("set.pillow_words", 3, "answers 3, which is not text"),
    ],
)
def test_an_answer_of_another_type_is_told_with_fact_and_file(
    name: str, answer: Any, says: str, few_rules: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    node = case_module._NODES[name]
    work_out_one_by_one(monkeypatch)
    monkeypatch.setitem(case_module._NODES, name, node._replace(answer=lambda facts, parts: answer))
    (fault,) = failures(few_rules)
    assert re.fullmatch(rf"derive/[a-z]+\.py:\d+: fact {name}: {says}.*", fault)


@pytest.mark.parametrize("name", ["place.height_mm", "heat.short_k", "item.thickness_mm", "window.time_dial_s"])
@pytest.mark.parametrize("answer", ["small", (1.0, 2.0)])
def test_it_is_told_before_a_rule_compares_it_and_whoever_reads_it_is_not_blamed(
    name: str, answer: Any, book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    comparing = {id_: rule for id_, rule in book.rules.items() if name in rule.condition.facts}
    assert comparing
    work_out_one_by_one(monkeypatch)
    monkeypatch.setitem(case_module._NODES, name, case_module._NODES[name]._replace(answer=lambda facts, parts: answer))
    (fault,) = failures(replace(book, rules=comparing))
    complaint = re.escape(f"fact {name}: answers {answer!r}, which is not number")
    assert re.fullmatch(rf"derive/[a-z]+\.py:\d+: {complaint}", fault)


def test_a_fact_that_fails_is_told_with_its_file_and_no_traceback(
    few_rules: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(facts: Any, parts: Any) -> Any:
        return {}["depth"]

    work_out_one_by_one(monkeypatch)
    monkeypatch.setitem(case_module._NODES, "item.rigid", case_module._NODES["item.rigid"]._replace(answer=failing))
    (fault,) = failures(few_rules)
    assert re.fullmatch(r"derive/item\.py:\d+: fact item\.rigid: fails with KeyError: 'depth'", fault)


# -- what follows from the graph -------------------------------------------------------------------------------------


def test_who_reads_what() -> None:
    assert GRAPH.reads["window.exists"] == ("window.low_c", "window.high_c", "press.dials")
    assert "window.exists" in GRAPH.readers["window.low_c"]
    assert {"/item/fibres", "/decorations/{i}/transfer", "press/calibration"} <= GRAPH.upstream["window.exists"]
    assert GRAPH.named("item.ground_white", Of.LIMIT) == ("ground.white_lightness_least", "ground.white_chroma_most")
    assert GRAPH.named("transfer.entry", Of.ENTRIES) == ("products", "transfers")


@pytest.mark.parametrize("name", ["heat.back_likely_c", "heat.short_k", "heat.interface_late_c", "heat.reach_soon_s"])
def test_what_heat_and_time_turn(name: str) -> None:
    for field in ("chosen/surface_c", "chosen/time_s"):
        assert name in GRAPH.downstream((field,))
    assert name not in GRAPH.downstream(("chosen/peel",))


def test_what_a_fact_hangs_on_does_not_follow_from_its_name() -> None:
    """A fact of the press's name that reads the transfer is no press's own."""
    register = Register()
    register.facts.update(GRAPH.facts)

    @register.fact("press.takes_transfer", BOOL, PRESSING)
    def takes_transfer(entry: Any = read("transfer.entry"), press: Any = read("press.entry")) -> bool:
        """Whether the press takes it."""
        return entry.principle != "stud" or press.shape == "flat"

    graph = Graph.of(register)
    assert graph.faults == ()
    assert Part.TRANSFER in graph.parts["press.takes_transfer"]
    assert Part.TRANSFER not in graph.parts["press.reach_c"]


SCRIPT = """
import json, sys
sys.path[:0] = ["tests/rules"]
from accord_rules.revision.facts import BOOL, Scope, fact, read

@fact("press.dislikes", BOOL, Scope.PRESSING)
def dislikes(entry=read("transfer.entry")):
    "Whether the press does not take this transfer."
    return entry.family == "cut-film"

from accord_rules.authority import Authority
from accord_rules.documents.reading import read as read_document
from accord_rules.governance.house import HouseAuthority, read_house
from accord_rules.load.examples import failures
from accord_rules.load.loader import load_book
from accord_rules.orders.order import Order
from tests.rules.cases import order_document, shop_of

book = load_book()
shared = Authority(book)
rule = json.loads(sys.argv[1])
authority = HouseAuthority(shared, read_house({"rules": {"house.dislikes": rule}}))
found = []
for transfers in (("cut-film", "flock-plush"), ("flock-plush", "cut-film")):
    document = order_document(book, item={"fibres": {"CO": 100}})
    first = document["decorations"][0]
    document["decorations"] = [
        {**first, "transfer": transfer, "placement": place}
        for transfer, place in zip(transfers, ("front", "leg"))
    ]
    verdict = authority.validate(read_document(Order, document), shop_of(book))
    found.append([finding.pointer for finding in verdict.findings if finding.rule == "house.dislikes"])
authority.close()
shared.close()
print(json.dumps(found))
"""


@pytest.mark.long
def test_a_fact_that_is_named_after_the_press_and_reads_the_transfer_finds_the_right_decoration() -> None:
    """A process of its own: a fact is declared before the graph is made. By name, one answer went for both prints."""
    run = subprocess.run(
        [sys.executable, "-c", SCRIPT, json.dumps(house_rule("press.dislikes"))], capture_output=True, text=True
    )
    assert run.returncode == 0, run.stderr
    assert json.loads(run.stdout) == [["/decorations/0/settings"], ["/decorations/1/settings"]]


# -- what searches look at is declared -------------------------------------------------------------------------------


class Watched(dict[str, Any]):
    """Known facts, of which it is noted what is read."""

    def __init__(self, known: Any, names: set[str]) -> None:
        self._known, self.names = known, names

    def __getitem__(self, name: str) -> Any:
        self.names.add(name)
        return self._known[name]


def watched(case: Case, names: set[str]) -> Case:
    """The same pressing, noting which facts are read of it."""
    watched_case = Case.__new__(Case)
    watched_case._set(case.book, case.parent, case.scope, case.index, case._parts, Watched(case.known, names))  # type: ignore[arg-type]
    return watched_case


TRIED: list[dict[str, Any]] = [
    {},
    {"item": {"fibres": {"CO": 100}}},
    {"item": {"fibres": {"PES": 100}}, "decoration": {"transfer": "dye-sublimation"}},
    {"decoration": {"settings": {"temperature": "150 °C", "read_at": "surface", "time": "20 s"}}},
    {"decoration": {"settings": {"pressure": "40 psi", "pre_press": "0 s"}}},
    {"press": {"type": "hand-held"}},
    {"item": {"blank": "hardboard-coaster"}, "decoration": {"transfer": "dye-sublimation", "placement": "face"}},
]


@pytest.mark.parametrize("parts", TRIED, ids=str)
def test_choosing_settings_looks_at_nothing_that_is_not_declared(parts: dict[str, Any], book: Book) -> None:
    names: set[str] = set()
    case = pressing(book, **{key: dict(value) for key, value in parts.items()})
    assert choose(watched(case, names)) is not None
    assert len(names) > 5
    assert names <= {name for reads in CHOICE.values() for name in reads}


def test_arranging_pressings_looks_at_nothing_that_is_not_declared(book: Book) -> None:
    document = order_document(book, item={"fibres": {"CO": 100}})
    first = document["decorations"][0]
    prints = [
        {**first, "transfer": transfer, "placement": place}
        for transfer, place in (("film-soft-matte", "front"), ("flock-plush", "back"), ("raised-film", "front"))
    ]
    whole = whole_case(book, decorations=prints)
    press = shop_of(book).presses[0]
    names: set[str] = set()
    cases = [whole.decoration_case(index) for index in range(len(prints))]
    pressings = [case.pressing_case(press, choose(case.pressing_case(press))) for case in cases]
    find_sequence([watched(case, names) for case in pressings])
    looked_at = {*ARRANGED, *SOURCES["sequence/total_s"].reads}
    assert "place.placement" in names
    assert names <= looked_at


def test_what_is_asked_for_is_read() -> None:
    """A fact that asks for a field of the order, or assumes it, reads that field."""
    pointers = {
        name: fact.missing.pointer for name, fact in GRAPH.facts.items() if isinstance(fact.missing, (Ask, Assume))
    }
    fields = {name: pointer for name, pointer in pointers.items() if pointer in SOURCES}
    assert len(fields) > 25
    strangers = {name for name, pointer in fields.items() if pointer not in GRAPH.upstream[name]}
    assert strangers == {"set.gauge_readable"}, "a pressure in words would do, where the press tells nothing of a gauge"
