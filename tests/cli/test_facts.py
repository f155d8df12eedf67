"""``accord facts``: against the declarations of the facts and the book's own files."""

from __future__ import annotations

import json
from typing import Any

import pytest

from accord_rules.derive import FACTS
from accord_rules.derive.graph import GRAPH
from accord_rules.revision.book import Book


def words(text: str) -> str:
    return " ".join(text.split())


def test_the_table_has_every_fact_once_below_its_scope(accord: Any) -> None:
    done = accord("facts", COLUMNS="80")
    assert done.exit_code == 0
    assert max(map(len, done.stdout.splitlines())) <= 80
    listed = done.stdout.replace(",", " ").split()
    assert [name for name in FACTS if listed.count(name) != 1] == []
    headings = ("Of the order", "Of a decoration", "Of a pressing")
    places = [done.stdout.index(heading) for heading in headings]
    assert places == sorted(places)
    assert places[0] < done.stdout.index("item.textile") < places[1] < done.stdout.index("transfer.look ") < places[2]
    assert f"{len(FACTS)} facts" in done.stdout


def test_the_list_for_programs(accord: Any) -> None:
    listed = json.loads(accord("facts", "--json").stdout)
    assert [fact["id"] for fact in listed] == sorted(FACTS)
    assert json.loads(accord("facts", "touch", "--json").stdout) == [
        fact for fact in listed if fact["id"].startswith("touch.")
    ]
    alone = json.loads(accord("facts", "item.diameter_mm", "--json").stdout)
    assert {key: alone[key] for key in listed[0]} in listed


@pytest.mark.parametrize("who", ["service", "here"])
def test_a_fact_is_told_whole(accord: Any, alone: Any, book: Book, who: str) -> None:
    done = accord("facts", "item.finishes") if who == "service" else alone("facts", "item.finishes", "--shipped")
    assert done.exit_code == 0
    page = words(done.stdout)
    fact = FACTS["item.finishes"]
    assert fact.about in page
    assert f"Words {', '.join(sorted(book.catalogue['finishes']))}" in page
    assert "at /item/finishes:" in page
    assert "asked where nothing can be assumed: Is the cloth treated" in page
    assert "Reads blank.entry, item.shell inputs /item/finishes" in page
    assert "Read by item.ceilings, item.repellent" in page
    blocking = sorted(r.id for r in book.rules.values() if r.level == "blocks" and fact.name in r.condition.facts)
    assert f"blocks {', '.join(blocking)}" in page


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("set.surface_c", "temperature in °C; compared with limit('...') or another fact, never a bare number"),
        ("item.polyester_share", "percent in %; compared with a plain number; examples write 65"),
        ("item.textile", "yes or no"),
        ("item.title", "in sentences only"),
        ("item.ceilings", "rules cannot speak of it"),
        ("art.colours", "assumed 1 reason"),
        ("item.textile", "If unsaid follows from what it reads Reads"),
        (
            "place.shared",
            "follows from what it reads; where that leaves it unknown, it stays unknown, and nobody is asked",
        ),
        ("heat.dose", "limits heat.below_least, heat.adhesive_hold"),
        ("window.time_dial_s", "to choose chosen/time_s"),
    ],
)
def test_what_an_author_writes_and_what_holds_unsaid(alone: Any, name: str, sentence: str) -> None:
    assert sentence in words(alone("facts", name, "--shipped").stdout)


def test_the_same_here(accord: Any, alone: Any) -> None:
    assert GRAPH.facts.keys() == FACTS.keys()
    for arguments in (("facts",), ("facts", "use.age_from"), ("facts", "heat", "--json")):
        assert alone(*arguments, "--shipped").stdout == accord(*arguments).stdout, arguments


@pytest.mark.parametrize("local", [True, False])
@pytest.mark.parametrize(
    ("name", "near"), [("item.textil", "item.textile"), ("polyester_share", "item.polyester_share")]
)
def test_a_wrong_name_brings_the_nearest(accord: Any, alone: Any, name: str, near: str, local: bool) -> None:
    done = alone("facts", name, "--shipped") if local else accord("facts", name)
    assert done.exit_code == 2
    assert f"There is no fact '{name}'." in done.stderr
    assert near in done.stderr


def test_a_name_that_is_like_none_is_told_where_all_are(alone: Any) -> None:
    done = alone("facts", "zzz", "--shipped")
    assert done.exit_code == 2
    assert "accord facts lists them all" in done.stderr
