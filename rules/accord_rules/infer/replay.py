"""Puts a doubted question again, from what the log says of it.

A line of the log, pasted into a test::

    line = json.loads(...)
    book = load_book()
    again = replay(line["doubt"], book.vocabulary, conditions(book, line["doubt"]["about"]))  # see weigh.scales
    assert not again.differs

A line about house rules has all of them (``layer`` is house): it takes the vocabulary alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from accord_rules.infer.engine import Engine, EngineError
from accord_rules.infer.judge import Judge
from accord_rules.infer.ledger import Network, rules_digest
from accord_rules.revision.condition import Condition, Vocabulary, parse
from accord_rules.revision.facts import Kind


@dataclass(frozen=True, slots=True)
class Retrial:
    """What a new engine and the judge say now. ``inferred`` is None where the engine fails; ``reason`` is then why.

    ``records``: the question as the networks read it, by network; the same as the doubt's, or the compiler changed.
    """

    inferred: tuple[str, ...] | None
    judged: tuple[str, ...]
    reason: str
    records: Mapping[str, str]

    @property
    def differs(self) -> bool:
        """Whether the judge would have to settle it again."""
        return self.inferred != self.judged


def replay(
    document: Mapping[str, Any],
    vocabulary: Vocabulary,
    rules: Mapping[str, Condition] | None = None,
    engine: type[Engine] = Engine,
) -> Retrial:
    """Ask what ``ledger.Doubt.document`` says was asked, of networks made anew from the same rules.

    ``rules``: where the document does not have all of them, those that were asked together: see
    ``weigh.scales.conditions``. Raises ValueError where they are not the ones that were asked, ConditionError where the
    vocabulary can't read them, EngineError where the engine can't load them.
    """
    if rules is None:
        rules = {name: parse(text, vocabulary) for name, text in document["rules"].items()}
    if rules_digest(rules) != document["rules_digest"]:
        raise ValueError(f"these {len(rules)} rules are not the ones that were asked: their sum is another")
    facts = {name: _read(vocabulary, name, value) for name, value in document["facts"].items()}
    limits = dict(document["limits"])
    judged = Judge(rules).judge(facts, limits).fired
    with engine(rules, vocabulary.facts, 1, network=Network(document["layer"], document["about"])) as trial:
        inferred, reason = None, ""
        try:
            inferred = trial.decide(facts, limits)
        except EngineError as error:
            reason = str(error)
        return Retrial(inferred, judged, reason, MappingProxyType(trial.forget(facts, limits)))


def _read(vocabulary: Vocabulary, name: str, value: Any) -> Any:
    kind = vocabulary.facts[name].kind
    return float(value) if kind is Kind.NUMBER else tuple(value) if kind is Kind.SET else value
