"""Every kind of name there may be in the store, and what the audit says of it: a closed list.

Whatever is there under a name of no kind of this list is reported by the audit's check (``check.py``). So who adds a
kind of thing adds a line here; a document needs no more than that, as ``commit`` binds it into the chain.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from urllib.parse import unquote

from accord_service.store import names


@dataclass(frozen=True, slots=True)
class Kind:
    """``type``: as Redis calls it. ``listed_in``: for the parts of a document's name, the index and the member under
    which it has to be found. ``not_in_chain``: why what is there is in no entry; empty for documents, all of which are.
    """

    type: str = "hash"
    listed_in: Callable[[tuple[str, ...]], tuple[str, str]] | None = None
    not_in_chain: str = ""

    @property
    def is_document(self) -> bool:
        """Whether the chain has to know it."""
        return not self.not_in_chain


_FOLLOWS = "an index: it follows from the documents, and what it leads to is looked up there"

KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        # Documents: written by commits alone. Those with a time to live end in it; the chain says when.
        "head": Kind(),
        "revision": Kind(),
        "proposal": Kind(listed_in=lambda parts: (names.PROPOSALS, parts[0])),
        "effect": Kind(),
        "shop": Kind(listed_in=lambda parts: (names.SHOPS, parts[0])),
        "house": Kind(),  # its older versions too, as the shop's: house:<shop>:version:<number>
        "readings": Kind(),
        "directory": Kind(),
        "key": Kind(listed_in=lambda parts: (names.KEYS, parts[0])),
        "record": Kind(listed_in=lambda parts: (names.RECORDS, names.member(*parts))),
        "outcome": Kind(),
        "outcome-pieces": Kind(),
        "outcome-count": Kind(listed_in=lambda parts: (names.CELLS, names.member(*parts))),
        "answer": Kind(),
        # Indexes: written by commits too.
        "proposals": Kind("zset", not_in_chain=_FOLLOWS),
        "shops": Kind("zset", not_in_chain=_FOLLOWS),
        "keys": Kind("zset", not_in_chain=_FOLLOWS),
        "records": Kind("zset", not_in_chain=_FOLLOWS),
        "records-expiry": Kind("zset", not_in_chain=_FOLLOWS),
        "outcome-cells": Kind("zset", not_in_chain=_FOLLOWS),
        "effect-runs": Kind("zset", not_in_chain="which effects are being worked out; their proposals say so too"),
        # What versions before records kept of answers: not read any more.
        "verdict": Kind(not_in_chain="of an older version, and ends in its time"),
        "verdicts": Kind("zset", not_in_chain="of an older version"),
        "verdicts-expiry": Kind("zset", not_in_chain="of an older version"),
        # The chain itself.
        "audit": Kind("list", not_in_chain="the chain"),
        "audit-head": Kind("string", not_in_chain="the chain's sealed head"),
        # Nobody's acts. The sum in it becomes the effect that is shown, so it is sealed as documents are: what no
        # service wrote is dropped where it is met, and worked out anew (``effects.AlteredWork``).
        "effect-work": Kind(not_in_chain="how far the working out of an effect has come; taken away when it ends"),
        # Nobody's acts, on which nothing rests.
        "turn": Kind("string", not_in_chain="who writes next; ends by itself within 50 ms"),
        "witness": Kind("string", not_in_chain="what a wait for the replicas rests on; ends by itself within seconds"),
        "claim": Kind("string", not_in_chain="a write that is under way; ends by itself within 10 s"),
        "trial": Kind("string", not_in_chain="whether the store takes writes; ends by itself within a minute"),
        "job-processes": Kind("zset", not_in_chain="who works on effects; ends by itself within a minute"),
        "rate": Kind("string", not_in_chain="how often a key, or a shop, has asked; ends by itself within minutes"),
        "session": Kind("string", not_in_chain="who is signed in at the pages; sealed by itself, ends within a day"),
        "sessions": Kind("zset", not_in_chain="which sessions a key has; what it leads to is sealed by itself"),
        "bundles-pulled": Kind(not_in_chain="which bundle each shop pulled last, for whoever looks for old ones"),
        "keys-used": Kind("zset", not_in_chain="when keys were used last, for whoever looks for old ones"),
    }
)


def place_of(key: str) -> tuple[str, tuple[str, ...]]:
    """Kind and parts of a name in the store."""
    kind, *parts = names.public(key).split(":")
    return kind, tuple(unquote(part) for part in parts)
