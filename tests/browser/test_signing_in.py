"""Signing in and out in a real browser: with the keyboard alone, at the width of a phone, and as axe sees it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from tests.browser.axe import findings
from tests.browser.conftest import Served
from tests.browser.webdriver import KEYS, Browser, browser

pytestmark = pytest.mark.needs("chromium", "chromedriver")
PHONE = (375, 700)


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    with browser(tmp_path_factory.mktemp("profile")) as browser_:
        yield browser_


def too_wide(opened: Browser) -> bool:
    return bool(opened.script("return document.documentElement.scrollWidth > document.documentElement.clientWidth"))


def test_the_keyboard_alone_signs_in_and_out(opened: Browser, served: Served) -> None:
    opened.open(f"{served.url}/sessions")
    assert opened.script("return document.activeElement.id") == "key"
    assert findings(opened) == []
    opened.press(*"accord_wrong", KEYS["enter"])
    opened.wait_for("document.querySelector('#refused')")
    assert opened.script("return document.querySelector('#key').getAttribute('aria-describedby')") == "refused"
    assert findings(opened) == []
    opened.press(*served.key, KEYS["enter"])
    opened.wait_for("location.pathname === '/sessions'")
    assert "this browser" in opened.source()
    for scheme in ("light", "dark"):
        opened.prefer(scheme=scheme)
        assert findings(opened) == []
    opened.script("document.documentElement.removeAttribute('lang')")
    assert [told.partition(":")[0] for told in findings(opened)] == ["html-has-lang"], "axe finds what there is"
    opened.resize(*PHONE)
    assert not too_wide(opened)
    opened.script("document.querySelector('.person button').focus()")
    opened.press(KEYS["enter"])
    opened.wait_for("location.pathname === '/'")
    assert opened.script("return document.cookie") == ""
    opened.open(f"{served.url}/sessions")
    assert opened.script("return location.pathname") == "/sign-in"
    assert not too_wide(opened)
