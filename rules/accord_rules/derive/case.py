"""One question being worked out: an order at a shop, then one of its decorations, then that on one press.

Facts are worked out when first read. Those that hang on the same parts of the question lie together in a layer, which
every case with these parts shares: what is known of a press holds for all that is pressed on it, and what no setting
changes holds for all settings. Which parts a fact hangs on follows from what it declares to read.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from contextlib import suppress
from functools import cache, lru_cache
from operator import attrgetter
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, NamedTuple

from accord_rules.derive.answers import Answer, answer_of
from accord_rules.derive.chosen import Chosen, Sequenced
from accord_rules.derive.filling import Fillers, fillers
from accord_rules.derive.graph import GRAPH, Graph
from accord_rules.derive.parts import Parts
from accord_rules.derive.shared import Cause, SharedFacts, Tree
from accord_rules.derive.sources import SOURCES, Part
from accord_rules.documents import units
from accord_rules.orders.order import Decoration, Order, Press
from accord_rules.orders.shop import Shop
from accord_rules.revision.catalogue import PressType, Transfer
from accord_rules.revision.facts import Ask, Assume, Fact, How, Of, Scope

if TYPE_CHECKING:
    from accord_rules.revision.book import Book

# By scope, the parts that its layers hang on, from the fewest on. What hangs on more is the case's own. The first of a
# scope hang on nothing that an order is sure to have of its own, and may be kept from one question to the next.
_PLACED = frozenset({Part.PIECE, Part.PLACE})
_OF_ORDER = frozenset({Part.PIECE, Part.JOB})
_PRINT = _OF_ORDER | _PLACED | {Part.PRINT}
_LAYERS: Mapping[Scope, tuple[frozenset[Part], ...]] = {
    Scope.ORDER: (frozenset({Part.PIECE}), _OF_ORDER),
    Scope.DECORATION: (
        _PLACED,
        _PLACED | {Part.TRANSFER},
        _PRINT,
        _PRINT | {Part.TRANSFER},
        _PLACED | {Part.TRANSFER, Part.OTHERS},
    ),
    Scope.PRESSING: (
        frozenset({Part.PIECE, Part.PRESS}),
        _PLACED | {Part.PRESS},
        _PLACED | {Part.TRANSFER, Part.PRESS},
        _PLACED | {Part.TRANSFER, Part.PRESS, Part.SETTINGS},
        _PRINT | {Part.PRESS},
        _PRINT | {Part.TRANSFER, Part.PRESS},
        _PRINT | {Part.TRANSFER, Part.PRESS, Part.SETTINGS},
        _PLACED | {Part.TRANSFER, Part.PRESS, Part.SETTINGS, Part.OTHERS, Part.SEQUENCE},
        frozenset(Part),
    ),
}
# Of each layer of a question, that of the same with nothing assumed.
_BARE = "bare"

# The layers of a pressing that hang on the settings chosen, and those that hang on the order of pressings too: the last
# on all there is, so that no other case shares it.
_SETTLED, _ARRANGED, _OWN = (3, 6), 7, 8
# The layer of a decoration that hangs on the others.
_BESIDE = 4


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


def _read_for_sure(fact: Fact) -> tuple[tuple[str, bool], ...] | None:
    """The facts that a fact reads in the order it does, each with whether it is unknown without; None where it may
    read less, or where something is assumed in its place."""
    reads = [read for read in fact.reads.values() if read.of is Of.FACT]
    if isinstance(fact.missing, Assume) or any(read.how is How.LATER for read in reads):
        return None
    known = [(read.names[0], True) for read in reads if read.how is How.KNOWN]
    return (*known, *((read.names[0], False) for read in reads if read.how is How.MAYBE))


_READS = {name: _read_for_sure(fact) for name, fact in GRAPH.facts.items()}


def _layer_of(name: str) -> tuple[int, int | None]:
    return _NODES[name].rank, _NODES[name].layer


_NO_FILLERS: Fillers = MappingProxyType({})


def _assumable(rank: int) -> Mapping[int | None, tuple[str, ...]]:
    by_layer: dict[int | None, list[str]] = {}
    for name, node in _NODES.items():
        if node.assumed is not None and node.rank == rank:
            by_layer.setdefault(node.layer, []).append(name)
    return {layer: tuple(names) for layer, names in by_layer.items()}


# By scope and layer, the facts that something may be assumed for.
_ASSUMABLE = tuple(_assumable(scope.rank) for scope in Scope)
# What may have a cause: facts that the order can leave unsaid or that blame one, and what hangs on them.
_CAUSED = GRAPH.downstream(name for name, fact in GRAPH.facts.items() if fact.missing is not None or fact.blamed)
# What the facts of a decoration hang on beyond its layers.
_LOOSE = tuple(
    source
    for source in SOURCES.values()
    if source.part is Part.OTHERS and any(reader in GRAPH.facts for reader in GRAPH.readers[source.name])
)


class FactError(RuntimeError):
    """A fact whose function fails; names it with its file and line. ``known`` is what was known by then."""

    def __init__(self, fact: Fact, error: Exception, known: Mapping[str, Any]) -> None:
        super().__init__(f"{fact.place}: fact {fact.name}: fails with {type(error).__name__}: {error}")
        self.fact = fact
        self.known = known


class KnownFacts(dict[str, Any]):
    """Facts by name, of one case; what is not known yet is worked out."""

    __slots__ = ("assume", "assuming", "fillers", "layers", "parts", "rank", "wider")

    def __init__(
        self,
        parts: Parts,
        rank: int,
        layers: tuple[SharedFacts, ...],
        wider: KnownFacts | None,
        assume: bool,
        fillers: Fillers,
    ) -> None:
        super().__init__(wider if wider is not None else ())
        for layer in layers:
            if layer.facts:
                self.update(layer.facts)
        self.parts, self.rank, self.layers, self.wider = parts, rank, layers, wider
        self.assume, self.fillers = assume, fillers
        # The same with what is assumed, which is known already.
        self.assuming: KnownFacts | None = None

    def __missing__(self, name: str) -> Any:
        rank, layer, answer, assumed, _ = _NODES[name]
        if rank != self.rank:
            if self.wider is None or rank > self.rank:
                raise KeyError(f"{name} is not known of the {list(Scope)[self.rank].value} alone")
            value = self[name] = self.wider[name]
            return value
        if layer is not None and self.fillers and self._is_filled(name, layer):
            return self[name]
        try:
            same = self.assuming is not None and name in self.assuming and self._reads_the_same(name, self.assuming)
            value = self.assuming[name] if same else answer(self, self.parts)  # type: ignore[index]
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

    def _reads_the_same(self, name: str, assuming: KnownFacts) -> bool:
        """Whether all that a fact reads is the same with and without assumptions, and so the fact."""
        reads = _READS[name]
        if reads is None:
            return False
        for read, known in reads:
            value = self[read]
            if value is not assuming[read]:
                return False
            if value is None and known:
                return True
        return True

    def _is_filled(self, name: str, layer: int) -> bool:
        """Whether a fact is known once all of its layer that are sure to be read were worked out together."""
        shared = self.layers[layer]
        # While settings are being chosen nothing that hangs on them is known.
        if not shared.filled and (self.rank != Scope.PRESSING.rank or self._is_settled(layer)):
            filler = self.fillers.get((self.rank, layer))
            if filler is not None and name in filler.names:
                shared.filled = True
                # Where one fails the rest are worked out one by one, and whoever reads that one is told.
                with suppress(Exception):
                    filler.fill(self, self.parts, self.assume, shared.facts)
                self.update(shared.facts)
                return name in self
        return False

    def _is_settled(self, layer: int) -> bool:
        """Whether the settings, and the order of pressings, that a layer of a pressing hangs on are found."""
        if layer in (_ARRANGED, _OWN):
            return self.parts.chosen is not None and self.parts.sequence is not None
        return layer not in _SETTLED or self.parts.chosen is not None


class _Heard(NamedTuple):
    """What a fact said when it was worked out for its causes: its own, with where it would be said, and its reads."""

    pointer: str
    cause: Cause | None
    reads: tuple[str, ...]


class Case:
    """A question of one scope, with its facts. Two cases are never equal: each is a question of its own."""

    __slots__ = ("_causes", "_likeness", "_parts", "book", "index", "known", "parent", "scope")

    def __init__(
        self,
        book: Book,
        shop: Shop,
        order: Order,
        *,
        assume: bool = True,
        one_by_one: bool = False,
        kept: SharedFacts | None = None,
    ) -> None:
        """A whole order. ``assume=False`` leaves unsaid things unknown instead of assuming; ``one_by_one`` works no
        fact out but when it is read, for whoever listens to what one alone looks at. ``kept``: what is known of the
        piece from earlier questions (``KeptFacts``), where anything was assumed."""
        parts = Parts(book, shop, order)
        written = _NO_FILLERS if one_by_one else fillers(book.named_facts, _layer_of)
        layers = (kept or SharedFacts(Tree()), SharedFacts(Tree()))
        self._set(book, None, Scope.ORDER, 0, parts, KnownFacts(parts, 0, layers, None, assume, written))

    def _set(self, book: Book, parent: Case | None, scope: Scope, index: int, parts: Parts, known: KnownFacts) -> None:
        self.book, self.parent, self.scope, self.index = book, parent, scope, index
        self._parts, self.known = parts, known
        self._likeness: Hashable = None
        self._causes: dict[str, dict[str, Cause]] = {}

    @classmethod
    def _child(cls, parent: Case, scope: Scope, index: int, parts: Parts, layers: tuple[SharedFacts, ...]) -> Case:
        case = cls.__new__(cls)
        wider = parent.known
        known = KnownFacts(parts, scope.rank, layers, wider, wider.assume, wider.fillers)
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
        known = KnownFacts(parts, 0, self.known.layers, None, self.known.assume, self.known.fillers)
        case._set(self.book, None, Scope.ORDER, 0, parts, known)
        return case

    def decoration_case(self, index: int) -> Case:
        parts = self._parts.of_decoration(index)
        return Case._child(self, Scope.DECORATION, index, parts, _of_decoration(self.known.layers, parts))

    def pressing_case(self, press: Press, chosen: Chosen | None = None, sequence: Sequenced | None = None) -> Case:
        if self.parent is None or self.scope is not Scope.DECORATION:
            raise ValueError("a pressing belongs to one decoration")
        parts = self._parts.of_pressing(press, chosen, sequence)
        layers = _of_pressing(self.parent.known.layers, self.known.layers, parts)
        return Case._child(self, Scope.PRESSING, self.index, parts, layers)

    def pressing_alone(self, press: Press, chosen: Chosen | None) -> Case:
        """The pressing as if its decoration were the order's only one."""
        return self.pressing_case(press, chosen)._alone()

    def pressing_chosen(self, press: Press, choose: Callable[[Case], Chosen | None]) -> Case:
        """The same with the settings that ``choose`` finds for it, looking at nothing that hangs on settings."""
        case = self.pressing_case(press)
        chosen = choose(case)
        if chosen is not None:
            case._parts.chosen = chosen
            case.known.layers = _settled(case.known.layers, case._parts)
            for layer in _SETTLED:
                case.known.update(case.known.layers[layer].facts)
        return case._alone()

    def unassumed(self, parent: Case | None = None) -> Case:
        """The same question with nothing assumed; ``parent``: the same of the wider one.

        What hangs on nothing that was assumed here is taken over.
        """
        layers = tuple(layer.of(_BARE) for layer in self.known.layers)
        # Most is taken over, so that little of a layer is left to be worked out.
        known = KnownFacts(self._parts, self.scope.rank, (), self.known, assume=False, fillers=_NO_FILLERS)
        for name in _touched(frozenset(self._assumed())):
            known.pop(name, None)
        wider = parent.known if parent is not None else None
        known.layers, known.wider, known.assuming = layers, wider, self.known
        known.update(wider or ())
        for layer in layers:
            known.update(layer.facts)
        case = Case.__new__(Case)
        case._set(self.book, parent, self.scope, self.index, self._parts, known)
        return case

    def _assumed(self) -> Iterator[str]:
        """The facts of this scope and the wider ones that are assumed here."""
        if self.parent is not None:
            yield from self.parent._assumed()
        for layer, names in _ASSUMABLE[self.scope.rank].items():
            shared = self.known.layers[layer] if layer is not None else None
            assumed = shared.assumed if shared is not None else None
            if assumed is None:
                assumed = tuple(filter(self._is_assumed, names))
                if shared is not None:
                    shared.assumed = assumed
            yield from assumed

    def _is_assumed(self, name: str) -> bool:
        return self.known[name] is not None and _NODES[name].answer(self.known, self._parts) is None

    def _alone(self) -> Case:
        """The time of the order is then the pressing's own, which is known before there is any order of pressings."""
        self._parts.sequence = Sequenced((0,), total_s=self.known["job.total_s"])
        self.known.layers = _settled(self.known.layers, self._parts)
        self.known.update(self.known.layers[_ARRANGED].facts)
        return self

    @property
    def likeness(self) -> Hashable:
        """Equal for decorations of one question that have the same facts, on any press, if pressed by themselves."""
        if self._likeness is None:
            loose = (attrgetter(source.path)(self._parts) for source in _LOOSE)
            values = (tuple(value.items()) if isinstance(value, Mapping) else value for value in loose)
            self._likeness = (self.index, self.known.layers[:_BESIDE], self.decoration.settings, *values)
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
        owner = self._of_scope(GRAPH.facts[name].scope)
        return {pointer.replace("{i}", str(self.index)): cause for pointer, cause in owner._caused(name).items()}

    def _caused(self, name: str) -> Mapping[str, Cause]:
        """The same of a fact of this scope, by pointers of any decoration: its own first, then those of its reads."""
        layer = _layer_of_causes(name)
        told = self._causes if layer is None else self.known.layers[layer].causes
        causes = told.get(name)
        if causes is None:
            pointer, cause, reads = self._hear(name)
            causes = told[name] = {} if cause is None else {pointer: cause}
            for read in reads:
                for pointer, cause in self._of_scope(GRAPH.facts[read].scope)._caused(read).items():
                    causes.setdefault(pointer, cause)
        return causes

    def _hear(self, name: str) -> _Heard:
        """Work a fact of this scope out once more, noting what is read."""
        node, fact = _NODES[name], GRAPH.facts[name]
        noted = _Noted(self.known)
        pointer, cause, missing = "", None, fact.missing
        if node.answer(noted, self._parts) is None and missing is not None:
            if isinstance(missing, Assume) and missing.question and node.assumed is not None:
                # An assumption that cannot be made turns into its question.
                if node.assumed(noted, self._parts) is None:
                    missing = Ask(missing.pointer, missing.question)
            pointer, cause = missing.pointer, Cause(fact, missing)
        reads = tuple(sorted(_CAUSED.intersection((*noted.names, *fact.blamed))))
        return _Heard(pointer, cause, reads)

    def _of_scope(self, scope: Scope) -> Case:
        case: Case = self
        while case.scope is not scope and case.parent is not None:
            case = case.parent
        return case

    def assumes(self, cause: Cause) -> bool:
        """Whether anything is assumed here for an unsaid fact."""
        node = _NODES[cause.fact.name]
        return node.assumed is not None and node.assumed(self.known, self._parts) is not None

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


def _of_decoration(of_order: tuple[SharedFacts, ...], parts: Parts) -> tuple[SharedFacts, ...]:
    """The layers of a decoration, given those of its order."""
    piece, own = of_order
    said = parts.decoration
    transfer = (said.transfer, said.sheet, parts.transfers_beneath, parts.transfers_above)
    placed, print_ = piece.of(said.placement), own.of((said.placement, said.size, said.rim_distance, said.artwork))
    kept = placed.of(transfer)
    return placed, kept, print_, print_.of(transfer), _beside(kept, parts, said.over)


def _beside(kept: SharedFacts, parts: Parts, told: Hashable) -> SharedFacts:
    """The layer that hangs on the other decorations too; where there are any it is the case's own. ``told``: what else
    it hangs on."""
    return kept.of((_BESIDE, told)) if parts.count == 1 else SharedFacts(Tree())


def _of_pressing(
    of_order: tuple[SharedFacts, ...], of_decoration: tuple[SharedFacts, ...], parts: Parts
) -> tuple[SharedFacts, ...]:
    """The layers of a pressing, given those of its order and decoration."""
    # A press holds too much to be told apart again and again: the others go by its layer.
    press = of_order[0].of(parts.press)
    placed, kept, print_, own = (layer.of(press) for layer in of_decoration[:_BESIDE])
    return _settled((press, placed, kept, kept, print_, own, own, own), parts)


def _settled(layers: tuple[SharedFacts, ...], parts: Parts) -> tuple[SharedFacts, ...]:
    """The layers of a pressing with these settings and this order of pressings."""
    press, placed, kept, _, print_, own, *_ = layers
    settled = kept.of((parts.decoration.settings, parts.chosen))
    # The time that all pressings take hangs on more.
    order = None if parts.sequence is None else parts.sequence._replace(total_s=0.0)
    arranged = _beside(settled, parts, (parts.decoration.over, order))
    return press, placed, kept, settled, print_, own, own.of(settled), arranged, SharedFacts(Tree())


# One some 10 kB; orders leave the same few things unsaid.
@lru_cache(maxsize=128)
def _touched(assumed: frozenset[str]) -> frozenset[str]:
    """What hangs on these facts, and they themselves."""
    return GRAPH.downstream(assumed)


def _about_the_piece(order: Order) -> tuple[Any, ...]:
    return order.item, order.use, order.quantity, order.due_in, order.pressed_on, order.evidence


class _Noted:
    """Known facts, with the names of those that are read."""

    def __init__(self, known: KnownFacts) -> None:
        self._known = known
        self.names: set[str] = set()

    def __getitem__(self, name: str) -> Any:
        self.names.add(name)
        return self._known[name]
