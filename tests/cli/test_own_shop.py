"""What an owner does, against the service: ``accord shop``, ``stock``, ``names``, ``press`` and ``house``."""

from __future__ import annotations

import json
import time
import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from tests.cli.conftest import Accord, Served, invoked, token_in

import accord_client
from accord_service.cli import own

RULE = """
level = "requires"
title = "Cloth is looked at twice"
about = "item"
when = "item.textile"
because = "This shop looks at every piece of cloth twice."
fix = "Have a colleague look at it."
sources = ["project-choice"]
fires = [{ note = "a tee", item = { blank = "tee-heavy-white" } }]
silent = [{ facts = { "item.textile" = false } }]
"""
# What is written of a shop is seen by its orders within so long (the workers' watch), with room for a busy machine.
SEEN_S = 10.0


def words(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture
def client(served: Served, data: Path) -> Iterator[accord_client.Client]:
    with accord_client.Client(served.url, token_in(data, "mill-loft-owner")) as client:
        yield client


@pytest.fixture
def owner(served: Served, data: Path, client: accord_client.Client) -> Iterator[Accord]:
    """The command as the shop's owner; the shop and its house rules are put back afterwards."""
    before, rules = client.shop().document, client.administration.house_rules().document
    yield invoked({"ACCORD_URL": served.url, "ACCORD_TOKEN": token_in(data, "mill-loft-owner")})
    client.administration.replace_own_shop(before, client.shop().etag)
    client.administration.replace_house_rules(rules, client.administration.house_rules().etag)


def test_the_shop_is_shown_and_edited_as_a_file(owner: Accord, client: accord_client.Client, tmp_path: Path) -> None:
    page = owner("shop", "show").stdout
    assert all(press["id"] in page for press in client.shop().document["presses"])
    file = tmp_path / "shop.toml"
    file.write_text(owner("shop", "show", "--toml").stdout, encoding="utf-8")
    assert tomllib.loads(file.read_text(encoding="utf-8")) == client.shop().document
    assert "It is so already" in owner("shop", "edit", str(file)).stdout
    file.write_text(file.read_text(encoding="utf-8").replace("The Mill Loft", "The Loft"), encoding="utf-8")
    trial = owner("shop", "edit", str(file), "--validate-only")
    assert "Would change:" in trial.stdout
    assert client.shop().document["name"] == "The Mill Loft"
    done = owner("shop", "edit", str(file))
    assert done.exit_code == 0
    assert words("name The Mill Loft The Loft") in words(done.stdout)
    assert client.shop().document["name"] == "The Loft"
    # The file is of the version before: somebody's change could be lost.
    late = owner("shop", "edit", str(file))
    assert late.exit_code == 2
    assert "Somebody changed the shop since" in late.stderr
    assert owner("shop", "edit", str(tmp_path)).exit_code == 2


def test_stock_is_added_listed_and_removed(owner: Accord, client: accord_client.Client) -> None:
    added = owner("stock", "add", "felt-pad", "film-blocker-white")
    assert added.exit_code == 0, added.output
    assert words("stock.consumables - felt-pad") in words(added.stdout)
    stock = client.shop().document["stock"]
    assert "felt-pad" in stock["consumables"]
    assert "film-blocker-white" in stock["products"]
    assert words("felt-pad consumable") in words(owner("stock", "list").stdout)
    assert json.loads(owner("stock", "list", "--json").stdout) == stock
    assert "It is so already" in owner("stock", "add", "felt-pad").stdout
    owner("stock", "remove", "felt-pad", "film-blocker-white")
    assert "felt-pad" not in client.shop().document["stock"]["consumables"]
    for wrong in (("add", "felt-pat"), ("remove", "felt-pad")):
        refused = owner("stock", *wrong)
        assert refused.exit_code == 2
        assert "felt-pad" in refused.stderr


def test_a_name_stands_for_what_the_order_then_may_say(owner: Accord, client: accord_client.Client, order: Any) -> None:
    asked = order("own", {"item": {"blank": "C-200"}, "decorations": [{"transfer": "dye-sublimation"}], "press": "big"})
    assert owner("validate", asked, "--brief").exit_code == 2
    assert owner("names", "add", "C-200", "cushion-polyester-white").exit_code == 0
    assert owner("names", "add", "big", "bench").exit_code == 0
    assert client.shop().document["names"] == {
        "blanks": {"C-200": "cushion-polyester-white"},
        "presses": {"big": "bench"},
    }
    until = time.monotonic() + SEEN_S
    while (validated := owner("validate", asked, "--brief")).exit_code == 2 and time.monotonic() < until:
        time.sleep(0.1)
    assert validated.exit_code != 2, validated.output
    assert words("C-200 cushion-polyester-white blanks") in words(owner("names", "list").stdout)
    assert owner("names", "remove", "c 200").exit_code == 0
    assert owner("names", "remove", "BIG").exit_code == 0
    assert not client.shop().document.get("names")
    assert owner("names", "add", "x", "no-such-thing").exit_code == 2
    assert owner("names", "remove", "x").exit_code == 2


def test_a_conflict_is_told_and_tried_once_more(owner: Accord, client: accord_client.Client) -> None:
    """Somebody else changes the shop between this command's read and its write, once and then always."""

    def interfered(times: int) -> tuple[int, str, list[str]]:
        left = [times]
        altered = own._altered

        def between(asked: accord_client.Client, alter: own.Alter, validate_only: bool) -> Any:
            def first_somebody_else(shop: Any) -> Any:
                if left[0]:
                    left[0] -= 1
                    other = {**client.shop().document, "name": f"The Loft {times}/{left[0]}"}
                    client.administration.replace_own_shop(other, client.shop().etag)
                return alter(shop)

            return altered(asked, first_somebody_else, validate_only)

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(own, "_altered", between)
            done = owner("stock", "add", "felt-pad")
        return done.exit_code, done.stderr, client.shop().document["stock"]["consumables"]

    code, told, kept = interfered(2)
    assert code == 2
    assert "tried again" in told
    assert "412" in told
    assert "felt-pad" not in kept
    code, told, kept = interfered(1)
    assert (code, "felt-pad" in kept) == (0, True)
    assert told == "Somebody else changed the shop meanwhile: tried again on what it is now.\n"
    assert client.shop().document["name"] == "The Loft 1/0", "the other's change stays"


def test_a_press_is_calibrated_at_the_press(owner: Accord, client: accord_client.Client) -> None:
    """176 °C is the mean of 177, 175 and 176, and 4 K below 180. No outside source."""
    assert "No probe reading counts" in owner("press", "show", "bench").stdout
    unlikely = owner("press", "calibrate", "bench", stdin="180\n120\n\n\n")
    assert unlikely.exit_code == 1
    assert "--despite far-below-display" in words(unlikely.stdout)
    too_hot = owner("press", "calibrate", "bench", stdin="240\n237\n\n\n")
    assert too_hot.exit_code == 1
    assert "this press's display ends at" in words(too_hot.stdout)
    assert "if 240 °F was read, type the unit with it" in words(too_hot.stdout)
    cold = owner("press", "calibrate", "bench", stdin="80\n77\n\n\n")
    assert cold.exit_code == 1
    assert "--despite colder-than-pressing" in words(cold.stdout)
    assert "nothing was written" in unlikely.stdout
    # Who types the setting in another unit reads the probe in it: 350 °C would be refused.
    fahrenheit = owner("press", "calibrate", "bench", stdin="356 F\n350\n349\n\n\nn\n")
    assert "spot 1, in °F" in fahrenheit.output
    assert "!" not in fahrenheit.output
    broken_off = owner("press", "calibrate", "bench", stdin="180\n177\n")
    assert broken_off.exit_code == 2
    assert "nothing was written" in broken_off.stderr
    declined = owner("press", "calibrate", "bench", stdin="180\n177\n175\n176 °C\n\n\nn\n")
    assert declined.exit_code == 1
    assert words("180 °C 176 °C 4 K below") in words(declined.stdout)
    assert not list(client.administration.readings("bench"))
    done = owner("press", "calibrate", "bench", stdin="180\n177\n175\n176 °C\n\n\n\n")
    assert done.exit_code == 0, done.output
    (reading,) = client.administration.readings("bench")
    assert (reading["display"], reading["surface"]) == ("180 °C", ["177 °C", "175 °C", "176 °C"])
    assert reading["taken_on"] == datetime.now(UTC).date().isoformat()
    (calibration,) = (of for of in client.shop_status().calibration if of["press"] == "bench")
    (point,) = calibration["curve"]
    assert words(f"180 °C {point['surface']} ± {point['spread']}") in words(owner("press", "show", "bench").stdout)
    wrong = owner("press", "show", "benc")
    assert wrong.exit_code == 2
    assert "Did you mean bench" in wrong.stderr


def test_house_rules_are_tested_added_tightened_and_removed(
    owner: Accord, client: accord_client.Client, tmp_path: Path
) -> None:
    file = tmp_path / "look-twice.toml"
    file.write_text(RULE, encoding="utf-8")
    assert "could be added: house.look-twice" in owner("house", "test", str(file)).stdout
    assert client.administration.house_rules().document["rules"] == {}
    assert owner("house", "add", str(file)).exit_code == 0
    assert "from 190 °C to 185 °C" in words(owner("house", "tighten", "fumes.pvc_most", "185 °C").stdout)
    assert "from 50 % to 55 %" in words(owner("house", "tighten", "dye.polyester_share_least", "55 %").stdout)
    rules = client.administration.house_rules().document
    assert set(rules["rules"]) == {"house.look-twice"}
    assert rules["limits"] == {"fumes.pvc_most": "185 °C", "dye.polyester_share_least": 55}
    listed = words(owner("house", "list").stdout)
    assert "fumes.pvc_most 190 °C 185 °C" in listed
    assert "house.look-twice requires Cloth is looked at twice" in listed
    for name in ("house.look-twice", "fumes.pvc_most", "dye.polyester_share_least"):
        assert owner("house", "remove", name).exit_code == 0
    left = client.administration.house_rules().document
    assert (left["rules"], left["limits"]) == ({}, {})
    assert owner("house", "remove", "house.look-twice").exit_code == 2
    file.write_text(RULE.replace("false", "true"), encoding="utf-8")
    refused = owner("house", "test", str(file))
    assert refused.exit_code == 2
    assert "silent" in refused.stderr


def test_limits_of_book_and_house_stand_in_the_units_of_the_shop(owner: Accord, client: accord_client.Client) -> None:
    """190 °C is 374 °F; both stand in °F wherever the shop reads °F, however each was written."""
    shop = {**client.shop().document, "unit_system": "us-customary"}
    client.administration.replace_own_shop(shop, client.shop().etag)
    assert owner("house", "tighten", "fumes.pvc_most", "365 °F").exit_code == 0
    assert "fumes.pvc_most 374 °F 365 °F" in words(owner("house", "list").stdout)
    client.administration.replace_own_shop({**shop, "unit_system": "metric"}, client.shop().etag)
    assert "fumes.pvc_most 190 °C 185 °C" in words(owner("house", "list").stdout)


def test_a_loosening_is_refused_with_an_order_that_shows_it(owner: Accord, client: accord_client.Client) -> None:
    refused = owner("house", "tighten", "dye.polyester_share_least", "40")
    assert refused.exit_code == 2
    assert "40 % is looser than the book's 50 %" in refused.stderr
    assert "rejected by the book" in refused.stderr
    witness = json.loads(refused.stderr.strip().splitlines()[-1])
    assert client.validate(witness).verdict == "rejected"
    assert client.administration.house_rules().document["limits"] == {}
    assert owner("house", "tighten", "dye.polyester_share_leas", "60").exit_code == 2
    assert owner("house", "tighten", "dye.polyester_share_least", "much").exit_code == 2


def test_a_counter_may_look_and_change_nothing(accord: Accord) -> None:
    for looks in (
        ("shop", "show"),
        ("stock", "list"),
        ("names", "list"),
        ("press", "show", "bench"),
        ("house", "list"),
    ):
        assert accord(*looks).exit_code == 0
    tightening = ("house", "tighten", "fumes.pvc_most", "180 °C")
    for changes in (("stock", "add", "felt-pad"), ("names", "add", "x", "bench"), tightening):
        refused = accord(*changes)
        assert refused.exit_code == 2
        assert "This key may not do that" in refused.stderr
