"""How pieces came out, as the ranking of plans takes it. No outside source."""

from __future__ import annotations

from accord_rules.governance.outcomes import Cell
from accord_service.steps.outcomes import experiences
from accord_service.store.outcomes import CellCount


def test_reports_that_were_all_withdrawn_are_no_experience() -> None:
    """A plan must not say that 0 of 0 pieces came out good."""
    pressed, withdrawn = (Cell("dye-sublimation", substrate, "swing-away") for substrate in ("jersey", "woven"))
    told = experiences([CellCount(pressed, 2, {"peeled": 1}, {}), CellCount(withdrawn, 0, {"peeled": 0}, {})])
    assert [*told] == [("dye-sublimation", "jersey", "swing-away")]
    assert (
        told["dye-sublimation", "jersey", "swing-away"].good,
        told["dye-sublimation", "jersey", "swing-away"].failed,
    ) == (2, 1)
