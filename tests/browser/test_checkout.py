"""The demo's checkout in a real browser, against the real service with a storefront's key: an impossible order is
stopped before it is paid for, with the reason and a way out. That dye does not hold on cotton is common practice of the
trade."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import requests
from demo.checkout.serve import served as page_served
from tests.browser.conftest import Served
from tests.browser.webdriver import Browser, browser

from accord_client import Client

pytestmark = pytest.mark.needs("chromium", "chromedriver")
CHECKED = "(state => state !== 'checking' && state)(document.getElementById('check').dataset.state)"
PREFLIGHT = {"Access-Control-Request-Method": "POST", "Access-Control-Request-Headers": "authorization,content-type"}
NOTICED_S = 10.0  # within which a worker answers preflights for a new key's origins: 2 s, more on a busy machine


@dataclass(frozen=True)
class Shop:
    """A page's origin, and how its keys are issued."""

    origin: str
    service: str


def storefront(service: Served, origin: str) -> str:
    """A key for a page, once its preflights are answered by each of the few workers."""
    with Client(service.url, service.owner) as owner:
        issued = owner.administration.issue_key("harbour-lane", "storefront", holder="Orla Fenn", origins=[origin])
    until, answered = time.monotonic() + NOTICED_S, 0
    while answered < 20:
        asked = requests.options(f"{service.url}/v1/validate", headers=PREFLIGHT | {"Origin": origin}, timeout=5)
        answered = answered + 1 if asked.headers.get("Access-Control-Allow-Origin") == origin else 0
        assert time.monotonic() < until, "the preflight is not answered"
        time.sleep(0.02)
    return str(issued["token"])


@pytest.fixture(scope="module")
def shop(served: Served) -> Iterator[Shop]:
    with page_served(served.url, lambda origin: storefront(served, origin)) as origin:
        yield Shop(origin, served.url)


@pytest.fixture
def page(shop: Shop, tmp_path: Path) -> Iterator[Browser]:
    with browser(tmp_path) as opened:
        opened.open(shop.origin)
        opened.wait_for(CHECKED)
        yield opened


def choose(page: Browser, field: str, value: str) -> str:
    """The state of the check once it is made."""
    page.script(
        f"const field = document.getElementById('{field}'); field.value = '{value}';"
        "field.dispatchEvent(new Event('change', {bubbles: true}))"
    )
    return str(page.wait_for(CHECKED))


def text(page: Browser, id_: str) -> str:
    return str(page.script(f"return document.getElementById('{id_}').textContent"))


def pay_is_open(page: Browser) -> bool:
    return not page.script("return document.getElementById('pay').disabled")


def remedies(page: Browser) -> Any:
    return page.script("return [...document.querySelectorAll('#remedies button')].map(each => each.textContent)")


def test_an_impossible_order_is_stopped_and_its_remedy_opens_the_payment(page: Browser, shop: Shop) -> None:
    assert (pay_is_open(page), text(page, "reason")) == (True, "What you chose can be done.")
    assert choose(page, "transfer", "dye-sublimation") == "rejected"
    assert not pay_is_open(page)
    assert "cotton" in text(page, "reason")
    assert page.script("return document.getElementById('pay').getAttribute('aria-describedby')") == "reason"
    assert remedies(page)[0] == "Use powder-adhesive print, warm peel instead."
    page.click("#remedies button")
    assert page.wait_for(CHECKED) == "workable"
    assert page.script("return document.getElementById('transfer').value") == "powder-film-warm-peel"
    assert pay_is_open(page)
    assert remedies(page) == []
    page.click("#pay")
    assert "real shop" in text(page, "paid")
    assert page.complaints() == []
    addresses = [address for address in page.requested() if not address.startswith(shop.origin)]
    assert set(addresses) == {f"{shop.service}/v1/validate"}


def test_a_print_that_is_too_large_is_fitted(page: Browser) -> None:
    assert choose(page, "size", "16 in|14 in") == "rejected"
    assert not pay_is_open(page)
    page.click("#remedies button")
    assert page.wait_for(CHECKED) == "workable"
    assert page.script("return document.getElementById('size').selectedOptions[0].textContent").startswith(
        "As large as fits"
    )
    assert pay_is_open(page)


def test_while_it_is_asked_nothing_can_be_paid_for(page: Browser) -> None:
    page.script(
        "const real = window.fetch;"
        "window.fetch = (...all) => new Promise(go => window.go = go).then(() => real(...all))"
    )
    page.script("document.getElementById('order').dispatchEvent(new Event('change', {bubbles: true}))")
    page.wait_for("window.go !== undefined")
    assert not pay_is_open(page)
    page.script("window.go()")
    assert page.wait_for(CHECKED) == "workable"


def test_what_cannot_be_checked_cannot_be_paid_for(served: Served, tmp_path: Path) -> None:
    """The key is for another page: the service refuses, and the page takes no money on a guess."""
    elsewhere = storefront(served, "https://prints.example")
    with page_served(served.url, lambda origin: elsewhere) as origin, browser(tmp_path) as page:
        page.open(origin)
        assert page.wait_for(CHECKED) == "unknown"
        assert not pay_is_open(page)
        assert "could not check" in text(page, "reason")
        assert page.script("return document.getElementById('again').hidden") is False


@pytest.mark.parametrize("width", [1200, 390])
def test_it_fits_a_desk_and_a_phone(page: Browser, width: int) -> None:
    page.resize(width, 900)
    choose(page, "transfer", "dye-sublimation")
    assert page.script("return document.documentElement.scrollWidth <= window.innerWidth")
    small = page.script(
        "return [...document.querySelectorAll('select, button')].filter(each => each.offsetParent)"
        ".filter(each => each.getBoundingClientRect().height < 44).map(each => each.id)"
    )
    assert small == [], "smaller than a finger (WCAG 2.2, 2.5.5: 44 by 44 px)"
