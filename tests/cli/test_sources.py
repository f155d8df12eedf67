"""``accord sources``: checked against the book's own files."""

from __future__ import annotations

import json
from typing import Any

import pytest

from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import KINDS, SOURCE_KINDS


@pytest.mark.parametrize("local", [True, False])
def test_every_room_and_every_safety_limit_is_told(local: bool, accord: Any, alone: Any, book: Book) -> None:
    done = alone("sources", "--shipped", "--json") if local else accord("sources", "--json")
    assert done.exit_code == 0
    told = json.loads(done.stdout)
    assert tuple(told["kinds"]) == SOURCE_KINDS
    assert [*told["rooms"]] == [kind for kind in (*KINDS, "limits") if kind in told["rooms"]]
    assert {"transfers", "markets", "limits"} <= {*told["rooms"]}
    assert sum(told["rooms"]["limits"].values()) == len(book.limits)
    safety = {name: limit for name, limit in book.limits.items() if limit.safety}
    assert {limit["id"]: limit["sources"] for limit in told["safety_limits"]} == {
        name: [*limit.sources] for name, limit in safety.items()
    }


def test_the_page_has_shares_and_begins_with_the_worst_sourced(accord: Any, alone: Any, book: Book) -> None:
    page = accord("sources").stdout
    lines = [" ".join(line.split()) for line in page.splitlines()]
    (limits,) = [line for line in lines if line.startswith("limits ")]
    assert limits.startswith(f"limits {len(book.limits)} ")
    assert limits.count("%") == len(SOURCE_KINDS)
    flat = " ".join(page.split())
    assert flat.index("birds are taken out of the room") < flat.index("A children's product is meant for")
    assert "choice From this surface temperature birds are taken out of the room: 180 °C" in flat
    assert alone("sources", "--shipped").stdout == page
