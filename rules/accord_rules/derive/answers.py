"""Fact functions made callable with what is known of a question.

The reads of a function are fetched by code that is written for it once, as ``dataclasses`` writes constructors: facts
are worked out some ten thousand times a question.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any, Protocol

from accord_rules.derive.sources import SourceField
from accord_rules.revision.facts import How, Of, Read, reads_of


class FactsByName(Protocol):
    """Facts by name."""

    def __getitem__(self, name: str, /) -> Any: ...


# Given the facts and the parts of the question (``case.Parts``), the value; None for unknown.
Answer = Callable[[FactsByName, Any], Any]


def answer_of(function: Callable[..., Any], sources: Mapping[str, SourceField]) -> Answer:
    """A call that fetches what the function declares to read, then makes it; unknown in, unknown out."""
    reads = reads_of(function)
    fields = {name: sources[read.names[0]] for name, read in reads.items() if read.of is Of.SOURCE}
    space: dict[str, Any] = {"function": function, "partial": partial}
    lines = ["def answer(facts, parts):"]
    known = [name for name, read in reads.items() if read.of is Of.FACT and read.how is How.KNOWN]
    lines += [f"    {name} = facts[{reads[name].names[0]!r}]" for name in known]
    holders = {source.holder for name, source in fields.items() if source.holder and reads[name].absent is ...}
    if needed := (*known, *(f"parts.{holder}" for holder in sorted(holders))):
        lines.append(f"    if {' or '.join(f'{name} is None' for name in needed)}: return None")
    arguments = []
    for name, read in reads.items():
        code = name if name in known else fetched(read, fields.get(name))
        if read.absent is not ... and name in fields:
            space[f"absent_{name}"] = read.absent
            code = f"{code} if parts.{fields[name].holder} is not None else absent_{name}"
        arguments.append(code)
    lines.append(f"    return function({', '.join(arguments)})")
    exec("\n".join(lines), space)
    answer: Answer = space["answer"]
    return answer


def fetched(read: Read, source: SourceField | None) -> str:
    """The code that fetches what is read from ``facts`` and ``parts``; ``source``: the field, where it is one."""
    first = read.names[0]
    if source is not None:
        return f"parts.{source.path}"
    if read.of is Of.LIMIT and len(read.names) > 1:
        return "{" + ", ".join(f"{name!r}: parts.limits[{name!r}]" for name in read.names) + "}"
    if read.of is Of.LIMIT:
        return f"parts.limits[{first!r}]"
    if read.of is Of.ENTRIES:
        return f"parts.catalogue[{first!r}]"
    return f"partial(facts.__getitem__, {first!r})" if read.how is How.LATER else f"facts[{first!r}]"
