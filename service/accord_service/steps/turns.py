"""Whose effect a worker goes on with: shops take turns, and of a shop its effects."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from accord_service.store import Run


class Turns:
    """One worker's. ``shop_of``: whose a run is, asked once a run; those of nobody known share one turn."""

    def __init__(self, shop_of: Callable[[Run], str]) -> None:
        self._shop_of = shop_of
        self._count = 0
        self._shops: dict[Run, str] = {}
        # The number of the last turn that each has had.
        self._of_run: dict[Run, int] = {}
        self._of_shop: dict[str, int] = {}

    def order(self, runs: Sequence[Run]) -> list[Run]:
        """The runs, the oldest first, in the order in which their turns come: first those of the shop that had none for
        longest, however many each has, and of a shop the one that had none for longest."""
        self._shops = {run: self._shops[run] if run in self._shops else self._shop_of(run) for run in runs}
        self._of_run = {run: turn for run, turn in self._of_run.items() if run in self._shops}
        shops = {*self._shops.values()}
        self._of_shop = {shop: turn for shop, turn in self._of_shop.items() if shop in shops}
        return sorted(runs, key=lambda run: (self._of_shop.get(self._shops[run], 0), self._of_run.get(run, 0)))

    def took(self, run: Run) -> None:
        """It had a turn."""
        self._count += 1
        self._of_run[run] = self._count
        if run in self._shops:
            self._of_shop[self._shops[run]] = self._count
