"""What changes between two states of the book or of a document, entry by entry, as people read it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from accord_service.cli.columns import say_table
from accord_service.cli.output import Output
from accord_service.cli.show import style_of
from accord_service.cli.told import Document
from accord_service.steps.readable import differences, leaves, with_units

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
            rows = differences(with_units(kind, old), with_units(kind, new))
            say_table(output, ("field", "from", "to"), rows, none="Nothing differs any more.")
