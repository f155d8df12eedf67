"""The demo's working day: every order gets the verdict that a practitioner wrote down beforehand, from the same rules.

Source of the verdicts: common practice, in ``demo/expected.toml``; no published table covers whole orders. The rules
beside them are what a reviewer last agreed to (``demo/expected.py``).
"""

from __future__ import annotations

import json
import re
import shutil
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields, replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from accord_rules.authority import Authority
from accord_rules.documents.reading import names_in, read, renamed
from accord_rules.orders.order import NONE, Order
from accord_rules.orders.shop import NO_OWN_NAMES, Shop
from accord_rules.revision.book import Book
from accord_rules.verdict import LEVELS, VERDICTS, Verdict
from demo import expected

DEMO = Path(__file__).parents[2] / "demo"
EXPECTED: dict[str, dict[str, Any]] = tomllib.loads((DEMO / "expected.toml").read_text(encoding="utf-8"))
ORDER_FILES = sorted((DEMO / "orders").glob("*.json"))
SHOP_FILES = sorted((DEMO / "shops").glob("*.toml"))
STALL = "harbour-lane-stall"


def order_document(name: str) -> dict[str, Any]:
    document: dict[str, Any] = json.loads((DEMO / "orders" / f"{name}.json").read_text(encoding="utf-8"))
    return document


@pytest.fixture(scope="module")
def shops() -> dict[str, Shop]:
    return {file.stem: read(Shop, tomllib.loads(file.read_text(encoding="utf-8"))) for file in SHOP_FILES}


@pytest.fixture(scope="module")
def verdict_of(authority: Authority, shops: dict[str, Shop]) -> Callable[[str], Verdict]:
    """What the authority answers to an order of the day, asked once."""
    return cache(lambda name: authority.validate(read(Order, order_document(name)), shops[EXPECTED[name]["shop"]]))


@pytest.mark.parametrize("name", EXPECTED)
def test_verdict_is_the_practitioners(name: str, verdict_of: Callable[[str], Verdict]) -> None:
    wanted, answer = EXPECTED[name], verdict_of(name)
    findings = [f"{finding.level} {finding.rule}: {finding.because}" for finding in answer.findings]
    questions = [f"asks: {need.question}" for need in answer.needs]
    assert answer.verdict == wanted["verdict"], "\n".join([wanted["why"], *findings, *questions])


@pytest.mark.parametrize("name", EXPECTED)
def test_rules_that_fire_are_those_written_down(name: str, verdict_of: Callable[[str], Verdict]) -> None:
    by_level = expected.rules_by_level(verdict_of(name).document(), read(Order, order_document(name)))
    assert by_level == {level: EXPECTED[name][level] for level in LEVELS if level in EXPECTED[name]}, (
        "python demo/expected.py writes down what fires now; read the difference before you keep it"
    )


def test_every_blocking_rule_blocks_an_order_of_the_day(book: Book) -> None:
    rules = expected.blocking(book)
    assert len(rules) > 100
    assert expected.without_an_order(rules, EXPECTED.values()) == ()


def test_a_blocking_rule_without_an_order_is_named() -> None:
    cotton = [EXPECTED["079-cotton-tee-dye"]]
    sentences = expected.without_an_order(["dye-on-natural-fibre", "no-such-rule"], cotton)
    assert [sentence.partition(":")[0] for sentence in sentences] == ["No order of the demo makes no-such-rule block"]


@pytest.fixture
def short_day(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, dict[str, Any]]:
    """Three orders of the day, in a folder of their own that the command works on; what is expected of them."""
    day = {
        name: EXPECTED[name] for name in ("001-club-tees-white-cotton", "079-cotton-tee-dye", "108-glitter-underneath")
    }
    (tmp_path / "orders").mkdir()
    for name in day:
        (tmp_path / "orders" / f"{name}.json").write_text(json.dumps(order_document(name)), encoding="utf-8")
    shutil.copytree(DEMO / "shops", tmp_path / "shops")
    monkeypatch.setattr(expected, "DEMO", tmp_path)
    monkeypatch.setattr(expected, "EXPECTED", tmp_path / "expected.toml")
    return day


@pytest.mark.parametrize(
    ("changes", "verdict", "complaints"),
    [
        ({"blocks": ["no-such-rule"]}, {}, []),
        ({"verdict": "accepted"}, {"verdict": "accepted"}, ["the rules say rejected, expected is accepted"]),
    ],
    ids=["a rule", "a verdict"],
)
def test_command_writes_rules_and_leaves_verdicts(
    changes: dict[str, Any], verdict: dict[str, Any], complaints: list[str], short_day: dict[str, dict[str, Any]]
) -> None:
    """A lost rule comes back, an invented one goes; a verdict that the rules do not bear out stays, and is told."""
    name = "079-cotton-tee-dye"
    before = expected.written({**short_day, name: short_day[name] | changes})
    expected.EXPECTED.write_text("# [Not] a table.\n\n" + before, encoding="utf-8")
    sentences = expected.rewrite()
    assert [sentence.split(": ")[1] for sentence in sentences if sentence.startswith(f"{name}: ")] == complaints
    text = expected.EXPECTED.read_text(encoding="utf-8")
    assert text.startswith("# [Not] a table.\n\n[001-")
    assert tomllib.loads(text)[name] == short_day[name] | verdict


def test_command_fails_while_a_rule_has_no_order(
    short_day: dict[str, dict[str, Any]], capsys: pytest.CaptureFixture[str]
) -> None:
    expected.EXPECTED.write_text("# Comment.\n\n" + expected.written(short_day), encoding="utf-8")
    assert expected.main() == 1
    assert "No order of the demo makes dye-on-acetate block: add one to demo/orders" in capsys.readouterr().err


def test_command_writes_nothing_where_an_expectation_is_missing(
    short_day: dict[str, dict[str, Any]], capsys: pytest.CaptureFixture[str]
) -> None:
    del short_day["079-cotton-tee-dye"]
    text = "# Comment.\n\n" + expected.written(short_day)
    expected.EXPECTED.write_text(text, encoding="utf-8")
    assert expected.main() == 2
    assert expected.EXPECTED.read_text(encoding="utf-8") == text
    assert capsys.readouterr().err == "expected.toml says nothing of 079-cotton-tee-dye\n"


def test_file_is_as_the_command_writes_it() -> None:
    """So that the difference it makes is the rules and nothing else."""
    text = (DEMO / "expected.toml").read_text(encoding="utf-8")
    assert text.endswith("\n\n" + expected.written(EXPECTED))


@pytest.mark.parametrize("name", [name for name, wanted in EXPECTED.items() if "left_open" in wanted])
def test_what_is_settled_is_workable(name: str, authority: Authority, shops: dict[str, Shop]) -> None:
    wanted = EXPECTED[name]
    document = order_document(name)
    for field in wanted["left_open"]:
        document.pop(field, None)
        for decoration in document["decorations"]:
            decoration.pop(field, None)
    recommendation = authority.recommend(read(Order, document), shops[wanted["shop"]])
    assert recommendation.plans
    assert {plan.verdict for plan in recommendation.plans} <= {"accepted", "conditional"}


def test_every_order_has_an_expectation_and_vice_versa() -> None:
    assert [file.stem for file in ORDER_FILES] == sorted(EXPECTED)


def test_expectations_say_what_they_should() -> None:
    for name, wanted in EXPECTED.items():
        assert re.fullmatch(r"[0-9]{3}(-[a-z0-9]+)+", name)
        always = {"shop", "verdict", "why"}
        assert always <= set(wanted) - set(LEVELS) <= always | {"left_open", "revised", "should_be"}
        assert wanted.get("should_be") != wanted["verdict"], f"{name}: the rules say it now, take should_be away"
        assert set(wanted.get("left_open", [])) <= {"press", "transfer", "settings"}, name
        assert wanted["why"].endswith((".", "?")), name


def test_the_day_is_large_and_mixed_enough() -> None:
    assert len(EXPECTED) >= 80
    assert len([file for file in SHOP_FILES if file.stem != STALL]) == 4
    assert {wanted["shop"] for wanted in EXPECTED.values()} == {file.stem for file in SHOP_FILES}
    assert {wanted["verdict"] for wanted in EXPECTED.values()} == set(VERDICTS)
    assert sum("left_open" in wanted for wanted in EXPECTED.values()) == 5


def test_references_are_unique() -> None:
    references = [order_document(name)["reference"] for name in EXPECTED]
    assert len(set(references)) == len(references)


def _unknown(where: str, document: Any, book: Book) -> Iterator[str]:
    for pointer, kind, name in names_in(document):
        left_out = kind == "consumables" and name == NONE
        if not left_out and not any(_says(book.catalogue[part], name) for part in kind.split("|")):
            yield f"{where}{pointer}: {name} is no entry of {kind}"


def _says(entries: Mapping[str, Any], word: str) -> bool:
    """Whether an entry has this name, or is called by this word as counters write it."""
    return word in entries or any(word in entry.aliases for entry in entries.values())


def in_the_books_names(name: str, shop: Shop) -> Order:
    """An order with what its shop calls things replaced by what it stands for, by way of the shop's document alone."""
    own = {field.name: getattr(shop.names, field.name) for field in fields(shop.names)}
    order = renamed(
        read(Order, order_document(name)), lambda kind, word: own.get(kind.split("|")[0], {}).get(word, word)
    )
    return replace(order, press=own["presses"].get(order.press, order.press)) if isinstance(order.press, str) else order


def test_everything_named_is_in_the_book(book: Book, shops: dict[str, Shop]) -> None:
    orders = {name: in_the_books_names(name, shops[wanted["shop"]]) for name, wanted in EXPECTED.items()}
    everything = {**shops, **orders}
    assert [line for where, what in everything.items() for line in _unknown(where, what, book)] == []


def test_presses_named_are_the_shops_own(shops: dict[str, Shop]) -> None:
    orders = {name: in_the_books_names(name, shops[wanted["shop"]]) for name, wanted in EXPECTED.items()}
    named = {name: order.press for name, order in orders.items() if isinstance(order.press, str)}
    assert named
    assert [name for name, press in named.items() if shops[EXPECTED[name]["shop"]].press(press) is None] == []


def test_shops_have_names_of_their_own_and_orders_say_each(shops: dict[str, Shop]) -> None:
    for shop in shops.values():
        said = "".join(
            json.dumps(order_document(name)) for name, wanted in EXPECTED.items() if wanted["shop"] == shop.id
        )
        own = [word for field in fields(shop.names) for word in getattr(shop.names, field.name)]
        assert [word for word in own if f'"{word}"' not in said] == []
    assert sum(shop.names != NO_OWN_NAMES for shop in shops.values()) >= 3


def test_every_shop_gets_a_key_of_each_of_its_roles() -> None:
    keys = tomllib.loads((DEMO / "keys.toml").read_text(encoding="utf-8"))["key"]
    wanted = {(key["shop"], key["role"]) for key in keys}
    assert len(wanted) == len(keys)
    assert wanted >= {(file.stem, role) for file in SHOP_FILES for role in ("counter", "operator", "owner")}
    assert {role for _, role in wanted} == {"storefront", "counter", "operator", "owner", "steward", "admin"}


def test_no_key_stands_in_the_folder() -> None:
    """A token is 16 letters, a dot and 43 characters; its sum 64 hexadecimal digits."""
    pages = "".join(file.read_text(encoding="utf-8") for file in (DEMO / "README.md", DEMO / "keys.toml"))
    assert not re.search(r"[a-z2-7]{16}\.[A-Za-z0-9_-]{43}|[0-9a-f]{64}", pages)
