"""A rule of the book: read from its file, its condition parsed, its sentences checked."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from accord_rules.documents.reading import (
    Choice,
    Fault,
    Many,
    Name,
    Reader,
    Text,
    escape,
    kind_of,
    optional,
    required,
    unopened,
)
from accord_rules.revision.condition import Condition
from accord_rules.revision.facts import Scope
from accord_rules.revision.sentences import Sentence
from accord_rules.verdict import LEVELS

SHOP = "shop"  # rules told once per shop, at its status, and never with an order
ABOUT: Mapping[str, str] = MappingProxyType(
    {
        SHOP: "/presses",
        "order": "",
        "item": "/item",
        "use": "/use",
        "press": "/press",
        "decoration": "/decorations/{i}",
        "artwork": "/decorations/{i}/artwork",
        "settings": "/decorations/{i}/settings",
    }
)
STATUSES = ("enforced", "watch")
# Who has the last word.
AUTHORITIES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "law-and-maker": ("local law", "licensed practice", "the maker's sheet"),
        "workplace-law": ("local law", "licensed practice"),
        "electrical-code": ("the local code", "a licensed electrician"),
    }
)
EXAMPLE_KEYS = (
    "note",
    "facts",
    "item",
    "use",
    "decoration",
    "decorations",
    "press",
    "shop",
    "quantity",
    "due_in",
    "pressed_on",
    "evidence",
)


def last_word(authorities: Collection[str]) -> str:
    """The one sentence that says who decides, of those that rules defer to; empty for nobody."""
    whom = dict.fromkeys(who for name, several in AUTHORITIES.items() if name in authorities for who in several)
    if not whom:
        return ""
    *rest, last = whom
    return f"{' and '.join(filter(None, (', '.join(rest), last)))} decide.".replace(rest[0], rest[0].capitalize(), 1)


class ExampleTable(Reader):
    """An example as written: a table with known keys; what they hold is checked when it is tried."""

    def read(self, value: Any, pointer: str, faults: list[Fault]) -> Any:
        if not isinstance(value, dict):
            faults.append(Fault(pointer, f"must be a table, not {kind_of(value)}", code="wrong-type"))
            return None
        for key in value:
            if key not in EXAMPLE_KEYS:
                place = f"{pointer}/{escape(key)}"
                faults.append(Fault(place, "is not a known key", EXAMPLE_KEYS, code="unknown-field", refused=key))
        for key in ("facts", "decoration", "shop"):
            if not isinstance(value.get(key, {}), dict):
                faults.append(
                    Fault(f"{pointer}/{key}", f"must be a table, not {kind_of(value[key])}", code="wrong-type")
                )
        if "facts" in value and set(value) - {"facts", "note"}:
            faults.append(Fault(pointer, "gives facts or parts of an order, not both", code="contradiction"))
        if "decoration" in value and "decorations" in value:
            why = "gives the first decoration or all of them, not both"
            faults.append(Fault(pointer, why, code="contradiction"))
        return value

    def json_schema(self) -> dict[str, Any]:
        return unopened("it is facts by name, or parts of an order; they are tried when the book is loaded")


@dataclass(frozen=True, slots=True)
class RuleText:
    """A rule as its file says it."""

    level: str = required(Choice(LEVELS), "what it finds")
    title: str = required(Text(120), "the rule in a few words")
    about: str = required(Choice(tuple(ABOUT)), "which part of an order it speaks of; shop: told once, of each press")
    when: str = required(Text(2000, lines=True), "the condition, over facts, under which it finds something")
    because: str = required(Text(600), "the finding in a sentence; what stands in braces is filled in")
    fix: str = required(Text(600), "what to do about it")
    sources: tuple[str, ...] = required(Many(Name(name_of="sources"), 8, 1), "ids of the sources it rests on")
    topic: str = required(Name(), "its topic")
    fires: tuple[Mapping[str, Any], ...] = required(Many(ExampleTable(), 40, 1), "what makes it fire")
    silent: tuple[Mapping[str, Any], ...] = required(Many(ExampleTable(), 40, 1), "what keeps it silent")
    status: str = optional(
        Choice(STATUSES), "enforced", about="enforced, or watch: only counted, in no answer, turning no verdict"
    )
    step: str | None = optional(Name(), about="id of the step that does what the finding asks")
    defers_to: str | None = optional(
        Choice(tuple(AUTHORITIES)), about="who has the last word; an answer says so once, after what to do"
    )
    instead_of: tuple[str, ...] = optional(
        Many(Name(), 8),
        (),
        about="ids of rules whose say it includes: where both hold of one place, those are not told",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A rule ready to be asked. ``scope`` is the widest scope of the facts it needs; ``layer`` says whose it is."""

    id: str
    topic: str
    level: str
    title: str
    about: str
    when: str
    condition: Condition
    because: Sentence
    fix: Sentence
    sources: tuple[str, ...]
    limits: tuple[str, ...]
    scope: Scope
    fires: tuple[Mapping[str, Any], ...]
    silent: tuple[Mapping[str, Any], ...]
    status: str = "enforced"
    layer: str = "shared"
    step: str | None = None
    defers_to: str | None = None
    instead_of: tuple[str, ...] = ()

    @property
    def enforced(self) -> bool:
        """Whether it counts in verdicts; a watched one is only counted."""
        return self.status == "enforced"

    def pointer(self, index: int) -> str:
        return ABOUT[self.about].replace("{i}", str(index))
