"""The library and the API's page in a real browser: by keyboard alone, on a phone, on paper, without scripts."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.browser.axe import findings
from tests.browser.conftest import Served
from tests.browser.webdriver import KEYS, Browser, browser

pytestmark = pytest.mark.needs("chromium", "chromedriver")
RULE = "/library/rules/dye-on-natural-fibre"
PAGES = [
    "/library",
    "/library/search?q=dtf+on+nylon",
    "/library/limits",
    RULE,
    "/library/catalogue/transfers/powder-film",
    "/library/catalogue/markets/eu",
    "/library/steps/cover-what-marks",
    "/library/facts/item.polyester_share",
]
# One page of each kind that has a layout of its own; the others in a longer run.
LAID_OUT = ("/library/limits", RULE)
PHONES = (320, 375)


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory, served: Served) -> Iterator[Browser]:
    """A browser that is signed in as a counter."""
    with browser(tmp_path_factory.mktemp("profile")) as browser_:
        sign_in(browser_, served)
        yield browser_


def sign_in(page: Browser, served: Served) -> None:
    page.open(f"{served.url}/sign-in?to=/library")
    page.type("#key", served.key + KEYS["enter"])
    page.wait_for("location.pathname === '/library'")


def is_too_wide(page: Browser) -> bool:
    return bool(page.script("return document.documentElement.scrollWidth > document.documentElement.clientWidth"))


def test_results_come_while_somebody_types_and_are_reached_by_keyboard(opened: Browser, served: Served) -> None:
    opened.open(f"{served.url}/library")
    opened.script("document.querySelector('#q').focus()")
    opened.press(*"dtf peel")
    opened.wait_for("document.querySelector('.hits a')?.getAttribute('href').endsWith('/powder-film')")
    assert "entries" in opened.script("return document.querySelector('form.search [role=status]').textContent")
    opened.press(KEYS["enter"])
    opened.wait_for("location.pathname === '/library/search'")
    assert opened.script("return document.querySelector('#q').value") == "dtf peel"
    opened.script("document.querySelector('#q').focus()")
    opened.press(KEYS["tab"], KEYS["tab"], KEYS["tab"], KEYS["enter"])  # button, kinds, first result
    opened.wait_for("location.pathname.endsWith('/powder-film')")


def test_a_list_shows_only_what_has_some_words(opened: Browser, served: Served) -> None:
    opened.open(f"{served.url}/library/rules")
    opened.type("#filter", "nylon needs")
    opened.wait_for("document.querySelector('.filter output').textContent.startsWith('1 of')")
    shown = "[...document.querySelectorAll('.filtered li')].filter(row => row.offsetHeight).map(row => row.innerText)"
    (row,) = opened.script(f"return {shown}")
    assert "Nylon needs an adhesive made for nylon" in row


@pytest.mark.parametrize(
    "address", [address if address in LAID_OUT else pytest.param(address, marks=pytest.mark.long) for address in PAGES]
)
def test_axe_finds_nothing_and_no_phone_scrolls_sideways(opened: Browser, served: Served, address: str) -> None:
    opened.resize(PHONES[0], 900)
    opened.open(served.url + address)
    opened.script("document.querySelectorAll('details').forEach(details => { details.open = true; })")
    for scheme in ("light", "dark"):
        opened.prefer(scheme=scheme)
        assert findings(opened) == []
    for width in PHONES:
        opened.resize(width, 900)
        assert not is_too_wide(opened)
    opened.prefer()
    assert opened.complaints() == []


def test_on_paper_there_is_the_rule_and_no_form(opened: Browser, served: Served) -> None:
    opened.open(served.url + RULE)
    opened.prefer(media="print")
    shown = "selector => document.querySelector(selector).offsetHeight > 0"
    assert opened.script(f"return ['.search', '.top nav', '.top .person'].filter({shown})") == []
    assert opened.script(f"return ['h1', '.card', '.condition'].filter({shown})") == ["h1", ".card", ".condition"]
    opened.prefer()


def test_search_and_entries_work_without_scripts(served: Served, tmp_path: Path) -> None:
    with browser(tmp_path, scripts=False) as page:
        sign_in_plainly(page, served)
        page.type("#q", "scorch mark" + KEYS["enter"])
        assert "How do press marks come out?" in page.source()
        page.click(".hits a")
        assert "<h1>How do press marks come out?</h1>" in page.source()


def sign_in_plainly(page: Browser, served: Served) -> None:
    """A browser without scripts can't be asked where it is: the next page's field is waited for by finding it."""
    page.open(f"{served.url}/sign-in?to=/library")
    page.type("#key", served.key + KEYS["enter"])
    page.open(f"{served.url}/library")


# -- the API's page ----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def docs(opened: Browser, served: Served) -> Browser:
    opened.resize(1200, 1600)
    opened.open(f"{served.url}/docs")
    return opened


def test_a_field_and_an_operation_are_found_by_their_words(docs: Browser) -> None:
    docs.type("#look-up", "peel")
    first = docs.wait_for("document.querySelector('.look-up li')?.innerText")
    assert first.startswith("peel of ")
    docs.script("document.querySelector('#look-up').value = ''")
    docs.type("#look-up", "history revisions changed")
    docs.wait_for("document.querySelector('.look-up li')?.innerText.includes('/v1/history/{kind}/{name}')")
    docs.script("document.querySelector('.look-up li a').click()")
    assert docs.script("return location.hash") == "#listEntryChanges"


def test_words_are_offered_as_choices(docs: Browser) -> None:
    kinds = "form[data-path='/v1/catalogue/{kind}'] select[name=kind]"
    assert "fibres" in docs.script(f'return [...document.querySelector("{kinds}").options].map(one => one.value)')
    form = "form[data-method='POST'][data-path='/v1/records/{record_id}/outcomes']"
    put = (
        f"const form = document.querySelector(\"{form}\"); const choice = form.querySelector('[data-field=result]');"
        " choice.value = 'good'; choice.dispatchEvent(new Event('change'));"
        " return JSON.parse(form.querySelector('.sent').value).result"
    )
    assert docs.script(put) == "good"


def test_scroll_regions_take_the_focus_and_have_names_of_their_own(docs: Browser) -> None:
    """WCAG 2.2, 2.1.1: what scrolls is scrolled with the keyboard."""
    regions = "[...document.querySelectorAll('pre')].map(node => [node.tabIndex, node.role, node.ariaLabel])"
    told = docs.script(f"return {regions}")
    assert {(tab, role) for tab, role, _ in told} == {(0, "region")}
    assert len({label for _, _, label in told}) == len(told)
    assert docs.script(
        "return new Set([...document.querySelectorAll('[id]')].map(node => node.id)).size"
    ) == docs.script("return document.querySelectorAll('[id]').length")


def test_axe_finds_nothing_in_the_apis_page(docs: Browser) -> None:
    """All opened; of the sections and shapes, which are alike, some: for all of them axe takes a minute."""
    docs.script(
        "document.querySelectorAll('section.operation').forEach((node, at) => at % 9 && node.remove());"
        "document.querySelectorAll('details.shape').forEach((node, at) => at % 25 && node.remove());"
        "document.querySelectorAll('details').forEach(node => { node.open = true; })"
    )
    for width in PHONES:
        docs.resize(width, 900)
        assert not is_too_wide(docs)
    assert findings(docs) == []


@pytest.mark.parametrize(
    "address",
    ["/", *(pytest.param(page, marks=pytest.mark.long) for page in ("/problems", "/problems/faulty-document"))],
)
def test_axe_finds_nothing_in_the_other_pages(opened: Browser, served: Served, address: str) -> None:
    opened.open(served.url + address)
    assert findings(opened) == []
