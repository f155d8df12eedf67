"""The pages in a real browser: they work without any other host, say what they should, and send a real order."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.browser.conftest import Served
from tests.browser.webdriver import Browser, browser

pytestmark = pytest.mark.needs("chromium", "chromedriver")


def assert_quiet_and_alone(page: Browser, address: str) -> None:
    """Nothing failed in the page, and nothing was asked of anybody else."""
    assert page.complaints() == []
    assert [target for target in page.requested() if not target.startswith(address)] == []


@pytest.mark.parametrize(
    ("path", "says"),
    [
        pytest.param("/", "Before a blank is spoiled", marks=pytest.mark.long),
        ("/docs", "/v1/validate"),
        pytest.param("/problems", "faulty-document", marks=pytest.mark.long),
    ],
)
def test_page_loads_from_the_service_alone(path: str, says: str, served: Served, tmp_path: Path) -> None:
    with browser(tmp_path) as page:
        page.open(served.url + path)
        text = page.script("return document.body.innerText")
        assert says in text
        assert "``" not in text, "marks that were meant to be set as code"
        assert_quiet_and_alone(page, served.url)


def test_the_form_sends_an_order_and_shows_the_verdict(served: Served, tmp_path: Path) -> None:
    form = "form[data-path='/v1/validate']"
    with browser(tmp_path) as page:
        page.open(served.url + "/docs")
        page.type("#key", served.key)
        page.script(f"document.querySelector(\"{form}\").closest('details').open = true")
        page.click(f"{form} button[type=submit]")
        answer = page.wait_for(
            f"(text => text && text !== '…' && text)(document.querySelector(\"{form} output\").textContent)"
        )
        assert answer.startswith("200")
        assert '"verdict": "' in answer
        assert '"because": "' in answer
        assert_quiet_and_alone(page, served.url)


def test_the_form_sends_headers_as_headers(served: Served, tmp_path: Path) -> None:
    """Idempotency-Key and If-Match have fields of their own; a write that needs one could not be tried without."""
    form = "form[data-method='POST'][data-path='/v1/records/{record_id}/outcomes']"
    with browser(tmp_path) as page:
        page.open(served.url + "/docs")
        page.type("#key", served.key)
        page.script(f"document.querySelector(\"{form}\").closest('details').open = true")
        page.type(f"{form} input[name='Idempotency-Key']", "two words")
        page.click(f"{form} button[type=submit]")
        answer = page.wait_for(
            f"(text => text && text !== '…' && text)(document.querySelector(\"{form} output\").textContent)"
        )
        assert answer.startswith("400")
        assert "must be 1 to 200 visible ASCII characters" in answer


def test_the_form_without_a_key_says_what_is_missing(served: Served, tmp_path: Path) -> None:
    form = "form[data-path='/v1/shop']"
    with browser(tmp_path) as page:
        page.open(served.url + "/docs")
        page.script(f"document.querySelector(\"{form}\").closest('details').open = true")
        page.click(f"{form} button[type=submit]")
        answer = page.wait_for(
            f"(text => text && text !== '…' && text)(document.querySelector(\"{form} output\").textContent)"
        )
        assert answer.startswith("401")
        assert "key is needed" in answer


def test_everything_but_the_forms_reads_without_scripts(served: Served, tmp_path: Path) -> None:
    with browser(tmp_path, scripts=False) as page:
        page.open(served.url + "/docs")
        source = page.source()
        assert "The forms below need JavaScript" in source
        assert "Say whether an order can be done" in source


@pytest.mark.parametrize(
    "path",
    [
        "/docs",
        *(pytest.param(path, marks=pytest.mark.long) for path in ("/", "/problems", "/problems/wrong-media-type")),
    ],
)
def test_nothing_is_wider_than_a_phone(path: str, served: Served, tmp_path: Path) -> None:
    """WCAG 2.2, 1.4.10: at 320 CSS pixels nobody has to scroll in two directions."""
    with browser(tmp_path) as page:
        page.resize(320, 800)
        page.open(served.url + path)
        assert page.script("return document.documentElement.scrollWidth") <= 320
