"""Changes of entries as people read them: the place in words, both values, and of texts which words differ."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from difflib import SequenceMatcher
from types import MappingProxyType
from typing import Any

from accord_service.pages.desk.words import Document
from accord_service.steps.readable import differences, in_words, leaves, with_units

_KINDS: Mapping[str, str] = MappingProxyType(
    {
        "limits": "limit",
        "rules": "rule",
        "steps": "step",
        "sources": "source",
        "transfers": "transfer",
        "products": "product",
        "substrates": "substrate",
        "coatings": "coating",
        "fibres": "fibre",
        "blanks": "blank",
        "consumables": "consumable",
        "press_types": "type of press",
        "markets": "market",
    }
)
# A text is shown by its words from so many on; a shorter value is another as a whole.
_WORDS_LEAST = 3
SAME, OTHER = "same", "other"


@dataclass(frozen=True, slots=True)
class Part:
    """Some words of a value: ``kind`` says whether the other value has them too."""

    kind: str
    text: str


@dataclass(frozen=True, slots=True)
class Place:
    """A place of an entry, in words, and what stands there before and after."""

    words: str
    before: tuple[Part, ...]
    after: tuple[Part, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadableChange:
    """One entry that is changed, new or taken out. ``values`` are those of a new one, place and text; ``direction``
    is stricter, looser or equal for a limit's value, else None; ``address`` its page in the library, None for what has
    none."""

    what: str
    kind: str
    id: str
    title: str
    direction: str | None
    keeps_safe: bool
    places: tuple[Place, ...]
    values: tuple[tuple[str, str], ...]
    address: str | None


def readable(changes: Iterable[Document]) -> tuple[ReadableChange, ...]:
    """Changes as the API tells them, beside what was there."""
    return tuple(map(_readable, changes))


def _readable(change: Document) -> ReadableChange:
    kind, id_, new, old = change["kind"], change["id"], change["value"], change["was"]
    told: Mapping[str, Any] = (new if new is not None else old) or {}
    both = new is not None and old is not None
    places = differences(with_units(kind, old), with_units(kind, new)) if both else ()
    return ReadableChange(
        what="taken out" if new is None else "new" if old is None else "changed",
        kind=_KINDS.get(kind, kind.replace("_", " ")),
        id=id_,
        title=str(told.get("title") or told.get("name") or told.get("text") or id_),
        direction=change["direction"],
        keeps_safe=any((entry or {}).get("safety") is True for entry in (old, new)),
        places=tuple(_place(*place) for place in places),
        values=tuple((in_words(place), text) for place, text in leaves(with_units(kind, new))) if old is None else (),
        address=None if old is None else library_address(kind, id_),
    )


def library_address(kind: str, id_: str) -> str | None:
    """Where the library tells of an entry."""
    if kind in ("limits", "rules", "steps", "sources"):
        return f"/library/{kind}/{id_}"
    return None if kind.startswith("ambiguous") else f"/library/catalogue/{kind}/{id_}"


def _place(place: str, before: str, after: str) -> Place:
    old, new = _words_of(before), _words_of(after)
    if min(len(old), len(new)) < _WORDS_LEAST:
        return Place(in_words(place), (Part(OTHER, before),), (Part(OTHER, after),))
    matcher = SequenceMatcher(None, old, new, autojunk=False)
    codes = matcher.get_opcodes()
    return Place(
        in_words(place),
        tuple(_parts((tag, old[start:end]) for tag, start, end, _, _ in codes)),
        tuple(_parts((tag, new[start:end]) for tag, _, _, start, end in codes)),
    )


def _words_of(text: str) -> list[str]:
    """Each word with the space behind it, so that all of them together are the text again."""
    return re.findall(r"\S+\s*", text)


def _parts(pieces: Iterable[tuple[str, list[str]]]) -> Iterator[Part]:
    for tag, words in pieces:
        if words:
            yield Part(SAME if tag == "equal" else OTHER, "".join(words))
