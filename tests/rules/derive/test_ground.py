"""What a print that lies on another meets: that other print's face. Common practice, no source."""

from __future__ import annotations

from typing import Any

import pytest
from cases import order_document, pressing, sentence, shop_of

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_rules.verdict import Verdict

SIZE = {"width": "200 mm", "height": "150 mm"}
RED_POLYESTER = {"fibres": {"PES": 100}, "colour": "#B01020", "dye": "disperse"}
WHITE = {"palette": ["#FFFFFF"]}


def pile(*transfers: str, **upper: Any) -> list[dict[str, Any]]:
    """Decorations on each other, from the cloth up; ``upper`` is said of the uppermost."""
    every: list[dict[str, Any]] = [
        {"transfer": name, "placement": "front", "size": SIZE} | ({"over": place - 1} if place else {})
        for place, name in enumerate(transfers)
    ]
    return [*every[:-1], every[-1] | upper]


def verdict_of(authority: Authority, item: dict[str, Any], decorations: list[dict[str, Any]]) -> Verdict:
    document = order_document(authority.book, item=item, decorations=decorations)
    return authority.validate(read(Order, document), shop_of(authority.book))


def rules(verdict: Verdict, level: str) -> set[str]:
    return {finding.rule for finding in verdict.findings if finding.level == level}


@pytest.mark.parametrize("colour", ["white", "#B01020"])
@pytest.mark.parametrize("film", ["dye-receptive-film", "receptive-film-white", "receptive-film-glitter"])
def test_dye_over_receptive_film_does_not_meet_the_cotton(film: str, colour: str, authority: Authority) -> None:
    verdict = verdict_of(authority, {"fibres": {"CO": 100}, "colour": colour}, pile(film, "dye-sublimation"))
    assert rules(verdict, "blocks") == set()
    assert verdict.verdict in ("accepted", "conditional")


@pytest.mark.parametrize("fibres", [{"CO": 100}, {"PES": 100}])
@pytest.mark.parametrize("film", ["cut-film", "powder-film", "printable-film"])
def test_dye_over_an_ordinary_film_is_refused_with_the_film_as_the_reason(
    film: str, fibres: dict[str, int], authority: Authority
) -> None:
    verdict = verdict_of(authority, {"fibres": fibres}, pile(film, "dye-sublimation"))
    assert verdict.verdict == "rejected"
    (finding,) = (finding for finding in verdict.findings if finding.rule == "dye-onto-other-layer")
    assert "not made to take dye" in finding.because
    assert "dye-on-natural-fibre" not in rules(verdict, "blocks"), "it does not meet the cotton"


def test_dye_beside_a_receptive_film_still_meets_the_cotton(authority: Authority) -> None:
    beside = [pile("dye-receptive-film")[0], {"transfer": "dye-sublimation", "placement": "back", "size": SIZE}]
    assert "dye-on-natural-fibre" in rules(verdict_of(authority, {"fibres": {"CO": 100}}, beside), "blocks")


@pytest.mark.parametrize(
    ("transfers", "printed", "receptive", "textile"),
    [
        (("dye-sublimation",), False, False, True),
        (("cut-film", "dye-sublimation"), True, False, False),
        (("dye-receptive-film", "dye-sublimation"), True, True, False),
        # A dye print has no face: what lies on it meets what the dye went into.
        (("dye-sublimation", "cut-film"), False, False, True),
        (("dye-receptive-film", "dye-sublimation", "dye-sublimation"), True, True, False),
    ],
)
def test_the_face_that_a_print_meets(
    transfers: tuple[str, ...], printed: bool, receptive: bool, textile: bool, book: Book
) -> None:
    case = pressing(book, index=len(transfers) - 1, item={"fibres": {"PES": 100}}, decorations=pile(*transfers))
    assert (case["ground.printed"], case["ground.receptive"], case["ground.textile"]) == (printed, receptive, textile)


def test_the_film_alone_is_pressed_as_films_are_and_its_dye_as_the_film_wants_it(book: Book) -> None:
    decorations = pile("dye-receptive-film", "dye-sublimation")
    film, dye = (pressing(book, index=place, decorations=decorations) for place in (0, 1))
    whole = pressing(book, decoration={"transfer": "dye-receptive-film", "placement": "front", "size": SIZE})
    assert [closing.name for closing in film["process.closings"]] == ["main"]
    assert (film["set.display_c"], film["set.time_s"]) == (whole["tack.display_c"], whole["tack.time_s"])
    assert film["lay.how"] == "adhesive-down"
    assert not film["transfer.taped"]
    assert (dye["set.display_c"], dye["set.time_s"]) == (whole["set.display_c"], whole["set.time_s"])
    assert dye["set.peel"] == "cold", "the film is soft while it is hot"


def test_a_sheet_of_the_film_says_of_the_film_alone_what_it_says_of_its_tack(book: Book) -> None:
    sheet = {"temperature": "195 °C", "time": "45 s", "pressings": {"tack": {"temperature": "150 °C", "time": "10 s"}}}
    film, *dye = pile("dye-receptive-film", "dye-sublimation")
    case = pressing(book, decorations=[film | {"sheet": sheet}, *dye])
    assert (case["set.display_c"], case["set.time_s"]) == (150.0, 10.0)


def test_a_tack_that_is_said_of_a_film_alone_is_not_passed_over(authority: Authority) -> None:
    film, *dye = pile("dye-receptive-film", "dye-sublimation")
    said = film | {"settings": {"pressings": {"tack": {"time": "8 s"}}}}
    verdict = verdict_of(authority, {"fibres": {"CO": 100}}, [said, *dye])
    (finding,) = (finding for finding in verdict.findings if finding.rule == "pressing-outside-window")
    assert "the tack is said, and here the main pressing is the only one" in finding.because


def test_a_plan_presses_film_then_dye_and_measures_the_place_once(authority: Authority) -> None:
    document = order_document(
        authority.book, item={"fibres": {"CO": 100}}, decorations=pile("dye-receptive-film", "dye-sublimation")
    )
    plan = authority.recommend(read(Order, document), shop_of(authority.book), most=1).plans[0]
    film, dye = plan.decorations
    assert plan.sequence == (0, 1)
    assert "80 mm below the collar" in sentence(film.steps, "adhesive-down")
    assert "centred on the film" in sentence(dye.steps, "paper-down-on-film")
    assert sum("collar seam" in step.text for step in (*film.steps, *dye.steps)) == 1
    assert "no-second-press" not in {step.id for step in film.steps}, "its dye is still to come"
    assert "blot-away" not in {step.id for step in film.steps}, "no dye yet"


@pytest.mark.parametrize(
    ("transfers", "migrates"),
    [
        (("cut-film-low-temperature",), True),
        (("cut-film-low-temperature", "cut-film-low-temperature"), True),
        (("blocker-film", "cut-film-low-temperature"), False),
        (("low-temperature-blocker-film", "cut-film-low-temperature", "cut-film-low-temperature"), False),
    ],
)
def test_what_lies_above_a_blocker_is_not_tinted(transfers: tuple[str, ...], migrates: bool, book: Book) -> None:
    decorations = pile(*transfers, artwork=WHITE)
    case = pressing(book, index=len(transfers) - 1, item=RED_POLYESTER, decorations=decorations)
    assert case["transfer.migrates"] is migrates


def test_the_caution_on_migration_stands_of_the_print_that_nothing_shields(authority: Authority) -> None:
    item = RED_POLYESTER | {"dye": "sublimated"}
    on_blocker = verdict_of(authority, item, pile("blocker-film", "cut-film-low-temperature", artwork=WHITE))
    on_film = verdict_of(authority, item, pile("cut-film-low-temperature", "cut-film-low-temperature", artwork=WHITE))
    rule = "light-film-on-dyed-polyester"
    assert rule not in {finding.rule for finding in on_blocker.findings}
    assert "/decorations/1" in {finding.pointer for finding in on_film.findings if finding.rule == rule}
