"""Forms of pages, as a browser would send them back."""

from __future__ import annotations

import html
import re
from html.parser import HTMLParser


def hidden_fields(page: str, action: str) -> dict[str, str]:
    """The hidden fields of the page's first form that goes to ``action``."""
    form = re.search(rf'<form[^>]*action="{re.escape(action)}".*?</form>', page, re.DOTALL)
    assert form is not None, f"the page has no form that goes to {action}"
    return {
        name: html.unescape(value)
        for name, value in re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', form[0])
    }


class _Controls(HTMLParser):
    """The controls of one form that a browser would send (HTML, 4.10.21.4 constructing the entry list)."""

    def __init__(self, form_id: str) -> None:
        super().__init__()
        self.pairs: list[tuple[str, str]] = []
        self._form_id, self._inside = form_id, False
        self._select: str | None = None
        self._first: str | None = None
        self._chosen: str | None = None
        self._option: dict[str, str | None] | None = None
        self._text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        of = dict(attrs)
        if tag == "form":
            self._inside = of.get("id") == self._form_id
        if not self._inside:
            return
        if tag == "select":
            self._select, self._first, self._chosen = of.get("name"), None, None
        elif tag == "option" and self._select is not None:
            self._option, self._text = of, ""
        elif tag == "input" and of.get("name"):
            is_ticked = of.get("type") != "checkbox" or "checked" in of
            if is_ticked:
                self.pairs.append((str(of["name"]), of.get("value") or ""))

    def handle_data(self, data: str) -> None:
        self._text += data

    def handle_endtag(self, tag: str) -> None:
        if tag == "option" and self._option is not None:
            value = self._option.get("value", self._text.strip()) or ""
            self._first = value if self._first is None else self._first
            self._chosen = value if "selected" in self._option else self._chosen
            self._option = None
        elif tag == "select" and self._select is not None:
            self.pairs.append((self._select, (self._first if self._chosen is None else self._chosen) or ""))
            self._select = None
        elif tag == "form":
            self._inside = False


def controls(page: str, form_id: str) -> list[tuple[str, str]]:
    """What a browser sends of the page's form of this id, as it stands there, in the order of the page."""
    parser = _Controls(form_id)
    parser.feed(page)
    assert parser.pairs, f"the page has no form {form_id}"
    return parser.pairs
