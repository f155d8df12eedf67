"""One question being worked out: an order at a shop, then one of its decorations, then that on one press.

Facts are worked out when first read. Those that hang on the same parts of the question lie together in a layer, which
every case with these parts shares: what is known of a press holds for all that is pressed on it, and what no setting
changes holds for all settings. Which parts a fact hangs on follows from what it declares to read.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping
from functools import cache
from operator import attrgetter
from typing import TYPE_CHECKING, Any, NamedTuple

from accord_rules.derive.answers import Answer, answer_of
from accord_rules.derive.chosen import Chosen, Sequenced
from accord_rules.derive.graph import GRAPH, Graph
from accord_rules.derive.parts import Parts
from accord_rules.derive.sources import SOURCES, Part
from accord_rules.documents import units
from accord_rules.orders.order import Decoration, Order, Press
from accord_rules.orders.shop import Shop
from accord_rules.revision.catalogue import PressType, Transfer
from accord_rules.revision.facts import Ask, Assume, Fact, Scope

if TYPE_CHECKING:
    from accord_rules.revision.book import Book

# By scope, the parts that its layers hang on, from the fewest on. What hangs on more is the case's own.
_PRINT = frozenset({Part.PIECE, Part.PRINT})
_LAYERS: Mapping[Scope, tuple[frozenset[Part], ...]] = {
    Scope.ORDER: (frozenset({Part.PIECE}),),
    Scope.DECORATION: (_PRINT, _PRINT | {Part.TRANSFER}),
    Scope.PRESSING: (
        frozenset({Part.PIECE, Part.PRESS}),
        _PRINT | {Part.PRESS},
        _PRINT | {Part.TRANSFER, Part.PRESS},
        _PRINT | {Part.TRANSFER, Part.PRESS, Part.SETTINGS},
    ),
}


class _Node(NamedTuple):
    """A fact ready to be worked out. ``layer``: which of its scope's it lies in; None for none."""

    rank: int
    layer: int | None
    answer: Answer
    assumed: Answer | None
    why: Answer | None


def _node(graph: Graph, fact: Fact) -> _Node:
    parts = graph.parts[fact.name]
    layer = _layer(fact.scope, parts)
    assumed: Answer | None = None
    why: Answer | None = None
    if isinstance(missing := fact.missing, Assume):
        assumed, why = _constant_or_call(missing.value, graph), _constant_or_call(missing.why, graph)
    return _Node(fact.rank, layer, answer_of(fact.function, graph.sources), assumed, why)


def _layer(scope: Scope, parts: frozenset[Part]) -> int | None:
    """Which layer of a scope hangs on no fewer parts than these; None for none."""
    return next((number for number, layer_parts in enumerate(_LAYERS[scope]) if parts <= layer_parts), None)


@cache
def _layer_of_causes(name: str) -> int | None:
    """The layer of what is to blame for a fact: it hangs on what the fact hangs on, and on what the blamed facts do."""
    blamed: set[str] = set()
    unread = {name}
    while unread:
        blamed |= unread
        reads = {read for fact in unread for read in (*GRAPH.upstream[fact], *GRAPH.facts[fact].blamed)}
        unread = (reads & GRAPH.facts.keys()) - blamed
    return _layer(GRAPH.facts[name].scope, frozenset().union(*(GRAPH.parts[fact] for fact in blamed)))


def _constant_or_call(value: Any, graph: Graph) -> Answer:
    return answer_of(value, graph.sources) if callable(value) else lambda facts, parts: value


# A graph with faults is refused when a book is loaded, before any fact of it is worked out.
_NODES: Mapping[str, _Node] = {} if GRAPH.faults else {name: _node(GRAPH, fact) for name, fact in GRAPH.facts.items()}
# What the facts of a decoration hang on beyond its layers.
_LOOSE = tuple(
    source
    for source in SOURCES.values()
    if source.part is Part.OTHERS and any(reader in GRAPH.facts for reader in GRAPH.readers[source.name])
)


class SharedFacts:
    """The facts that hang on the same parts of a question; ``narrower`` are those that hang on one part more.

    ``causes``: why some of them are not known, each by the fact's name and the decoration's place.
    """

    __slots__ = ("causes", "facts", "narrower")

    def __init__(self) -> None:
        self.facts: dict[str, Any] = {}
        self.causes: dict[tuple[str, int], Mapping[str, Cause]] = {}
        self.narrower: dict[Hashable, SharedFacts] = {}

    def of(self, part: Hashable) -> SharedFacts:
        layer = self.narrower.get(part)
        if layer is None:
            layer = self.narrower[part] = SharedFacts()
        return layer


class FactError(RuntimeError):
    """A fact whose function fails; names it with its file and line. ``known`` is what was known by then."""

    def __init__(self, fact: Fact, error: Exception, known: Mapping[str, Any]) -> None:
        super().__init__(f"{fact.place}: fact {fact.name}: fails with {type(error).__name__}: {error}")
        self.fact = fact
        self.known = known


class KnownFacts(dict[str, Any]):
    """Facts by name, of one case; what is not known yet is worked out. ``causes`` are of those that no layer has."""

    __slots__ = ("assume", "causes", "layers", "parts", "rank", "wider")

    def __init__(
        self, parts: Parts, rank: int, layers: tuple[SharedFacts, ...], wider: KnownFacts | None, assume: bool
    ) -> None:
        super().__init__(wider if wider is not None else ())
        for layer in layers:
            if layer.facts:
                self.update(layer.facts)
        self.parts, self.rank, self.layers, self.wider, self.assume = parts, rank, layers, wider, assume
        self.causes: dict[tuple[str, int], Mapping[str, Cause]] = {}

    def __missing__(self, name: str) -> Any:
        rank, layer, answer, assumed, _ = _NODES[name]
        if rank != self.rank:
            if self.wider is None or rank > self.rank:
                raise KeyError(f"{name} is not known of the {list(Scope)[self.rank].value} alone")
            value = self[name] = self.wider[name]
            return value
        try:
            value = answer(self, self.parts)
            if value is None and assumed is not None and self.assume:
                value = assumed(self, self.parts)
        except FactError:
            raise
        except Exception as error:
            raise FactError(GRAPH.facts[name], error, self) from error
        self[name] = value
        if layer is not None:
            self.layers[layer].facts[name] = value
        return value


class Cause(NamedTuple):
    """Why a fact is not known from the order itself: a fact that the order leaves unsaid, and what stands in."""

    fact: Fact
    missing: Ask | Assume


class Case:
    """A question of one scope, with its facts. Two cases are never equal: each is a question of its own."""

    __slots__ = ("_likeness", "_parts", "book", "index", "known", "parent", "scope")

    def __init__(self, book: Book, shop: Shop, order: Order, *, assume: bool = True) -> None:
        """A whole order. ``assume=False`` leaves unsaid things unknown instead of assuming."""
        parts = Parts(book, shop, order)
        self._set(book, None, Scope.ORDER, 0, parts, KnownFacts(parts, 0, (SharedFacts(),), None, assume))

    def _set(self, book: Book, parent: Case | None, scope: Scope, index: int, parts: Parts, known: KnownFacts) -> None:
        self.book, self.parent, self.scope, self.index = book, parent, scope, index
        self._parts, self.known = parts, known
        self._likeness: Hashable = None

    @classmethod
    def _child(cls, parent: Case, scope: Scope, index: int, parts: Parts, layers: tuple[SharedFacts, ...]) -> Case:
        case = cls.__new__(cls)
        known = KnownFacts(parts, scope.rank, layers, parent.known, parent.known.assume)
        case._set(parent.book, parent, scope, index, parts, known)
        return case

    # -- narrower cases ------------------------------------------------------------------------------------------

    def with_order(self, order: Order) -> Case:
        """The same piece for the same use in an order with other decorations, or for another press.

        What is known of the piece, and of decorations and presses that both have, is shared.
        """
        if _about_the_piece(order) != _about_the_piece(self.order):
            raise ValueError("another piece, or another use of it, is another question")
        case = Case.__new__(Case)
        parts = Parts(self.book, self.shop, order)
        case._set(
            self.book, None, Scope.ORDER, 0, parts, KnownFacts(parts, 0, self.known.layers, None, self.known.assume)
        )
        return case

    def decoration_case(self, index: int) -> Case:
        parts = self._parts.of_decoration(index)
        said = parts.decoration
        print_ = self.known.layers[0].of((said.placement, said.size, said.rim_distance, said.artwork))
        pile = (parts.transfers_beneath, parts.transfers_above)
        return Case._child(self, Scope.DECORATION, index, parts, (print_, print_.of((said.transfer, said.sheet, pile))))

    def pressing_case(self, press: Press, chosen: Chosen | None = None, sequence: Sequenced | None = None) -> Case:
        if self.parent is None or self.scope is not Scope.DECORATION:
            raise ValueError("a pressing belongs to one decoration")
        print_, with_transfer = self.known.layers
        # A press holds too much to be told apart again and again: the others go by its layer.
        of_press = self.parent.known.layers[0].of(press)
        fitted = with_transfer.of(of_press)
        layers = (of_press, print_.of(of_press), fitted, fitted.of((self.decoration.settings, chosen)))
        parts = self._parts.of_pressing(press, chosen, sequence)
        return Case._child(self, Scope.PRESSING, self.index, parts, layers)

    def pressing_alone(self, press: Press, chosen: Chosen | None) -> Case:
        """The pressing as if its decoration were the order's only one."""
        return self.pressing_case(press, chosen)._alone()

    def pressing_chosen(self, press: Press, choose: Callable[[Case], Chosen | None]) -> Case:
        """The same with the settings that ``choose`` finds for it, looking at nothing that hangs on settings."""
        case = self.pressing_case(press)
        chosen = choose(case)
        if chosen is not None:
            *fewer, fitted, _ = case.known.layers
            settled = fitted.of((self.decoration.settings, chosen))
            case.known.layers = (*fewer, fitted, settled)
            case.known.update(settled.facts)
            case._parts.chosen = chosen
        return case._alone()

    def _alone(self) -> Case:
        """The time of the order is then the pressing's own, which is known before there is any order of pressings."""
        self._parts.sequence = Sequenced((0,), total_s=self.known["job.total_s"])
        return self

    @property
    def likeness(self) -> Hashable:
        """Equal for decorations of one question that have the same facts, on any press, if pressed by themselves."""
        if self._likeness is None:
            loose = (attrgetter(source.path)(self._parts) for source in _LOOSE)
            values = (tuple(value.items()) if isinstance(value, Mapping) else value for value in loose)
            self._likeness = (self.index, self.known.layers, self.decoration.settings, *values)
        return self._likeness

    # -- facts ---------------------------------------------------------------------------------------------------

    def __getitem__(self, name: str) -> Any:
        """A fact, or what is assumed in its place; None where it is unknown."""
        return self.known[name]

    def get(self, name: str) -> Any:
        """The fact, as sentences read it; worked out if need be."""
        return self.known[name]

    def facts(self, names: Iterable[str]) -> dict[str, Any]:
        """The named facts; None where unknown."""
        return {name: self.known[name] for name in names}

    def causes(self, name: str) -> Mapping[str, Cause]:
        """Why a fact is not known from the order itself: JSON Pointer to what would have said it.

        It goes by the reads that are made, not by those declared: what was not looked at is to blame for nothing.
        """
        layer, place = _layer_of_causes(name), (name, self.index)
        owner = self._of_scope(GRAPH.facts[name].scope)
        found = owner.known.causes if layer is None else owner.known.layers[layer].causes
        if place not in found:
            found[place] = self._collected_causes(name, owner)
        return found[place]

    def _collected_causes(self, name: str, owner: Case) -> Mapping[str, Cause]:
        causes: dict[str, Cause] = {}
        node, fact = _NODES[name], GRAPH.facts[name]
        noted = _Noted(owner.known)
        raw = node.answer(noted, owner._parts)
        missing = fact.missing
        if raw is None and missing is not None:
            if isinstance(missing, Assume) and missing.question and node.assumed is not None:
                # An assumption that cannot be made turns into its question.
                if node.assumed(noted, owner._parts) is None:
                    missing = Ask(missing.pointer, missing.question)
            causes[missing.pointer.replace("{i}", str(self.index))] = Cause(fact, missing)
        for read in sorted({*noted.names, *fact.blamed}):
            for pointer, cause in self.causes(read).items():
                causes.setdefault(pointer, cause)
        return causes

    def _of_scope(self, scope: Scope) -> Case:
        case: Case = self
        while case.scope is not scope and case.parent is not None:
            case = case.parent
        return case

    def assumed(self, cause: Cause) -> tuple[Any, str]:
        """What is assumed here for an unsaid fact, and why."""
        node = _NODES[cause.fact.name]
        if node.assumed is None or node.why is None:
            return None, ""
        return node.assumed(self.known, self._parts), node.why(self.known, self._parts)

    # -- the question --------------------------------------------------------------------------------------------

    @property
    def shop(self) -> Shop:
        return self._parts.shop

    @property
    def order(self) -> Order:
        return self._parts.order

    @property
    def decoration(self) -> Decoration:
        return self._parts.decoration

    @property
    def press(self) -> Press:
        return self._parts.press

    @property
    def chosen(self) -> Chosen | None:
        return self._parts.chosen

    @property
    def sequence(self) -> Sequenced | None:
        return self._parts.sequence

    @property
    def transfer(self) -> Transfer | None:
        entry: Transfer | None = self.known["transfer.entry"]
        return entry

    @property
    def press_type(self) -> PressType:
        entry: PressType = self.known["press.entry"]
        return entry

    def show(self, dimension: units.Dimension, value: float) -> str:
        return units.show(dimension, value, self.shop.units)

    def entry(self, kind: str, name: str) -> Any:
        return self.book.catalogue[kind][name]


def _about_the_piece(order: Order) -> tuple[Any, ...]:
    return order.item, order.use, order.quantity, order.due_in, order.evidence


class _Noted:
    """Known facts, with the names of those that are read."""

    def __init__(self, known: KnownFacts) -> None:
        self._known = known
        self.names: set[str] = set()

    def __getitem__(self, name: str) -> Any:
        self.names.add(name)
        return self._known[name]
