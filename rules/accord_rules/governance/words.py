"""The fixed words of governance, apart from what works with them: who only names them need not load the rules."""

from __future__ import annotations

# The life of a proposal.
STATES = ("draft", "open", "approved", "declined", "withdrawn", "published", "void")
# How the ids of house rules begin.
PREFIX = "house."
