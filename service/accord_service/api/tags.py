"""The tags of endpoints: chapters of the description, and what caches may keep."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from accord_rules.documents.spelling import did_you_mean

TAGS: Mapping[str, str] = MappingProxyType(
    {
        "Service": "What this is, and where everything is.",
        "Orders": "Ask before a blank is spoiled.",
        "Book": "The shared settings: what answers are made from.",
        "Changes": "How the book changes: revisions, and proposals on their way into it.",
        "Records": "Orders kept with their answers, asked again, and what became of the pieces.",
        "Shop": "The caller's own: presses, stock, house rules.",
        "Administration": "Shops, keys and the audit.",
    }
)
# Those of endpoints whose answers speak of a shop's orders: no cache may keep those.
OF_ORDERS = ("Orders", "Records")


def require_tag(tag: str) -> None:
    """Raises ValueError for a word that is no tag: what caches may keep would hang on a slip."""
    if tag not in TAGS:
        raise ValueError(f"there is no tag {tag!r}{did_you_mean(tag, TAGS)}: api/tags.py has {', '.join(TAGS)}")
