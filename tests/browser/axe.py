"""axe-core in a page that a browser shows: the rules of WCAG 2.2, levels A and AA, and axe's best practices.

https://www.w3.org/TR/WCAG22/; what each rule looks for: https://dequeuniversity.com/rules/axe/
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

from tests.browser.webdriver import Browser

_SCRIPT = Path(__file__).parent / "vendor" / "axe.min.js"
_TAGS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa", "best-practice")
_OPTIONS = {"runOnly": {"type": "tag", "values": _TAGS}, "resultTypes": ["violations"]}


@cache
def _source() -> str:
    return _SCRIPT.read_text(encoding="utf-8")


def findings(browser: Browser) -> list[str]:
    """What axe has against the page as it is shown now: rule, what is wrong, and where (CSS selectors)."""
    browser.script(_source())
    told = browser.script_async(f"axe.run(document, {json.dumps(_OPTIONS)}).then(result => result.violations)")
    return [
        f"{found['id']}: {found['help']}: {'; '.join(' '.join(map(str, node['target'])) for node in found['nodes'])}"
        for found in told
    ]
