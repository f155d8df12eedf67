"""What the book's numbers rest on: which source speaks of which subject, and how well each number is sourced.

A source says in ``speaks_of`` what it can be the source of, and each field of an entry, each limit, topic of rules and
stage of steps belongs to subjects. ``load.citations`` refuses a source that is cited outside what it speaks of.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from accord_rules.documents.files import Documents, entry_of
from accord_rules.documents.reading import Many, Number, Object, Quantity, Reader, Table, Whole, escape, readers_of
from accord_rules.revision.catalogue import ANYTHING, KINDS, SOURCE_KINDS, Limit, Source
from accord_rules.revision.markets import Market, MarketRow
from accord_rules.revision.rule import Rule

# How far a market's row or a cell of migration was seen, as a kind of source.
KIND_SEEN: Mapping[str, str] = MappingProxyType(
    {
        "text": "published",
        "copy": "published",
        "opening": "secondary",
        "secondary": "secondary",
        "memory": "from-memory",
        "practice": "common-practice",
        "judgement": "choice",
    }
)

_TRANSFER: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "": ("pressing",),
        "bounds": ("pressing", "dye-vapour"),
        "unprinted": ("pressing", "dye-vapour"),
        "dose": ("heat-estimate",),
        "stretch": ("print",),
        "thickness": ("print",),
        "finest_line": ("print",),
        "layers_most": ("print",),
        "sheets": ("print",),
        "wash_limit": ("print",),
        "care": ("print",),
        "durability": ("print",),
        "hand": ("print",),
        "cost": ("print",),
        "plastic": ("fumes", "phthalates", "print"),
        "fumes": ("fumes",),
        "crystal": ("lead",),
        "lead_declared": ("lead",),
        "nickel_declared": ("nickel",),
        "phthalate_declared": ("phthalates",),
        "loose_parts": ("small-parts",),
    }
)
_CONDUCTION = dict.fromkeys(("conductivity", "density", "heat_capacity"), ("conduction",))
_CHILD, _FIRE, _FOOD = ("child-ages",), ("fire",), ("food",)
_SUBSTANCES, _PROTECTION = ("substances",), ("protection",)

# What steps say with the hands is about these, whatever their stage.
STEPS = ("handling", "pressing", "print", "goods", "press", "fibre-heat", "goods-heat", "care-labels", "burns", "fumes")

# Kind of entry -> field, named from the entry on -> what it is about; "": all other fields of that kind.
FIELDS: Mapping[str, Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "fibres": {
            "": ("fibre-names",),
            "dye_affinity": ("dye-affinity",),
            "regain": ("moisture",),
            "harmful_from": ("fibre-heat",),
        },
        "substrates": {"": ("goods",), "limit": ("goods-heat",), "harm": ("goods-heat",), **_CONDUCTION},
        "coatings": {"": ("goods-heat",)},
        "finishes": {"": ("goods-heat",)},
        "transfers": _TRANSFER,
        "products": _TRANSFER,
        "consumables": {"": ("goods",), "limit": ("goods-heat",), "conductivity": ("conduction",)},
        "press_types": {
            "": ("press",),
            "loss": ("press-heat",),
            "spread": ("press-heat",),
            "pressure_most": ("pressure",),
            "hand_force": ("pressure", "press"),
            "dwell_extra": ("pressing",),
            "dwell_extra_on": ("pressing",),
        },
        "blanks": {"": ("goods",)},
        "advice": {"": (*STEPS, "press-heat", "pressure", "dye-migration")},
        "not_covered": {"": STEPS},
        "practice": {"": ("pressing",), "thickness": ("goods", "pressing"), "size": ("goods", "pressing")},
        "migration": {"": ("dye-migration",)},
        "markets": {
            "childrens_product": _CHILD,
            "toys": ("toys",),
            "hood_cords": ("cords",),
            "hood_cord_ends": ("cords",),
            "waist_cords": ("cords",),
            "small_parts": ("small-parts",),
            "small_parts_warning": ("small-parts",),
            "magnets": ("magnets",),
            "lead": ("lead", *_CHILD),
            "certificate": ("lead", *_CHILD),
            "nickel": ("nickel",),
            "cadmium": ("cadmium",),
            "toy_phthalates": ("phthalates",),
            "skin_phthalates": ("phthalates",),
            "nightwear": _FIRE,
            "clothing_fire": _FIRE,
            "food_contact": _FOOD,
            "decorated_ware": _FOOD,
            "continuous_load": ("electricity",),
            "plug_fuse": ("electricity",),
            "protective_wear": _PROTECTION,
            "medical_devices": _PROTECTION,
            "azo_dyes": _SUBSTANCES,
            "cloth_metals": _SUBSTANCES,
            "fluorine": _SUBSTANCES,
            "fibre_label": ("fibre-labels",),
        },
    }
)

# Numbers that count sources themselves, and so rest on none.
_COUNTS_OF_SOURCES = frozenset({("practice", "independent")})

# Limits by their names, or the beginning of them up to a dot; the nearest counts. One that is not here is of the trade.
LIMITS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "": ("handling",),
        "care": ("care-labels",),
        "children": _CHILD,
        "children.small_parts_age": ("small-parts",),
        "dye": ("dye-affinity", "goods"),
        "dye.ground_lightness_least": ("colour",),
        "dye.ground_lightness_tinted": ("colour",),
        "dye.ground_lightness_full": ("colour",),
        "dye.dark_colour_lightness_most": ("colour",),
        "electric": ("electricity",),
        "fibres": ("fibre-heat",),
        "film": ("print", "goods", "goods-heat"),
        "film.dark_ground_lightness": ("colour",),
        "film.mid_ground_lightness": ("colour",),
        "film.light_ground_lightness": ("colour",),
        "film.dark_art_lightness": ("colour",),
        "film.light_art_lightness": ("colour",),
        "fumes": ("fumes",),
        "ground": ("colour",),
        "hard_goods": ("pressing", "print"),
        "hard_goods.thick_from": ("conduction",),
        "heat": ("fibre-heat", "goods-heat"),
        "heat.below_least": ("heat-estimate",),
        "heat.adhesive_hold": ("heat-estimate",),
        "heat.short_caution": ("heat-estimate",),
        "heat.short_trial": ("heat-estimate",),
        "heat.sag_caution": ("heat-estimate",),
        "heat.strip_error": ("heat-estimate",),
        "migration": ("dye-migration",),
        "order": ("orders",),
        "order.contrast_least": ("colour",),
        "people.touch_hold_most": ("burns",),
        "people.touch_brief_most": ("burns",),
        "people.ptfe_surface_most": ("fumes",),
        "people.ptfe_birds_from": ("fumes",),
        "people.cord_age_most": ("cords",),
        "people.rim_distance_least": _FOOD,
        "people.shell_grown_most": ("goods",),
        "plan": ("handling",),
        "prepress": ("pressing",),
        "press": ("press", "handling"),
        "press.brittle_pressure_most": ("pressure",),
        "press.calibration_age_most": ("press-heat",),
        "press.hand_held_pressure_from": ("pressure",),
        "press.probe_error": ("press-heat",),
        "press.reading_near": ("press-heat",),
        "press.spread_most": ("press-heat",),
        "pressure": ("pressure",),
        "process": ("pressing",),
        "sample": ("handling", "press-heat", "pressing", "dye-migration"),
        "settings": ("pressing",),
        "sheet": ("pressing",),
        "sheet.bench_loss": ("press-heat",),
        "sheet.bench_spread": ("press-heat",),
        "wash": ("print", "handling"),
    }
)

_OF_PRESSES = ("press", "press-heat", "pressure")
_OF_HEAT = ("fibre-heat", "goods-heat", "pressing", *_OF_PRESSES)
_OF_DYE = ("fumes", "dye-affinity", "dye-vapour", "dye-migration", "colour", "goods", "print", *_OF_HEAT)
_OF_LAW = (
    *("child-ages", "toys", "cords", "small-parts", "magnets", "lead", "nickel", "cadmium", "phthalates", "fire"),
    *("food", "substances", "protection", "fibre-labels"),
)
# What rules of a topic say is about these; a topic that is not here is of the trade.
TOPICS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "": ("handling", "pressing"),
        "dye-on-cloth": _OF_DYE,
        "dye-on-hard-goods": (*_OF_DYE, "conduction", "heat-estimate"),
        "film-powder-paper": ("print", "colour", "dye-affinity", "dye-migration", "goods", *_OF_HEAT),
        "heat-ceilings": ("care-labels", "fumes", *_OF_HEAT),
        "heat-estimate": ("heat-estimate", "conduction", *_OF_HEAT),
        "order-of-pressings": ("handling", "pressing", "print", *_OF_PRESSES),
        "order-sense": ("orders", "units", "goods", "colour", "pressing", "handling", "child-ages", "dye-affinity"),
        "people": ("burns", "fumes", "guarding", "electricity", "handling", "press", "goods", "print", *_OF_LAW),
        "press": ("pressing", "electricity", "guarding", "handling", "goods", "goods-heat", *_OF_PRESSES),
        "settings": ("pressing", "dye-vapour", "handling", *_OF_PRESSES),
    }
)
# Facts that say what a market's row says, and the matters of these rows; one of ``market.`` that is not here has the
# name of its matter.
_MATTERS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "market.child": ("childrens_product",),
        "market.hood_cords": ("hood_cords", "hood_cord_ends"),
        "market.cord_words": ("hood_cords", "hood_cord_ends"),
        "market.waist_cord_words": ("waist_cords",),
        "market.small_parts_words": ("small_parts",),
        "market.magnet_words": ("magnets",),
        "market.lead_words": ("lead",),
        "market.metal_words": ("nickel", "cadmium"),
        "market.toy_phthalate_words": ("toy_phthalates",),
        "market.skin_phthalate_words": ("skin_phthalates",),
        "market.plain_from_g_m2": ("clothing_fire",),
        "market.food_words": ("food_contact",),
        "market.continuous_share_most": ("continuous_load",),
        "press.maybe_fused": ("plug_fuse",),
        "press.fuse_a": ("plug_fuse",),
        "press.long_load_most_a": ("plug_fuse",),
        "market.cadmium_in_plastic": ("cadmium",),
        "market.cadmium_plastic_words": ("cadmium",),
        "market.cloth_words": ("azo_dyes", "cloth_metals", "fluorine"),
        "market.cloth_papers": ("azo_dyes", "cloth_metals", "fluorine"),
        "market.alteration": ("protective_wear", "medical_devices"),
        "market.fibre_label_percent": ("fibre_label",),
        "market.where": (),
    }
)

# The laws that a rule touches which reads a fact of an order, by the beginning of its name, or asks for evidence.
_FACTS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "use.child": _CHILD,
        "use.age": _CHILD,
        "use.under_three": (*_CHILD, "small-parts"),
        "use.kinds": _PROTECTION,
        "use.food": _FOOD,
        "place.food": _FOOD,
        "place.rim": _FOOD,
    }
)
_EVIDENCE: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "cord-declaration": ("cords",),
        "cord-taken-out": ("cords",),
        "flammability-test": _FIRE,
        "food-contact-declaration": _FOOD,
        "lead-declaration": ("lead",),
        "lead-test": ("lead", "cadmium"),
        "magnet-declaration": ("magnets",),
        "maker-consent": _PROTECTION,
        "nickel-declaration": ("nickel",),
        "phthalate-test": ("phthalates",),
        "small-parts-test": ("small-parts",),
        "small-parts-warning": ("small-parts",),
        "supplier-declaration": _SUBSTANCES,
        "toy-test": ("toys",),
    }
)


@dataclass(frozen=True, slots=True)
class SourcedNumber:
    """One number of the book, what it is about and what it rests on. ``kind`` and ``id`` name its entry."""

    kind: str
    id: str
    pointer: str
    field: str
    sources: tuple[str, ...]
    seen: str = ""  # how far it was seen, where its row or entry says so

    @property
    def subjects(self) -> tuple[str, ...]:
        return subjects_of_limit(self.id) if self.kind == "limits" else subjects_of_field(self.kind, self.field)


def subjects_of_field(kind: str, field: str) -> tuple[str, ...]:
    """What a field of an entry is about; ``field`` is its first name, or dotted. Nothing: nobody has said it yet."""
    fields = FIELDS.get(kind, {})
    return fields.get(field.split(".")[0]) or fields.get("", ())


def subjects_of_limit(name: str) -> tuple[str, ...]:
    """What a limit is about."""
    return LIMITS.get(name) or LIMITS.get(name.split(".")[0]) or LIMITS[""]


def subjects_of_rule(rule: Rule) -> tuple[str, ...]:
    """What a rule is about: what its topic is, but of laws only those that its limits, facts and evidence touch."""
    topic = TOPICS.get(rule.topic) or TOPICS[""]
    touched = {subject for limit in rule.limits for subject in subjects_of_limit(limit)}
    for fact in facts_of(rule):
        touched |= {subject for matter in _matters_of(fact) for subject in subjects_of_field("markets", matter)}
        touched |= {subject for start, about in _FACTS.items() if fact.startswith(start) for subject in about}
        if fact.startswith("transfer."):
            touched.update(_TRANSFER.get(fact.removeprefix("transfer."), ()))
    touched |= {subject for word, about in _EVIDENCE.items() if f"'{word}'" in rule.when for subject in about}
    return tuple(subject for subject in topic if subject not in _OF_LAW or subject in touched)


def facts_of(rule: Rule) -> tuple[str, ...]:
    """The facts that a rule's condition and sentences name."""
    return (*rule.condition.facts, *rule.because.facts, *rule.fix.facts)


def _matters_of(fact: str) -> tuple[str, ...]:
    """The matters of markets' rows that a fact speaks of; none where it says nothing of them."""
    end = fact.removeprefix("market.")
    return _MATTERS.get(fact, () if end == fact else (end,))


def speaks_of_one(source: Source, subjects: Iterable[str]) -> bool:
    """Whether a source can speak of any of these."""
    return ANYTHING in source.speaks_of or not {*source.speaks_of}.isdisjoint(subjects)


def weakest(kinds: Iterable[str]) -> str:
    """The kind that a number is as good as: the weakest of those that it rests on."""
    return max(kinds, key=SOURCE_KINDS.index)


def kind_of(number: SourcedNumber, sources: Mapping[str, Source]) -> str:
    """What kind of source a number rests on."""
    kinds = [sources[name].kind for name in number.sources]
    return weakest([*kinds, KIND_SEEN[number.seen]] if number.seen else kinds)


def numbers_of(documents: Documents) -> Iterator[SourcedNumber]:
    """Every number of the catalogue and every limit; of a product, those that it says itself."""
    for kind, cls in KINDS.items():
        for name in documents[kind]:
            yield from _numbers_of_entry(documents, kind, name, cls)
    for name, limit in documents["limits"].items():
        # The step beside it is what the trade tells apart, whatever the limit rests on.
        yield SourcedNumber("limits", name, "/value", "value", tuple(limit["sources"]))


def _numbers_of_entry(documents: Documents, kind: str, name: str, cls: type) -> Iterator[SourcedNumber]:
    whole = entry_of(documents, kind, name)
    own = whole.get("sources_of", {})
    for field, value in documents[kind][name].items():
        reader = readers_of(cls)[field][0] if field in readers_of(cls) else None
        if reader is None or (kind, field) in _COUNTS_OF_SOURCES:
            continue
        sources = tuple(own.get(field, whole.get("sources", ())))
        of_row = isinstance(reader, Object) and issubclass(reader.into, MarketRow)
        seen = value["seen"] if of_row else whole.get("seen", "")
        for pointer, under in _numbers(reader, value, f"/{field}", sources):
            yield SourcedNumber(kind, name, pointer, field, under, seen)


def _numbers(
    reader: Reader, value: Any, pointer: str, sources: tuple[str, ...]
) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Pointer and sources of each number below; a table with sources of its own rests on those."""
    match reader:
        case Quantity() | Number() | Whole():
            yield pointer, sources
        case Object(into=into):
            readers, under = readers_of(into), tuple(value.get("sources", sources))
            for field, inside in value.items():
                yield from _numbers(readers[field][0], inside, f"{pointer}/{field}", under)
        case Many(item=item):
            for index, inside in enumerate(value):
                yield from _numbers(item, inside, f"{pointer}/{index}", sources)
        case Table(value=item):
            for key, inside in value.items():
                yield from _numbers(item, inside, f"{pointer}/{escape(key)}", sources)


# -- how well the book is sourced ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SourcedLimit:
    """A limit and what kind of source it rests on."""

    id: str
    kind: str
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SourcedRow:
    """A row of a market and what kind of source it rests on."""

    market: str
    matter: str
    kind: str
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Room:
    """A room of the book, and how many of its numbers rest on each kind of source, the best kind first."""

    id: str
    total: int
    counts: Mapping[str, int]


def rooms_of(documents: Documents, sources: Mapping[str, Source]) -> tuple[Room, ...]:
    """The rooms of the book that have numbers, in its order, and the numbers of each by what they rest on."""
    counts: dict[str, Counter[str]] = {kind: Counter() for kind in (*KINDS, "limits")}
    for number in numbers_of(documents):
        counts[number.kind][kind_of(number, sources)] += 1
    return tuple(
        Room(kind, counter.total(), MappingProxyType({of: counter[of] for of in SOURCE_KINDS}))
        for kind, counter in counts.items()
        if counter.total()
    )


def safety_limits_of(limits: Mapping[str, Limit], sources: Mapping[str, Source]) -> tuple[SourcedLimit, ...]:
    """The limits that keep people safe, the worst-sourced first, then by name."""
    sourced = limits_sourced((name for name, limit in limits.items() if limit.safety), limits, sources)
    return tuple(sorted(sourced, key=lambda limit: (-SOURCE_KINDS.index(limit.kind), limit.id)))


def limits_sourced(
    names: Iterable[str], limits: Mapping[str, Limit], sources: Mapping[str, Source]
) -> tuple[SourcedLimit, ...]:
    """Limits with what kind of source each rests on."""
    return tuple(
        SourcedLimit(name, weakest(sources[source].kind for source in limits[name].sources), limits[name].sources)
        for name in names
    )


def rows_sourced(
    facts: Iterable[str], markets: Mapping[str, Market], sources: Mapping[str, Source]
) -> tuple[SourcedRow, ...]:
    """The rows of markets that these facts speak of, by matter and market, with what kind of source each rests on."""
    matters = sorted({matter for fact in facts for matter in _matters_of(fact)})
    return tuple(
        SourcedRow(name, matter, _kind_of_row(row, sources), row.sources)
        for matter in matters
        for name, market in markets.items()
        if isinstance(row := getattr(market, matter, None), MarketRow)
    )


def _kind_of_row(row: MarketRow, sources: Mapping[str, Source]) -> str:
    return weakest([*(sources[name].kind for name in row.sources), KIND_SEEN[row.seen]])
