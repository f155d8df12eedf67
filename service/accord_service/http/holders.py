"""Whose a key is, as requests and commands say it."""

from __future__ import annotations

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
        return name
