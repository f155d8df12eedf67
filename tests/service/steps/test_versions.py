"""Where two versions of a document differ."""

from __future__ import annotations

from typing import Any

import pytest

from accord_service.steps.versions import Difference, differences

BENCH, SWING = {"id": "bench", "opening": "40 mm"}, {"id": "swing", "opening": "60 mm"}


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [
        ({"a": 1}, {"a": 1}, []),
        ({"a": 1}, {"a": 2}, [("/a", 1, 2)]),
        ({"a": 1}, {}, [("/a", 1, None)]),
        ({}, {"a/b": {"c": 1}}, [("/a~1b", None, {"c": 1})]),
        ({"a": [1, 2]}, {"a": [2]}, [("/a", [1, 2], [2])]),
        ({"p": [BENCH, SWING]}, {"p": [SWING]}, [("/p/0", BENCH, None)]),
        ({"p": [BENCH]}, {"p": [SWING, BENCH]}, [("/p/0", None, SWING)]),
        (
            {"p": [BENCH, SWING]},
            {"p": [SWING, BENCH | {"opening": "45 mm"}]},
            [("/p/1/opening", "40 mm", "45 mm")],
        ),
        ({"p": [BENCH, SWING]}, {"p": [SWING, BENCH]}, [("/p", [BENCH, SWING], [SWING, BENCH])]),
        ({"p": [BENCH, BENCH]}, {"p": [BENCH]}, [("/p", [BENCH, BENCH], [BENCH])]),
        ({"p": []}, {"p": [BENCH]}, [("/p/0", None, BENCH)]),
    ],
)
def test_the_innermost_places_are_told(before: Any, after: Any, told: list[Any]) -> None:
    assert list(differences(before, after)) == [Difference(*place) for place in told]
