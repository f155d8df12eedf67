"""The parts of a question, where the sources of facts lie."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from accord_rules.derive.chosen import Chosen, Sequenced
from accord_rules.orders.order import Artwork, Decoration, Item, Order, Press, Settings, Use
from accord_rules.orders.shop import Shop

if TYPE_CHECKING:
    from accord_rules.revision.book import Book

_NO_USE, _NO_ARTWORK, _NOTHING_SAID = Use(), Artwork(), Settings()


class Parts:
    """What facts may read of a question beside each other: its parts by the paths of ``sources``."""

    catalogue: Mapping[str, Mapping[str, Any]]
    limits: Mapping[str, float]
    house_limits: frozenset[str]  # those that the shop has made stricter
    shop: Shop
    order: Order
    item: Item
    use: Use
    decorations: tuple[Decoration, ...]
    # Of a decoration.
    index: int
    decoration: Decoration
    artwork: Artwork
    said: Settings
    # Of a pressing.
    press: Press
    chosen: Chosen | None
    sequence: Sequenced | None

    def __init__(self, book: Book, shop: Shop, order: Order) -> None:
        self.catalogue, self.limits, self.house_limits = book.catalogue, book.limit_values, book.moved
        self.shop, self.order, self.item, self.use = shop, order, order.item, order.use or _NO_USE
        self.decorations = order.decorations

    def of_decoration(self, index: int) -> Parts:
        decoration = self.decorations[index]
        return self._with(
            index=index,
            decoration=decoration,
            artwork=decoration.artwork or _NO_ARTWORK,
            said=decoration.settings or _NOTHING_SAID,
        )

    def of_pressing(self, press: Press, chosen: Chosen | None, sequence: Sequenced | None) -> Parts:
        return self._with(press=press, chosen=chosen, sequence=sequence)

    def _with(self, **more: Any) -> Parts:
        parts = object.__new__(Parts)
        parts.__dict__ = self.__dict__ | more
        return parts

    @property
    def others(self) -> dict[int, Decoration]:
        """The other decorations by their indices."""
        return {index: decoration for index, decoration in enumerate(self.decorations) if index != self.index}

    @property
    def count(self) -> int:
        return len(self.decorations)

    @property
    def placements_of_others(self) -> Mapping[int, str | None]:
        return {index: decoration.placement for index, decoration in self.others.items()}

    @property
    def overs_of_others(self) -> Mapping[int, int | None]:
        return {index: decoration.over for index, decoration in self.others.items()}

    @property
    def transfers_of_others(self) -> Mapping[int, str | None]:
        return {index: decoration.transfer for index, decoration in self.others.items()}

    @property
    def transfers_beneath(self) -> tuple[str | None, ...]:
        """The transfers from this decoration down to the ground; a ring of layers is followed once round."""
        names: list[str | None] = []
        index: int | None = self.index
        while index is not None and len(names) <= len(self.decorations):
            names.append(self.decorations[index].transfer)
            index = self.decorations[index].over
        return tuple(names)

    @property
    def transfers_above(self) -> tuple[str | None, ...]:
        """The transfers of the decorations that lie on this one."""
        return tuple(decoration.transfer for decoration in self.decorations if decoration.over == self.index)

    @property
    def earlier(self) -> Mapping[int, Decoration]:
        """The decorations that are pressed before this one, by their indices."""
        order = self.sequence.order if self.sequence is not None else ()
        before = order[: order.index(self.index)] if self.index in order else ()
        return {index: self.decorations[index] for index in before}
