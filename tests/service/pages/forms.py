"""Forms of pages, as a browser would send them back."""

from __future__ import annotations

import html
import re


def hidden_fields(page: str, action: str) -> dict[str, str]:
    """The hidden fields of the page's first form that goes to ``action``."""
    form = re.search(rf'<form[^>]*action="{re.escape(action)}".*?</form>', page, re.DOTALL)
    assert form is not None, f"the page has no form that goes to {action}"
    return {
        name: html.unescape(value)
        for name, value in re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', form[0])
    }
