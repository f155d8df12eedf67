"""The job ticket in a real browser: on a phone at the press, by keyboard, in the dark, and on paper."""

from __future__ import annotations

from base64 import b64decode
from collections.abc import Iterator
from io import BytesIO
from typing import Any

import pytest
import requests
from pypdf import PdfReader
from tests.browser.axe import findings
from tests.browser.conftest import Served
from tests.browser.webdriver import KEYS, Browser, browser

pytestmark = pytest.mark.needs("chromium", "chromedriver")
PRINT = {"transfer": "cut-film", "size": {"width": "8 in", "height": "6 in"}}
ORDER = {
    "reference": "HL-3001",
    "item": {"blank": "tee-heavy-white"},
    "decorations": [{**PRINT, "placement": "front"}],
    "quantity": 9,
}
TWO = {**ORDER, "reference": "HL-3002", "decorations": [{**PRINT, "placement": place} for place in ("front", "back")]}
# Width and height in inches: ISO 216, and ANSI/ASME Y14.1.
PAPERS = {"a5": (148 / 25.4, 210 / 25.4), "letter": (8.5, 11.0)}
TEXT = "return document.querySelector('.screen').innerText.toLowerCase()"


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory, served: Served) -> Iterator[Browser]:
    """A browser that is signed in."""
    with browser(tmp_path_factory.mktemp("profile")) as page:
        page.open(f"{served.url}/sign-in")
        page.type("#key", served.key)
        page.click("main button")
        page.wait_for("location.pathname !== '/sign-in'")
        yield page


@pytest.fixture(scope="module")
def addresses(served: Served) -> dict[str, str]:
    """The tickets of an order with one print and of one with two."""
    headers = {"Authorization": f"Bearer {served.key}"}
    found = {}
    for name, order in (("one", ORDER), ("two", TWO)):
        answer = requests.post(f"{served.url}/v1/records", json=order, headers=headers, timeout=60)
        assert answer.status_code == 201, answer.text
        found[name] = f"{served.url}/records/{answer.json()['record_id']}/ticket"
    return found


def test_it_is_read_at_any_width_and_in_the_dark(opened: Browser, addresses: dict[str, str]) -> None:
    opened.open(addresses["two"])
    for width in (1200, 375, 320):
        opened.resize(width, 900)
        assert opened.script("return document.documentElement.scrollWidth <= window.innerWidth"), width
    opened.resize(375, 700)
    large = opened.script("return getComputedStyle(document.querySelector('.large dd')).fontSize")
    assert float(large.removesuffix("px")) >= 48
    for scheme in ("light", "dark"):
        opened.prefer(scheme=scheme)
        assert findings(opened) == []
    opened.prefer(scheme="light")
    told = opened.script(TEXT)
    assert "print 1 of 2" in told
    assert "print 2 of 2" in told
    assert opened.complaints() == []
    assert opened.script("return document.scripts.length") == 0, "nothing needs a script"
    # A pocket's light: drawings keep their white ground in the dark.
    assert opened.script("return getComputedStyle(document.querySelector('figure svg')).backgroundColor") == (
        "rgb(255, 255, 255)"
    )


def test_labels_are_as_wide_as_they_were_placed(opened: Browser, addresses: dict[str, str]) -> None:
    """Whatever font the browser has: each text of a drawing is as wide as by the metrics that its place rests on."""
    opened.resize(1200, 900)
    opened.open(addresses["one"])
    off = opened.script(
        "return Array.from(document.querySelectorAll('.screen figure svg text')).map(text =>"
        " Math.abs(text.getComputedTextLength() - text.textLength.baseVal.value) / text.textLength.baseVal.value)"
    )
    assert len(off) > 20
    assert max(off) < 0.01


def test_the_keyboard_reaches_what_there_is(opened: Browser, addresses: dict[str, str]) -> None:
    opened.open(addresses["one"])
    seen = []
    for _ in range(30):
        opened.press(KEYS["tab"])
        seen.append(opened.script("return document.activeElement.innerText.toLowerCase()"))
    for wanted in ("pdf, a5", "pdf, letter", "the stack as a list", "the window in words"):
        assert any(text.startswith(wanted) for text in seen), (wanted, seen)
    opened.script("document.querySelector('summary').focus()")
    opened.press(KEYS["enter"])
    assert opened.script("return document.querySelector('details').open")
    assert "heated platen" in opened.script(TEXT)


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize(("name", "count"), [("one", 1), ("two", 2)])
def test_each_print_is_one_sheet_of_paper(
    opened: Browser, addresses: dict[str, str], paper: str, name: str, count: int
) -> None:
    """With the page's own size of paper, and on whatever paper is in the printer, margins or not."""
    opened.open(f"{addresses[name]}?paper={paper}")
    width, height = PAPERS[paper]
    for own, margin in ((True, 0.0), (False, 0.0), (False, 0.4)):
        margins = {f"margin{side}": margin for side in ("Top", "Bottom", "Left", "Right")}
        sheets = printed(opened, paperWidth=width, paperHeight=height, preferCSSPageSize=own, **margins)
        assert len(sheets) == count, (own, margin)
        size = [float(side) / 72 for side in sheets[0].mediabox[2:]]
        assert size == pytest.approx([width, height], abs=0.02)
        text = " ".join(sheets[-1].extract_text().split())
        assert "DISPLAY" in text
        assert "Cut here: for the customer" in text
        assert "Sign out" not in text


def printed(page: Browser, **how: Any) -> list[Any]:
    """The sheets that the browser prints."""
    answer = page.cdp("Page.printToPDF", printBackground=True, **how)
    return list(PdfReader(BytesIO(b64decode(answer["data"]))).pages)
