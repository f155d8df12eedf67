"""The one form of a document that digests are taken over."""

from __future__ import annotations

import hashlib
import json
from typing import Any


def canonical(document: Any) -> bytes:
    """The one byte string of a document: sorted keys, no spaces, UTF-8. Digests are taken over it."""
    return json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode()


def digest(document: Any) -> str:
    return "sha256:" + hashlib.sha256(canonical(document)).hexdigest()
