"""Whether everything that is kept is what the audit's chain says, and the chain what services with our key wrote.

The chain names each document that a commit wrote, so playing it through gives the documents that there have to be,
each with its version, its digest and its end. Both ways are looked at: what is in the store and not in the chain, and
what is in the chain and gone. Documents are read page by page, each page at one moment together with the chain's
length, and the chain is played on to that length before they are compared: so nothing written meanwhile is suspected.

What there has to be is kept in an SQLite file that belongs to this check alone and is gone with it; memory does not
grow with the store.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType

from accord_rules.documents.counted import counted
from accord_service.store import names
from accord_service.store.audit import SealedEntry, read_entry_or_none
from accord_service.store.connection import Connection
from accord_service.store.errors import StoreAway, StoreBroken
from accord_service.store.kinds import KINDS, place_of
from accord_service.store.look import Kept, Look, all_names, look, looks
from accord_service.store.seals import BEGINNING, SEAL_FAULTS, ChainHead, Seals

ENTRIES_PAGE = 200
FAULTS_MOST = 100  # told; the rest are counted
SET_BACK_MOST = 3  # times within one check
GRACE_S = 60.0  # between the clock of whoever wrote, the store's and ours
NAME_MOST = 200

# What may be wrong, each as one sentence. {name} is that of a document, {seq} the number of an entry.
FAULTS: Mapping[str, str] = MappingProxyType(
    {
        **{f"head-{fault}": f"{sentence[0].upper()}{sentence[1:]}." for fault, sentence in SEAL_FAULTS.items()},
        "head-unreadable": "The head of the audit can't be read.",
        "entry-broken": "Entry {seq} is not as it was written, or is missing.",
        "entry-surplus": "Entry {seq} was added past the audit.",
        "went-back": "The audit had {seq} entries before, and has fewer or others now: the store was set back.",
        "anchor-forged": "The anchor of entry {seq} was not sealed with a key of the seal key's file.",
        "anchor-missing": "The anchor of entry {seq} is not in the chain: the store was set back, or forged since.",
        "document-unknown": "{name} is in the store, and no entry wrote it.",
        "document-altered": "{name} is not what the audit says was written last.",
        "document-gone": "{name} is gone, and no entry took it away.",
        "document-overdue": "{name} is still there after its end.",
        "document-unsealed": "{name} does not carry the seal of a service.",
        "document-unlisted": "{name} is missing in the index that leads to it.",
        "type-wrong": "{name} is of another type than its kind.",
        "kind-unknown": "{name} is of no kind that a store has.",
    }
)


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong: ``code`` of ``FAULTS``, and where: the name of a document, or the number of an entry."""

    code: str
    name: str | None = None
    seq: int | None = None

    @property
    def sentence(self) -> str:
        """For people."""
        return FAULTS[self.code].format(name=self.name, seq=self.seq)


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """What a check came to. ``head``: where the chain ended; ``documents``: how many it says there have to be.

    ``adopted_seq``: the entry with which the last adoption began, before which the chain says nothing for sure; None
    where there was none. ``more``: faults beyond those told. ``checks_seals``: whether documents' own seals could be
    looked at, which takes the private key.
    """

    head: ChainHead
    documents: int
    adopted_seq: int | None
    faults: tuple[Fault, ...]
    more: int
    checks_seals: bool

    @property
    def is_whole(self) -> bool:
        """Whether nothing is wrong."""
        return not self.faults

    def lines(self) -> tuple[str, ...]:
        """For people: what it came to, and each fault."""
        sums = f"{counted(self.head.seq, 'entry', 'entries')}, {counted(self.documents, 'document')}"
        faults = counted(len(self.faults) + self.more, "fault")
        lines = [f"Whole: {sums}." if self.is_whole else f"Not whole: {sums}, {faults}."]
        lines += [f"  {fault.sentence}" for fault in self.faults]
        lines += [f"  And {self.more} more."] if self.more else []
        if self.adopted_seq is not None:
            lines.append(
                f"Entry {self.adopted_seq} adopted what was there: of the entries and documents before it nothing is"
                " known but that they were there then."
            )
        if not self.checks_seals:
            lines.append("Without the private key the documents' own seals were not looked at.")
        return tuple(lines)


class _Expected:
    """What the chain says there has to be, of all kinds or of some."""

    def __init__(self, kinds: Collection[str] | None) -> None:
        self._kinds = kinds
        # Without a name SQLite keeps it in its own memory up to some 2 MB, then in a file that is gone when closed.
        self._rows = sqlite3.connect("", isolation_level=None, check_same_thread=False)
        self._rows.execute("PRAGMA journal_mode = OFF")
        self._rows.execute(
            "CREATE TABLE document"
            " (name TEXT PRIMARY KEY, version INTEGER, sha256 TEXT, ends_at REAL, seen INTEGER) WITHOUT ROWID"
        )
        self._rows.execute("BEGIN")

    def close(self) -> None:
        self._rows.close()

    def clear(self) -> None:
        self._rows.execute("DELETE FROM document")

    def take(self, entry: SealedEntry) -> None:
        """What an entry wrote, and took away."""
        for name, sha256 in entry.written.items():
            if self._kinds is not None and name.partition(":")[0] not in self._kinds:
                continue
            if sha256 is None:
                self.drop(name)
            else:
                self._put(entry, name, sha256)

    def _put(self, entry: SealedEntry, name: str, sha256: str) -> None:
        before = self.get(name)
        if before is not None and before.ends_at is not None and before.ends_at <= _seconds(entry.written_at):
            before = None
        version = (entry.versions or {}).get(name) or (1 if before is None else before.version + 1)
        end = (entry.ends or {}).get(name)
        ends_at = _seconds(end) if end is not None else None if before is None or version == 1 else before.ends_at
        self._rows.execute("REPLACE INTO document VALUES (?, ?, ?, ?, 0)", (name, version, sha256, ends_at))

    def get(self, name: str) -> _Row | None:
        row = self._rows.execute("SELECT version, sha256, ends_at FROM document WHERE name = ?", (name,)).fetchone()
        return None if row is None else _Row(*row)

    def drop(self, name: str) -> None:
        self._rows.execute("DELETE FROM document WHERE name = ?", (name,))

    def see(self, name: str) -> None:
        self._rows.execute("UPDATE document SET seen = 1 WHERE name = ?", (name,))

    def unseen(self, most: int) -> list[str]:
        rows = self._rows.execute("SELECT name FROM document WHERE seen = 0 LIMIT ?", (most,))
        return [name for (name,) in rows]

    def unsee(self) -> None:
        self._rows.execute("UPDATE document SET seen = 0")

    def count(self) -> int:
        (count,) = self._rows.execute("SELECT count(*) FROM document").fetchone()
        return int(count)


@dataclass(frozen=True, slots=True)
class _Row:
    version: int
    sha256: str
    ends_at: float | None


class Check:
    """One check, or one that is taken up again and again (``again``) over a few kinds of documents.

    ``kinds``: those looked at, by what indexes and chain lead to; None for all, by every name there is. ``pause``: what
    is done between pages, so that others get a word in. Raises what the connection raises.
    """

    def __init__(
        self,
        connection: Connection,
        seals: Seals,
        *,
        kinds: Collection[str] | None = None,
        anchors: Sequence[ChainHead] = (),
        clock: Callable[[], float] = time.time,
        pause: Callable[[], None] = lambda: None,
    ) -> None:
        self._connection = connection
        self._seals = seals
        self._kinds = kinds
        self._anchors = anchors
        self._clock = clock
        self._pause = pause
        self._expected = _Expected(kinds)
        self._begin()

    def _begin(self) -> None:
        self._expected.clear()
        self._reached = ChainHead()
        self._head = ChainHead()
        self._length = 0
        self._adopted_seq: int | None = None
        self._broken: Fault | None = None
        self._hashes: dict[int, str] = {}

    def close(self) -> None:
        """Let go of what it remembers."""
        self._expected.close()

    def again(self) -> Account:
        """Look once more; what was played through of the chain is not read again, unless it was set back since."""
        self._faults: dict[Fault, None] = {}
        self._more = 0
        for _ in range(SET_BACK_MOST):
            try:
                self._look_at_all()
                break
            except _SetBack as back:
                self._begin()
                self._faults, self._more = {Fault("went-back", seq=back.seq): None}, 0
        else:
            raise StoreAway("the store is set back again and again")
        return Account(
            head=self._head,
            documents=self._expected.count(),
            adopted_seq=self._adopted_seq,
            faults=tuple(sorted(self._faults, key=lambda fault: (fault.name or "", fault.seq or 0, fault.code))),
            more=self._more,
            checks_seals=self._seals.can_seal,
        )

    def _look_at_all(self) -> None:
        self._play_on(look(self._connection))
        self._expected.unsee()
        if self._kinds is None:
            self._look_at_every_name()
        else:
            self._look_at_indexes(self._kinds)
        self._look_at_the_rest()
        self._look_at_the_chain()

    def _tell(self, fault: Fault) -> None:
        if len(self._faults) < FAULTS_MOST or fault in self._faults:
            self._faults[fault] = None
        else:
            self._more += 1

    # -- the chain ---------------------------------------------------------------------------------------------------

    def _play_on(self, seen: Look) -> None:
        """Play the chain through to where it ended when ``seen`` was seen."""
        try:
            self._head = seen.head
        except StoreBroken:
            self._tell(Fault("head-unreadable"))
            self._head = ChainHead()
        if seen.length < self._length:
            raise _SetBack(self._length)
        while self._length < seen.length:
            page = min(ENTRIES_PAGE, seen.length - self._length)
            texts = self._connection.ask("LRANGE", names.AUDIT, self._length, self._length + page - 1)
            if len(texts) < page:
                raise _SetBack(self._length + page)
            for text in texts:
                self._take(read_entry_or_none(text))
            self._pause()

    def _take(self, entry: SealedEntry | None) -> None:
        self._length += 1
        whole = entry is not None and entry.hash == entry.right_hash()
        if entry is not None and whole and entry.adopts:
            # Whatever was wrong before, this is where the chain begins to be sure.
            self._adopted_seq, self._broken = entry.seq, None
            self._expected.clear()
        elif entry is None or not whole or not entry.follows(self._reached):
            self._break(self._reached.seq + 1)
        if entry is None:
            self._reached = ChainHead(self._length, BEGINNING)
            return
        self._reached = entry.head()
        self._hashes |= {entry.seq: entry.hash} if any(anchor.seq == entry.seq for anchor in self._anchors) else {}
        self._expected.take(entry)

    def _break(self, seq: int) -> None:
        self._broken = self._broken or Fault("entry-broken", seq=seq)

    def _look_at_the_chain(self) -> None:
        """What is wrong with the chain itself, as of the last look."""
        fault = self._seals.fault_of(self._head)
        if fault:
            self._tell(Fault(f"head-{fault}"))
        if self._broken is not None:
            self._tell(self._broken)
        elif self._length > self._head.seq:
            self._tell(Fault("entry-surplus", seq=self._head.seq + 1))
        elif self._length < self._head.seq:
            self._tell(Fault("entry-broken", seq=self._length + 1))
        elif not self._reached.same_place(self._head):
            self._tell(Fault("entry-broken", seq=self._head.seq))
        for anchor in self._anchors:
            if self._seals.fault_of(anchor):
                self._tell(Fault("anchor-forged", seq=anchor.seq))
            elif self._hashes.get(anchor.seq) != anchor.hash:
                self._tell(Fault("anchor-missing", seq=anchor.seq))

    # -- documents ---------------------------------------------------------------------------------------------------

    def _look_at_every_name(self) -> None:
        for page in all_names(self._connection):
            documents: list[str] = []
            others: list[tuple[str, str]] = []
            for name in page:
                kind = _kind(name)
                if kind is None:
                    self._tell(Fault("kind-unknown", _shown(name)))
                elif KINDS[kind].is_document:
                    documents.append(name.decode())
                else:
                    others.append((name.decode(), KINDS[kind].type))
            self._look_at(documents)
            types = self._connection.ask_all([("TYPE", key) for key, _ in others])
            for (key, wanted), answered in zip(others, types, strict=True):
                if answered not in (wanted.encode(), b"none"):
                    self._tell(Fault("type-wrong", _shown(key.encode())))
            self._pause()

    def _look_at_indexes(self, kinds: Iterable[str]) -> None:
        """What the indexes of the kinds lead to."""
        for kind in kinds:
            index = _SMALL_INDEXES.get(kind)
            if index is not None:
                members = self._connection.ask("ZRANGE", index, 0, -1)
                self._look_at([names.name(kind, member.decode("utf-8", "replace")) for member in members])

    def _look_at_the_rest(self) -> None:
        """What the chain says there has to be and was not met yet."""
        while unseen := self._expected.unseen(ENTRIES_PAGE):
            self._look_at([names.PREFIX + name for name in unseen])

    def _look_at(self, keys: Sequence[str]) -> None:
        for seen in looks(self._connection, keys):
            self._play_on(seen)
            for document in seen.documents:
                self._compare(document)
            self._pause()

    def _compare(self, document: Kept) -> None:
        name = names.public(document.key)
        expected = self._expected.get(name)
        if document.type == "none":
            if expected is not None and not self._may_have_ended(expected):
                self._tell(Fault("document-gone", name))
                self._expected.see(name)
            else:
                self._expected.drop(name)
            return
        self._expected.see(name)
        code = self._fault_of(document, name, expected)
        if code:
            self._tell(Fault(code, _shown(name.encode())))

    def _may_have_ended(self, expected: _Row) -> bool:
        return expected.ends_at is not None and expected.ends_at <= self._clock() + GRACE_S

    def _fault_of(self, document: Kept, name: str, expected: _Row | None) -> str:
        if document.type != "hash":
            return "type-wrong"
        if expected is None:
            return "document-unknown"
        if (document.version, document.sha256) != (expected.version, expected.sha256):
            return "document-altered"
        if not self._seals.is_sealed(document.key, document.version, document.sha256, document.seal):
            return "document-unsealed"
        if expected.ends_at is not None and expected.ends_at < self._clock() - GRACE_S:
            return "document-overdue"
        return "" if document.is_listed else "document-unlisted"


class _SetBack(Exception):
    """The chain is shorter than it was."""

    def __init__(self, seq: int) -> None:
        self.seq = seq
        super().__init__(seq)


_SMALL_INDEXES: Mapping[str, str] = MappingProxyType({"key": names.KEYS, "shop": names.SHOPS})


def _kind(key: bytes) -> str | None:
    """The kind of a name; None where it has none of ours."""
    try:
        kind, _ = place_of(key.decode())
    except UnicodeDecodeError:
        return None
    return kind if kind in KINDS else None


def _shown(key: bytes) -> str:
    """A name as it may be shown: whoever put it there may have meant a terminal."""
    text = names.public(key.decode("utf-8", "backslashreplace"))
    return "".join(letter if letter.isprintable() else "?" for letter in text)[:NAME_MOST]


def _seconds(time_: str) -> float:
    return datetime.fromisoformat(time_).timestamp()
