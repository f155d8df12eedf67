"""What the library's pages call things."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

# What the book has beside its catalogue.
BESIDE_CATALOGUE = ("rules", "limits", "steps", "sources", "facts")
# Kind -> what one is called, what several are called, and what they say.
KIND_WORDS: Mapping[str, tuple[str, str, str]] = MappingProxyType(
    {
        "rules": ("Rule", "Rules", "When something cannot be done, has to be met first, or is worth a warning."),
        "limits": ("Limit", "Limits", "The numbers that rules compare with."),
        "steps": ("Step", "Steps of plans", "What hands do, in a plan's order."),
        "sources": ("Source", "Sources", "What the numbers rest on, and how well."),
        "facts": ("Fact", "Facts that rules speak of", "The words of conditions, and what each is worked out from."),
        "fibres": ("Fibre", "Fibres", "What cloth is made of, what heat does to it, and whether dye takes."),
        "substrates": ("Substrate", "Substrates", "What pieces are made of, and the heat that they bear."),
        "coatings": ("Coating", "Coatings", "What lies on hard goods and coated cloth."),
        "finishes": ("Finish", "Finishes", "What was done to cloth, and what that does to a print."),
        "transfers": ("Transfer", "Transfers", "Families of prints: how each is pressed, and what it bears."),
        "products": ("Product", "Products", "What shops stock of each family, some with their maker's sheet."),
        "consumables": (
            "Sheet, pad or tape",
            "Sheets, pads and tapes",
            "What goes over, under and round a piece, and the heat it bears.",
        ),
        "press_types": (
            "Type of press",
            "Types of press",
            "How presses differ, and what is taken for granted of each.",
        ),
        "blanks": ("Blank", "Blanks", "Pieces with their cloth, colour and room for a print."),
        "practice": ("Practice point", "Practice points", "Settings known to work, which plans are held against."),
        "markets": ("Market", "Markets", "What the law of each place says of decorated goods."),
        "migration": (
            "Cell of dye migration",
            "Dye migration, cell by cell",
            "How hot a light print may be pressed on dyed polyester.",
        ),
        "advice": ("Question answered", "Questions answered", "What people ask that is no setting."),
        "not_covered": (
            "Left out on purpose",
            "Left out on purpose",
            "What the book says nothing of, why, and what to do instead.",
        ),
    }
)
# The kinds in the order of the overview, in groups.
GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("What is decided", ("rules", "limits", "steps", "advice", "not_covered")),
    ("Prints and presses", ("transfers", "products", "press_types", "consumables", "practice", "migration")),
    ("Pieces", ("blanks", "substrates", "fibres", "coatings", "finishes")),
    ("Law and evidence", ("markets", "sources")),
    ("For whoever writes rules", ("facts",)),
)
# What facts are about, by the word that their names begin with, in the groups and the order that people think in.
FACT_GROUPS: tuple[tuple[str, Mapping[str, str]], ...] = (
    (
        "What is ordered",
        MappingProxyType(
            {
                "order": "The order as a whole",
                "item": "The piece",
                "blank": "The blank that is named",
                "substrate": "What the piece is made of",
                "coating": "What it is coated with",
                "use": "Who it is for, and what it has to bear",
                "place": "Where the print goes",
                "art": "The artwork",
            }
        ),
    ),
    (
        "The print and what it lies on",
        MappingProxyType(
            {
                "transfer": "The transfer",
                "sheet": "Its maker's sheet",
                "ground": "What the print meets",
                "layer": "Prints below and above it",
                "migration": "Dye that heat drives into it",
            }
        ),
    ),
    (
        "The press and its settings",
        MappingProxyType(
            {
                "shop": "What is always so in the shop",
                "press": "The press",
                "fit": "Room on the platen",
                "lay": "How the piece lies",
                "window": "Heat and time that would do",
                "bounds": "Heat and time that physics allows",
                "set": "Settings, sheets and pads in force",
                "stack": "What lies over and under the piece",
                "process": "Pressings beside the main one",
                "marry": "The pressing that marries two layers",
                "adhesive": "The pressing of the adhesive",
                "tack": "The tack",
                "main": "The main pressing",
                "reverse": "The pressing from the reverse",
                "again": "The pressing once more",
                "peel": "Peeling",
                "heat": "How hot print and piece get",
                "touch": "When it may be touched",
            }
        ),
    ),
    (
        "The job",
        MappingProxyType(
            {
                "job": "Loads, and time at the press",
                "sequence": "Which print is pressed first",
                "sample": "Samples on the shop's record",
                "care": "Washing and ironing",
            }
        ),
    ),
    ("The law", MappingProxyType({"market": "The law where it is sold"})),
)
LEVEL_WORDS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "blocks": ("Refuses", "An order that it finds something in cannot be done like that."),
        "requires": ("Asks first", "An order that it finds something in can be done once what it asks for is met."),
        "cautions": ("Warns", "It warns, and holds no order up."),
        "notes": ("Tells", "It tells what is worth knowing, and holds no order up."),
    }
)
SOURCE_WORDS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "published": ("published, text seen", "A standard, law or paper whose text was open when this was written."),
        "secondary": ("repeated by others", "A text that was not seen itself, and that a page which was seen repeats."),
        "computed": ("worked out", "Worked out from definitions or from other sources."),
        "from-memory": ("from memory", "A known text that was not open when this was written down."),
        "common-practice": ("common practice, no source", "What the trade does; no text stands behind it."),
        "choice": ("this book's own choice", "Decided by this collective; nothing else says it."),
    }
)
STAGE_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "check": "Check",
        "dress": "Dress the press",
        "dry": "Dry",
        "place": "Place",
        "fix": "Fix",
        "cover": "Cover",
        "press": "Press",
        "lift": "Lift",
        "peel": "Peel",
        "again": "Press again",
        "cool": "Cool",
        "finish": "Finish",
        "care": "Care slip",
    }
)
WHAT_WORDS: Mapping[str, str] = MappingProxyType({"added": "Added", "changed": "Changed", "removed": "Taken out"})
SCOPE_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "order": "as soon as the order is known",
        "decoration": "for each decoration",
        "pressing": "for each decoration on a press, with its settings",
    }
)


def spoken(word: str) -> str:
    """An id or a field's name as people read it."""
    return word.replace("_", " ").replace("-", " ")


def called(kind: str) -> str:
    """What one entry of a kind is called."""
    return KIND_WORDS[kind][0] if kind in KIND_WORDS else spoken(kind).capitalize()


def several(kind: str) -> str:
    """What several entries of a kind are called."""
    return KIND_WORDS[kind][1] if kind in KIND_WORDS else spoken(kind).capitalize()


def about(kind: str) -> str:
    """What entries of a kind say."""
    return KIND_WORDS[kind][2] if kind in KIND_WORDS else ""


def address_of(kind: str, name: str) -> str:
    """Where the library has an entry."""
    return f"{address_of_kind(kind)}/{name}"


def address_of_kind(kind: str) -> str:
    """Where the library lists a kind."""
    return f"/library/{kind}" if kind in BESIDE_CATALOGUE else f"/library/catalogue/{kind}"
