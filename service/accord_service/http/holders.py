"""Whose a key is, as requests and commands say it."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from typing import Any

from accord_rules.documents.reading import LeafError, Text
from accord_rules.governance.proposal import same_holder


@dataclass(frozen=True)
class Holder(Text):
    """The name that the collective knows a person by: one that can be seen, since people are told apart by it."""

    kind = "holder"
    most: int = 80
    example: str = "Orla Fenn"

    def leaf(self, value: Any) -> str:
        name = Text.leaf(self, value)
        if same_holder(name, ""):
            raise LeafError("must be a name: there is no letter in it", code="bad-format")
        mixed = sorted(_alphabets(name).intersection(_ALIKE))
        if len(mixed) > 1:
            alphabets = " and ".join(alphabet.capitalize() for alphabet in mixed)
            raise LeafError(f"must be in one alphabet, since letters of {alphabets} look alike", code="bad-format")
        return name


# Alphabets whose letters are taken for each other's (Unicode Technical Standard 39, section 5): a name in two of them
# may be made to look like somebody else's.
_ALIKE = frozenset(("ARMENIAN", "CHEROKEE", "COPTIC", "CYRILLIC", "GREEK", "LATIN"))


def _alphabets(name: str) -> frozenset[str]:
    """The first words of its letters' names in Unicode, which are their alphabets'."""
    return frozenset(unicodedata.name(letter, "").partition(" ")[0] for letter in name if letter.isalpha())
