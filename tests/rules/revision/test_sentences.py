"""Sentences with facts and limits in braces, written in the shop's units. The wording is this project's own."""

from __future__ import annotations

import re
from typing import Any

import pytest
from cases import order_document, shop_of

from accord_rules.authority import Authority
from accord_rules.documents import units
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_rules.revision.facts import BOOL, DATA, TEXT, FactType, number, one_of, set_of
from accord_rules.revision.sentences import SentenceError, in_a_sentence, read_sentence, write_value

TYPES: dict[str, FactType] = {
    "item.heat_c": number(units.TEMPERATURE),
    "item.off_k": number(units.TEMPERATURE_DIFFERENCE),
    "item.side_mm": number(units.LENGTH),
    "item.force_kpa": number(units.PRESSURE),
    "item.mass_g_m2": number(units.AREA_DENSITY),
    "item.share": number(units.PERCENT),
    "item.lightness": number(units.LIGHTNESS),
    "item.wet": BOOL,
    "item.title": TEXT,
    "item.kind": one_of(("tee", "mug")),
    "item.parts": set_of(("zip", "seam")),
    "item.curve": DATA,
}
LIMITS = {"heat.most": (units.TEMPERATURE, 150.0)}


def written(text: str, preferences: units.UnitPreferences = units.METRIC, **facts: Any) -> str:
    known = {name.replace("_in_", "."): value for name, value in facts.items()}
    return read_sentence(text, TYPES, LIMITS).write(known, TYPES, LIMITS, preferences)


@pytest.mark.parametrize(
    ("fact", "value", "metric", "american"),
    [
        ("item.heat_c", 200.0, "200 °C", "392 °F"),
        ("item.off_k", 5.0, "5 K", "9 °F"),  # a difference: no 32 added
        ("item.side_mm", 203.2, "203 mm", "8 in"),
        ("item.force_kpa", 275.8, "275.8 kPa", "40 psi"),
        ("item.mass_g_m2", 180.0, "180 g/m²", "5.3 oz/yd²"),
        ("item.share", 65.0, "65 %", "65 %"),
        ("item.lightness", 17.34, "17.3 of 100 (near black)", "17.3 of 100 (near black)"),
        ("item.lightness", 63.0, "63 of 100 (mid-tone)", "63 of 100 (mid-tone)"),
        ("item.wet", True, "yes", "yes"),
        ("item.wet", False, "no", "no"),
        ("item.title", "heavy tee", "heavy tee", "heavy tee"),
        ("item.parts", ("zip", "seam"), "seam, zip", "seam, zip"),
        ("item.parts", (), "none", "none"),
        ("item.heat_c", None, "not said", "not said"),
    ],
)
def test_values_are_written_as_the_shop_reads_them(fact: str, value: Any, metric: str, american: str) -> None:
    """NIST SP 811: 392 °F is 200 °C; a difference of 9 °F is 5 K; 40 psi is 275.8 kPa; 8 in is 203.2 mm."""
    assert write_value(TYPES[fact], value, units.METRIC) == metric
    assert write_value(TYPES[fact], value, units.US_CUSTOMARY) == american


@pytest.mark.parametrize(
    ("kpa", "bar"), [(275.8, "2.76 bar"), (100.0, "1 bar"), (11.6, "0.12 bar"), (1.9, "0.019 bar")]
)
def test_a_gauge_in_bar_is_read_in_bar(kpa: float, bar: str) -> None:
    """NIST SP 811: 1 bar is 100 kPa; the digits shown are our own choice."""
    assert write_value(TYPES["item.force_kpa"], kpa, units.METRIC_BAR) == bar
    assert write_value(TYPES["item.heat_c"], 200.0, units.METRIC_BAR) == "200 °C"


def test_a_value_that_begins_a_sentence_is_written_as_it_begins_one() -> None:
    text = "{item.title} is thick. {item.title} keeps its heat; {item.title} cools slowly."
    shown = written(text, item_in_title="ceramic tile")
    assert shown == "Ceramic tile is thick. Ceramic tile keeps its heat; ceramic tile cools slowly."


def test_a_sentence_is_filled_and_begins_with_a_capital() -> None:
    text = "{item.title} at {item.heat_c} is above {limit(heat.most)}."
    facts: dict[str, Any] = {"item_in_title": "heavy tee", "item_in_heat_c": 180.0}
    assert written(text, **facts) == "Heavy tee at 180 °C is above 150 °C."
    assert written(text, units.US_CUSTOMARY, **facts) == "Heavy tee at 356 °F is above 302 °F."


def test_a_sentence_knows_what_it_names() -> None:
    sentence = read_sentence("{item.title}, {item.title}, {item.share} and {limit(heat.most)}.", TYPES, LIMITS)
    assert (sentence.facts, sentence.limits) == (("item.title", "item.share"), ("heat.most",))


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("{item.colour} is wrong.", "item.colour is not a fact that sentences may name"),
        ("{item.curve} is data.", "item.curve is not a fact that sentences may name"),
        ("Above {limit(heat.least)}.", "limit heat.least is not in the book"),
        ("Above {heat.most}.", "heat.most is not a fact"),
        ("Above {limit(heat.most}.", "is neither a fact nor limit"),
        ("Above {item.heat_c)}.", "is neither a fact nor limit"),
        ("Above {.", "has a stray brace"),
        ("Above }.", "has a stray brace"),
        ("Above {{item.heat_c}}.", "has a stray brace"),
        ("Above {Item.heat_c}.", "has a stray brace"),
        ("Above {item.heat_c:.1f}.", "has a stray brace"),
        ("Above {}.", "has a stray brace"),
    ],
)
def test_a_sentence_that_names_what_is_not_there(text: str, why: str) -> None:
    with pytest.raises(SentenceError, match=re.escape(why)):
        read_sentence(text, TYPES, LIMITS)


@pytest.mark.parametrize("value", ["{item.heat_c}", "\\1", "{"])
def test_what_a_value_says_is_not_read_again(value: str) -> None:
    assert written("It is {item.title}.", item_in_title=value, item_in_heat_c=1.0) == f"It is {value}."


@pytest.mark.parametrize(
    ("title", "inside"),
    [("Ceramic tile", "ceramic tile"), ("PVC film", "PVC film"), ("A tee", "a tee"), ("T", "T"), ("", "")],
)
def test_titles_inside_sentences(title: str, inside: str) -> None:
    assert in_a_sentence(title) == inside


def test_every_sentence_of_the_book_ends_as_one(book: Book) -> None:
    assert book.rules
    for rule in book.rules.values():
        for text in (rule.because.text, rule.fix.text):
            assert text.endswith((".", "?", "!")), f"{rule.id}: {text}"
            assert "  " not in text, rule.id
        assert not rule.title.endswith("."), rule.id


@pytest.mark.parametrize(("system", "shown", "foreign"), [("metric", "°C", "°F"), ("us-customary", "°F", "°C")])
def test_findings_speak_the_shops_units(
    system: str, shown: str, foreign: str, book: Book, authority: Authority
) -> None:
    document = order_document(book, decoration={"settings": {"temperature": "215 °C", "read_at": "surface"}})
    verdict = authority.validate(read(Order, document), shop_of(book, unit_system=system), observed=True)
    text = " ".join(f"{f.because} {f.fix} {f.observed} {f.limit}" for f in verdict.findings)
    assert verdict.verdict == "rejected"
    assert shown in text
    assert foreign not in text
