"""How much the shipped book knows, that nothing in it lies idle, and that every number says where it comes from.

The numbers of entries and the topics are this project's own aim; there is no outside source.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any

import pytest

from accord_rules.derive.graph import GRAPH
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import KINDS
from accord_rules.revision.condition import Compare, LimitName, comparisons
from accord_rules.revision.rule import Rule
from accord_rules.verdict import LEVELS

LEAST = {
    "fibres": 25,
    "substrates": 60,
    "coatings": 8,
    "finishes": 7,
    "transfers": 45,
    "products": 90,
    "consumables": 16,
    "press_types": 20,
    "blanks": 220,
    "practice": 60,
    "markets": 6,
    "migration": 54,
    "advice": 15,
    "not_covered": 15,
}
TOPICS = {
    "dye-on-cloth",
    "dye-on-hard-goods",
    "film-powder-paper",
    "heat-ceilings",
    "settings",
    "press",
    "order-of-pressings",
    "people",
    "order-sense",
}


@pytest.mark.parametrize("kind", KINDS)
def test_the_catalogue_is_broad(kind: str, book: Book) -> None:
    assert len(book.catalogue[kind]) >= LEAST[kind]


def test_there_are_rules_on_every_topic(book: Book) -> None:
    assert len(book.rules) >= 90
    assert {rule.topic for rule in book.rules.values()} >= TOPICS
    for topic in TOPICS:
        levels = {rule.level for rule in book.rules.values() if rule.topic == topic}
        assert "blocks" in levels, topic
    assert {rule.level for rule in book.rules.values()} == set(LEVELS)


def test_every_family_has_a_stocked_product_and_a_substrate_it_suits(book: Book) -> None:
    assert {product.family for product in book.catalogue["products"].values()} == set(book.catalogue["transfers"])
    families = {substrate.family for substrate in book.catalogue["substrates"].values()}
    for name, transfer in book.catalogue["transfers"].items():
        assert set(transfer.suits) & families, name


@pytest.mark.parametrize("kind", ["cover", "pad", "tape"])
def test_there_are_consumables_of_every_kind(kind: str, book: Book) -> None:
    assert [name for name, entry in book.catalogue["consumables"].items() if entry.kind == kind]


def test_every_shape_of_piece_has_a_press(book: Book) -> None:
    curved = {
        "cap" if substrate.family == "cloth" else "mug"
        for substrate in book.catalogue["substrates"].values()
        if substrate.curved
    }
    assert {press.shape for press in book.catalogue["press_types"].values()} == curved | {"flat"}


# -- nothing lies idle -----------------------------------------------------------------------------------------------


def package_text(folder: Traversable | None = None) -> str:
    """The package's Python sources, its book left out."""
    texts = []
    for path in sorted((folder or files("accord_rules")).iterdir(), key=lambda entry: entry.name):
        if path.is_dir() and path.name not in ("__pycache__", "book"):
            texts.append(package_text(path))
        elif path.name.endswith(".py"):
            texts.append(path.read_text(encoding="utf-8"))
    return "\n".join(texts)


def test_every_limit_is_used_by_a_rule_a_step_or_a_derivation(book: Book) -> None:
    by_rules = {name for entry in (*book.rules.values(), *book.steps.values()) for name in entry.limits}
    assert set(book.limits) == by_rules | GRAPH.limits


def test_every_source_is_named_somewhere(book: Book) -> None:
    """By an entry, a limit, a rule, or, for a formula, by the module that holds it."""
    named = {source for entry in entries(book) for source in all_sources(entry)}
    in_code = set(re.findall(r"``([a-z0-9-]+)``", package_text()))
    assert sorted(set(book.sources) - named - in_code) == []


def test_every_entry_is_within_reach(book: Book) -> None:
    """Coatings, finishes and consumables that nothing refers to would be dead weight, unless an order names them."""
    catalogue = book.catalogue
    worn = {blank.substrate for blank in catalogue["blanks"].values()}
    assert set(catalogue["substrates"]) >= worn
    assert len(worn) >= 25, "blanks of at least 25 substrates"
    consumables = {name for transfer in catalogue["transfers"].values() for name in (*transfer.cover, *transfer.pad)}
    assert consumables <= set(catalogue["consumables"])


# -- every number says where it comes from ---------------------------------------------------------------------------


def entries(book: Book) -> Iterator[Any]:
    for kind in KINDS:
        yield from book.catalogue[kind].values()
    yield from book.limits.values()
    yield from book.rules.values()


def all_sources(entry: Any) -> set[str]:
    sources_ = set(entry.sources)
    for sources in getattr(entry, "sources_of", {}).values():
        sources_ |= set(sources)
    return sources_


def test_every_entry_names_its_sources(book: Book) -> None:
    assert {type(entry) for entry in entries(book)} >= {*KINDS.values(), Rule}
    for entry in entries(book):
        assert entry.sources, entry
        assert all_sources(entry) <= set(book.sources), entry


def test_sources_of_single_numbers_name_fields_there_are(book: Book) -> None:
    checked = 0
    for kind in KINDS:
        fields = {field.name for field in dataclasses.fields(KINDS[kind])}
        for name, entry in book.catalogue[kind].items():
            for field in getattr(entry, "sources_of", {}):
                assert field.split(".")[0] in fields, f"{kind}: {name}: {field}"
                checked += 1
    assert checked > 10


def test_published_sources_say_edition_or_place(book: Book) -> None:
    published = [source for source in book.sources.values() if source.kind == "published"]
    assert published
    assert [source.title for source in published if not re.search(r"\d", source.title + source.text)] == []


# What a text of each kind has to say of how far it was seen.
SAYS = {
    "published": r"\b[Ss]een\b|[Cc]onfirmed",
    "secondary": r"secondary|repeat|quote|copy|tabled",
    "from-memory": r"memory|not open|not seen|[Nn]ot seen",
}


@pytest.mark.parametrize("kind", SAYS)
def test_a_source_says_in_words_what_its_kind_says(kind: str, book: Book) -> None:
    of_kind = {name: source for name, source in book.sources.items() if source.kind == kind}
    assert of_kind
    silent = [name for name, source in of_kind.items() if not re.search(SAYS[kind], source.title + source.text)]
    assert silent == []


def test_nothing_seen_through_others_alone_is_called_published(book: Book) -> None:
    published = {name: source.text for name, source in book.sources.items() if source.kind == "published"}
    assert [n for n, text in published.items() if re.match(r"[^.]*(through secondary pages|from memory)", text)] == []


# -- which way is stricter -------------------------------------------------------------------------------------------


def finds_more_when(comparison: Compare) -> str:
    """Which way the limit has to move for the comparison to hold more often."""
    return "higher" if comparison.op in ("<", "<=") else "lower"


def limit_comparisons(book: Book) -> Iterator[tuple[Rule, Compare, str]]:
    for rule in book.rules.values():
        for comparison in comparisons(rule.condition):
            if isinstance(comparison.right, LimitName):
                yield rule, comparison, comparison.right.name


def test_moving_a_limit_the_stricter_way_finds_more(book: Book) -> None:
    """A rule that finds less then hands over to one at least as firm that finds more: a band that gives way."""
    compared = list(limit_comparisons(book))
    assert len(compared) > 100
    wrong = []
    for rule, comparison, name in compared:
        stricter = book.limits[name].stricter
        if finds_more_when(comparison) == stricter or rule.level == "notes":
            continue
        firmer = [
            stricter_rule.id
            for stricter_rule, against, other_name in compared
            if other_name == name
            and against.left == comparison.left
            and finds_more_when(against) == stricter
            and LEVELS.index(stricter_rule.level) <= LEVELS.index(rule.level)
        ]
        if not firmer:
            wrong.append(f"{rule.id} ({rule.level}): {comparison}, but {name} is stricter when {stricter}")
    assert wrong == []


def test_every_limit_of_a_rule_has_a_comparison_in_its_stricter_direction(book: Book) -> None:
    compared: dict[str, set[str]] = {}
    for _, comparison, name in limit_comparisons(book):
        compared.setdefault(name, set()).add(finds_more_when(comparison))
    wrong = {name: ways for name, ways in compared.items() if book.limits[name].stricter not in ways}
    assert wrong == {}


@pytest.mark.parametrize("word", ["light", "medium", "firm"])
def test_pressure_words_do_not_overlap_or_leave_gaps(word: str, book: Book) -> None:
    values = book.limit_values
    assert values[f"pressure.{word}_least"] < values[f"pressure.{word}_most"]
    softer = {"medium": "light", "firm": "medium"}.get(word)
    if softer is not None:
        assert values[f"pressure.{softer}_most"] == values[f"pressure.{word}_least"]
