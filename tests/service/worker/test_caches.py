"""What is remembered between requests stays within bounds, whatever callers write. Entries are counted, not timed."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Any

import pytest
from flask.testing import FlaskClient

import accord_client
import accord_rules
import accord_service
from accord_rules.documents.colour import read_colour
from accord_rules.documents.reading import DocumentError, read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.names import resolve
from accord_service.api import examples

# Caches without a bound, each with what keeps it small. Nothing of a request may be among the arguments.
FIXED = {
    "accord_rules.advise.moves._settings_of": "the facts of the code",
    "accord_rules.derive.case._layer_of_causes": "the facts of the code",
    "accord_rules.authority.code_digest": "no argument",
    "accord_service.cli.here._shipped": "no argument",
    "accord_service.worker.trials.trier": "no argument",
    "accord_rules.load.bands._bounds": "the bands of the code",
    "accord_rules.load.bands._measured": "the dataclasses of the code",
    "accord_service.tables.fields.fields": "no argument",
    "accord_service.tables.words.words": "no argument",
    "accord_rules.documents.colour.names": "no argument",
    "accord_rules.governance.edges._shades": "two patterns, written in the code",
    "accord_rules.documents.reading.members_of": "the dataclasses of the code",
    "accord_rules.documents.reading.readers_of": "the dataclasses of the code",
    "accord_rules.documents.reading._is_plain": "the dataclasses of the code",
    "accord_rules.documents.reading._naming": "the dataclasses of the code",
    "accord_rules.load.loader.load_book": "no argument",
    "accord_rules.documents.writing._members": "the dataclasses of the code and the unit systems",
    "accord_service.http.wire.schema_of": "the dataclasses of the code",
}
# Importing it sets up a server's master; it remembers nothing.
SETTINGS_OF_A_SERVER = ("accord_service.serving.gunicorn_config",)
KEPT_MOST = 10_000
CACHE: Any = type(lru_cache(len))
COLOURS = 10_000


def modules() -> Iterator[Any]:
    for package in (accord_rules, accord_service, accord_client):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if module.name not in SETTINGS_OF_A_SERVER:
                yield importlib.import_module(module.name)


def caches() -> dict[str, Any]:
    """Every functools cache of the house, by the name of what it remembers."""
    return {
        f"{function.__module__}.{function.__qualname__}": function
        for module in modules()
        for holder in (module, *(member for member in vars(module).values() if isinstance(member, type)))
        for function in vars(holder).values()
        if isinstance(function, CACHE) and function.__module__.startswith("accord_")
    }


def entries(functions: Mapping[str, Any]) -> dict[str, int]:
    return {name: function.cache_info().currsize for name, function in functions.items()}


def test_every_cache_has_a_bound_or_a_reason_to_have_none() -> None:
    bounds = {name: function.cache_parameters()["maxsize"] for name, function in caches().items()}
    assert {name for name, most in bounds.items() if most is None} == set(FIXED)
    bounded = {name: most for name, most in bounds.items() if most is not None}
    assert bounded, "colours, conditions and stacks are remembered"
    assert {name: most for name, most in bounded.items() if not 0 < most <= KEPT_MOST} == {}


def order_in(colour: str, palette: tuple[str, ...] = ()) -> dict[str, Any]:
    order: dict[str, Any] = {"item": {"blank": "cushion-polyester-white", "colour": colour}, "decorations": [{}]}
    return order | ({"decorations": [{"artwork": {"palette": list(palette)}}]} if palette else {})


def test_ten_thousand_colours_leave_little_behind(book: Book) -> None:
    """Made-up names, which are refused, and real colours, which are not, each written in its own way."""
    shop, functions = read(Shop, examples.SHOP), caches()
    resolve(read(Order, order_in("white")), book, shop)
    before = entries(functions)
    for number in range(COLOURS):
        palette = (f"#{number:06x}", f"#{number:06X}", f"no-such-colour-{number}")
        with pytest.raises(DocumentError):
            resolve(read(Order, order_in(f"nor-this-{number}", palette)), book, shop)
    grown = {name: count - before[name] for name, count in entries(functions).items() if count > before[name]}
    assert sum(grown.values()) <= 1024, grown


def test_what_is_no_colour_is_not_remembered() -> None:
    read_colour("white")
    functions = caches()
    before = entries(functions)
    for text in ("x" * 60_000, "#" + "0" * 60_000, "no-such-colour", "#12345G", ""):
        assert read_colour(text) is None
    assert entries(functions) == before
    for text in ("ReD", "rEd", "#F00", "#f00", "#FF0000", "#ff0000"):
        colour = read_colour(text)
        assert colour is not None
        assert colour.hex == "#FF0000"
    assert sum(entries(functions).values()) - sum(before.values()) <= 1, "one colour, however it is written"


def test_a_refused_order_leaves_nothing_behind(client: FlaskClient, key: dict[str, str]) -> None:
    """As a caller sends it: hundreds of made-up colours in one request."""
    palette = [f"no-such-colour-{number}" for number in range(24)]
    decorations = [{"artwork": {"palette": [f"{colour}-{index}" for colour in palette]}} for index in range(12)]
    body = {"item": {"blank": "cushion-polyester-white"}, "decorations": decorations}
    assert client.post("/v1/validate", json=body, headers=key).status_code == 422
    functions = caches()
    before = entries(functions)
    misspelt = {**body, "decorations": [{"artwork": {"palette": [f"x{colour}" for colour in palette]}}] * 12}
    assert client.post("/v1/validate", json=misspelt, headers=key).status_code == 422
    assert entries(functions) == before
