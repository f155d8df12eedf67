"""The names of everything in the store. All share one hash tag, so that one commit may touch any of them in a cluster.

A part that comes from outside is never put into a name as it is: it is quoted, so that it can't reach another name.
"""

from __future__ import annotations

from urllib.parse import quote, unquote

PREFIX = "{accord}:"
AUDIT = PREFIX + "audit"
AUDIT_HEAD = PREFIX + "audit-head"
TRIAL = PREFIX + "trial"
TURN = PREFIX + "turn"
WITNESS = PREFIX + "witness"
HEAD = PREFIX + "head"
PROPOSALS = PREFIX + "proposals"
SHOPS = PREFIX + "shops"
DIRECTORY = PREFIX + "directory"
KEYS = PREFIX + "keys"
KEYS_USED = PREFIX + "keys-used"
BUNDLES_PULLED = PREFIX + "bundles-pulled"
RECORDS = PREFIX + "records"
RECORDS_EXPIRY = PREFIX + "records-expiry"
RUNS = PREFIX + "effect-runs"
WORKERS = PREFIX + "job-processes"
CELLS = PREFIX + "outcome-cells"


def name(kind: str, *parts: str | int) -> str:
    """``{accord}:<kind>:<part>:<part>``."""
    return PREFIX + ":".join((kind, *(quote(str(part), safe="") for part in parts)))


def public(key: str) -> str:
    """The name of a key outside this room: ``<kind>:<part>:<part>``."""
    return key.removeprefix(PREFIX)


def member(*parts: str) -> str:
    """One member of an index: its parts, quoted so that only the slashes between them part them."""
    return "/".join(quote(part, safe="") for part in parts)


def parts(member: str) -> tuple[str, ...]:
    """The parts that ``member`` joined."""
    return tuple(unquote(part) for part in member.split("/"))
