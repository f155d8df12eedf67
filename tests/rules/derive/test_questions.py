"""What is asked and taken to hold is put to people: no sentence has a piece of a document in it."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from accord_rules.derive.graph import GRAPH
from accord_rules.revision.facts import Ask, Assume

# An empty list, a JSON Pointer, a dotted path, a key of a document. Common practice, no source.
MACHINE = re.compile(r"\[\]|(?<![\w/])/[a-z]+/|\b(?:item|use|press|decorations|settings)\.[a-z]|[a-z]_[a-z]|[{}]")


def sentences() -> Iterator[tuple[str, str]]:
    """Each fact with what is asked where it is not known, and why what is assumed is."""
    for name, fact in GRAPH.facts.items():
        if isinstance(fact.missing, Ask | Assume):
            yield from ((name, text) for text in (fact.missing.question, *_of_assumption(fact.missing)) if text)


def _of_assumption(missing: Ask | Assume) -> Iterator[str]:
    # A reason may be worked out from the order; what is shown has "{shown}" for the value.
    if isinstance(missing, Assume):
        yield from (text.replace("{shown}", "") for text in (missing.why, missing.taken) if isinstance(text, str))


@pytest.mark.parametrize(("name", "sentence"), [pytest.param(*told, id=told[0]) for told in sentences()])
def test_no_sentence_has_a_piece_of_a_document(name: str, sentence: str) -> None:
    assert MACHINE.findall(sentence) == [], name


def test_there_are_sentences_to_look_at() -> None:
    assert len(list(sentences())) > 30
