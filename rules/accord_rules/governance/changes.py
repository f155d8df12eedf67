"""A change set: what a proposal asks to be different in the book, entry by entry.

As a document, a change set is a list of changes, each of which sets or takes out one whole entry::

    [{"kind": "limits", "id": "dye.polyester_share_least", "value": {...}, "before": "sha256:..."},
     {"kind": "rules", "id": "film-on-silk", "value": null}]

``value`` is the entry as the book's TOML says it (a rule's with its ``topic``, a step's with its ``stage``), null to
take the entry out.
``before``, where given, is the digest of the entry the author saw, or "none" where there was none.
"""

from __future__ import annotations

import copy
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from accord_rules.documents.answers import Nullable
from accord_rules.documents.canonical import canonical, digest
from accord_rules.documents.files import Documents
from accord_rules.documents.reading import (
    Choice,
    DocumentError,
    Fault,
    Many,
    Object,
    Reader,
    Text,
    escape,
    kind_of,
    no_text,
    optional,
    required,
    unopened,
)
from accord_rules.documents.writing import Documented
from accord_rules.governance.limits import derived_with
from accord_rules.load.loader import from_documents
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import KINDS

CHANGEABLE = (*KINDS, "limits", "sources", "rules", "steps", "ambiguous_fibres", "ambiguous_words")
ABSENT = "none"
CHANGES_MOST = 200
ENTRY_MOST_BYTES = 64_000
ENTRY_MOST_DEPTH = 12
_ID = re.compile(r"[a-z0-9]+(?:[-._][a-z0-9]+)*")
_CODE = re.compile(r"[A-Z0-9]+(?:[-._][A-Z0-9]+)*")


class ChangeError(ValueError):
    """Changes that do not fit the book they are laid on: every fault, each with the change's pointer."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(map(str, self.faults)))


class EntryTable(Reader):
    """An entry as the book writes it. What it must hold is checked when the book is loaded."""

    def read(self, value: Any, pointer: str, faults: list[Fault]) -> Any:
        """A copy of the table; None, with faults, for what no book could write."""
        if not isinstance(value, dict):
            faults.append(Fault(pointer, f"must be an object or null, not {kind_of(value)}", code="wrong-type"))
            return None
        own = list(_no_entry(value, pointer, 1))
        if not own and len(canonical(value)) > ENTRY_MOST_BYTES:
            own = [Fault(pointer, f"is longer than {ENTRY_MOST_BYTES} bytes", code="out-of-range")]
        faults += own
        return None if own else copy.deepcopy(value)

    def json_schema(self) -> dict[str, Any]:
        """Any object: what it must hold hangs on the kind of entry."""
        return unopened("it is checked with the whole book; reads of the book show each kind")


def _no_entry(value: Any, pointer: str, depth: int) -> Iterable[Fault]:
    """What TOML could not have said: null, odd numbers, half characters, bottomless nesting."""
    if depth > ENTRY_MOST_DEPTH:
        yield Fault(pointer, f"is nested deeper than {ENTRY_MOST_DEPTH}", code="out-of-range")
    elif isinstance(value, dict):
        for key, element in value.items():
            yield from _no_text(key, pointer)
            yield from _no_entry(element, f"{pointer}/{escape(key)}", depth + 1)
    elif isinstance(value, list):
        for index, element in enumerate(value):
            yield from _no_entry(element, f"{pointer}/{index}", depth + 1)
    elif isinstance(value, str):
        yield from _no_text(value, pointer)
    elif value is None:
        yield Fault(pointer, "must not be null: leave the key out", code="wrong-type")
    elif isinstance(value, float) and not math.isfinite(value):
        yield Fault(pointer, "must be a finite number", code="out-of-range")


def _no_text(text: str, pointer: str) -> Iterable[Fault]:
    if (message := no_text(text, lines=True)) is not None:
        yield Fault(pointer, message, code="bad-format")


@dataclass(frozen=True, slots=True)
class EntryChange(Documented):
    """One entry of the book set to ``value`` (as the book writes it), or taken out where that is null."""

    kind: str = required(Choice(CHANGEABLE), "the kind of entry")
    id: str = required(Text(80), "its name")
    value: Mapping[str, Any] | None = required(
        Nullable(EntryTable()), "the entry as the book writes it; null: taken out"
    )
    before: str | None = optional(Text(80), about='digest of the entry as it was, "none" where there was none')


def is_entry_id(kind: str, id_: str) -> bool:
    """Whether an entry may be called so: in letters that look like no others, and nothing that an address or a file's
    name could be taken for. What is in the book by another name can still be taken out."""
    return (_CODE if kind in ("fibres", "ambiguous_fibres") else _ID).fullmatch(id_) is not None


def read_changes(document: Any, pointer: str = "/changes") -> tuple[EntryChange, ...]:
    """Read a change set strictly. Raises DocumentError with every fault and its JSON Pointer."""
    faults: list[Fault] = []
    changes: tuple[EntryChange, ...] | None = Many(Object(EntryChange), CHANGES_MOST).read(document, pointer, faults)
    seen: set[tuple[str, str]] = set()
    for index, change in enumerate(changes or ()):
        if change is not None and change.value is not None and not is_entry_id(change.kind, change.id):
            message = "must be small letters and figures, joined by single hyphens, dots or underscores"
            faults.append(Fault(f"{pointer}/{index}/id", message, code="bad-format"))
        if change is not None and (change.kind, change.id) in seen:
            message = f"changes {change.kind} {change.id} a second time"
            faults.append(Fault(f"{pointer}/{index}", message, code="given-twice"))
        elif change is not None:
            seen.add((change.kind, change.id))
    if faults or changes is None:
        raise DocumentError(faults)
    return changes


def changes_document(changes: Iterable[EntryChange]) -> list[dict[str, Any]]:
    """A change set as plain JSON data, as ``read_changes`` reads it."""
    return [change.document() for change in changes]


def change_digest(changes: Iterable[EntryChange]) -> str:
    """SHA-256 over the canonical JSON of what the changes do; their order and ``before`` make no difference."""
    done = sorted(([c.kind, c.id, c.value] for c in changes), key=lambda change: (str(change[0]), str(change[1])))
    return digest(done)


def entry_digest(documents: Documents, kind: str, name: str) -> str:
    """What ``before`` says of an entry."""
    return digest_of(documents[kind].get(name))


def digest_of(entry: Mapping[str, Any] | None) -> str:
    """The same of the entry itself; None where there is none."""
    return ABSENT if entry is None else digest(entry)


def apply(documents: Documents, changes: Iterable[EntryChange]) -> Documents:
    """The documents with the changes made; the given ones stay as they are.

    Raises ChangeError for an entry that is not as ``before`` says, or is to be taken out and not there.
    """
    result: dict[str, Mapping[str, Any]] = dict(documents)
    faults = []
    for index, change in enumerate(changes):
        place = f"/changes/{index}"
        there = change.id in documents[change.kind]
        now = entry_digest(documents, change.kind, change.id)
        if change.before is not None and change.before != now:
            faults.append(
                Fault(
                    f"{place}/before",
                    f"{change.kind} {change.id} has changed since: it is {now} now",
                    code="contradiction",
                )
            )
        elif change.value is None and not there:
            names = tuple(documents[change.kind])
            faults.append(
                Fault(
                    f"{place}/id",
                    f"{change.kind} has no {change.id} to take out",
                    names,
                    refused=change.id,
                    code="not-in-book",
                )
            )
        elif change.value is None:
            result[change.kind] = {k: v for k, v in result[change.kind].items() if k != change.id}
        else:
            result[change.kind] = {**result[change.kind], change.id: copy.deepcopy(change.value)}
    if faults:
        raise ChangeError(faults)
    return result


def difference(old: Documents, new: Documents) -> tuple[EntryChange, ...]:
    """The changes that make ``new`` of ``old``, by kind and id; a revert is ``difference(new, old)``.

    Raises ChangeError where they differ in what no proposal can change.
    """
    fixed = sorted(kind for kind in {*old, *new} - set(CHANGEABLE) if old.get(kind) != new.get(kind))
    if fixed:
        why = "differs, which comes with the code and not with a proposal"
        raise ChangeError(Fault("/changes", f"{kind} {why}", code="breaks-book") for kind in fixed)
    changes = []
    for kind in CHANGEABLE:
        for name in sorted({*old[kind], *new[kind]}):
            if name in old[kind] and old[kind][name] is new[kind].get(name):
                continue  # what no change touched is shared
            if name in old[kind] and name in new[kind] and _is_same(old[kind][name], new[kind][name]):
                continue  # most are, and to look at them takes less than their digests
            before = entry_digest(old, kind, name)
            if before != entry_digest(new, kind, name):
                value = copy.deepcopy(new[kind][name]) if name in new[kind] else None
                changes.append(EntryChange(kind, name, value, before))
    return tuple(changes)


def _is_same(one: Any, other: Any) -> bool:
    """Whether two documents are certainly the same to the digest, which tells 1 from 1.0 and from true."""
    if type(one) is not type(other):
        return False
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(_is_same(value, other[key]) for key, value in one.items())
    if isinstance(one, list):
        return len(one) == len(other) and all(map(_is_same, one, other))
    return one is other or (repr(one) == repr(other) if isinstance(one, float) else bool(one == other))


def check(documents: Documents, changes: Iterable[EntryChange], revision: int = 1) -> Book:
    """The changed book, loaded, as revision ``revision``; ``documents`` are those of a book that this code has loaded.

    Raises ChangeError where the changes do not fit, BookError with the loader's reasons where the result is no book.
    """
    changes = tuple(changes)
    changed = apply(documents, changes)
    lost = [
        Fault(
            f"/changes/{index}",
            f"facts are worked out with the limit {change.id}: it must stay, with its dimension",
            code="breaks-book",
        )
        for index, change in enumerate(changes)
        if change.kind == "limits" and derived_with(change.id)
        if _measures(changed, change.id) != _measures(documents, change.id)
    ]
    if lost:
        raise ChangeError(lost)
    return from_documents(changed, revision, tried=documents)


def _measures(documents: Documents, name: str) -> Any:
    """The dimension of a limit as its entry says it; None where there is no such entry."""
    return documents["limits"].get(name, {}).get("dimension")
