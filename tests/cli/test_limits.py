"""``accord limits``, ``limit``, ``catalogue`` and ``envelope``, against the book's files and the service's answers."""

from __future__ import annotations

import json
import tomllib
from typing import Any

import pytest

from accord_client import Client
from accord_rules.documents import units
from accord_rules.documents.files import shipped_folder
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import KINDS

ORDER = {
    "item": {"blank": "cushion-polyester-white"},
    "decorations": [{"transfer": "dye-sublimation", "placement": "front"}],
}


def words(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("who", ["service", "here"])
def test_every_limit_is_listed_once_with_its_value(accord: Any, alone: Any, book: Book, who: str) -> None:
    done = accord("limits") if who == "service" else alone("limits", "--shipped")
    assert done.exit_code == 0
    assert max(map(len, done.stdout.splitlines())) <= 80
    firsts = [line.split()[0] for line in done.stdout.splitlines() if line[2:3].strip()]
    assert [name for name in book.limits if firsts.count(name) != 1] == []
    assert f"{len(book.limits)} limits" in done.stdout
    assert "fumes.pvc_most 190 °C lower* PVC" in words(done.stdout)


def test_a_room_and_a_word_choose(alone: Any, book: Book) -> None:
    listed = json.loads(alone("limits", "--shipped", "--json", "--room", "dye").stdout)
    assert [entry["id"] for entry in listed] == [name for name in book.documents["limits"] if name.startswith("dye.")]
    listed = json.loads(alone("limits", "--shipped", "--json", "drinking rim").stdout)
    assert [entry["id"] for entry in listed] == ["people.rim_distance_least"]
    for wrong, hint in ((("--room", "dyes"), "dye"), (("zzzz",), "accord limits")):
        refused = alone("limits", "--shipped", *wrong)
        assert refused.exit_code == 2
        assert hint in refused.output


def test_a_limit_is_told_in_both_unit_systems_with_all_that_reads_it(accord: Any, alone: Any, book: Book) -> None:
    """190 °C is 374 °F: 190 · 9/5 + 32."""
    for done in (accord("limit", "fumes.pvc_most"), alone("limit", "fumes.pvc_most", "--shipped")):
        assert done.exit_code == 0
        page = words(done.stdout)
        assert "190 °C, or 374 °F" in page
        assert "Stricter is lower" in page
        assert "1 K, or 2 °F: the smallest change" in page, "a difference, 1.8 °F in whole degrees"
        assert "It keeps people safe: loosening it takes two stewards." in page
        readers = [rule.id for rule in book.rules.values() if "fumes.pvc_most" in rule.limits]
        assert readers
        assert all(f"- {reader}" in page for reader in readers)
        assert all(f"[{source}]" in page for source in book.documents["limits"]["fumes.pvc_most"]["sources"])
    assert json.loads(accord("limit", "fumes.pvc_most", "--json").stdout)["limit"]["value"] == "190 °C"
    wrong = accord("limit", "fumes.pvc_mos")
    assert wrong.exit_code == 2
    assert "Did you mean fumes.pvc_most" in wrong.output


@pytest.mark.parametrize("who", ["service", "here"])
def test_the_catalogue_by_kind_entry_and_field(accord: Any, alone: Any, book: Book, who: str) -> None:
    def ask(*names: str) -> Any:
        return accord("catalogue", *names) if who == "service" else alone("catalogue", *names, "--shipped")

    kinds = json.loads(ask("--json").stdout)
    assert {kind["kind"]: kind["count"] for kind in kinds} == {kind: len(book.documents[kind]) for kind in KINDS}
    assert "blanks" in ask().stdout
    coatings = ask("coatings").stdout
    assert all(f"  {name} " in coatings for name in book.documents["coatings"])
    page = words(ask("coatings", "polyurethane").stdout)
    raw = tomllib.loads(shipped_folder().joinpath("coatings.toml").read_text(encoding="utf-8"))["polyurethane"]
    assert raw["title"] in page
    assert words(f"limit {raw['limit']}") in page
    # A product says only where it differs from its family: it is shown whole.
    assert "principle" in ask("products", "film-soft-matte").stdout
    led = words(ask("transfers", "HTV").stdout)
    assert led.startswith("“HTV” is a word for cut-film. cut-film Cut film, polyurethane")
    assert json.loads(ask("transfers", "htv", "--json").stdout)["id"] == "cut-film"
    for wrong, hint in ((("coating",), "coatings"), (("coatings", "polyuretane"), "polyurethane")):
        refused = ask(*wrong)
        assert refused.exit_code == 2
        assert hint in refused.output


def test_an_envelope_says_what_the_service_says(accord: Any, alone: Any, order: Any, served: Any, data: Any) -> None:
    file = order("open", ORDER)
    done = accord("envelope", file)
    assert done.exit_code == 0, done.output
    # The name of a file stays whole, however long it is.
    assert max(len(line) for line in done.stdout.splitlines() if line != file) <= 80
    with Client(served.url, (data / "keys" / "mill-loft-counter").read_text(encoding="ascii").strip()) as client:
        answer = client.envelope(ORDER)
    assert json.loads(accord("envelope", "--json", order("open", ORDER)).stdout)["on"] == [*answer.on]
    page = words(done.stdout)
    for on in answer.on:
        (decoration,) = on["decorations"]
        for span in decoration["temperature"]:
            assert f"{span['least']} to {span['most']}" in page
            assert units.parse(units.TEMPERATURE, span["least"]) < units.parse(units.TEMPERATURE, span["most"])
    here = alone("envelope", "--shipped", order("open", ORDER))
    assert here.exit_code == 0
    hopeless = ORDER | {"item": {"blank": "tee-heavy-white"}}
    none = accord("envelope", order("none", hopeless))
    assert none.exit_code == 1
    assert "none of the presses" in words(none.stdout)
    assert "dye-on-natural-fibre" in none.stdout
    assert accord("envelope", order("bad", {})).exit_code == 2
