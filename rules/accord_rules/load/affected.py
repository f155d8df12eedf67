"""Which rules and steps of a changed book could answer their examples otherwise than in the book it was made of.

What facts read is declared, and a fact is given nothing else: where no limit moves that a condition or one of its facts
reads, at whatever remove, an example's answer stays. The rest of the catalogue is read by nearly all.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from accord_rules.derive.graph import GRAPH
from accord_rules.documents.files import Documents
from accord_rules.revision.facts import Of
from accord_rules.revision.rule import Rule
from accord_rules.revision.step import Step

if TYPE_CHECKING:
    from accord_rules.revision.book import Book

# What an example's answer does not hang on.
_NEVER_ASKED = frozenset({"sources", "practice"})
# By entry: a change of one is known to reach no further than its own examples, or those of its readers.
_BY_ENTRY = frozenset({"rules", "steps", "limits"})


def affected_by(book: Book, tried: Documents) -> Callable[[Rule | Step], bool]:
    """Says of each rule or step whether its examples need to be tried; ``tried``: documents whose examples all hold."""
    kinds = {kind for kind in {*book.documents, *tried} if book.documents.get(kind) != tried.get(kind)}
    if kinds - _BY_ENTRY - _NEVER_ASKED:
        return lambda conditional: True
    changed = {kind: _changed(book.documents[kind], tried[kind]) for kind in _BY_ENTRY}
    limits = changed["limits"]
    facts = GRAPH.downstream(name for name in GRAPH.facts if not limits.isdisjoint(GRAPH.named(name, Of.LIMIT)))

    def affected(conditional: Rule | Step) -> bool:
        own = changed["rules" if isinstance(conditional, Rule) else "steps"]
        return (
            conditional.id in own
            or not limits.isdisjoint(conditional.condition.limits)
            or not facts.isdisjoint(conditional.condition.facts)
            or any(limit in str(conditional.fires) + str(conditional.silent) for limit in limits)
        )

    return affected


def _changed(new: Mapping[str, Any], old: Mapping[str, Any]) -> frozenset[str]:
    return frozenset(name for name in {*new, *old} if new.get(name) != old.get(name))
