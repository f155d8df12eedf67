"""A step of a plan: read from its file, its condition parsed, its sentence checked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from accord_rules.documents.reading import Choice, Many, Name, Text, Whole, optional, required
from accord_rules.revision.condition import And, Condition
from accord_rules.revision.facts import Scope
from accord_rules.revision.rule import ExampleTable
from accord_rules.revision.sentences import Sentence
from accord_rules.verdict import STAGES

ALWAYS = "true"
PRINT, LEAVE = "print", "leave"
# Where the slip's sentence stands in the step's own.
SLIP = "{slip}"
# The condition of a step that stands in every plan.
STANDING = Condition(ALWAYS, And(()), frozenset(), frozenset(), ((),))


@dataclass(frozen=True, slots=True)
class StepText:
    """A step as its file says it."""

    stage: str = required(Choice(STAGES), "its stage")
    text: str = required(Text(400), "what the hands do, in a sentence; what stands in braces is filled in")
    sources: tuple[str, ...] = required(Many(Name(name_of="sources"), 8, 1), "ids of the sources it rests on")
    slip: str | None = optional(
        Text(300), about="of stage care alone: the sentence on the customer's slip, which stands in text as {slip}"
    )
    when: str = optional(
        Text(2000, lines=True), ALWAYS, about="the condition, over facts, under which a plan has it; true: every plan"
    )
    when_open: str = optional(
        Choice((LEAVE, PRINT)), LEAVE, about="while the condition is open: left out, or printed all the same"
    )
    rank: int = optional(Whole(0, 999), 500, about="its place within the stage, lowest first; equal ones go by id")
    instead_of: str | None = optional(Name(), about="id of the step of the same stage that it takes the place of")
    why: str = optional(Text(600), "", about="why it is done")
    fires: tuple[Mapping[str, Any], ...] = optional(Many(ExampleTable(), 40), (), about="what brings it into a plan")
    silent: tuple[Mapping[str, Any], ...] = optional(Many(ExampleTable(), 40), (), about="what keeps it out")

    @property
    def whole(self) -> str:
        """The sentence with what the slip says in its place, where it goes on in small letters."""
        said = self.slip or ""
        return self.text.replace(SLIP, said[:1].lower() + said[1:])


# Steps are told apart by identity, so that whatever is made of all of a book's steps can be kept.
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Step:
    """A step ready to be asked for one decoration on one press."""

    id: str
    stage: str
    rank: int
    when: str
    condition: Condition
    printed_open: bool
    text: Sentence
    slip: Sentence | None
    instead_of: str | None
    why: str
    sources: tuple[str, ...]
    fires: tuple[Mapping[str, Any], ...]
    silent: tuple[Mapping[str, Any], ...]
    scope: Scope = Scope.PRESSING

    @property
    def limits(self) -> tuple[str, ...]:
        """The limits that its condition compares with and its sentence names."""
        return tuple(sorted({*self.condition.limits, *self.text.limits}))

    @property
    def always(self) -> bool:
        """Whether it stands in every plan."""
        return self.condition is STANDING

    @property
    def place(self) -> tuple[int, int, str]:
        """Where it stands in a plan."""
        return STAGES.index(self.stage), self.rank, self.id
