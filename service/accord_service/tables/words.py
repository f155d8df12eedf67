"""What counters call their columns: the words for each field of an order (common practice, no source)."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Iterator, Mapping
from functools import cache
from types import MappingProxyType

from accord_service.tables.fields import PRINTS, OrderField, fields

_PRINT = f"{PRINTS}.0."
_SETTING = f"{_PRINT}settings."
_ART = f"{_PRINT}artwork."
# As plain() leaves them. A field's own name, alone or behind what it lies in ("sheet time"), goes without saying where
# no other field has it.
WORDS: Mapping[str, str] = MappingProxyType(
    {
        "reference": "ref, reference no, reference number, order, order no, order number, order id, order ref,"
        " order reference, job, job no, job number, job id, job ref, ticket, ticket no, ticket number, work order",
        "quantity": "qty, pieces, pcs, count, number of pieces, no of pieces, order quantity, how many",
        "press": "machine, heat press, press name, press id, station",
        "due_in": "due within, time left",
        "evidence": "tests, declarations, tests and declarations, paperwork",
        "prefer": "preference, preferences",
        "item.blank": "item, sku, garment, article, style, product, shirt, blank sku, item sku, blank name, item name,"
        " article no, article number, style no, style number, item no, item number, piece",
        "item.kind": "item kind, item type, blank type, garment type, product type, kind of piece, kind of item",
        "item.substrate": "material, fabric, cloth, base material, fabric type, material type, type of fabric",
        "item.fibres": "fibre, composition, fibre content, fabric content, fabric composition, material composition,"
        " blend, fibre composition, content",
        "item.colour": "blank colour, garment colour, fabric colour, material colour, item colour,"
        " shirt colour, t shirt colour, tee colour, base colour, ground colour,"
        " colour of blank, colour of garment",
        "item.coating": "coated with, surface coating",
        "item.finishes": "finish, fabric finish, textile finish",
        "item.dye": "dyed with, dye class, fabric dye",
        "item.mass_per_area": "gsm, weight, fabric weight, cloth weight, grammage, area weight, material weight",
        "item.thickness": "thick, material thickness, blank thickness",
        "item.diameter": "dia, outside diameter",
        "item.care": "care label, washing label",
        "item.care.iron": "iron dots, ironing dots, iron",
        "item.features": "feature, fittings, extras on blank",
        "item.already": "already on it, existing decoration, existing decorations, existing print, decorated already",
        "item.preparation": "prep, pretreatment, prepared, preparations",
        "use.age_from": "youngest, age least, age min, min age, minimum age, youngest age, from age",
        "use.age_to": "oldest, age most, age max, max age, maximum age, oldest age, to age",
        "use.age_from, use.age_to": "age, ages, age range, age group",
        "use.kinds": "use, uses, purpose, kind of use, kinds of use, intended use, end use, used for",
        "use.market": "sold in, market of sale, destination market",
        "use.size_from": "smallest size, size min, min size, garment size from",
        "use.size_to": "largest size, size max, max size, garment size to",
        "use.size_from, use.size_to": "sizes, garment size, garment sizes, size range, size run",
        "use.cut": "fit, cut of garment",
        f"{_PRINT}transfer": "method, print, decoration, transfer type, print method, decoration method, print type,"
        " technique, process, film, paper, transfer paper, decoration type, transfers, decorations",
        f"{_PRINT}placement": "position, location, print position, print location, print placement, place, where",
        f"{_PRINT}size": "print size, decoration size, artwork size, logo size, transfer size, design size, dimensions",
        f"{_PRINT}size.width": "width, w, wide, print width, artwork width, design width, logo width, transfer width",
        f"{_PRINT}size.height": "height, h, high, print height, artwork height, design height, logo height,"
        " transfer height",
        f"{_PRINT}over": "lies on, on top of",
        f"{_PRINT}rim_distance": "distance from rim, rim gap, distance to rim",
        f"{_ART}colours": "print colours, number of colours, no of colours, colour count, ink colours, design colours,"
        " logo colours",
        f"{_ART}white": "white in art, white areas, white in artwork, has white, white ink",
        f"{_ART}light": "light colours",
        f"{_ART}gradient": "gradients, photo, photograph, halftone",
        f"{_ART}finest_line": "thinnest line, line width, min line, minimum line, finest detail, line weight",
        f"{_ART}small_pieces": "small parts of print, small bits, fine pieces",
        f"{_ART}mirrored": "mirror, mirror image, flipped, reversed print",
        f"{_ART}palette": "print colour, ink colour, print colour names, colours of print, design colour",
        f"{_ART}printed_by": "printer, printed on, printed with, output device",
        f"{_SETTING}temperature": "temp, temperature, heat, press temperature, press temp, set temperature, set temp,"
        " display temperature",
        f"{_SETTING}read_at": "temperature read at, read at, measured at",
        f"{_SETTING}time": "time, dwell, dwell time, press time, pressing time",
        f"{_SETTING}pressure": "pressure, force, press pressure",
        f"{_SETTING}peel": "peel, peel type, peeling",
        f"{_SETTING}cover": "cover, cover sheet, top sheet, protective sheet",
        f"{_SETTING}pad": "pad, pillow",
        f"{_SETTING}tape": "tape, held with",
        f"{_SETTING}pre_press": "pre press, prepress, pre press time, prepress time",
        f"{_SETTING}second_press": "second press, second press time, post press, repress",
        "press.type": "type of press, machine type",
        "press.id": "described press id",
    }
)
# Words that counters use for two different things, with how each is called without doubt.
AMBIGUOUS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "colours": ("print colours", "blank colour"),
        "no": ("order no", "number of pieces"),
        "number": ("order no", "number of pieces"),
        "amount": ("quantity",),
        "type": ("transfer type", "garment type", "press type"),
        "name": ("order no", "blank name", "press name"),
        "id": ("order no", "sku", "press name"),
    }
)
_BRITISH: Mapping[str, str] = MappingProxyType(
    {"color": "colour", "colors": "colours", "fiber": "fibre", "fibers": "fibres", "aging": "ageing", "num": "number"}
)
_APART = re.compile(r"[^\w%]+|_+")
# What lies in these is told apart by them alone: an id is hardly that of a described press.
_ONLY_BY_ALL = frozenset({"press", "sheet"})
_LEFT_OUT = frozenset({PRINTS, "0", "item", "use", "pressings"})


def plain(text: str) -> str:
    """A header without what counters change in it: case, space, underscores, hyphens, full stops, American spelling."""
    folded = unicodedata.normalize("NFKC", text).casefold()
    return " ".join(_BRITISH.get(token, token) for token in _APART.sub(" ", folded).split())


@cache
def words() -> Mapping[str, OrderField]:
    """Every word for a column, as ``plain`` leaves it, with its field."""
    every = fields()
    named = {word: every[path] for path, listed in WORDS.items() for word in map(plain, listed.split(","))}
    own = Counter(word for path in every for word in _own(path))
    for path, field in every.items():
        for place, word in enumerate(_own(path)):
            if (place == 0 or own[word] == 1) and word not in AMBIGUOUS:
                named.setdefault(word, field)
    return MappingProxyType(named)


def _own(path: str) -> Iterator[str]:
    """The words that a field's path gives it: its name behind all that it lies in, then behind less of it."""
    if ", " in path:
        return
    steps = [step for step in path.split(".") if step not in _LEFT_OUT]
    for first in range(1 if steps[0] in _ONLY_BY_ALL else len(steps)):
        yield plain(" ".join(steps[first:]))
