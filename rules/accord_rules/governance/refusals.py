"""Why changes make no book, in a steward's words: each fault at the change that it comes from, and for an entry that is
withdrawn one fault, which says what of the book still leans on it and what has to be done first."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from types import MappingProxyType

from accord_rules.documents.files import BookError, EntryFault
from accord_rules.documents.reading import Fault, unescape
from accord_rules.governance.changes import EntryChange

# How many of those that lean on an entry are named.
NAMED_MOST = 6
# Of one, how many examples are named; more are counted.
EXAMPLES_MOST = 2
# Kind -> what one is called, where that is not the kind without its plural.
_ONE_OF: Mapping[str, str] = MappingProxyType(
    {
        "finishes": "finish",
        "practice": "practice point",
        "press_types": "type of press",
        "migration": "cell of dye migration",
        "advice": "question answered",
        "not_covered": "note on what is left out",
    }
)
_EXAMPLE = re.compile(r"/(?P<list>fires|silent)/(?P<index>\d+)(?P<inside>/.*)?")
# What an example comes to that does not hold; the facts behind it are for whoever changes the book's files.
_OUTCOME = re.compile(r"does not hold: (it (?:fires|stays silent|is undecided)) with ")
_LISTS: Mapping[str, str] = MappingProxyType({"fires": "where it applies", "silent": "where it does not"})
_WITH_CODE = "base_example"
# What no rule's answer hangs on.
_NO_ANSWER = frozenset({"ambiguous_words", "ambiguous_fibres", "sources"})


def one_of(kind: str) -> str:
    """What an entry of a kind is called."""
    return _ONE_OF.get(kind, kind.replace("_", " ").removesuffix("s"))


def faults_in(changes: Iterable[EntryChange], error: BookError) -> tuple[Fault, ...]:
    """Why the changed book is none: each reason at the change that it lies in, or else comes from; those that come from
    one withdrawn entry as one."""
    changes = tuple(changes)
    placed = {str(fault): fault for fault in error.faults}
    told: list[Fault] = []
    leaning: dict[int, list[EntryFault]] = {}
    for reason in error.reasons:
        fault = placed.get(reason)
        withdrawn = _withdrawn(changes, fault)
        if fault is None or withdrawn is None:
            told.append(_fault_in(changes, fault, reason))
        else:
            leaning.setdefault(withdrawn, []).append(fault)
    return (*told, *(_leans_on(index, changes[index], faults) for index, faults in leaning.items()))


def _withdrawn(changes: tuple[EntryChange, ...], entry_fault: EntryFault | None) -> int | None:
    """The place of the withdrawal that a fault comes from; None where it comes from no such, or that can't be told."""
    if entry_fault is None or not entry_fault.id or _own(changes, entry_fault) is not None:
        return None
    taken_out = [index for index, change in enumerate(changes) if change.value is None]
    named = [index for index in taken_out if _is_of(changes[index], entry_fault)]
    if len(named) == 1:
        return named[0]
    deciding = [index for index, change in enumerate(changes) if change.kind not in _NO_ANSWER]
    return deciding[0] if len(deciding) == 1 and deciding[0] in taken_out else None


def _is_of(change: EntryChange, entry_fault: EntryFault) -> bool:
    """Whether a fault says that a withdrawn entry is missed, or lies in the entry itself."""
    return change.id == entry_fault.fault.refused or (change.kind, change.id) == (entry_fault.kind, entry_fault.id)


def _own(changes: tuple[EntryChange, ...], entry_fault: EntryFault) -> int | None:
    """The place of the change that sets the entry which a fault lies in; None where no change sets it."""
    return next(
        (
            index
            for index, change in enumerate(changes)
            if change.value is not None and (change.kind, change.id) == (entry_fault.kind, entry_fault.id)
        ),
        None,
    )


def _leans_on(index: int, change: EntryChange, faults: list[EntryFault]) -> Fault:
    """What a withdrawn entry is still needed for, and what has to be done about it."""
    own = [
        entry_fault.fault for entry_fault in faults if (entry_fault.kind, entry_fault.id) == (change.kind, change.id)
    ]
    one = f"the {one_of(change.kind)} {change.id}"
    if own:
        why = own[0].message.removeprefix("is required: ")
        return Fault(f"/changes/{index}", f"{one} can't be withdrawn: {why}", code="breaks-book")
    entries = tuple(dict.fromkeys((fault.kind, fault.id) for fault in faults))
    if any(kind == _WITH_CODE for kind, _ in entries):
        message = (
            f"{one} can't be withdrawn by a proposal: the plain order that all rules are tried on uses it, and that"
            " comes with the program, so that only a new version of the program can do without it"
        )
        return Fault(f"/changes/{index}", message, code="breaks-book")
    named = tuple(_named(faults))
    more = len(named) - NAMED_MOST
    listed = "; ".join(named[:NAMED_MOST]) + (f"; and {more} more" if more > 0 else "")
    count = "1 entry of the book needs" if len(entries) == 1 else f"{len(entries)} entries of the book need"
    message = (
        f"{one} can't be withdrawn alone, since {count} it: {listed}. Change or withdraw those in the same proposal,"
        " which takes a copy of the book's files and the command accord propose"
    )
    return Fault(f"/changes/{index}", message, code="breaks-book")


def _named(faults: list[EntryFault]) -> Iterator[str]:
    """Those that lean on a withdrawn entry, each with which of its examples do, where only those do."""
    by_entry: dict[tuple[str, str], list[Fault]] = {}
    for entry_fault in faults:
        by_entry.setdefault((entry_fault.kind, entry_fault.id), []).append(entry_fault.fault)
    for (kind, id_), of_entry in by_entry.items():
        examples = tuple(dict.fromkeys(filter(None, (_example_in_words(fault.pointer) for fault in of_entry))))
        alone = examples and all(_EXAMPLE.fullmatch(fault.pointer) for fault in of_entry)
        told = ", ".join(examples) if len(examples) <= EXAMPLES_MOST else f"{len(examples)} of its examples"
        yield f"{one_of(kind)} {id_}" + (f" ({told})" if alone else "")


def _example_in_words(pointer: str) -> str:
    match = _EXAMPLE.fullmatch(pointer)
    return "" if match is None else f"example {int(match['index']) + 1} {_LISTS[match['list']]}"


def _fault_in(changes: tuple[EntryChange, ...], entry_fault: EntryFault | None, reason: str) -> Fault:
    """One reason why the changed book is none; ``entry_fault`` where it lies in an entry of it."""
    if entry_fault is None or not entry_fault.id:
        return Fault(_cause(changes), reason, code="breaks-book")
    index = _own(changes, entry_fault)
    if index is not None:
        return replace(entry_fault.fault, pointer=f"/changes/{index}/value{entry_fault.fault.pointer}")
    fault = entry_fault.fault
    place = f"{one_of(entry_fault.kind)} {entry_fault.id}{_place_in_words(fault.pointer)}"
    if (outcome := _OUTCOME.match(fault.message)) is not None:
        message = (
            f"{place}: with the change {outcome[1]} there. Change the example in the same proposal, with accord propose"
        )
    else:
        message = f"{place}: {fault.message}"
    return Fault(_cause(changes), message, code="breaks-book")


def _place_in_words(pointer: str) -> str:
    """Where in an entry, as it follows the entry's name; nothing for the entry as a whole."""
    if example := _example_in_words(pointer):
        return f", {example}"
    place = " ".join(unescape(step) for step in pointer.strip("/").split("/")).replace("_", " ")
    return f", {place}" if place else ""


def _cause(changes: tuple[EntryChange, ...]) -> str:
    """The change that an entry breaks with which is not changed itself; all of them where that can't be told."""
    return "/changes/0" if len(changes) == 1 else "/changes"
