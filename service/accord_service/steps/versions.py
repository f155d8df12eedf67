"""Where two versions of a document differ, place by place."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from accord_rules.documents.reading import escape

_NOTHING = object()


@dataclass(frozen=True, slots=True)
class Difference:
    """A JSON Pointer, and what stood and stands there; None where there is nothing.

    The place is one of the later document, or of the earlier one where it is gone.
    """

    pointer: str
    before: Any
    after: Any


def differences(before: Any, after: Any, pointer: str = "") -> Iterator[Difference]:
    """The innermost places that differ. Members of a list that have ids are told apart by them, other lists whole."""
    if before == after:
        return
    if isinstance(before, Mapping) and isinstance(after, Mapping):
        for name in sorted(before.keys() | after.keys()):
            yield from _at(f"{pointer}/{escape(name)}", before.get(name, _NOTHING), after.get(name, _NOTHING))
        return
    earlier, later = _by_id(before), _by_id(after)
    if earlier is None or later is None:
        yield Difference(pointer, before, after)
        return
    for id_, (place, member) in later.items():
        yield from _at(f"{pointer}/{place}", earlier.get(id_, (0, _NOTHING))[1], member)
    for id_, (place, member) in earlier.items():
        if id_ not in later:
            yield Difference(f"{pointer}/{place}", member, None)
    if _members(earlier) == _members(later):
        yield Difference(pointer, before, after)  # the order alone


def _at(pointer: str, before: Any, after: Any) -> Iterator[Difference]:
    if before is _NOTHING or after is _NOTHING:
        yield Difference(pointer, *(None if side is _NOTHING else side for side in (before, after)))
    else:
        yield from differences(before, after, pointer)


def _by_id(value: Any) -> Mapping[str, tuple[int, Any]] | None:
    """Id to place and member of a list whose members all have one of their own; else None."""
    if not isinstance(value, Sequence) or isinstance(value, str):
        return None
    members = [(member.get("id"), place, member) for place, member in enumerate(value) if isinstance(member, Mapping)]
    by_id = {str(id_): (place, member) for id_, place, member in members if id_ is not None}
    return by_id if len(by_id) == len(value) else None


def _members(by_id: Mapping[str, tuple[int, Any]]) -> dict[str, Any]:
    return {id_: member for id_, (_, member) in by_id.items()}
