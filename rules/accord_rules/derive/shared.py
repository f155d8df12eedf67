"""What is known of questions in layers, one for each set of parts that facts hang on, and kept from one to the next.

Most facts of an order hang on what comes again and again: the piece, the transfer, the press, the settings. Those that
hang on what is another in each order (quantity, due time, size, artwork) lie in layers that are not kept (``case``).
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from operator import attrgetter
from typing import Any, NamedTuple

from accord_rules.orders.order import Item, Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.facts import Ask, Assume, Fact

# Layers of facts that are kept from one question to the next, some 1.2 kB each (measured over the demo).
KEPT_MOST = 8000
# What an order says of its item, but the fibres.
_SAID_OF_ITEM: Callable[[Item], tuple[Any, ...]] = attrgetter(*(n for n in Item.__dataclass_fields__ if n != "fibres"))


class Cause(NamedTuple):
    """Why a fact is not known from the order itself: a fact that the order leaves unsaid, and what stands in."""

    fact: Fact
    missing: Ask | Assume


class Tree:
    """How many layers there are of facts about one piece."""

    __slots__ = ("count",)

    def __init__(self) -> None:
        self.count = 0


class SharedFacts:
    """The facts that hang on the same parts of a question; ``narrower`` are those that hang on one part more.

    ``causes``: why some of them are not known; ``assumed``: those that are assumed, once that was asked; ``filled``:
    whether those that are sure to be read were worked out together.
    """

    __slots__ = ("assumed", "causes", "facts", "filled", "narrower", "tree")

    def __init__(self, tree: Tree) -> None:
        self.facts: dict[str, Any] = {}
        self.causes: dict[str, dict[str, Cause]] = {}
        self.assumed: tuple[str, ...] | None = None
        self.filled = False
        self.narrower: dict[Hashable, SharedFacts] = {}
        self.tree = tree
        tree.count += 1

    def of(self, part: Hashable) -> SharedFacts:
        layer = self.narrower.get(part)
        # Two threads that come at once get the same one.
        return self.narrower.setdefault(part, SharedFacts(self.tree)) if layer is None else layer


class KeptFacts:
    """What is known of the pieces asked about last, up to so many layers: the same pieces come again in other sizes and
    quantities. Safe to share between threads."""

    def __init__(self, most: int = KEPT_MOST) -> None:
        self._most = most
        self._roots: OrderedDict[Hashable, SharedFacts] = OrderedDict()
        self._lock = threading.Lock()

    def of(self, whose: Hashable, shop: Shop, order: Order) -> SharedFacts:
        """What is known of the order's piece. ``whose``: with which book and limits."""
        item = order.item
        # Equal compositions may be told in another order.
        fibres = None if item.fibres is None else tuple(item.fibres.items())
        piece = _Piece((whose, shop, *_SAID_OF_ITEM(item), fibres, order.use, order.evidence))
        with self._lock:
            root = self._roots.get(piece)
            if root is None or root.tree.count > self._most:
                root = self._roots[piece] = SharedFacts(Tree())
            self._roots.move_to_end(piece)
            while len(self._roots) > 1 and sum(kept.tree.count for kept in self._roots.values()) > self._most:
                self._roots.popitem(last=False)
            return root


class _Piece:
    """What is said of a piece, with its hash: a shop takes long to be told apart."""

    __slots__ = ("_hash", "said")

    def __init__(self, said: tuple[Any, ...]) -> None:
        self.said, self._hash = said, hash(said)

    def __hash__(self) -> int:
        return self._hash

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Piece) and self.said == other.said
