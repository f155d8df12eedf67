"""The exit codes of commands about orders, and which of several counts."""

from __future__ import annotations

DONE, NOT_DONE, UNASKED, UNDETERMINED = 0, 1, 2, 3
WORKABLE = ("accepted", "conditional")
UNREAD = "unread"  # stands for the verdict of what could not be read
_WORST_FIRST = (UNASKED, NOT_DONE, UNDETERMINED, DONE)


def code_of(word: str) -> int:
    """The exit code of one verdict; a word that is not known here is no leave to press."""
    if word in WORKABLE:
        return DONE
    return {"undetermined": UNDETERMINED, UNREAD: UNASKED}.get(word, NOT_DONE)


def worst(*codes: int) -> int:
    """Of several exit codes the one that counts: not answered, rejected, undetermined, done."""
    return next((code for code in _WORST_FIRST if code in codes), DONE)
