"""Origins of pages that a storefront's key is for, as requests and files say them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from accord_rules.documents.reading import Fault, LeafError, Many, Text
from accord_service.http.roles import STOREFRONT
from accord_service.run.config import ORIGIN

_MOST = 20


@dataclass(frozen=True)
class Origin(Text):
    """An origin as browsers write it: scheme, host, and the port where it is not the scheme's own."""

    kind = "origin"
    example: str = "https://prints.example"

    def leaf(self, value: Any) -> str:
        origin = Text.leaf(self, value)
        if not ORIGIN.fullmatch(origin):
            message = 'must be an origin such as "https://prints.example", in lower case and without a path'
            raise LeafError(message, code="bad-format")
        return origin


ORIGINS = Many(Origin(), _MOST, distinct=True)


def origins_faults(role: str, origins: Sequence[str], pointer: str) -> list[Fault]:
    """What is wrong with a key of this role for these origins: a storefront's has one at least, no other has any."""
    if role == STOREFRONT and not origins:
        message = "a storefront's key needs the origins of the pages that it stands in, such as https://prints.example"
        return [Fault(pointer, message, code="required")]
    if role != STOREFRONT and origins:
        return [Fault(pointer, f"only a storefront's key has origins, not {role}'s", code="contradiction")]
    return []
