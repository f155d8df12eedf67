"""Facts that are sure to be read, worked out a layer at a time by code that is written for them once.

Whoever weighs a case reads every fact that a rule names, some three hundred. To fetch what each reads, call it and put
it away takes several times as long as most facts take themselves; one straight function over all facts of a layer does
the same in a third of the time. It works out no fact that would not be read: what is fetched only where something else
is known, or later, is worked out when it is.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from functools import lru_cache, partial
from typing import Any, NamedTuple

from accord_rules.derive.answers import FactsByName, fetched
from accord_rules.derive.graph import GRAPH
from accord_rules.derive.sources import SOURCES
from accord_rules.revision.facts import Assume, Fact, How, Of, reads_of

# Given what is known, the parts of the question, whether to assume, and where to put them, by name.
Fill = Callable[[FactsByName, Any, bool, dict[str, Any]], None]


class Filler(NamedTuple):
    """The facts of one layer that are sure to be read, and the code that works them out."""

    names: frozenset[str]
    fill: Fill


# By scope's rank and number of the layer.
Fillers = Mapping[tuple[int, int], Filler]


def certain(names: Collection[str]) -> frozenset[str]:
    """These facts and those that are read whenever they are worked out, whatever else is known."""
    reached: set[str] = set()
    waiting = list(names)
    while waiting:
        name = waiting.pop()
        if name not in reached:
            reached.add(name)
            waiting += _fetched_always(GRAPH.facts[name])
    return frozenset(reached)


def _fetched_always(fact: Fact) -> list[str]:
    reads = [read for read in fact.reads.values() if read.of is Of.FACT]
    known = [read.names[0] for read in reads if read.how is How.KNOWN]
    if known or _holders(fact):
        return known
    return [read.names[0] for read in reads if read.how is How.MAYBE]


def _holders(fact: Fact) -> list[str]:
    """What of the question a fact needs, to be known at all."""
    sources = (SOURCES[read.names[0]] for read in fact.reads.values() if read.of is Of.SOURCE and read.absent is ...)
    return sorted({source.holder for source in sources if source.holder})


# Books that differ in rules alone have the same facts, as a rule; each set takes some 200 kB.
@lru_cache(maxsize=8)
def fillers(named: frozenset[str], layer_of: Callable[[str], tuple[int, int | None]]) -> Fillers:
    """The code for each layer. ``named``: the facts that are sure to be read; ``layer_of``: scope's rank and number of
    the layer of a fact."""
    layers: dict[tuple[int, int | None], list[str]] = {}
    for name in _in_order(certain(named)):
        layers.setdefault(layer_of(name), []).append(name)
    return {
        (rank, layer): Filler(frozenset(names), _written(names))
        for (rank, layer), names in layers.items()
        if layer is not None
    }


def _in_order(names: Collection[str]) -> Iterator[str]:
    """Each after those that it reads."""
    done: set[str] = set()

    def after_reads(name: str) -> Iterator[str]:
        if name not in done:
            done.add(name)
            for read in GRAPH.named(name, Of.FACT):
                yield from after_reads(read)
            if name in names:
                yield name

    for name in sorted(names):
        yield from after_reads(name)


def _written(names: list[str]) -> Fill:
    variables = {name: f"v{number}" for number, name in enumerate(names)}
    space: dict[str, Any] = {"partial": partial}
    lines = ["def fill(facts, parts, assume, found):"]
    for number, name in enumerate(names):
        fact, variable = GRAPH.facts[name], f"v{number}"
        lines.append(f"    {variable} = {_called(fact.function, f'f{number}', variables, space, _holders(fact))}")
        if isinstance(missing := fact.missing, Assume):
            if callable(missing.value):
                assumed = _called(missing.value, f"a{number}", variables, space, [])
            else:
                space[assumed := f"a{number}"] = missing.value
            lines.append(f"    if assume and {variable} is None: {variable} = {assumed}")
        lines.append(f"    found[{name!r}] = {variable}")
    exec("\n".join(lines), space)
    fill: Fill = space["fill"]
    return fill


def _called(
    function: Callable[..., Any], named: str, variables: Mapping[str, str], space: dict[str, Any], holders: list[str]
) -> str:
    """The call of a function with what it reads; unknown in, unknown out."""
    space[named] = function
    needed, arguments = [f"parts.{holder} is not None" for holder in holders], []
    for name, read in reads_of(function).items():
        source = SOURCES[read.names[0]] if read.of is Of.SOURCE else None
        local = variables.get(read.names[0]) if read.of is Of.FACT and read.how is not How.LATER else None
        code = local or fetched(read, source)
        if read.of is Of.FACT and read.how is How.KNOWN:
            needed.append(f"{local} is not None" if local else f"({named}_{name} := {code}) is not None")
            code = local or f"{named}_{name}"
        elif read.absent is not ... and source is not None:
            space[f"{named}_{name}"] = read.absent
            code = f"({code} if parts.{source.holder} is not None else {named}_{name})"
        arguments.append(code)
    call = f"{named}({', '.join(arguments)})"
    return f"{call} if {' and '.join(needed)} else None" if needed else call
