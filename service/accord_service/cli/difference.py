"""What changes between two states of the book or of a document, entry by entry, as people read it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import zip_longest
from typing import Any

from accord_service.cli.catalogue import leaves, written
from accord_service.cli.columns import say_table
from accord_service.cli.output import Output
from accord_service.cli.show import amount, style_of
from accord_service.cli.told import Document

Entries = Mapping[str, Mapping[str, Any]]
_STYLES = {"CHANGED": style_of("requires"), "NEW": style_of("accepted"), "TAKEN OUT": style_of("blocks")}


def say_changes(output: Output, changes: Sequence[Document], before: Entries) -> None:
    """Each change of a change set: ``before`` is the book it is laid on, by kind and id."""
    for change in changes:
        kind, id_, new = change["kind"], change["id"], change["value"]
        old = before.get(kind, {}).get(id_)
        word = "TAKEN OUT" if new is None else "NEW" if old is None else "CHANGED"
        output.blank()
        output.say(f"{kind} {id_}", lead=f"{word}  ", lead_style=_STYLES[word])
        told = (new if new is not None else old) or {}
        if title := told.get("title") or told.get("name") or told.get("text"):
            output.say(str(title), lead="  ")
        if new is None:
            continue
        if old is None:
            say_table(output, ("field", "value"), leaves(new))
        else:
            rows = differences(_with_unit(kind, old), _with_unit(kind, new))
            say_table(output, ("field", "from", "to"), rows, none="Nothing differs any more.")


def differences(old: Any, new: Any, place: str = "") -> Iterator[tuple[str, str, str]]:
    """Where two documents differ: the place, and both values as people read them; a dash where there is none."""
    if old == new:
        return
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        for key in dict.fromkeys((*old, *new)):
            yield from differences(old.get(key), new.get(key), f"{place}.{key}".strip("."))
    elif isinstance(old, list) and isinstance(new, list):
        yield from _of_lists(old, new, place)
    else:
        yield place, _flat(old), _flat(new)


def _of_lists(old: Sequence[Any], new: Sequence[Any], place: str) -> Iterator[tuple[str, str, str]]:
    """What went out of a list beside what came into it: where one is put in, those after it are no other for standing
    one place further down."""
    gone = [element for element in old if element not in new]
    come = [element for element in new if element not in old]
    for was, becomes in zip_longest(gone, come):
        yield place, _flat(was), _flat(becomes)
    if not gone and not come:
        yield place, f"{_flat([*old])} (in this order)", f"{_flat([*new])} (in this order)"


def _has_tables(value: Any) -> bool:
    return isinstance(value, list) and any(isinstance(element, Mapping | list) for element in value)


def _flat(value: Any) -> str:
    if value is None:
        return "-"
    if not isinstance(value, Mapping) and not _has_tables(value):
        return written(value)
    return "; ".join(f"{name} {text}".strip() for name, text in leaves(value))


def _with_unit(kind: str, entry: Document) -> Document:
    """A limit with the unit that its plain numbers stand for."""
    if kind != "limits" or "dimension" not in entry:
        return entry
    return {**entry, **{key: amount(entry, key) for key in ("value", "step") if key in entry}}
