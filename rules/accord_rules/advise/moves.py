"""Changes that might turn a rejected order into one that can be done: each with its cost, and what it can reach.

A rule stops blocking only if one of its facts changes. Each kind of change can reach some facts and no others, so most
changes are known to be useless before they are tried.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import permutations
from math import floor
from types import MappingProxyType
from typing import Any, NamedTuple, TypeVar

from accord_rules.advise.costs import (
    ALIKE_BELOW,
    COSTS,
    cost_of_transfer,
    is_same_sort,
    protects_as,
    same_but_for_colour,
    unlike_ground,
    unlike_transfer,
)
from accord_rules.advise.ranges import size_step
from accord_rules.derive.case import Case
from accord_rules.derive.graph import GRAPH
from accord_rules.derive.item import is_another_colour
from accord_rules.derive.press import press_in_words
from accord_rules.derive.sources import ARRANGEMENT, SAYS, SOURCES, Part
from accord_rules.documents import units
from accord_rules.orders.order import HURTFUL_FEATURES, PRINTER_WORDS, Artwork, Item, Order, Press, Settings, Size
from accord_rules.revision.catalogue import Blank, Transfer
from accord_rules.revision.condition import Contains
from accord_rules.revision.facts import Scope
from accord_rules.revision.sentences import in_a_sentence
from accord_rules.weigh.scales import Fired, OnPress


def _within(subject: str) -> tuple[str, ...]:
    """All fields of an item, an artwork, settings or a press."""
    return tuple(source.name for source in SOURCES.values() if source.subject == subject)


# By kind of change, what it says anew. Another press has other fields, all of them.
_CHANGES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "preparation": ("/item/preparation",),
        "settings": _within("said"),
        "sheet": ("/decorations/{i}/sheet",),
        "press": _within("press"),
        "size": ("/decorations/{i}/size", "/decorations/{i}/artwork/finest_line"),
        "placement": ("/decorations/{i}/placement",),
        "artwork": _within("artwork"),
        "evidence": ("/evidence",),
        "transfer": (
            "/decorations/{i}/transfer",
            "/decorations/{i}/sheet",
            "/decorations/{i}/artwork/mirrored",
            "/decorations/{i}/artwork/printed_by",
            *_within("said"),
        ),
        "ground": _within("item"),
        "blank": _within("item"),
    }
)
# The facts that it can change: of the decoration that it is about, or of the whole order; and of the others.
_REACHES = MappingProxyType({kind: GRAPH.downstream(changed) for kind, changed in _CHANGES.items()})
_REACHES_ELSEWHERE = MappingProxyType({kind: GRAPH.elsewhere(changed) for kind, changed in _CHANGES.items()})
# Sets of settings that are tried together. As many as single changes are tried: more would never have their turn.
SETS_MOST = 48
# How far outside its window, K, a temperature must lie before its unit is doubted: past what a misread display or a
# worn platen explains.
_FAR_K = 40.0
# By how much a dwell must miss its window before its unit is doubted.
_FAR_TIMES = 4.0
# What pre-presses and second pressings take, s; common practice, no source.
_SHORT_S = (1.0, 30.0)
_TEMPERATURES, _TIMES = ("°C", "°F"), ("s", "min", "h")
# What has to be had before the order may say so.
_EVIDENCE: Mapping[str, str] = MappingProxyType(
    {
        "adhesion-test": "Press a test strip, pull it and wash it",
        "cord-declaration": "Get the maker's declaration that the cords are as the market's law has them",
        "cord-taken-out": "Take the cord out",
        "customer-accepts-faded-look": "Show the customer a sample, and have the faded look accepted in writing",
        "flammability-test": "Have the printed piece tested for flammability",
        "food-contact-declaration": "Get the maker's declaration that the blank is fit for food after decoration",
        "lead-declaration": "Get the maker's declaration that blank and coating are below the limit for lead",
        "lead-test": "Have the decoration tested for lead",
        "magnet-declaration": "Get the maker's statement that the magnet stays on or is weak enough",
        "maker-consent": "Get the maker's written consent to this decoration",
        "nickel-declaration": "Get the maker's declaration on nickel",
        "phthalate-test": "Have the print tested for phthalates",
        "sample-test": "Press a piece that may be spoiled and look at it again after a wash",
        "small-parts-test": "Have this very decoration tested for small parts",
        "small-parts-warning": "Put the warning for small parts on pack, piece and advert",
        "supplier-declaration": "Get the cloth supplier's declaration on its dyes and finish",
        "toy-test": "Have the printed toy tested as its market asks",
    }
)


@dataclass(frozen=True, slots=True)
class Move:
    """One change: its kind, the decoration it is about (None: the whole order), its cost, in words, and what it does.

    ``idea`` tells variants of one idea: of those only the first that works is offered. ``press`` is the press it was
    made for, where that matters. ``fields`` are the settings it leaves to the book, and ``artwork`` says of which
    decoration the making of the print: what the order said of them is said anew, with what the book chose.
    ``reducible``: it may leave more settings to the book than it has to. ``leaves_out`` are JSON Pointers to what the
    order said that has no meaning after it.
    """

    kind: str
    index: int | None
    cost: float
    text: str
    make: Callable[[Order], Order]
    idea: str = ""
    press: str | None = None
    fields: tuple[tuple[int, str], ...] = ()
    artwork: int | None = None
    reducible: bool = False
    leaves_out: tuple[str, ...] = ()

    @property
    def place(self) -> tuple[str, int | None]:
        """Two moves at one place exclude each other."""
        return ("blank" if self.kind == "ground" else self.kind), self.index

    def reaches(self, block: Fired) -> bool:
        """Whether it can change a fact of the rule that blocks."""
        elsewhere = self.index is not None and block.case.scope is not Scope.ORDER and block.case.index != self.index
        reached = (_REACHES_ELSEWHERE if elsewhere else _REACHES)[self.kind]
        return not block.rule.condition.facts.isdisjoint(reached)


@dataclass(frozen=True, slots=True)
class Rejected:
    """A rejected order and what is known of it: its decorations, the press judged on, and what blocks.

    ``ways`` holds what blocks on each press that may take it: an order that names none can be done if one of them can.
    """

    order: Order
    whole: Case
    decorations: tuple[Case, ...]
    on_press: OnPress
    ways: tuple[tuple[Fired, ...], ...]

    @property
    def facts(self) -> frozenset[str]:
        """Every fact that a blocking rule looks at."""
        return frozenset(fact for blocks in self.ways for block in blocks for fact in block.rule.condition.facts)


def moves(rejected: Rejected) -> tuple[tuple[Move, ...], bool]:
    """Every single change there is, cheapest first, alike before unlike, and whether those are all.

    The order never depends on the run.
    """
    sets, complete = _setting_sets(rejected)
    kinds = (_preparation, _units, _presses, _sizes, _placements, _artworks, _transfers, _evidence, _blanks)
    others = [move for kind in kinds for move in kind(rejected)]
    return tuple(sorted([*others, *_settings(rejected, sets)], key=lambda move: move.cost)), complete


def _cost(kind: str, unlike: float = 0.0) -> float:
    return round(COSTS[kind].cost + unlike, 6)


# -- the piece as it lies there, the dials ---------------------------------------------------------------------------


def _preparation(rejected: Rejected) -> Iterator[Move]:
    done = rejected.order.item.preparation or ()
    if "solvent-wiped-wet" in done:
        dry = tuple(sorted({*done, "solvent-wiped-dry"} - {"solvent-wiped-wet"}))
        yield Move(
            "preparation",
            None,
            _cost("preparation"),
            "Let the solvent dry off fully before the piece goes under the press.",
            lambda order: replace(order, item=replace(order.item, preparation=dry)),
        )


_SettingSet = tuple[tuple[int, str], ...]


def _settings(rejected: Rejected, sets: Sequence[_SettingSet]) -> Iterator[Move]:
    """Settings left to the book: the sets that touch every blocking rule, then all that were asked for."""
    every = _all_said(rejected.order)
    for chosen in dict.fromkeys([*sets, every] if every else []):
        yield left_open(chosen, reducible=chosen == every and len(every) > 1)


def left_open(chosen: _SettingSet, *, reducible: bool = False) -> Move:
    """The move that leaves these settings to the book; it is told with the values found."""
    return Move(
        kind="settings",
        index=None,
        cost=_cost("settings", min(0.01 * (len(chosen) - 1), 0.99)),
        text="",
        make=lambda order: _left_to_the_book(order, chosen),
        idea="settings",
        fields=chosen,
        reducible=reducible,
    )


def _all_said(order: Order) -> _SettingSet:
    return tuple(
        (index, name) for index, decoration in enumerate(order.decorations) for name in _said(decoration.settings)
    )


def _setting_sets(rejected: Rejected) -> tuple[list[_SettingSet], bool]:
    """The sets of said settings that touch every rule that blocks on one press, none with a setting to spare, the
    smallest first; and whether those are all."""
    said = _all_said(rejected.order)
    candidates: dict[_SettingSet, None] = {}
    complete = True
    ways = dict.fromkeys(tuple(dict.fromkeys(map(_fields_of, blocks))) for blocks in rejected.ways)
    for wanted in ways:
        touching = [tuple(setting for setting in said if _concerns(setting, *want)) for want in wanted]
        sets, all_of_them = least_sets(touching, SETS_MOST)
        candidates |= dict.fromkeys(sets)
        complete = complete and all_of_them
    smallest = sorted(candidates, key=len)
    return smallest[:SETS_MOST], complete and len(smallest) <= SETS_MOST


T = TypeVar("T")


def least_sets(wanted: Sequence[Sequence[T]], most: int) -> tuple[list[tuple[T, ...]], bool]:
    """The sets that have something of each of ``wanted`` and lose that with any of their members; at most ``most``,
    and whether those are all.

    Built up one of ``wanted`` after the other, so that no more than ``most`` times the longest are ever looked at.
    """
    sets, complete = [frozenset[T]()], True
    places = {member: place for place, member in enumerate(dict.fromkeys(member for want in wanted for member in want))}
    for want in sorted(wanted, key=len):
        grown = {
            more
            for members in sets
            for more in ([members] if members.intersection(want) else [members | {member} for member in want])
        }
        sets = []
        for members in sorted(grown, key=lambda members: (len(members), sorted(places[member] for member in members))):
            if any(smaller <= members for smaller in sets):
                continue
            if len(sets) == most:
                complete = False
                break
            sets.append(members)
    return [tuple(sorted(members, key=places.__getitem__)) for members in sets if members], complete


def _units(rejected: Rejected) -> Iterator[Move]:
    """What was said in one unit and can only have been meant in another: 320 °C where 320 °F is usual."""
    for case in rejected.on_press.cases:
        said = case.decoration.settings or Settings()
        for name, reread in _in_other_units(case, said):
            value, meant, was = reread
            yield Move(
                kind="settings",
                index=None,
                cost=0.0,
                text=f"Was {meant} meant, not {was}{_which(rejected, case.index)}? Ask, and put the unit right.",
                make=lambda order, i=case.index, name=name, value=value: _set(order, i, **{name: value}),  # type: ignore[misc]
                idea=f"unit {case.index} {name}",
            )
        yield from _units_of_sheet(rejected, case)


def _units_of_sheet(rejected: Rejected, case: Case) -> Iterator[Move]:
    """The same of a temperature on the order's own sheet, both of its ends."""
    sheet = case.decoration.sheet
    window = (case["bounds.least_c"], case["bounds.most_c"])
    if sheet is None or sheet.temperature is None or None in window:
        return
    span = sheet.temperature
    reread = [_respelt(units.TEMPERATURE, _TEMPERATURES, value, window, _FAR_K) for value in (span.least, span.most)]
    for least, most in zip(*reread, strict=False):
        temperature = replace(span, least=least.value, most=most.value)
        figures = (least,) if span.least == span.most else (least, most)
        meant, was = (" to ".join(getattr(figure, name) for figure in figures) for name in ("meant", "was"))
        reread_sheet = replace(sheet, temperature=temperature)
        yield Move(
            kind="sheet",
            index=case.index,
            cost=0.0,
            text=f"Does the sheet say {meant}, not {was}{_which(rejected, case.index)}? Look, and put the unit right.",
            make=lambda order, i=case.index, sheet=reread_sheet: order.with_decoration(i, sheet=sheet),  # type: ignore[misc]
            idea=f"unit {case.index} sheet",
        )


class _Reread(NamedTuple):
    """A figure as it makes sense: its value, and how it and what was said are spelt."""

    value: float
    meant: str
    was: str


def _in_other_units(case: Case, said: Settings) -> Iterator[tuple[str, _Reread]]:
    """The settings that make sense in another unit alone, by name."""
    heat, dwell = (
        (case[least], case[most])
        for least, most in (("transfer.least_c", "transfer.most_c"), ("window.time_low_s", "window.time_high_s"))
    )
    if said.temperature is not None and None not in heat:
        for reread in _respelt(units.TEMPERATURE, _TEMPERATURES, said.temperature, heat, _FAR_K):
            yield "temperature", reread
    times = {"time": (said.time, dwell), "pre_press": (said.pre_press, _SHORT_S)}
    for name, (value, window) in (times | {"second_press": (said.second_press, _SHORT_S)}).items():
        if value and None not in window:
            for reread in _respelt(units.TIME, _TIMES, value, window, 0.0, _FAR_TIMES):
                yield name, reread


def _respelt(
    dimension: units.Dimension,
    symbols: Sequence[str],
    value: float,
    window: tuple[float, float],
    far: float,
    times: float = 1.0,
) -> list[_Reread]:
    """The same whole number in another unit, where that lies in the window; nothing for a value that is not ``far``
    outside it, and as many ``times``."""
    if window[0] / times - far <= value <= window[1] * times + far:
        return []
    by_symbol = {unit.symbol: unit for unit in dimension.units}
    reread = []
    for was, meant in permutations(symbols, 2):
        number = round(by_symbol[was].outside(value), 6)
        if number == round(number) and window[0] <= (inside := by_symbol[meant].inside(number)) <= window[1]:
            reread.append(_Reread(inside, f"{number:g} {meant}", f"{number:g} {was}"))
    return reread


def _set(order: Order, index: int, **fields: Any) -> Order:
    return order.with_decoration(index, settings=replace(order.decorations[index].settings or Settings(), **fields))


def _said(settings: Settings | None) -> tuple[str, ...]:
    if settings is None:
        return ()
    names = (name for name in Settings.__dataclass_fields__ if name != "read_at")
    return tuple(name for name in names if getattr(settings, name) is not None)


def _fields_of(block: Fired) -> tuple[int | None, frozenset[str]]:
    """The decoration (None: any) and settings that can change a fact of the rule."""
    hung_on = frozenset[str]().union(*map(_settings_of, block.rule.condition.facts))
    shared = any(not _OF_OTHERS.isdisjoint(GRAPH.parts[fact]) for fact in block.rule.condition.facts)
    return (None if shared else block.case.index), hung_on


_OF_OTHERS = ARRANGEMENT | {Part.OTHERS}


@cache
def _settings_of(fact: str) -> frozenset[str]:
    """The settings that an order may say and that a fact hangs on: each goes where it is said, the others after it."""
    settings: set[str] = set()
    waiting = [fact]
    while waiting:
        name = waiting.pop()
        if name in SAYS:
            settings.add(SAYS[name])
        else:
            waiting += GRAPH.reads[name]
    return frozenset(settings)


def _concerns(setting: tuple[int, str], index: int | None, fields: frozenset[str]) -> bool:
    return setting[1] in fields and index in (None, setting[0])


def _left_to_the_book(order: Order, chosen: Collection[tuple[int, str]]) -> Order:
    for index, name in chosen:
        settings = order.decorations[index].settings
        if settings is not None:
            fields = {name: None} | ({"read_at": None} if name == "temperature" else {})
            left = replace(settings, **fields)
            order = order.with_decoration(index, settings=left if _said(left) else None)
    return order


# -- press and size --------------------------------------------------------------------------------------------------


def _presses(rejected: Rejected) -> Iterator[Move]:
    ordered = rejected.order.press
    if ordered is None:
        return
    now = ordered if isinstance(ordered, str) else None
    types = rejected.whole.book.catalogue["press_types"]
    for press in rejected.whole.shop.presses:
        if press.id != now:
            yield Move(
                "press",
                None,
                _cost("press"),
                f"Press it on {press_in_words(press.id, types[press.type])}.",
                lambda order, name=press.id: replace(order, press=name),  # type: ignore[misc]
                press=press.id,
            )


def _sizes(rejected: Rejected) -> Iterator[Move]:
    """The largest sizes of the same shape that the printable area and the platen leave; larger for fine lines."""
    for case in rejected.decorations:
        ordered: Size | None = case["place.size"]
        if ordered is None:
            continue
        seen: set[tuple[Size, str | None]] = set()
        for scale, press in (*_shrinks(rejected, case, ordered), *_grows(case, ordered)):
            size = _scaled(case, ordered, scale)
            if size is None or (size, press) in seen:
                continue
            seen.add((size, press))
            words = f"{case.show(units.LENGTH, size.width)} x {case.show(units.LENGTH, size.height)}"
            comparison = "smaller" if scale < 1 else "larger"
            yield Move(
                kind="size",
                index=case.index,
                cost=_cost("size", 0.99 * (1 - min(scale, 1 / scale))),
                text=f"Print it {comparison}{_which(rejected, case.index)}, {words}.",
                make=lambda order, i=case.index, size=size, scale=scale: _resized(order, i, size, scale),  # type: ignore[misc]
                idea="size",
                press=press,
            )


def _shrinks(rejected: Rejected, case: Case, ordered: Size) -> Iterator[tuple[float, str | None]]:
    area = case["place.area"]
    to_area = 1.0 if area is None else min(1.0, area.width / ordered.width, area.height / ordered.height)
    if case["transfer.principle"] == "label":
        to_area = min(to_area, case["place.label_side_mm"] / max(ordered.width, ordered.height))
    if to_area < 1:
        yield to_area, None
    presses: Sequence[Press] = rejected.whole.shop.presses
    for press in dict.fromkeys((rejected.on_press.press, *presses)):
        usable = case.pressing_case(press)["press.usable"]
        ways = ((usable.width, usable.height), (usable.height, usable.width))
        to_platen = max(min(width / ordered.width, height / ordered.height) for width, height in ways)
        if to_platen < to_area:
            yield to_platen, press.id


def _grows(case: Case, ordered: Size) -> Iterator[tuple[float, str | None]]:
    art, area, holds = case.decoration.artwork, case["place.area"], case["transfer.finest_line_mm"]
    if art is None or art.finest_line is None or holds is None or art.finest_line >= holds:
        return
    scale = holds / art.finest_line
    if area is None or (ordered.width * scale <= area.width and ordered.height * scale <= area.height):
        yield scale, None


def _scaled(case: Case, ordered: Size, scale: float) -> Size | None:
    """The size in whole steps of the shop's unit, rounded down, up for a larger one; None if nothing is left of it."""
    unit = case.shop.units.unit(units.LENGTH)
    step = unit.inside(size_step(unit))

    def rounded(length: float) -> float:
        steps = length * scale / step
        return round(step * (floor(steps + 1e-9) if scale < 1 else -floor(-steps + 1e-9)), 9)

    size = Size(rounded(ordered.width), rounded(ordered.height))
    return size if min(size.width, size.height) > 0 and size != ordered else None


def _resized(order: Order, index: int, size: Size, scale: float) -> Order:
    """Lines grow and shrink with the print."""
    art = order.decorations[index].artwork
    if art is not None and art.finest_line is not None:
        art = replace(art, finest_line=round(art.finest_line * scale, 6))
    return order.with_decoration(index, size=size, artwork=art)


def _which(rejected: Rejected, index: int) -> str:
    return f" (decoration {index + 1})" if len(rejected.decorations) > 1 else ""


def _placements(rejected: Rejected) -> Iterator[Move]:
    blank: Blank | None = rejected.whole["blank.entry"]
    for case in rejected.decorations if blank is not None else ():
        size, here = case["place.size"], case["place.placement"]
        taken = {case["place.placement"] for case in rejected.decorations}
        for place, area in blank.areas.items() if blank is not None else ():
            if place in taken or (size is not None and (size.width > area.width or size.height > area.height)):
                continue
            yield Move(
                "placement",
                case.index,
                _cost("placement"),
                f"Print it at {place} instead of {here}{_which(rejected, case.index)}.",
                lambda order, i=case.index, place=place: order.with_decoration(i, placement=place),  # type: ignore[misc]
            )


# -- artwork ---------------------------------------------------------------------------------------------------------


def _artworks(rejected: Rejected) -> Iterator[Move]:
    """Changes of the artwork or its making, where a blocking rule looks at just that."""
    for case in rejected.decorations:
        transfer = case.transfer
        for fields, text in _artwork_changes(rejected, case, transfer) if transfer is not None else ():
            yield Move(
                "artwork",
                case.index,
                _cost("artwork" if fields.keys() <= _MAKING else "redraw"),
                f"{text}{_which(rejected, case.index)}.",
                lambda order, i=case.index, fields=fields: _redrawn(order, i, fields),  # type: ignore[misc]
            )


# What is said of how the print is made, not of what it shows; and lines just thick enough to hold.
_MAKING = frozenset({"mirrored", "printed_by", "finest_line"})


def _artwork_changes(rejected: Rejected, case: Case, transfer: Transfer) -> Iterator[tuple[dict[str, Any], str]]:
    looked_at = rejected.facts
    needed = case["art.mirrored_needed"]
    if "art.mirrored" in looked_at and needed is not None and case["art.mirrored"] != needed:
        mirrored = "as a mirror image" if needed else "the right way round, not as a mirror image"
        yield {"mirrored": needed}, f"Print the artwork again {mirrored}"
    if "art.finest_line_mm" in looked_at and case["art.finest_line_mm"] < transfer.finest_line:
        least = case.show(units.LENGTH, transfer.finest_line)
        yield {"finest_line": transfer.finest_line}, f"Thicken lines and gaps in the artwork to {least}"
    if looked_at & {"art.printed_by", "art.printed_by_suits"} and not case["art.printed_by_suits"]:
        printer = transfer.printed_by[0]
        yield {"printed_by": printer}, f"Have the artwork made again for this transfer by {PRINTER_WORDS[printer]}"
    if "art.gradient" in looked_at and case["art.gradient"]:
        colours = {"colours": 1} if transfer.one_colour else {}
        yield {"gradient": False} | colours, "Redraw the artwork without gradients, in solid colours"
    if looked_at & {"art.lightest", "art.lightest_laid", "transfer.migrates"}:
        yield from (
            ({"palette": (colour,), "colours": 1, "gradient": False, "white": False}, f"Print it in {colour} alone")
            for colour in ("black",)
            if case["item.ground_bears_black"]
        )


def _redrawn(order: Order, index: int, fields: Mapping[str, Any]) -> Order:
    return order.with_decoration(index, artwork=replace(order.decorations[index].artwork or Artwork(), **fields))


# -- transfer and blank ----------------------------------------------------------------------------------------------


def _transfers(rejected: Rejected) -> Iterator[Move]:
    """Other stocked transfers that can stand in for the one asked for, with settings and print made for them.

    Where mirroring the print anew lifts all that blocks, nothing else is wrong with its transfer.
    """
    book, stocked = rejected.whole.book, rejected.whole.shop.stock.products
    for case in rejected.decorations:
        for name in () if _is_turned_wrong_alone(rejected, case) else stocked:
            offer: Transfer = book.catalogue["products"][name]
            unlike = unlike_transfer(case.transfer, offer, case.decoration.artwork)
            if name == case.decoration.transfer or unlike >= ALIKE_BELOW or not suits_ground(case, offer):
                continue
            yield Move(
                kind="transfer",
                index=case.index,
                cost=cost_of_transfer(case.transfer, offer, case.decoration.artwork),
                text=f"Use {in_a_sentence(offer.title)} instead{_which(rejected, case.index)}.",
                make=lambda order, i=case.index, name=name: _transferred(order, i, name),  # type: ignore[misc]
                idea=offer.family,
                fields=tuple((case.index, field) for field in _said(case.decoration.settings)),
                artwork=case.index,
                leaves_out=(f"/decorations/{case.index}/sheet",),  # of the other transfer
            )


def _is_turned_wrong_alone(rejected: Rejected, case: Case) -> bool:
    """Whether all that blocks on one of the presses is that this print is not turned as its transfer wants it."""

    def is_of_turning(block: Fired) -> bool:
        return block.case.index == case.index and "art.mirrored" in block.rule.condition.facts

    is_turned_wrong = case["art.mirrored_needed"] not in (None, case["art.mirrored"])
    return is_turned_wrong and any(blocks and all(map(is_of_turning, blocks)) for blocks in rejected.ways)


# Papers whose opaque sort is made for dark cloth.
_PAPERS = frozenset({"inkjet-paper", "toner"})


def suits_ground(case: Case, offer: Transfer) -> bool:
    """Whether a transfer is one to offer for the ground there: dye mixes with a dye print that is there already, and
    paper for dark cloth is a stiff white patch that a light ground has no need of. Common practice, no source."""
    lightness, light_from = case["item.ground_lightness"], case.book.limit_values["film.light_ground_lightness"]
    if offer.principle in _PAPERS and offer.opaque and lightness is not None and lightness >= light_from:
        return False
    return offer.principle != "dye-vapour" or not _bears_dye_print(case)


def _bears_dye_print(case: Case) -> bool:
    """Whether the piece is dye-printed there: as it came, or by the order's own print that this one lies on."""
    beneath, over = list(case["item.already"] or ()), case.decoration.over
    for _ in case.order.decorations:
        if over is not None:
            beneath.append(case.order.decorations[over].transfer)
            over = case.order.decorations[over].over
    transfers = filter(None, map(case.book.transfer, beneath))
    return case["item.dye"] == "sublimated" or any(one.principle == "dye-vapour" for one in transfers)


def _transferred(order: Order, index: int, name: str) -> Order:
    """What was said of the old print's making, sheet and settings does not hold for the new one; it is said anew."""
    art = order.decorations[index].artwork
    if art is not None:
        art = replace(art, mirrored=None, printed_by=None)
    return order.with_decoration(index, transfer=name, sheet=None, settings=None, artwork=art)


def _evidence(rejected: Rejected) -> Iterator[Move]:
    """What a blocking rule takes as proof that it may be done after all: to be had first, then said."""
    had = rejected.order.evidence or ()
    conditions = {block.rule.id: block.rule.condition for blocks in rejected.ways for block in blocks}
    decisive = {
        atom.word
        for condition in conditions.values()
        for branch in condition.branches
        for atom in branch
        if isinstance(atom, Contains) and atom.fact.name == "order.evidence"
    }
    for word, text in _EVIDENCE.items():
        if word in decisive and word not in had:
            yield Move(
                "evidence",
                None,
                _cost("evidence"),
                f"{text}; only then record it.",
                lambda order, word=word: replace(order, evidence=tuple(sorted({*had, word}))),  # type: ignore[misc]
            )


def _blanks(rejected: Rejected) -> Iterator[Move]:
    """The same article in another colour, and what the book names as alternatives, each as it comes.

    A piece that protects somebody is never replaced by one that does not, and what the order says of the colour
    stands where it is not the blank's.
    """
    blanks: Mapping[str, Blank] = rejected.whole.book.catalogue["blanks"]
    now = rejected.order.item.blank
    if now is None:
        return
    uses = rejected.whole["use.kinds"] or ()
    fit = {
        name: blank
        for name, blank in blanks.items()
        if name != now
        and is_same_sort(blanks[now], blank)
        and protects_as(uses, blank)
        and _says_as_much(blank, rejected.order.item)
        and _has_colour_said(blank, rejected)
    }
    same = {name: blank for name, blank in fit.items() if same_but_for_colour(blanks[now], blank)}
    for name, blank in same.items():
        text = f"Print on {in_a_sentence(blank.title)} instead: the same in another colour."
        cost = _cost("ground", unlike_ground(rejected.order.item.colour or blanks[now].colour, blank.colour))
        yield Move("ground", None, cost, text, _on_blank(name, blank))
    for rank, name in enumerate(name for name in blanks[now].alternatives if name in fit and name not in same):
        text = f"Print on {in_a_sentence(fit[name].title)} instead."
        yield Move("blank", None, _cost("blank", 0.1 * rank), text, _on_blank(name, fit[name]))


# What an order may say of the piece itself, and so says of another blank too: as that one comes.
_OF_THE_PIECE = (
    "substrate",
    "fibres",
    "colour",
    "coating",
    "finishes",
    "dye",
    "mass_per_area",
    "thickness",
    "diameter",
    "care",
    "features",
)


def _said_of_the_piece(item: Item) -> tuple[str, ...]:
    return tuple(name for name in _OF_THE_PIECE if getattr(item, name) is not None)


def _says_as_much(blank: Blank, item: Item) -> bool:
    """Whether the book knows of the blank all that the order says of its own piece, so that nothing is left unsaid.

    What could hurt somebody is the piece's own: another one without it is no answer for who brought this one.
    """
    hurtful = set(item.features or ()) & HURTFUL_FEATURES
    return hurtful <= set(blank.features or ()) and all(
        getattr(blank, name) is not None for name in _said_of_the_piece(item)
    )


def _has_colour_said(blank: Blank, rejected: Rejected) -> bool:
    """Whether a blank has the colour that the order says, where the one it names has not; else any will do."""
    said = rejected.order.item.colour
    if said is None or not rejected.whole["item.colour_contradicts_blank"]:
        return True
    return not is_another_colour(said, blank, rejected.whole.book.limit_values)


def _on_blank(name: str, blank: Blank) -> Callable[[Order], Order]:
    def make(order: Order) -> Order:
        as_it_comes = {field: getattr(blank, field) for field in _said_of_the_piece(order.item)}
        return replace(order, item=replace(order.item, blank=name, **as_it_comes))

    return make
