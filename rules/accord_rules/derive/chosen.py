"""What is found by search rather than worked out: complete settings of a pressing, and the order of pressings."""

from __future__ import annotations

from typing import NamedTuple


class ChosenPressing(NamedTuple):
    """Settings of one pressing beside the main one. None: as in the main pressing, and for no cover.

    ``time_s`` is 0 where it is left out. ``instead_of_main``: the main pressing comes with the print that lies on this.
    """

    name: str
    display_c: float | None
    surface_c: float | None
    time_s: float
    pressure: str | None
    peel: str
    cover: str | None
    instead_of_main: bool


class Chosen(NamedTuple):
    """Complete settings of one pressing. None only where nothing is allowed or nothing is needed.

    ``pressure`` is a word, or the gauge reading in kPa; ``pressure_kpa`` is what reaches the print.
    """

    display_c: float | None
    surface_c: float | None
    spread_k: float
    time_s: float | None
    pressure: str | float | None
    pressure_kpa: float | None
    peel: str | None
    cover: str | None
    pad: str | None
    tape: str | None
    pre_press_s: float
    second_press_s: float
    pressings: tuple[ChosenPressing, ...]

    @property
    def done(self) -> tuple[ChosenPressing, ...]:
        """The pressings beside the main one that are part of the process, in the order they come."""
        return tuple(pressing for pressing in self.pressings if pressing.time_s > 0)


class Sequenced(NamedTuple):
    """The order of pressings found for a whole order: indices first to last, or a sentence on why there is none.

    ``conflicts`` are then the smallest sets of decorations that have no order among themselves. ``total_s`` is the time
    all decorations take at the press, over the whole quantity; None if unknown.
    """

    order: tuple[int, ...]
    clash: str = ""
    total_s: float | None = None
    conflicts: tuple[tuple[int, ...], ...] = ()
