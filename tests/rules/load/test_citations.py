"""Sources are cited only for what they can speak of; expected answers follow from what the texts are about."""

from __future__ import annotations

import copy
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import pytest

from accord_rules.derive import FACT_TYPES
from accord_rules.documents.files import BookError, shipped
from accord_rules.documents.reading import readers_of
from accord_rules.load.citations import miscited
from accord_rules.load.loader import from_documents
from accord_rules.orders.order import EVIDENCE
from accord_rules.revision import sourcing
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import ANYTHING, KINDS, SUBJECTS
from accord_rules.revision.markets import Market
from accord_rules.revision.sourcing import FIELDS, LIMITS, TOPICS, numbers_of, subjects_of_field, subjects_of_rule

Documents = dict[str, dict[str, Any]]


@pytest.fixture(scope="module")
def documents() -> Documents:
    """The shipped book without rules and steps, whose examples take long and are tried elsewhere."""
    shared: Documents = {kind: dict(entries) for kind, entries in shipped().items()}
    return shared | {"rules": {}, "steps": {}}


def refusals(documents: Documents, change: Callable[[Documents], None]) -> list[str]:
    changed = copy.deepcopy(documents)
    change(changed)
    try:
        from_documents(changed)
    except BookError as error:
        return list(error.reasons)
    return []


def cite(kind: str, name: str, field: str, source: str) -> Callable[[Documents], None]:
    def change(documents: Documents) -> None:
        entry = documents[kind][name]
        entry["sources_of"] = {**entry.get("sources_of", {}), field: [source]}

    return change


def cite_whole(kind: str, name: str, source: str) -> Callable[[Documents], None]:
    def change(documents: Documents) -> None:
        documents[kind][name]["sources"] = [source]

    return change


def test_the_shipped_book_cites_every_source_for_what_it_speaks_of(book: Book) -> None:
    assert list(miscited(book)) == []


@pytest.mark.parametrize(
    ("change", "place", "source", "about"),
    [
        # A textbook of transfer printing knows no heat press.
        (
            cite("press_types", "clamshell", "loss", "transfer-printing-textbook"),
            "press_types.toml: clamshell: /loss",
            "transfer-printing-textbook",
            "press",
        ),
        # A note on fumes says nothing of how long a film is pressed.
        (cite("transfers", "cut-film-pvc", "time", "pvc-fumes"), "cut-film-pvc: /time/", "pvc-fumes", "pressing"),
        # A table of building materials has no mug's width, a law on lead no conductivity.
        (
            cite("substrates", "ceramic-mug", "diameter", "thermal-en-12524"),
            "ceramic-mug: /diameter",
            "thermal-en-12524",
            "goods",
        ),
        (cite("substrates", "knit", "density", "lead-us"), "knit: /density", "lead-us", "conduction"),
        (cite("fibres", "CO", "dye_affinity", "lead-us"), "/sources_of/dye_affinity", "lead-us", "dye-affinity"),
        (
            cite_whole("limits", "electric.circuit_full", "ptfe-fumes"),
            "electric.circuit_full",
            "ptfe-fumes",
            "electric",
        ),
        (cite_whole("limits", "children.age_most", "common-practice"), "children.age_most", "common-practice", "child"),
        (
            lambda documents: documents["markets"]["us"]["lead"].update(sources=["common-practice"]),
            "markets/us.toml: /lead/age_under",
            "common-practice",
            "lead",
        ),
    ],
)
def test_a_citation_outside_is_refused_with_its_file_and_the_nearest_source(
    change: Callable[[Documents], None], place: str, source: str, about: str, documents: Documents, book: Book
) -> None:
    told = [reason for reason in refusals(documents, change) if place in reason]
    assert len(told) == 1, told
    assert f"{source!r} cannot be the source of" in told[0]
    assert re.search(rf"this is about [a-z -]*{about}", told[0])
    nearest = re.search(r"nearest source: (.+)$", told[0])
    assert nearest is not None
    assert {*nearest.group(1).split(" or ")} <= {*book.sources} - {source}


def test_a_rule_is_refused_too(book: Book) -> None:
    document = copy.deepcopy(dict(book.documents["rules"]["not-mirrored"])) | {"sources": ["lead-us"]}
    documents = {**book.documents, "rules": {"not-mirrored": document}, "steps": {}}
    with pytest.raises(BookError, match=r"not-mirrored.toml: /sources/0: 'lead-us' cannot be the source of"):
        from_documents(documents)


@pytest.mark.parametrize(
    ("rule", "source", "about"),
    [
        # A law on lead says nothing of cords, one on nickel nothing of a child's magnets, one on fire nothing of birds.
        ("cord-in-childs-hood", "lead-us", "cords"),
        ("childs-piece-with-magnet", "nickel-eu", "magnets"),
        ("birds-near-hot-ptfe", "flammability-clothing-us", "fumes"),
        ("print-on-food-face", "phthalates-eu", "food"),
    ],
)
def test_a_rule_about_people_cites_only_the_laws_that_it_touches(
    rule: str, source: str, about: str, book: Book
) -> None:
    document = copy.deepcopy(dict(book.documents["rules"][rule])) | {"sources": [source], "instead_of": []}
    document.pop("step", None)
    documents = {**book.documents, "rules": {rule: document}, "steps": {}}
    with pytest.raises(BookError) as refused:
        from_documents(documents)
    (reason,) = refused.value.reasons
    assert f"{rule}.toml: /sources/0: {source!r} cannot be the source of what this rule says" in reason
    assert about in reason.split("this is about")[1].split(";")[0]


def test_every_paper_that_lifts_a_row_touches_the_rows_law(book: Book) -> None:
    """What settles a row of a market is about its matter, so that a rule that asks for it may cite that law."""
    rule = book.rules["childs-piece-of-pvc"]
    for market in book.catalogue["markets"].values():
        for matter, row in market.rows:
            for paper in row.lifted_by:
                asking = replace(rule, when=f"'{paper}' not in order.evidence")
                assert {*subjects_of_rule(asking)} & {*subjects_of_field("markets", matter)}, (matter, paper)


def test_only_a_choice_speaks_of_anything(documents: Documents, book: Book) -> None:
    def change(changed: Documents) -> None:
        changed["sources"]["transfer-practice"]["speaks_of"] = [ANYTHING]

    assert any("only a choice can speak of anything" in reason for reason in refusals(documents, change))
    assert {s.kind for s in book.sources.values() if ANYTHING in s.speaks_of} == {"choice"}


def test_no_row_was_seen_better_than_its_sources(documents: Documents) -> None:
    """EN 14878 was seen through secondary pages alone, so no row can say that its text was seen."""

    def change(changed: Documents) -> None:
        changed["markets"]["eu"]["nightwear"]["seen"] = "text"

    (reason,) = refusals(documents, change)
    assert "markets/eu.toml: /nightwear/seen" in reason
    assert "the best is secondary" in reason


def test_no_cell_of_migration_was_seen_better_than_its_sources(documents: Documents) -> None:
    """What suppliers' pages and tutorials tell of dye migration is practice: no table of dyes stands behind it."""

    def change(changed: Documents) -> None:
        changed["migration"]["unknown-rich-deep"]["seen"] = "secondary"

    (reason,) = refusals(documents, change)
    assert "migration.toml: unknown-rich-deep: /seen: 'secondary' is better" in reason


def test_every_number_has_a_subject_and_every_subject_a_source(book: Book) -> None:
    assert {*FIELDS} <= {*KINDS}  # a kind of words alone has none
    assert [number for number in numbers_of(book.documents) if not number.subjects] == []
    tables: list[Mapping[str, tuple[str, ...]]] = [*FIELDS.values(), LIMITS, TOPICS]
    used = {subject for table in tables for subjects in table.values() for subject in subjects}
    assert used | {ANYTHING} == {*SUBJECTS}
    spoken = {subject for source in book.sources.values() for subject in source.speaks_of}
    assert spoken == {*SUBJECTS}


def test_a_field_without_a_subject_is_told(documents: Documents, monkeypatch: pytest.MonkeyPatch) -> None:
    """As one that somebody has just added to the catalogue."""
    fields = {kind: dict(fields) for kind, fields in FIELDS.items()}
    del fields["markets"]["magnets"]
    monkeypatch.setattr("accord_rules.revision.sourcing.FIELDS", fields)
    told = [reason for reason in refusals(documents, lambda _: None) if "give it a subject" in reason]
    assert "markets/us.toml: /magnets/flux_index_under: is about nothing yet" in " ".join(told)
    assert {reason.split(": ")[1].split("/")[1] for reason in told} == {"magnets"}


def test_what_the_tables_name_exists() -> None:
    """A name that nothing has any more gives its row, or its law, to nobody."""
    assert {*sourcing._MATTERS} <= {*FACT_TYPES}
    assert {matter for matters in sourcing._MATTERS.values() for matter in matters} <= {*readers_of(Market)}
    assert [start for start in sourcing._FACTS if not any(name.startswith(start) for name in FACT_TYPES)] == []
    assert {*sourcing._EVIDENCE} <= {*EVIDENCE}
    for kind, fields in FIELDS.items():
        assert {*fields} - {""} <= {*readers_of(KINDS[kind])}, kind


def test_limits_and_topics_that_have_subjects_of_their_own_exist(book: Book) -> None:
    firsts = {*book.limits, *(name.split(".")[0] for name in book.limits)}
    assert {*LIMITS} - {""} <= firsts
    assert {*TOPICS} - {""} <= {rule.topic for rule in book.rules.values()}


def test_numbers_are_counted_as_they_stand_in_the_files(book: Book) -> None:
    """Counted by hand in the file: an aim of three temperatures and three dwells, each under its own sources."""
    polyester = [n for n in numbers_of(book.documents) if (n.kind, n.id) == ("transfers", "dye-sublimation")]
    by_share = [n for n in polyester if n.pointer.startswith("/by_polyester/0")]
    assert {n.pointer.removeprefix("/by_polyester/0") for n in by_share} == {
        "/polyester", "/temperature/least", "/temperature/aim", "/temperature/most"
    }  # fmt: skip
    assert {n.sources for n in by_share} == {("supplier-quoted", "trade-magazine", "supplier-page")}
    (dwell,) = {n.sources for n in polyester if n.pointer.startswith("/dose")}
    assert dwell == ("heat-dose-fit",)
