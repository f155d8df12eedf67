"""What of the audit is news, and to whom: the audit has every write, and most of them concern few.

Nothing is kept beside the audit: whoever asks says up to which entry they know it, and gets what came since.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from accord_service.http.roles import COLLECTIVE
from accord_service.store import Event, KeyRecord, SealedEntry, Store

# How many entries are looked through for one answer, and how many of them are told.
LOOKED_THROUGH_MOST, TOLD_MOST = 1000, 100


@dataclass(frozen=True, slots=True)
class Reader:
    """Whoever asks, as far as it matters to what is news to them."""

    role: str
    shop_id: str


@dataclass(frozen=True, slots=True)
class Item:
    """An entry that is news, as a sentence; ``actor`` is the key that did it, None for a part of the program."""

    entry: SealedEntry
    actor: KeyRecord | None
    text: str


@dataclass(frozen=True, slots=True)
class _Kind:
    """``says``: the sentence, with the subject's id in it; ``concerns``: whom. ``whose`` is the shop it is about."""

    says: str
    concerns: Callable[[Reader, str | None], bool]


def _everybody(reader: Reader, whose: str | None) -> bool:
    return True


def _own_shop(reader: Reader, whose: str | None) -> bool:
    return whose is not None and whose == reader.shop_id


def _owners(reader: Reader, whose: str | None) -> bool:
    return reader.role == "owner" and _own_shop(reader, whose)


def _deciding(reader: Reader, whose: str | None) -> bool:
    """A proposal: who decides on it, and the shop that made it, but for counters, who make none."""
    return reader.role in ("steward", "admin") or (reader.role != "counter" and _own_shop(reader, whose))


def _keepers_of_keys(reader: Reader, whose: str | None) -> bool:
    return reader.role == "admin" or _owners(reader, whose)


def _admins(reader: Reader, whose: str | None) -> bool:
    return reader.role == "admin"


_KINDS: Mapping[str, _Kind] = MappingProxyType(
    {
        Event.REVISION_PUBLISHED: _Kind("Revision {} of the book is published.", _everybody),
        Event.PROPOSAL_OPENED: _Kind("The effect of proposal {} is worked out: stewards can decide.", _deciding),
        Event.PROPOSAL_EFFECT_ENDED: _Kind("The effect of proposal {} was not worked out.", _deciding),
        Event.PROPOSAL_APPROVED: _Kind("Proposal {} has an approval.", _deciding),
        Event.PROPOSAL_DECLINED: _Kind("Proposal {} is declined.", _deciding),
        Event.PROPOSAL_WITHDRAWN: _Kind("Proposal {} is withdrawn.", _deciding),
        Event.PROPOSAL_REOPENED: _Kind("Proposal {} lost an approval, whose key was revoked.", _deciding),
        Event.PROPOSAL_VOIDED: _Kind("Proposal {} rests on a revision that is the last no more.", _deciding),
        Event.OUTCOME_REPORTED: _Kind("A piece was reported: {}.", _own_shop),
        Event.OUTCOME_WITHDRAWN: _Kind("A report was taken back: {}.", _own_shop),
        Event.READING_ENTERED: _Kind("A probe reading was entered: {}.", _own_shop),
        Event.READING_CONFIRMED: _Kind("A probe reading counts now: {}.", _own_shop),
        Event.READING_WITHDRAWN: _Kind("A probe reading was taken back: {}.", _own_shop),
        Event.SHOP_REPLACED: _Kind("The shop's document was changed: {}.", _own_shop),
        Event.HOUSE_RULES_REPLACED: _Kind("The house rules were changed: {}.", _own_shop),
        Event.KEY_ISSUED: _Kind("A key was issued: {}.", _keepers_of_keys),
        Event.KEY_CONFIRMED: _Kind("A key was confirmed: {}.", _keepers_of_keys),
        Event.KEY_REVOKED: _Kind("A key was revoked: {}.", _keepers_of_keys),
        Event.STORE_ADOPTED: _Kind("What is in the store was sealed as it was: accord audit check.", _admins),
    }
)
_OF_PROPOSALS = frozenset(event for event in _KINDS if str(event).startswith("proposal."))
_OF_KEYS = frozenset(event for event in _KINDS if str(event).startswith("key."))


def since(store: Store, after: int, reader: Reader) -> tuple[tuple[Item, ...], int, bool]:
    """What is news to a reader after an entry of the audit; up to which entry that is, and whether there is more.

    Raises StoreAway, StoreBroken; ValueError for an entry that is none.
    """
    entries = store.audit.entries(after, LOOKED_THROUGH_MOST)
    of_kind = [entry for entry in entries if entry.event in _KINDS]
    keys = store.keys.get_all(_keys_in(of_kind))
    authors = _authors(store, of_kind)
    told: list[Item] = []
    for entry in of_kind:
        if len(told) == TOLD_MOST:
            return tuple(told), told[-1].entry.seq, True
        actor = keys.get(entry.actor_id)
        kind = _KINDS[entry.event]
        if kind.concerns(reader, _whose(entry, actor, keys, authors)):
            told.append(Item(entry, actor, kind.says.format(entry.subject_id)))
    seq = entries[-1].seq if entries else after
    return tuple(told), seq, len(entries) == LOOKED_THROUGH_MOST


def _keys_in(entries: Iterable[SealedEntry]) -> set[str]:
    subjects = {entry.subject_id for entry in entries if entry.event in _OF_KEYS and entry.subject_id is not None}
    return {entry.actor_id for entry in entries} | subjects


def _authors(store: Store, entries: Sequence[SealedEntry]) -> Mapping[str, str]:
    """The shop that made each proposal spoken of."""
    ids = {entry.subject_id for entry in entries if entry.event in _OF_PROPOSALS and entry.subject_id is not None}
    proposals = store.proposals.get_all(ids)
    keys = store.keys.get_all({proposal.author for proposal in proposals.values()})
    return {id_: keys[proposal.author].shop for id_, proposal in proposals.items() if proposal.author in keys}


def _whose(
    entry: SealedEntry, actor: KeyRecord | None, keys: Mapping[str, KeyRecord], authors: Mapping[str, str]
) -> str | None:
    """The shop that an entry is about; None for the collective's and the program's."""
    if entry.event in _OF_PROPOSALS:
        shop = authors.get(entry.subject_id or "")
    elif entry.event in _OF_KEYS:
        subject = keys.get(entry.subject_id or "")
        shop = None if subject is None else subject.shop
    elif entry.event in (Event.SHOP_REPLACED, Event.HOUSE_RULES_REPLACED):
        shop = entry.subject_id
    else:
        # Readings and reports are made and taken back by the shop's own keys alone.
        shop = None if actor is None else actor.shop
    return None if shop == COLLECTIVE else shop
