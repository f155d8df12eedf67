"""The right words nearest to a wrong one, for whoever mistyped it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from difflib import SequenceMatcher

# Of difflib's ratio (1: the same): below it two words have little more than some letters in common.
ALIKE = 0.6
# How much less alike than the nearest word another one may be.
_FURTHER = 0.2
# What is compared of a wrong word, which may be as long as a request can be.
_COMPARED = 80
# An ending is one only where so much of the word is left ("ring" is no form of "r").
_STEM_LEAST = 3
_VOWELS = frozenset("aeiouy")


def nearest(word: str, words: Iterable[str], most: int = 3, at_least: float = ALIKE) -> tuple[str, ...]:
    """The known words that are spelt like ``word``, or of the same parts in another order, the most alike first.

    ``at_least``: how much, by difflib's ratio.
    """
    likeness = {candidate: _likeness(word[:_COMPARED].lower(), candidate.lower()) for candidate in words}
    least = max(at_least, max(likeness.values(), default=0.0) - _FURTHER)
    alike = [candidate for candidate, how in likeness.items() if how >= least]
    return tuple(sorted(alike, key=lambda candidate: (-likeness[candidate], candidate))[:most])


def ordered(word: str, words: Iterable[str]) -> tuple[str, ...]:
    """All the words, those first that share most pairs of letters with ``word``, however few; else as they come."""
    pairs = _pairs(word[:_COMPARED])
    return tuple(sorted(words, key=lambda candidate: -_shared(pairs, _pairs(candidate))))


def _pairs(word: str) -> frozenset[str]:
    parts = (f" {part} " for part in re.split(r"[^0-9a-z]+", word.lower()) if part)
    return frozenset(part[i : i + 2] for part in parts for i in range(len(part) - 1))


def _shared(pairs: frozenset[str], others: frozenset[str]) -> float:
    """Dice's coefficient of two sets of pairs of letters, from 0 to 1."""
    return 2 * len(pairs & others) / max(1, len(pairs) + len(others))


def as_word(name: str) -> str:
    """A word as names of the book are written: in lower case, its parts joined by hyphens."""
    return "-".join(re.split(r"[\s_-]+", name.strip().lower()))


def singulars(word: str) -> tuple[str, ...]:
    """What an English word in lower case may be the plural of, the likeliest first; none where it is no plural."""
    if len(word) <= _STEM_LEAST or not word.endswith("s") or word.endswith(("ss", "us", "is")):
        return ()
    if word.endswith("ies"):
        return (f"{word[:-3]}y", word[:-1])
    return (word[:-1], word[:-2]) if word.endswith(("ches", "shes", "sses", "xes")) else (word[:-1],)


def stems(text: str) -> frozenset[str]:
    """The words of an English text without their endings, so that "washing" and "washes" are one: for finding alone."""
    return frozenset(stem(word) for word in re.findall(r"[^\W_]+", text.lower()))


def stem(word: str) -> str:
    """An English word in lower case without its ending."""
    if len(word) > 3 and word.endswith("s") and not word.endswith(("ss", "us", "is")):
        word = word[:-1]
    for ending in ("ing", "ed"):
        left = word.removesuffix(ending)
        if left != word and len(left) >= _STEM_LEAST and not _VOWELS.isdisjoint(left) and not word.endswith("eed"):
            word = left
            break
    if len(word) > _STEM_LEAST:
        word = word.removesuffix("e")
    if word.endswith("y"):
        word = f"{word[:-1]}i"
    return word[:-1] if len(word) > _STEM_LEAST and word[-1] == word[-2] else word


def did_you_mean(word: str, words: Iterable[str]) -> str:
    """The nearest words as a bracket behind a message; empty if none is near."""
    near = nearest(word, words)
    return f" (did you mean {', '.join(near)}?)" if near else ""


def _likeness(word: str, candidate: str) -> float:
    """From 0 to 1, whichever is more: as they are written, or with their parts sorted."""
    pairs = {(word, candidate), (_sorted(word), _sorted(candidate))}
    return max(_ratio(*pair) for pair in pairs)


def _ratio(word: str, candidate: str) -> float:
    if 2 * min(len(word), len(candidate)) < ALIKE * (len(word) + len(candidate)):
        return 0.0  # even with every letter of the shorter one
    matcher = SequenceMatcher(None, word, candidate, autojunk=False)
    return matcher.ratio() if matcher.quick_ratio() >= ALIKE else 0.0


def _sorted(word: str) -> str:
    return " ".join(sorted(re.split(r"[^0-9a-z]+", word)))
