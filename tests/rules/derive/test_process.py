"""Processes: which pressings a decoration has, what is set for each, what they take, and what contradicts.

Which pressings a family has, and their order: common practice, no source. Times and waits follow by hand from the book.
"""

from __future__ import annotations

import copy
from typing import Any

import pytest
from cases import Document, order_document, pressing, shop_of

from accord_rules.authority import Authority
from accord_rules.documents.files import BookError, merge, shipped
from accord_rules.documents.reading import DocumentError, read
from accord_rules.load.loader import from_documents
from accord_rules.orders.order import Order
from accord_rules.orders.sheet import PRESSINGS
from accord_rules.revision.book import Book
from accord_rules.revision.names import resolve

LEATHER: Document = {"substrate": "leather", "fibres": ""}
ON_TOP: Document = {"transfer": "cut-film", "placement": "front", "size": {"width": "80 mm", "height": "80 mm"}}


def below(transfer: str, top: str = "cut-film", **more: Any) -> list[Document]:
    size = {"width": "200 mm", "height": "150 mm"}
    return [
        {"transfer": transfer, "placement": "front", "size": size} | more,
        ON_TOP | {"transfer": top, "over": 0},
    ]


@pytest.mark.parametrize(
    ("parts", "done"),
    [
        ({}, ("main",)),
        ({"decoration": {"transfer": "powder-film"}}, ("main", "again")),
        ({"decoration": {"transfer": "toner-paper-two-step"}}, ("marry", "main", "again")),
        ({"decoration": {"transfer": "foil-over-adhesive"}}, ("adhesive", "main")),
        ({"decoration": {"transfer": "hot-fix-stones"}}, ("main", "reverse")),
        ({"decoration": {"transfer": "heat-seal-patch"}}, ("main", "reverse")),
        ({"decoration": {"transfer": "dye-receptive-film"}}, ("tack", "main")),
        ({"decorations": below("cut-film")}, ("tack",)),
        ({"decorations": below("dye-sublimation")}, ("main",)),
        # Leather shrinks in a second pressing: only a sheet asks for it, and what is no cloth is not turned over.
        ({"item": LEATHER, "decoration": {"transfer": "hot-fix-stones"}}, ("main",)),
        (
            {"item": LEATHER, "decoration": {"transfer": "hot-fix-stones", "sheet": {"second_press": "6 s"}}},
            ("main", "again"),
        ),
        ({"decoration": {"settings": {"second_press": "5 s"}}}, ("main", "again")),
        ({"decoration": {"transfer": "powder-film", "settings": {"second_press": "0 s"}}}, ("main",)),
        ({"decoration": {"sheet": {"second_press": "6 s"}}}, ("main", "again")),
    ],
)
def test_which_pressings_are_done_in_their_order(parts: dict[str, Any], done: tuple[str, ...], book: Book) -> None:
    case = pressing(book, **parts)
    assert tuple(closing.name for closing in case["process.closings"]) == done
    assert tuple(name for name in PRESSINGS if case[f"{name}.done"]) == done


def test_foil_over_a_print_of_the_order_needs_no_adhesive_of_its_own(book: Book) -> None:
    stack = [ON_TOP | {"transfer": "foil-over-adhesive", "over": 1}, ON_TOP]
    assert not pressing(book, decorations=stack)["adhesive.done"]


def test_each_pressing_has_facts_of_its_own(book: Book) -> None:
    """Two-step toner: sheets married at 147 °C (150 on the display) for 90 s, then 142 °C (145), then 20 s again."""
    case = pressing(book, decoration={"transfer": "toner-paper-two-step"})
    names = ("marry", "main", "again", "tack")
    assert [case[f"{name}.display_c"] for name in names] == [150.0, 145.0, 145.0, 145.0]
    assert [case[f"{name}.time_s"] for name in names] == [90.0, 30.0, 20.0, 0.0]
    assert [case[f"{name}.peel"] for name in names] == ["hot", "cold", "none", "none"]
    assert [case[f"{name}.cover"] for name in names] == ["none", "silicone-paper", "silicone-paper", "none"]
    assert case["again.cover_title"] == "silicone-coated release paper"
    assert case["marry.pressure_words"] == "firm pressure"
    assert (case["main.display_c"], case["main.time_s"], case["main.peel"]) == tuple(
        case[name] for name in ("set.display_c", "set.time_s", "set.peel")
    )


def test_time_at_the_press_counts_every_pressing_and_the_waits_between(book: Book) -> None:
    """Two-step toner: 90 + 30 + 20 s shut after the pre-press, 60 s until it is cold; 22 s to handle."""
    case = pressing(book, decoration={"transfer": "toner-paper-two-step"}, quantity=4)
    assert case["process.wait_s"] == case["peel.cold_wait_s"] == 60.0, "as long as the step says"
    shut_s = case["set.pre_press_s"] + 90 + 30 + 20
    assert case["process.shut_s"] == shut_s
    assert case["job.total_s"] == 4 * (shut_s + 60 + 22)


def test_a_lower_film_is_tacked_and_its_full_dwell_comes_with_the_last(book: Book) -> None:
    case = pressing(book, decorations=below("cut-film"))
    assert 2 <= case["tack.time_s"] <= 4
    assert case["process.shut_s"] == case["tack.time_s"] + case["set.pre_press_s"]
    in_full = pressing(book, decorations=below("cut-film", settings={"pressings": {"tack": {"time": "0 s"}}}))
    assert in_full["main.done"]
    assert not in_full["tack.done"]


def test_an_order_may_set_each_pressing_and_the_answer_lists_them(authority: Authority) -> None:
    ordered = {"marry": {"temperature": "155 °C", "time": "100 s"}, "again": {"cover": "ptfe-sheet"}}
    document = order_document(
        authority.book, decoration={"transfer": "toner-paper-two-step", "settings": {"pressings": ordered}}
    )
    verdict = authority.validate(read(Order, document), shop_of(authority.book))
    assert verdict.on.settings is not None
    pressings = verdict.on.settings[0]["pressings"]
    assert pressings["marry"] == {"temperature": "155 °C", "time": "100 s", "peel": "hot", "cover": "none"}
    assert pressings["again"] == {"peel": "none", "cover": "ptfe-sheet"}


def test_a_second_press_has_the_main_cover_rather_than_none_and_is_told_where_it_has_none(book: Book) -> None:
    """What lies over the print in the second press is what the plan prints: rules go by no other sheet.
    No source: common practice."""
    covers = {
        ("silicone-paper", "heat-tape"): ("silicone-paper", False),
        ("plain-paper", "heat-tape"): ("plain-paper", False),
        ("heat-tape",): ("none", True),
    }
    for stock, (cover, bare) in covers.items():
        settings = {"second_press": "5 s"} | ({"cover": cover} if cover != "none" else {})
        decoration = {"transfer": "powder-film", "settings": settings}
        case = pressing(book, shop_of(book, stock={"consumables": list(stock)}), decoration=decoration)
        assert (case["again.cover"], case["set.second_press_bare"]) == (cover, bare)


RED_POLYESTER: Document = {"fibres": {"PES": 100}, "colour": "#B01020", "dye": "disperse"}
WHITE: Document = {"artwork": {"palette": ["#FFFFFF"]}}


def in_pressing(name: str, **settings: str) -> Document:
    return {"pressings": {name: settings}}


@pytest.mark.parametrize(
    ("parts", "rule", "words"),
    [
        ({"decoration": {"sheet": in_pressing("again", time="10 h")}}, "pressing-beyond-bounds", "10 h"),
        ({"decoration": {"settings": {"second_press": "10 min"}}}, "pressing-beyond-bounds", "10 min"),
        (
            {"decoration": {"transfer": "toner-paper-two-step", "sheet": in_pressing("marry", time="10 h")}},
            "pressing-beyond-bounds",
            "above 5 min the sheets are spoilt",
        ),
        (
            {"decorations": below("cut-film", settings=in_pressing("tack", temperature="200 °C", time="10 min"))},
            "pressing-beyond-bounds",
            "the tack is set to 10 min, and above 60 s",
        ),
        (
            {"decoration": {"settings": in_pressing("again", temperature="190 °C", time="5 s")}},
            "pressing-beyond-bounds",
            "above 180 °C the film browns",
        ),
        (
            {
                "decoration": {
                    "transfer": "blocker-film",
                    "settings": in_pressing("again", temperature="175 °C", time="5 s"),
                }
            },
            "pressing-beyond-bounds",
            "above 165 °C dye comes through the blocker",
        ),
        (
            {
                "item": RED_POLYESTER,
                "decoration": WHITE | {"sheet": in_pressing("again", temperature="165 °C", time="5 s")},
            },
            "dye-bleeds-into-light-film",
            "at the hottest spot for 17 s in all",
        ),
        ({"decoration": {"settings": {"pre_press": "10 h"}}}, "pre-press-never-so-long", "10 h"),
        ({"decoration": {"sheet": {"pre_press": "10 h"}}}, "pre-press-never-so-long", "10 h"),
    ],
)
def test_no_pressing_is_hotter_or_longer_than_bounds_whoever_says_so(
    parts: dict[str, Any], rule: str, words: str, authority: Authority
) -> None:
    """No source: the bounds are common practice."""
    evidence = {"evidence": ["sample-test"]}
    verdict = authority.validate(
        read(Order, order_document(authority.book, **parts, **evidence)), shop_of(authority.book)
    )
    assert verdict.verdict == "rejected"
    blocks = {finding.rule: finding.because for finding in verdict.findings if finding.level == "blocks"}
    assert set(blocks) == {rule}
    assert words in blocks[rule]


@pytest.mark.parametrize(
    ("settings", "rules"),
    [
        (in_pressing("again", temperature="175 °C", time="5 s"), {"pressing-outside-window"}),
        (in_pressing("again", temperature="155 °C", time="5 s"), set()),
        ({"second_press": "60 s"}, set()),
        (in_pressing("again", time="5 s", cover="none"), {"second-press-bare"}),
    ],
)
def test_a_pressing_set_otherwise_than_usual_or_bare_is_told(
    settings: Document, rules: set[str], authority: Authority
) -> None:
    """No source: common practice."""
    document = order_document(authority.book, decoration={"settings": settings})
    verdict = authority.validate(read(Order, document), shop_of(authority.book))
    assert {finding.rule for finding in verdict.findings if finding.level in ("requires", "blocks")} == rules


def test_plan_and_envelope_speak_of_each(authority: Authority) -> None:
    document = order_document(authority.book, decoration={"transfer": "toner-two-step-self-weeding"})
    shop = shop_of(authority.book)
    plan = authority.recommend(read(Order, document), shop).plans[0]
    explained = plan.decorations[0].explained.pressings
    assert [(pressing.name, pressing.lies) for pressing in explained] == [
        ("marry", "sheets-together"),
        ("again", "face-up"),
    ]
    assert (explained[0].time_window.least_s, explained[0].time_window.most_s) == (60.0, 120.0)
    allowed = authority.envelope(read(Order, document), shop).on[0].decorations[0].pressings
    assert [window.name for window in allowed] == ["marry", "again"]
    assert allowed[0].temperature_window is not None
    assert allowed[1].temperature_window is None, "as the main pressing"


def test_a_pressing_that_the_transfer_has_not_is_refused_with_those_it_has(book: Book) -> None:
    document = order_document(book, decoration={"settings": {"pressings": {"marry": {"time": "60 s"}}}})
    with pytest.raises(DocumentError) as refused:
        resolve(read(Order, document), book, shop_of(book))
    (fault,) = refused.value.faults
    assert fault.pointer == "/decorations/0/settings/pressings/marry"
    assert fault.allowed == ("tack", "again")


def test_a_second_press_is_said_once(book: Book) -> None:
    settings = {"second_press": "5 s", "pressings": {"again": {"time": "8 s"}}}
    with pytest.raises(DocumentError) as refused:
        resolve(read(Order, order_document(book, decoration={"settings": settings})), book, shop_of(book))
    assert [fault.code for fault in refused.value.faults] == ["contradiction"]


@pytest.mark.parametrize(
    ("family", "part", "reason"),
    [
        (
            "cut-film",
            {"process": {"marry": {}}},
            "/process/marry: goes with a transfer of two",
        ),
        ("toner-paper-two-step", {"sheets": 1}, "/process/marry: goes with a transfer of two sheets"),
        ("dye-sublimation", {"process": {"tack": {}}}, "/process/tack: dye is never tacked"),
        ("hot-fix-stones", {"process": {"again": {}}}, "/process/again: a second press is from the"),
        ("hot-fix-stones", {"second_press": "0 s"}, "/second_press: a process with reverse or again has a second"),
        ("cut-film", {"process": {"tack": {"time": {"aim": "9 s"}}}}, "/process/tack/time: least 2, aim 9, most 4 are"),
        ("cut-film", {"process": {"bake": {}}}, "/process/bake: is not a known field"),
    ],
)
def test_a_process_that_contradicts_itself_is_refused_at_load(family: str, part: Document, reason: str) -> None:
    documents = {kind: dict(entries) for kind, entries in shipped().items()} | {"rules": {}}
    pressing_defaults = {"time": {"least": "2 s", "aim": "3 s", "most": "4 s"}, "sources": ["common-practice"]}
    entry = copy.deepcopy(documents["transfers"][family])
    for name, fields in part.get("process", {}).items():
        added = pressing_defaults if name in ("marry", "tack") else {"sources": ["common-practice"]}
        if name not in entry.get("process", {}) and name != "bake":
            part = merge({"process": {name: added}}, part)
        assert isinstance(fields, dict)
    documents["transfers"] = {**documents["transfers"], family: merge(entry, part)}
    with pytest.raises(BookError) as refused:
        from_documents(documents)
    start = f"transfers.toml: {family}: {reason}"
    assert any(fault.startswith(start) for fault in refused.value.reasons), refused.value.reasons[:6]
