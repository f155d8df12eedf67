"""The owner's desk in a real browser: with the keyboard alone, on a phone, on paper, in the dark and without scripts.

What a test writes it takes back, by the desk: other tests ask the same shop.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.browser.axe import findings
from tests.browser.conftest import Served
from tests.browser.webdriver import KEYS, Browser, browser

pytestmark = pytest.mark.needs("chromium", "chromedriver")
DESK, PHONE, SMALL = (1200, 1000), (375, 700), (320, 700)
BENCH = "/shop/presses/bench"
SHARE = "/shop/house/limits/dye.polyester_share_least"
# Every kind of page of the desk.
PAGES = (
    "/shop",
    BENCH,
    f"{BENCH}/edit",
    "/shop/add-press",
    f"{BENCH}/strips",
    "/shop/stock/samples/add",
    "/shop/stock",
    "/shop/stock/sheets/film-soft-matte",
    "/shop/names",
    "/shop/house",
    SHARE,
    "/shop/house/add",
    "/shop/house/facts?find=bird",
    "/shop/house/versions",
    "/shop/keys",
)
MEAN = "document.querySelector('.plot polyline.mean')"


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    with browser(tmp_path_factory.mktemp("profile")) as browser_:
        yield browser_


def sign_in(page: Browser, served: Served, role: str) -> None:
    """As the shop's owner or operator; whoever else was signed in here is so no more."""
    page.open(f"{served.url}/sessions")
    is_in = page.script("return document.querySelector('.person .hint')?.innerText ?? ''")
    if is_in.startswith(role):
        return
    if is_in:
        page.click(".person button")
        page.wait_for("location.pathname === '/'")
        page.open(f"{served.url}/sessions")
    page.type("#key", {"owner": served.owner, "operator": served.operator}[role])
    page.click("form.card button")
    page.wait_for("location.pathname === '/sessions'")


def tab_to(page: Browser, selector: str, most: int = 90) -> None:
    """By the keyboard alone; what is focused shows it."""
    for _ in range(most):
        page.press(KEYS["tab"])
        if page.script(f'return document.activeElement.matches("{selector}")'):
            outline = page.script("return getComputedStyle(document.activeElement).outlineStyle")
            assert outline != "none", f"{selector} does not show that it has the focus"
            return
    raise AssertionError(f"{selector} is not reached with {most} tabs")


def text(page: Browser, selector: str = "main") -> str:
    return str(page.script(f'return document.querySelector("{selector}").innerText'))


def too_wide(page: Browser) -> bool:
    return bool(page.script("return document.documentElement.scrollWidth > document.documentElement.clientWidth"))


def test_a_reading_is_entered_confirmed_and_taken_back_with_the_keyboard(opened: Browser, served: Served) -> None:
    """The operator at the press, on a phone; the owner at the desk, where the plot changes."""
    opened.resize(*PHONE)
    sign_in(opened, served, "operator")
    opened.open(served.url + BENCH)
    tab_to(opened, "#display")
    opened.press(*"356")
    tab_to(opened, "[name='surface/0']")
    for spot in ("350", "348", "349"):
        opened.press(*spot, KEYS["tab"])
    opened.wait_for("document.querySelector('#reading-told').innerText.includes('It can be entered')")
    assert "it would wait for the owner" in text(opened, "#reading-told")
    opened.press(KEYS["enter"])
    opened.wait_for("document.querySelector('.banner.good')")
    assert "It waits" in text(opened, ".banner.good")
    assert not opened.script(f"return {MEAN}"), "what waits moves nothing"
    assert opened.script("return document.querySelectorAll('.plot .point.waits').length") >= 3
    assert not too_wide(opened)
    assert findings(opened) == []
    opened.resize(*DESK)
    sign_in(opened, served, "owner")
    opened.open(f"{served.url}/shop")
    assert "bench: 1 reading waits to be confirmed" in text(opened)
    opened.open(served.url + BENCH)
    tab_to(opened, "form[action$='/confirm'] button")
    opened.press(KEYS["enter"])
    opened.wait_for("document.querySelector('.banner.good')")
    assert "Confirmed" in text(opened, ".banner.good")
    assert opened.script(f"return {MEAN}.points.length") == 1
    assert "349 °F" in text(opened, "table.figures"), "the mean of 350, 348 and 349 °F"
    assert findings(opened) == []
    tab_to(opened, "a[href$='/back']")
    opened.press(KEYS["enter"])
    opened.wait_for("document.querySelector('h1').innerText === 'Take this reading back?'")
    assert findings(opened) == []
    tab_to(opened, "form[action$='/back'] button")
    opened.press(KEYS["enter"])
    opened.wait_for("document.querySelector('.banner.good')")
    assert not opened.script(f"return {MEAN}")


def test_an_unlikely_reading_names_its_doubt_while_it_is_typed(opened: Browser, served: Served) -> None:
    sign_in(opened, served, "owner")
    opened.open(served.url + BENCH)
    opened.type("#display", "356")
    opened.type("[name='surface/0']", "300")
    opened.wait_for("document.querySelector('#despite-far-below-display')")
    assert findings(opened) == []
    opened.click("#despite-far-below-display")
    opened.wait_for("document.querySelector('#reading-told').innerText.includes('It can be entered')")
    assert opened.script("return document.querySelector('#despite-far-below-display').checked")
    assert opened.script("return document.querySelector('#display').value") == "356"


def test_loosening_shows_its_witness_at_once_and_tightening_is_taken(opened: Browser, served: Served) -> None:
    """The book makes no dye print below 50 % polyester (``dye.polyester_share_least``)."""
    sign_in(opened, served, "owner")
    opened.complaints()  # what the browser says of pages before this one
    opened.open(served.url + SHARE)
    tab_to(opened, "#value")
    opened.press(*"40")
    opened.wait_for("document.querySelector('#limit-told .refused')")
    told = text(opened, "#limit-told")
    assert "This order would slip through:" in told
    assert "40 % polyester" in told
    assert "rejected" in told
    assert "conditional" in told
    assert findings(opened) == []
    assert opened.script("return document.activeElement.id") == "value", "who types goes on typing"
    opened.press(KEYS["backspace"], KEYS["backspace"], *"60")
    opened.wait_for("document.querySelector('#limit-told').innerText.includes('60 % can be taken')")
    opened.press(KEYS["enter"])
    opened.wait_for("location.pathname === '/shop/house'")
    assert "yours 60 %" in text(opened)
    assert opened.complaints() == []
    opened.open(served.url + SHARE)
    tab_to(opened, "button[value=back]")
    opened.press(KEYS["enter"])
    opened.wait_for("location.pathname === '/shop/house'")
    assert "yours 60 %" not in text(opened)


def test_a_name_is_added_and_taken_away_with_the_keyboard(opened: Browser, served: Served) -> None:
    sign_in(opened, served, "owner")
    opened.open(f"{served.url}/shop/names")
    tab_to(opened, "#word")
    opened.press(*"the old one", KEYS["tab"], *"bench")
    assert opened.script("return document.querySelector('#meant').value") == "presses/bench"
    tab_to(opened, "form.card button")
    opened.press(KEYS["enter"])
    opened.wait_for("document.querySelector('.banner.good')")
    assert "“the old one” stands for bench" in text(opened)
    tab_to(opened, "button[value='presses/the old one']")
    opened.press(KEYS["enter"])
    opened.wait_for("location.search === '?removed=yes'")
    assert "the old one" not in text(opened)


def test_facts_are_found_beside_the_condition_and_put_into_it(opened: Browser, served: Served) -> None:
    sign_in(opened, served, "owner")
    opened.open(f"{served.url}/shop/house/add")
    opened.type("#find-fact", "birds stand")
    opened.wait_for("document.querySelector('.finder li button')")
    assert findings(opened) == []
    fact = text(opened, ".finder li button")
    opened.click(".finder li button")
    assert opened.script("return document.getElementById('rule/when').value") == fact


def test_limits_and_stock_are_looked_through_by_words(opened: Browser, served: Served) -> None:
    sign_in(opened, served, "owner")
    shown = "return [...document.querySelectorAll('[data-words]')].filter(line => line.offsetParent).length"
    for address, words in (("/shop/house", "polyester share"), ("/shop/stock", "soft matte")):
        opened.open(served.url + address)
        opened.type("#sift", words)
        assert 0 < opened.script(shown) < 12


def test_every_page_holds_for_everybody(opened: Browser, served: Served) -> None:
    """WCAG 2.2 AA as axe sees it, light and dark; no page is wider than a phone; targets are as large as a finger."""
    sign_in(opened, served, "owner")
    small = (
        "return [...document.querySelectorAll('main button, main a.button, main select, main input:not([type=hidden])"
        ":not([type=checkbox]), .rooms a')].filter(part => part.offsetParent)"
        ".filter(part => part.getBoundingClientRect().height < 44).map(part => part.outerHTML.slice(0, 80))"
    )
    for address in PAGES:
        opened.open(served.url + address)
        for scheme in ("light", "dark"):
            opened.prefer(scheme=scheme)
            assert findings(opened) == [], f"{address}, {scheme}"
        opened.prefer()
        for size in (PHONE, SMALL):
            opened.resize(*size)
            assert not too_wide(opened), f"{address} at {size[0]} px"
        assert opened.script(small) == [], address
        opened.resize(*DESK)


def test_on_paper_there_is_what_is_said_and_no_buttons(opened: Browser, served: Served) -> None:
    sign_in(opened, served, "owner")
    opened.open(f"{served.url}/shop/house")
    opened.prefer(media="print")
    try:
        assert opened.script("return getComputedStyle(document.querySelector('.rooms')).display") == "none"
        assert opened.script("return [...document.querySelectorAll('.do')].every(part => !part.offsetParent)")
        assert "House rules" in text(opened)
    finally:
        opened.prefer()


def test_without_scripts_the_same_is_asked_and_answered(served: Served, tmp_path: Path) -> None:
    with browser(tmp_path, scripts=False) as page:
        sign_in(page, served, "owner")
        page.open(served.url + SHARE)
        page.type("#value", "40")
        page.click("button[value=check]")
        page.wait_for("document.querySelector('#limit-told .refused')")
        assert "This order would slip through:" in page.source()
        assert 'value="40"' in page.source()
        page.open(served.url + BENCH)
        page.type("#display", "356")
        page.type("[name='surface/0']", "300")
        page.click("button[value=enter]")
        page.wait_for("document.querySelector('#despite-far-below-display')")
        assert 'value="356"' in page.source()
        page.open(f"{served.url}/shop/stock")
        assert page.script("return document.querySelector('#sift').offsetParent") is None, "it would find nothing"
