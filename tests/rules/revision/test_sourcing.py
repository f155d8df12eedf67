"""How well numbers are sourced, on rows of which ``sources.toml`` tells in words how far they were seen."""

from __future__ import annotations

import pytest

from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import SOURCE_KINDS, Limit
from accord_rules.revision.markets import Market
from accord_rules.revision.sourcing import (
    facts_of,
    kind_of,
    limits_sourced,
    numbers_of,
    rooms_of,
    rows_sourced,
    safety_limits_of,
    weakest,
)


def test_the_weakest_source_counts() -> None:
    assert weakest(["published", "choice", "secondary"]) == "choice"
    assert weakest(["published", "secondary"]) == "secondary"
    assert weakest(["published"]) == "published"


@pytest.mark.parametrize(
    ("kind", "name", "pointer", "expected"),
    [
        # 15 USC 1278a was read; of EN 14682 the hood was seen on an agency's page, the waist is from memory.
        ("markets", "us", "/lead/blank_most", "published"),
        ("markets", "eu", "/hood_cords/height_most", "published"),
        ("markets", "eu", "/waist_cords/out_most", "from-memory"),
        # Great Britain's own entries on nickel, cadmium and lead were not seen: they are taken to be the Union's.
        ("markets", "uk", "/nickel/release_most", "from-memory"),
        # 88.2 g/m2 of 16 CFR 1610.1(d) is repeated by secondary pages, the classes were seen.
        ("markets", "us", "/clothing_fire/plain_from", "secondary"),
        # The copy of EN 12524 in an engineering library was seen, not the standard.
        ("substrates", "aluminium-sheet", "/conductivity", "secondary"),
        ("substrates", "aluminium-sheet", "/thickness", "common-practice"),
        ("consumables", "ptfe-sheet", "/limit", "from-memory"),
        ("transfers", "cut-film-pvc", "/time/aim", "common-practice"),
        ("transfers", "dye-sublimation", "/durability", "choice"),
        ("limits", "care.iron_2_2023", "/value", "secondary"),
        ("limits", "people.touch_hold_most", "/value", "secondary"),
        ("limits", "children.age_most", "/value", "published"),
        ("limits", "pressure.medium_least", "/value", "common-practice"),
    ],
)
def test_kinds_of_single_numbers(kind: str, name: str, pointer: str, expected: str, book: Book) -> None:
    (number,) = (n for n in numbers_of(book.documents) if (n.kind, n.id, n.pointer) == (kind, name, pointer))
    assert kind_of(number, book.sources) == expected


def test_each_room_counts_each_of_its_numbers_once(book: Book) -> None:
    rooms = {room.id: room for room in rooms_of(book.documents, book.sources)}
    assert rooms["limits"].total == len(book.limits)
    # A sheet has limit, thickness and conductivity; a cell of migration three temperatures; a fibre a regain and heat.
    assert rooms["consumables"].total == 3 * len(book.catalogue["consumables"])
    assert rooms["migration"].total == 3 * len(book.catalogue["migration"])
    assert rooms["fibres"].total == 2 * len(book.catalogue["fibres"])
    for room in rooms.values():
        assert (sum(room.counts.values()), tuple(room.counts)) == (room.total, SOURCE_KINDS)


def test_safety_limits_come_worst_sourced_first(book: Book) -> None:
    sourced = safety_limits_of(book.limits, book.sources)
    assert {limit.id for limit in sourced} == {name for name, limit in book.limits.items() if limit.safety}
    ranks = [SOURCE_KINDS.index(limit.kind) for limit in sourced]
    assert ranks == sorted(ranks, reverse=True)
    assert ranks[0] > ranks[-1]


def test_limits_are_written_with_their_unit(book: Book) -> None:
    limits: dict[str, Limit] = dict(book.limits)
    assert limits["people.touch_hold_most"].amount == "43 °C"
    assert limits["electric.circuit_full"].amount == "100 %"
    assert limits["press.parts_most"].amount == "4"
    (hot,) = limits_sourced(["people.ptfe_surface_most"], book.limits, book.sources)
    assert (hot.kind, hot.sources) == ("from-memory", ("ptfe-service-limit",))


def test_every_fact_of_a_market_leads_to_its_rows(book: Book) -> None:
    """Rules that speak of the law of a market show its rows; only where it is and whom it is for has none."""
    matters = set(Market.__dataclass_fields__)
    for rule in book.rules.values():
        law = {fact for fact in facts_of(rule) if fact.startswith("market.") and fact != "market.where"}
        rows = rows_sourced(law, book.catalogue["markets"], book.sources)
        assert bool(rows) is bool(law), rule.id
        assert {row.matter for row in rows} <= matters


def test_a_rule_about_cords_shows_what_each_market_has_seen(book: Book) -> None:
    rows = rows_sourced(["market.hood_cords"], book.catalogue["markets"], book.sources)
    kinds = {(row.market, row.matter): row.kind for row in rows}
    assert kinds["us", "hood_cords"] == "published"
    assert kinds["eu", "hood_cord_ends"] == "published"
    assert kinds["uk", "hood_cords"] == "secondary"  # the regulations of 1976 were not found


def test_a_rule_about_plugs_shows_the_row_that_it_has_its_amperes_from(book: Book) -> None:
    """As markets/uk.toml has it: the one market whose plugs are fused."""
    for name in ("plug-fuse-runs-hot", "plug-fuse-blows"):
        rows = rows_sourced(facts_of(book.rules[name]), book.catalogue["markets"], book.sources)
        assert [(row.market, row.matter, row.sources) for row in rows] == [("uk", "plug_fuse", ("plug-fuse-uk",))], name
