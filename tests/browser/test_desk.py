"""A steward's whole change in a real browser: by the keyboard alone, on a phone, in the dark, as axe sees it, on paper;
and a decline without JavaScript."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.browser.axe import findings
from tests.browser.conftest import Served, serving
from tests.browser.webdriver import KEYS, Browser, browser

from accord_client import Client

pytestmark = pytest.mark.needs("chromium", "chromedriver")
# A note hangs on it, and no more.
LIMIT = "order.first_piece_quantity_from"
TABS_MOST = 120
EFFECT_S = 180.0  # some thousand orders at edges are tried, beside whatever else this machine does


@pytest.fixture(scope="module")
def served() -> Iterator[Served]:
    """A service of this module's own: it works out effects, and its book becomes another."""
    with serving(job_processes=1) as served_:
        yield served_


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    with browser(tmp_path_factory.mktemp("profile")) as browser_:
        yield browser_


def tab_to(opened: Browser, selector: str) -> None:
    """Press Tab until the focus is there. Fails where it never comes there."""
    for _ in range(TABS_MOST):
        opened.press(KEYS["tab"])
        if opened.script(f"return document.activeElement.matches({selector!r})"):
            return
    shown = opened.script("return location.pathname + ' ' + document.querySelector('main').innerText")
    raise AssertionError(f"the keyboard does not reach {selector} in {shown}")


def press_button(opened: Browser, selector: str) -> None:
    tab_to(opened, selector)
    opened.press(KEYS["enter"])


def sign_in(opened: Browser, served: Served, name: str, to: str) -> None:
    opened.open(f"{served.url}/problems")
    opened.forget()  # whoever is signed in already is led on
    opened.open(f"{served.url}/sign-in?to={to}")
    opened.press(*served.key_of(name), KEYS["enter"])
    opened.wait_for(f"location.pathname === '{to}'")


def assert_fit_for_all(opened: Browser) -> None:
    """As axe sees it, at a desk and in the dark on a phone; nothing is wider than 375 or 320 px (WCAG 2.2, 1.4.10)."""
    assert findings(opened) == []
    for width in (320, 375):
        opened.resize(width, 800)
        assert opened.script("return document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    opened.prefer(scheme="dark")
    assert findings(opened) == []
    opened.resize(1200, 1600)
    opened.prefer()


# service/pages/test_desk.py takes a change to the book by the same forms, without a browser.
@pytest.mark.long
def test_the_keyboard_alone_takes_a_change_to_the_book(opened: Browser, served: Served) -> None:
    sign_in(opened, served, "mill-steps-steward", "/desk/draft")
    tab_to(opened, "#limit")
    opened.press(*LIMIT, KEYS["escape"], KEYS["enter"])
    opened.wait_for("document.querySelector('#value')")
    assert_fit_for_all(opened)
    before = int(opened.script("return document.querySelector('#value').value"))
    for field, text in (
        ("value", str(before + 1)),
        ("reason", "One more is no run."),
        ("evidence", "The list of May."),
    ):
        tab_to(opened, f"#{field}")
        opened.press(*text)
    press_button(opened, "main form[method=post] button")
    opened.wait_for("location.pathname.startsWith('/desk/proposals/')")
    address = opened.script("return location.pathname")
    assert opened.script("return document.querySelector('ins').innerText") == str(before + 1)

    press_button(opened, "form[action$='/open'] button")
    opened.wait_for("document.body.innerText.includes('Tried: ')", EFFECT_S)  # the page looks after itself
    assert "made this proposal: another steward has to approve it" in opened.script("return document.body.innerText")
    assert_fit_for_all(opened)
    opened.prefer(media="print")
    assert opened.script("return getComputedStyle(document.querySelector('.step')).display") == "none"
    opened.prefer()

    sign_in(opened, served, "quay-yard-steward", "/desk")
    assert_fit_for_all(opened)
    press_button(opened, f"a[href='{address}']")
    opened.wait_for(f"location.pathname === '{address}'")
    press_button(opened, "form[action$='/approve'] button")
    opened.wait_for("document.querySelector('.state').innerText.startsWith('approved')")
    press_button(opened, "form[action$='/publish'] button")
    opened.wait_for("location.pathname.startsWith('/desk/revisions/')")
    assert "the present one" in opened.script("return document.querySelector('h1').innerText")
    assert opened.script("return document.querySelector('ins').innerText") == str(before + 1)
    assert_fit_for_all(opened)
    assert opened.complaints() == []


_OTHERS = (
    "proposals",
    "revisions",
    "outcomes",
    "shops",
    "audit",
    "draft/products",
    "draft/products/film-hot-peel-fast",
    "draft/markets/us",
)


@pytest.mark.parametrize("path", ["draft", *(pytest.param(page, marks=pytest.mark.long) for page in _OTHERS)])
def test_each_page_is_fit_for_all(path: str, opened: Browser, served: Served) -> None:
    sign_in(opened, served, "quay-yard-steward", f"/desk/{path}")
    assert_fit_for_all(opened)


# service/pages/test_desk.py declines by the same form, and its client runs no script.
@pytest.mark.long
def test_a_decline_needs_no_javascript(served: Served, tmp_path: Path) -> None:
    with Client(served.url, served.owner) as owner:
        entry = dict(owner.limit(LIMIT).entry)
        head = next(iter(owner.governance.revisions()))
        base = {"revision": head["revision"], "digest": head["digest"]}
        change = {"kind": "limits", "id": LIMIT, "value": {**entry, "value": entry["value"] + 2}}
        made = owner.governance.propose(base, [change], "Two more.", "The list of June.")
        address = f"/desk/proposals/{made['proposal_id']}"
        with browser(tmp_path, scripts=False) as page:
            page.open(f"{served.url}/sign-in?to={address}")
            page.type("#key", served.key_of("quay-yard-steward"))
            page.click("main form button")
            page.type("#reason-decline", "That was the paper.")
            page.click("form[action$='/decline'] button")
            page.wait_for("document.querySelector('main').innerText.includes('Ended because')")
            assert "That was the paper." in page.source()
            assert "What you can do" not in page.source()
        assert owner.governance.status(made["proposal_id"])["state"] == "declined"
