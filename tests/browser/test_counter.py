"""The counter in a real browser: while somebody types, by keyboard alone, on a phone, on paper, without scripts."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlencode

import pytest
from tests.browser.axe import findings
from tests.browser.conftest import Served
from tests.browser.webdriver import KEYS, Browser, browser

pytestmark = pytest.mark.needs("chromium", "chromedriver")
SIZE = {"decorations.0.size.width": "8 in", "decorations.0.size.height": "8 in"}
COTTON_DYED = {"item.blank": "TS-100-W", "decorations.0.transfer": "sub-paper-fast-dry", **SIZE}
WORKABLE = {"item.blank": "TS-100-W", "decorations.0.transfer": "roll 7", **SIZE}
QUESTIONS = {"item.substrate": "softshell", "item.colour": "navy", "decorations.0.transfer": "roll 7", **SIZE}
MISREAD = {"item.blank": "TS-100-V", "decorations.0.size.width": "8"}
WORD = "document.querySelector('#answer').dataset.word"
FOCUSED = "document.activeElement.name"
PHONES = ((375, 700), (320, 640))


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory, served: Served) -> Iterator[Browser]:
    """A browser that is signed in."""
    with browser(tmp_path_factory.mktemp("profile")) as browser_:
        sign_in(browser_, served)
        yield browser_


def sign_in(page: Browser, served: Served) -> None:
    page.open(f"{served.url}/sign-in")
    page.type("#key", served.key)
    page.click("main button")
    page.wait_for("location.pathname !== '/sign-in'")


def open_order(page: Browser, served: Served, order: dict[str, str], more: str = "") -> None:
    page.open(f"{served.url}/counter?{urlencode(order)}{more}")


def field(name: str) -> str:
    return f"[id='f-{name}']"


def too_wide(page: Browser) -> bool:
    return bool(page.script("return document.documentElement.scrollWidth > document.documentElement.clientWidth"))


def test_the_answer_comes_while_somebody_types(opened: Browser, served: Served) -> None:
    opened.resize(1200, 1200)
    opened.open(f"{served.url}/counter")
    opened.type(field("item.blank"), "TS-100-W")
    opened.type(field("decorations.0.transfer"), "sub-paper-fast-dry")
    opened.type(field("decorations.0.size.height"), "8")
    opened.type(field("decorations.0.size.width"), "8")
    opened.wait_for(f"{WORD} === 'rejected'")
    assert opened.script(f"return {FOCUSED}") == "decorations.0.size.width"
    assert "Must not be done like this" in opened.script("return document.querySelector('#announce').textContent")
    address = opened.wait_for("location.search.includes('width=8+in') && location.href")
    opened.script("document.querySelector('.ways-out a').click()")
    opened.wait_for(f"{WORD} === 'accepted'")
    assert opened.script(f'return document.querySelector("{field("decorations.0.transfer")}").value') != (
        "sub-paper-fast-dry"
    )
    assert opened.script("return document.activeElement.id") == "line"
    opened.wait_for(
        "document.getElementById('f-decorations.0.settings.temperature-range').textContent.startsWith('allowed')"
    )
    opened.script("history.back()")
    opened.wait_for(f"location.href === '{address}' && {WORD} === 'rejected'")
    assert opened.complaints() == []
    assert [target for target in opened.requested() if not target.startswith(served.url)] == []


def test_what_cannot_be_read_is_marked_and_unmarked_as_one_types(opened: Browser, served: Served) -> None:
    opened.open(f"{served.url}/counter?{urlencode(WORKABLE)}")
    opened.type(field("item.blank"), "Q")
    opened.wait_for(f"{WORD} === 'unread'")
    blank = f'document.querySelector("{field("item.blank")}")'
    assert opened.script(f"return {blank}.getAttribute('aria-invalid')") == "true"
    assert opened.script(f"return {FOCUSED}") == "item.blank"
    opened.press("\ue003")  # backspace
    opened.wait_for(f"{WORD} === 'accepted' && !{blank}.hasAttribute('aria-invalid')")
    assert opened.script(f"return {blank}.value") == "TS-100-W"


def test_names_are_offered_once_the_page_stands(opened: Browser, served: Served) -> None:
    opened.open(f"{served.url}/counter")
    opened.wait_for("document.querySelector('#list-blanks option[value=\"TS-100-W\"]')")
    assert opened.script(f'return document.querySelector("{field("item.blank")}").list.options.length') > 50
    open_order(opened, served, WORKABLE)
    opened.wait_for("document.querySelector('#list-transfers option')")
    opened.script("document.querySelector('#verdict a.answer').click()")
    opened.wait_for("document.activeElement.id === 'line'")
    assert opened.script(f'return document.querySelector("{field("item.blank")}").list.options.length') > 50


# Between the form and its script, which is deferred: HTML Living Standard, "the end" of parsing.
TYPED_EARLY = """addEventListener('readystatechange', () => {
  if (document.readyState === 'interactive') document.getElementById('f-quantity').value = '12';
}, true)"""


def test_what_was_typed_before_the_script_came_is_answered(opened: Browser, served: Served) -> None:
    early = opened.cdp("Page.addScriptToEvaluateOnNewDocument", source=TYPED_EARLY)["identifier"]
    try:
        open_order(opened, served, WORKABLE)
        opened.wait_for("location.search.includes('quantity=12')")
    finally:
        opened.cdp("Page.removeScriptToEvaluateOnNewDocument", identifier=early)


PINNED = "document.querySelector('.pinned').textContent"
RECORD = "document.querySelector('form[action=\"/counter/record\"] button')"
# The page's own fetch, so that an answer is late or refused as the service refuses it (``refused.html``).
LATE = (
    "const real = fetch;"
    "fetch = async (...sent) => { await new Promise(on => setTimeout(on, 1500)); return real(...sent) }"
)
REFUSED = (
    "const real = fetch; let left = 1;"
    "fetch = (...sent) => !sent[0].includes('/verdict') || left-- < 1 ? real(...sent) : Promise.resolve(new Response("
    "'<p class=lead>You asked 600 times in this minute.</p>', {status: 429, headers: {'Retry-After': '1'}}))"
)


def go_offline(page: Browser, offline: bool) -> None:
    page.cdp("Network.enable")
    page.cdp("Network.emulateNetworkConditions", offline=offline, latency=0, downloadThroughput=-1, uploadThroughput=-1)


def line(page: Browser) -> str:
    return str(page.script("return document.querySelector('#line').textContent"))


def test_where_there_is_no_answer_no_old_verdict_stands_at_the_new_text(opened: Browser, served: Served) -> None:
    """Without a line: both lines say so, nothing of the old answer can be recorded, and it is asked again by itself."""
    opened.resize(*PHONES[0])
    open_order(opened, served, WORKABLE)
    opened.wait_for(f"{PINNED}.includes('Can be done')")
    go_offline(opened, True)
    opened.type(field("quantity"), "3")
    for where in (PINNED, "document.querySelector('#line').textContent"):
        opened.wait_for(f"{where}.includes('No answer: the service cannot be reached')")
        assert not opened.script(f"return {where}.includes('Can be done')")
    assert opened.script(f"return {RECORD}.closest('[inert]') !== null")
    go_offline(opened, False)
    opened.wait_for(f"{PINNED}.includes('Can be done')")
    assert opened.script(f"return {RECORD}.closest('[inert]') === null")
    assert "quantity=3" in opened.script("return location.search")


def test_a_refused_question_is_told_with_its_reason_and_asked_again(opened: Browser, served: Served) -> None:
    open_order(opened, served, WORKABLE)
    opened.script(REFUSED)
    opened.type(field("quantity"), "4")
    opened.wait_for(f"{PINNED}.includes('No answer: You asked 600 times in this minute.')")
    assert "Can be done" not in line(opened)
    opened.wait_for(f"{PINNED}.includes('Can be done')")


def test_a_late_answer_is_waited_for_without_the_old_verdict(opened: Browser, served: Served) -> None:
    open_order(opened, served, WORKABLE)
    opened.script(LATE)
    opened.type(field("quantity"), "5")
    opened.wait_for("document.querySelector('#verdict').classList.contains('stale')")
    opened.wait_for(f"{PINNED}.includes('Asking')")
    assert "Can be done" not in line(opened)
    opened.wait_for(f"{PINNED}.includes('Can be done')")
    assert not opened.script("return document.querySelector('#verdict').classList.contains('stale')")


def test_a_field_that_cannot_be_read_stands_in_both_lines(opened: Browser, served: Served) -> None:
    open_order(opened, served, WORKABLE)
    opened.type(field("quantity"), "x")
    opened.wait_for(f"{PINNED}.includes('Cannot be read yet: Pieces has to be a whole number')")
    assert "Can be done" not in line(opened)


def tab_to(opened: Browser, condition: str) -> None:
    """Press the tabulator until the script's condition holds; a page has so many stops and no more."""
    been = []
    for _ in range(150):
        if opened.script(f"return {condition}"):
            return
        opened.press(KEYS["tab"])
        been.append(opened.script("return document.activeElement.outerHTML.slice(0, 60)"))
    raise AssertionError(f"the tabulator never led there: {been[:40]}")


def test_the_keyboard_alone_asks_and_records(opened: Browser, served: Served) -> None:
    opened.resize(1200, 1200)
    open_order(opened, served, {"item.blank": "TS-100-W", **SIZE})
    opened.script("document.querySelector('#main').focus()")
    tab_to(opened, f"{FOCUSED} === 'decorations.0.transfer'")
    opened.press(*"roll 7")
    opened.wait_for(f"{WORD} === 'accepted'")
    opened.press(KEYS["enter"])
    opened.wait_for("document.activeElement.id === 'line'")
    tab_to(opened, "document.activeElement.textContent === 'Record this order'")
    opened.press(KEYS["enter"])
    opened.wait_for("location.pathname.startsWith('/records/rec_')")
    assert findings(opened) == []
    opened.open(f"{served.url}/records")
    assert findings(opened) == []
    for width, height in PHONES:
        opened.resize(width, height)
        assert not too_wide(opened)


@pytest.mark.parametrize(
    "order",
    [
        pytest.param({}, marks=pytest.mark.long),
        pytest.param(COTTON_DYED, marks=pytest.mark.long),
        WORKABLE,
        QUESTIONS,
        pytest.param(MISREAD, marks=pytest.mark.long),
    ],
    ids=("empty", "rejected", "workable", "questions", "misread"),
)
def test_axe_and_phones(opened: Browser, served: Served, order: dict[str, str]) -> None:
    opened.resize(1200, 900)
    open_order(opened, served, order, "&show=plans" if order is WORKABLE else "")
    if order is WORKABLE:
        opened.wait_for("document.querySelector('.ranges')")
    opened.script("document.querySelectorAll('details').forEach(details => { details.open = true })")
    opened.prefer(scheme="dark")
    assert findings(opened) == []
    opened.prefer()
    for width, height in PHONES:
        opened.resize(width, height)
        assert not too_wide(opened)
        opened.wait_for("getComputedStyle(document.querySelector('.pinned')).position === 'sticky'")
    assert findings(opened) == []


def test_on_paper_the_answer_stands_alone(opened: Browser, served: Served) -> None:
    opened.resize(800, 1100)
    open_order(opened, served, COTTON_DYED)
    opened.prefer(media="print")
    shown = "return document.querySelector('{}').checkVisibility()"
    assert not opened.script(shown.format("#order"))
    assert not opened.script(shown.format(".pinned"))
    assert opened.script(shown.format("#line"))
    assert opened.script(shown.format(".blocks li"))
    assert "sub-paper-fast-dry" in opened.script("return document.querySelector('.on-paper').innerText")
    opened.prefer()


def test_without_a_script_the_button_asks(served: Served, tmp_path: Path) -> None:
    with browser(tmp_path, scripts=False) as page:
        sign_in(page, served)
        page.open(f"{served.url}/counter")
        page.type(field("item.blank"), "TS-100-W")
        page.type(field("decorations.0.transfer"), "sub-paper-fast-dry")
        page.type(field("decorations.0.size.width"), "8")
        page.type(field("decorations.0.size.height"), "8")
        page.click(".send button")
        assert 'data-word="rejected"' in page.source()
        page.click(".ways-out a")
        assert 'data-word="accepted"' in page.source()
        page.click("a[data-part=ranges]")
        assert "allowed: " in page.source()
        page.click("button[name=add-print]")
        page.find(field("decorations.1.transfer"))
