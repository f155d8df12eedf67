"""Where facts start: the fields of a question that they may read, by name.

What an order says goes by its JSON Pointer (RFC 6901), as in needs and assumptions: ``/item/substrate``, and
``/decorations/{i}/size`` of the decoration in question, ``/decorations/{j}/placement`` of the others. The rest goes by
what it is of: ``shop/market``, ``press/power``, ``chosen/time_s`` and ``sequence/order``.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import Enum
from types import MappingProxyType

from accord_rules.derive.chosen import Chosen, Sequenced
from accord_rules.orders.order import Artwork, Decoration, Item, Order, Press, Settings, Use
from accord_rules.orders.shop import Shop, Stock
from accord_rules.revision.facts import Scope


class Part(Enum):
    """What of a question may differ while the rest stays: facts are shared as far as the parts they hang on do."""

    PIECE = "piece"  # the item, its use, the evidence for it, the shop, the book: the same all through a question
    JOB = "job"  # how many pieces, and when they are due
    PLACE = "place"  # where a decoration goes
    PRINT = "print"  # its size and artwork
    TRANSFER = "transfer"  # and those that lie under it and on it
    OTHERS = "others"  # the other decorations of the order, and which lies on which
    PRESS = "press"
    SETTINGS = "settings"  # said and chosen
    SEQUENCE = "sequence"
    TIME = "time"  # how long all pressings take


# What is known of a pressing only once those of all decorations have an order.
ARRANGEMENT = frozenset({Part.SEQUENCE, Part.TIME})


@dataclass(frozen=True, slots=True)
class SourceField:
    """``subject``: what it is a field of. ``path``: where ``parts.Parts`` has it.

    ``holder``: what of a case may be absent, with all its fields. ``reads``: facts and sources that it is found from,
    where it is found by search. ``of_others``: the field of the decoration in question that it is of the others.
    """

    name: str
    scope: Scope
    part: Part
    subject: str
    path: str
    holder: str = ""
    reads: tuple[str, ...] = ()
    of_others: str = ""


# What ``weigh.choice`` looks at; at samples where the preferred settings would want one. The sources are the settings
# that the order may say. The sheets are those that bear the heat.
_SAID = "/decorations/{i}/settings/"
_HEAT = (
    "press.calibration",
    "press.dials",
    "sample.of_press",
    "transfer.needed",
    "window.aim_c",
    "window.comfort",
    "window.exists",
    "window.high_c",
    "window.low_c",
    "window.spread_k",
    "shop/units",
    _SAID + "temperature",
    _SAID + "read_at",
)
_SHEETS = (*_HEAT, "stack.covers", "stack.pads", "stack.tapes", "transfer.entry", "shop/stock/consumables")
_TIME = (
    "press.dials",
    "sample.of_press",
    "transfer.needed",
    "window.time_dial_s",
    "window.time_high_s",
    "window.time_low_s",
    _SAID + "time",
)
_PRESSURE = (
    "fit.contact_m2",
    "fit.pressure_most_kpa",
    "press.bands_kpa",
    "press/cylinder",
    "sample.of_press",
    "shop/units",
    "transfer.needed",
    _SAID + "pressure",
)
_PRESSINGS = (
    "item.ceiling_c",
    "press.dials",
    "process.wanted",
    _SAID + "pressings",
    _SAID + "second_press",
)
# By field of ``Chosen``, what it is found from.
CHOICE: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        **dict.fromkeys(("display_c", "surface_c", "spread_k"), _HEAT),
        "time_s": _TIME,
        **{sheet: (*_SHEETS, _SAID + sheet) for sheet in ("cover", "pad", "tape")},
        **dict.fromkeys(("pressure", "pressure_kpa"), _PRESSURE),
        "peel": ("sample.of_press", "transfer.needed", _SAID + "peel"),
        "pre_press_s": ("transfer.needed", "sheet.pre_press_s", _SAID + "pre_press"),
        "second_press_s": _PRESSINGS,
        "pressings": (*_SHEETS, *_PRESSINGS, _SAID + "cover"),
    }
)
# By source, the setting that alone decides it where the order says it.
SAYS: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(("chosen/display_c", "chosen/surface_c", "chosen/spread_k"), "temperature"),
        "chosen/time_s": "time",
        **dict.fromkeys(("chosen/pressure", "chosen/pressure_kpa"), "pressure"),
        "chosen/pre_press_s": "pre_press",
        "chosen/second_press_s": "second_press",
        "chosen/pressings": "pressings",
        **{f"chosen/{name}": name for name in ("peel", "cover", "pad", "tape")},
        **{_SAID + name: name for name in Settings.__dataclass_fields__},
        _SAID + "read_at": "temperature",
    }
)
# What ``weigh.sequence.find_sequence`` looks at, of every decoration of the order.
ARRANGED = (
    "item.family",
    "item.textile",
    "place.placement",
    "press.calibration",
    "press.closing",
    "press.dials",
    "press.heated",
    "transfer.entry",
    "transfer.title",
    "window.high_c",
    "window.low_c",
    "window.robust",
    "window.spread_k",
    "chosen/display_c",
    "chosen/spread_k",
    "chosen/surface_c",
    "shop/units",
    "/decorations/{i}/over",
)

# The fields of ``Chosen`` that it lowers where only that leaves an order.
LOWERED = ("display_c", "surface_c", "spread_k")


def _fields(
    start: str, of: type, path: str, scope: Scope, part: Part, *, but: tuple[str, ...] = ()
) -> Iterator[SourceField]:
    for name in of.__dataclass_fields__:  # type: ignore[attr-defined]
        if name not in but:
            yield SourceField(start + name, scope, part, path, f"{path}.{name}")


def _all() -> Iterator[SourceField]:
    order, decoration, pressing = Scope.ORDER, Scope.DECORATION, Scope.PRESSING
    whole = ("item", "decorations", "use", "press", "reference")  # told in their fields, or never interpreted
    yield SourceField("/evidence", order, Part.PIECE, "order", "order.evidence")
    yield from _fields("/", Order, "order", order, Part.JOB, but=(*whole, "evidence"))
    yield from _fields("/item/", Item, "item", order, Part.PIECE)
    yield from _fields("/use/", Use, "use", order, Part.PIECE)
    yield from _fields("shop/", Shop, "shop", order, Part.PIECE, but=("stock", "presses", "names"))
    yield SourceField("shop/units", order, Part.PIECE, "shop", "shop.units", reads=("shop/unit_system",))
    yield from _fields("shop/stock/", Stock, "shop.stock", order, Part.PIECE)
    yield SourceField("house/limits", order, Part.PIECE, "house", "house_limits")
    yield SourceField("/decorations", order, Part.OTHERS, "order", "count")
    print_ = ("placement", "transfer", "over", "artwork", "settings", "sheet")
    yield SourceField("/decorations/{i}/placement", decoration, Part.PLACE, "decoration", "decoration.placement")
    yield from _fields("/decorations/{i}/", Decoration, "decoration", decoration, Part.PRINT, but=print_)
    yield from _fields("/decorations/{i}/artwork/", Artwork, "artwork", decoration, Part.PRINT)
    yield SourceField("/decorations/{i}/transfer", decoration, Part.TRANSFER, "decoration", "decoration.transfer")
    yield SourceField("/decorations/{i}/sheet", decoration, Part.TRANSFER, "decoration", "decoration.sheet")
    yield SourceField("/decorations/{i}/over", decoration, Part.OTHERS, "decoration", "decoration.over")
    # Of the others, by their indices.
    for name in ("placement", "over", "transfer"):
        own, path = f"/decorations/{{i}}/{name}", f"{name}s_of_others"
        yield SourceField(f"/decorations/{{j}}/{name}", decoration, Part.OTHERS, "others", path, of_others=own)
    below = tuple(f"/decorations/{{{index}}}/{field}" for index in "ij" for field in ("over", "transfer"))
    yield SourceField("layers/index", decoration, Part.OTHERS, "others", "index", reads=below)
    # What a print is pressed like hangs on its neighbours in the pile, so that they are known with it.
    yield SourceField("layers/transfers", decoration, Part.TRANSFER, "others", "transfers_beneath", reads=below)
    yield SourceField("layers/above", decoration, Part.TRANSFER, "others", "transfers_above", reads=below)
    yield from _fields("press/", Press, "press", pressing, Part.PRESS)
    yield from _fields(_SAID, Settings, "said", pressing, Part.SETTINGS)
    for name in Chosen._fields:
        yield SourceField(
            name=f"chosen/{name}",
            scope=pressing,
            part=Part.SETTINGS,
            subject="chosen",
            path=f"chosen.{name}",
            holder="chosen",
            reads=CHOICE[name],
        )
    for name in Sequenced._fields:
        looked_at = ("job.total_s",) if name == "total_s" else ARRANGED
        yield SourceField(
            name=f"sequence/{name}",
            scope=pressing,
            part=Part.TIME if name == "total_s" else Part.SEQUENCE,
            subject="sequence",
            path=f"sequence.{name}",
            holder="sequence",
            reads=looked_at,
        )
    earlier = ("sequence/order", "/decorations/{j}/transfer", "/decorations/{j}/placement")
    yield SourceField(
        name="sequence/earlier",
        scope=pressing,
        part=Part.SEQUENCE,
        subject="sequence",
        path="earlier",
        holder="sequence",
        reads=earlier,
    )


SOURCES: Mapping[str, SourceField] = MappingProxyType({source.name: source for source in _all()})
# Where an order says something that may be asked for. No fact reads which press it names: a pressing is on one.
SAYABLE = (*(name for name in SOURCES if name.startswith("/") and "{j}" not in name), "/press")
