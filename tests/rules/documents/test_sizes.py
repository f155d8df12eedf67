"""Sizes that say no age: a clerk who writes S to XL is told what to write, and nobody is made a child by it."""

from __future__ import annotations

import pytest

from accord_rules.documents.reading import LeafError
from accord_rules.orders.sizes import GarmentSizeText


@pytest.mark.parametrize(("said", "youth"), [("S", ("YS",)), ("xl", ("YXL",)), ("M", ("YM",)), ("XXL", ())])
def test_a_grown_up_size_is_told_from_a_slip(said: str, youth: tuple[str, ...]) -> None:
    with pytest.raises(LeafError) as refused:
        GarmentSizeText().leaf(said)
    assert "youngest user's age" in refused.value.message
    assert refused.value.allowed == youth


def test_a_height_without_its_unit_is_told_with_it() -> None:
    with pytest.raises(LeafError) as refused:
        GarmentSizeText().leaf("134")
    assert refused.value.refused == "134 cm"
