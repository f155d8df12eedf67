"""What the piece is: its substrate, surface, coating, finishes, ground colour and what it carries already."""

from __future__ import annotations

from accord_rules.derive.case import Case
from accord_rules.documents import units
from accord_rules.documents.colour import Colour, read_colour
from accord_rules.heat.materials import USUAL_WATER_SHARE
from accord_rules.orders.order import DYES, FEATURES, PREPARATIONS
from accord_rules.revision.catalogue import BLANK_KINDS, PLASTICS, SHAPES, SUBSTRATE_FAMILIES, SURFACES
from accord_rules.revision.facts import BOOL, DATA, TEXT, Ask, Assume, Scope, fact, number, one_of, set_of
from accord_rules.revision.sentences import in_a_sentence

ORDER = Scope.ORDER


@fact(
    "item.substrate",
    one_of("substrates"),
    ORDER,
    Ask("/item/substrate", "What is the piece made of? Name a blank of the book, or its substrate."),
)
def substrate(case: Case) -> str | None:
    """What the piece is made of under the print."""
    said: str | None = case.said("substrate")
    return said


@fact("item.blank_named", BOOL, ORDER)
def blank_named(case: Case) -> bool:
    """Whether the order names a blank of the book."""
    return case.blank is not None


@fact("item.title", TEXT, ORDER)
def title(case: Case) -> str:
    """What the piece is called: the blank's title, else the substrate's."""
    if case.blank is not None:
        return in_a_sentence(case.blank.title)
    return in_a_sentence(case.substrate.title) if case.substrate else "the piece"


@fact("item.substrate_title", TEXT, ORDER)
def substrate_title(case: Case) -> str | None:
    """The substrate's plain name."""
    return in_a_sentence(case.substrate.title) if case.substrate else None


@fact("item.kind", one_of(BLANK_KINDS), ORDER)
def kind(case: Case) -> str | None:
    """What sort of goods: garment, headwear, hard good ...; guessed from the substrate if no blank is named."""
    if case.blank is not None:
        return case.blank.kind
    if case.substrate is None:
        return None
    if case.substrate.curved:
        return "drinkware"
    return {"cloth": "garment", "paper": "paper-good", "leather": "accessory"}.get(case.substrate.family, "hard-good")


@fact("item.family", one_of(SUBSTRATE_FAMILIES), ORDER)
def family(case: Case) -> str | None:
    """The substrate's family: cloth, metal, wood ..."""
    return case.substrate.family if case.substrate else None


@fact("item.surface", one_of(SURFACES), ORDER)
def surface(case: Case) -> str | None:
    """The surface under the print: smooth, ribbed, pile, open or textured."""
    return case.substrate.surface if case.substrate else None


@fact("item.textile", BOOL, ORDER)
def textile(case: Case) -> bool | None:
    """Whether the piece is cloth."""
    return case.substrate.family == "cloth" if case.substrate else None


@fact("item.rigid", BOOL, ORDER)
def rigid(case: Case) -> bool | None:
    """Whether the piece is stiff, so that a platen must lie parallel on it."""
    return case.substrate.rigid if case.substrate else None


@fact("item.takes_moisture", BOOL, ORDER)
def takes_moisture(case: Case) -> bool | None:
    """Whether the substrate takes up moisture from the air, which turns to steam under the platen."""
    return case.substrate.takes_moisture if case.substrate else None


@fact("item.water_share", DATA, ORDER)
def water_share(case: Case) -> float:
    """Mass of moisture that has to boil off a piece that was not pre-pressed, per mass of dry piece."""
    if case.substrate is None or not case.substrate.takes_moisture:
        return 0.0
    mix = case["item.fibres"]
    if not mix:
        return USUAL_WATER_SHARE.get(case.substrate.family, 0.0)
    return float(
        sum(share * case.entry("fibres", code).regain for code, share in mix.items()) / sum(mix.values()) / 100
    )


@fact("item.protective_film", BOOL, ORDER)
def protective_film(case: Case) -> bool | None:
    """Whether such a blank comes with a protective film on its printable face."""
    if case.substrate is None:
        return None
    return case.substrate.protective_film and bool(case["item.dye_receptive"])


@fact("item.brittle", BOOL, ORDER)
def brittle(case: Case) -> bool | None:
    """Whether quick cooling can crack it (untempered glass, slate, ceramic)."""
    return case.substrate.brittle if case.substrate else None


@fact("item.shape", one_of(SHAPES), ORDER)
def shape(case: Case) -> str | None:
    """The platen shape the piece needs: flat, mug (curved ware) or cap (a structured cap's front)."""
    if case.substrate is None:
        return None
    if not case.substrate.curved:
        return "flat"
    return "cap" if case.substrate.family == "cloth" else "mug"


@fact("item.thickness_mm", number(units.LENGTH), ORDER)
def thickness_mm(case: Case) -> float | None:
    """How thick the piece is under the print."""
    said: float | None = case.said("thickness")
    return said if said is not None else (case.substrate.thickness if case.substrate else None)


@fact(
    "item.diameter_mm",
    number(units.LENGTH),
    ORDER,
    Assume("/item/diameter", 82.0, "no diameter said: taken as a usual mug's 82 mm"),
)
def diameter_mm(case: Case) -> float | None:
    """How wide round ware is, across its outside."""
    said: float | None = case.said("diameter")
    return said


@fact(
    "item.mass_g_m2",
    number(units.AREA_DENSITY),
    ORDER,
    Assume("/item/mass_per_area", 150.0, "no weight said: taken as a usual 150 g/m² cloth"),
)
def mass_g_m2(case: Case) -> float | None:
    """How heavy the cloth is."""
    said: float | None = case.said("mass_per_area")
    return said


@fact(
    "item.coating",
    one_of("coatings"),
    ORDER,
    Ask("/item/coating", "Is the printable face coated, and with what? Say none if it is bare."),
)
def coating(case: Case) -> str | None:
    """The coating on the printable face; cloth of which none is said has none."""
    said: str | None = case.said("coating")
    if said is None and case["item.textile"]:
        return "none"
    return said


@fact("item.dye_receptive", BOOL, ORDER)
def dye_receptive(case: Case) -> bool | None:
    """Whether the coating takes sublimation dye."""
    name = case["item.coating"]
    return None if name is None else case.entry("coatings", name).dye_receptive


@fact("item.coating_title", TEXT, ORDER)
def coating_title(case: Case) -> str | None:
    """The coating's plain name."""
    name = case["item.coating"]
    return None if name is None else in_a_sentence(case.entry("coatings", name).title)


@fact("item.coating_plastic", one_of(PLASTICS), ORDER)
def coating_plastic(case: Case) -> str | None:
    """The plastic the coating is made of."""
    name = case["item.coating"]
    return None if name is None else case.entry("coatings", name).plastic


def _usual_finishes(case: Case) -> tuple[str, ...] | None:
    """None said: untreated, unless such cloth usually is treated."""
    return None if case.substrate is not None and case.substrate.often_finished else ()


@fact(
    "item.finishes",
    set_of("finishes"),
    ORDER,
    Assume(
        "/item/finishes",
        _usual_finishes,
        "no finish said: taken as untreated",
        "Is the cloth treated, for instance water-repellent? Such cloth usually is. Say [] if it is not.",
    ),
)
def finishes(case: Case) -> tuple[str, ...] | None:
    """The textile finishes on the piece."""
    said: tuple[str, ...] | None = case.said("finishes")
    return said


@fact("item.repellent", BOOL, ORDER)
def repellent(case: Case) -> bool | None:
    """Whether a finish keeps adhesives from holding."""
    names = case["item.finishes"]
    return None if names is None else any(case.entry("finishes", name).repels for name in names)


@fact("item.ground", DATA, ORDER, Ask("/item/colour", "What colour is the ground under the print?"))
def ground(case: Case) -> Colour | None:
    """The colour under the print."""
    said = case.said("colour")
    return None if said is None else read_colour(said)


@fact("item.ground_lightness", number(units.LIGHTNESS), ORDER)
def ground_lightness(case: Case) -> float | None:
    """CIELAB lightness of the ground: 0 black, 100 white."""
    colour = case["item.ground"]
    return None if colour is None else round(colour.lightness, 4)


@fact("item.ground_chroma", number(units.RATIO), ORDER)
def ground_chroma(case: Case) -> float | None:
    """CIELAB chroma of the ground: 0 grey, above about 8 visibly coloured."""
    colour = case["item.ground"]
    return None if colour is None else round(colour.chroma, 4)


@fact("item.ground_white", BOOL, ORDER)
def ground_white(case: Case) -> bool | None:
    """Whether the ground passes for white: light enough and nearly grey."""
    if case["item.ground"] is None:
        return None
    return bool(
        case["item.ground_lightness"] >= case.limit("ground.white_lightness_least")
        and case["item.ground_chroma"] <= case.limit("ground.white_chroma_most")
    )


def _usual_dye(case: Case) -> str | None:
    """What a cloth of this ground and fibre is usually dyed with."""
    if case["item.ground_white"] is None or case["item.fibres"] is None:
        return None
    if not case["item.textile"] or case["item.ground_white"]:
        return "undyed"
    if case["item.polyester_share"] >= case.limit("migration.polyester_share_least"):
        return "disperse"
    return "acid" if case["item.nylon_share"] + case["item.protein_share"] >= 50 else "reactive"


@fact(
    "item.dye",
    one_of(DYES),
    ORDER,
    Assume("/item/dye", _usual_dye, "no dye said: taken as what such a cloth is usually dyed with"),
)
def dye(case: Case) -> str | None:
    """The dye class of the ground."""
    said: str | None = case.said("dye")
    return said


@fact("item.disperse_dyed", BOOL, ORDER)
def disperse_dyed(case: Case) -> bool | None:
    """Whether the ground carries disperse dye that heat can drive into a print."""
    if not case["item.textile"]:
        return False if case["item.textile"] is not None else None
    if case["item.ground_white"]:
        return False
    share, dye_class = case["item.polyester_share"], case["item.dye"]
    if share is None or dye_class is None:
        return None
    return bool(dye_class == "disperse" and share >= case.limit("migration.polyester_share_least"))


@fact(
    "item.features",
    set_of(FEATURES),
    ORDER,
    Assume("/item/features", (), "nothing raised, fragile or dangerous said to be in the pressed area"),
)
def features(case: Case) -> tuple[str, ...] | None:
    """Raised, fragile or dangerous things in the pressed area."""
    said: tuple[str, ...] | None = case.said("features")
    return said


@fact(
    "item.already",
    set_of("transfers"),
    ORDER,
    Assume("/item/already", (), "no earlier decoration said: taken as undecorated"),
)
def already(case: Case) -> tuple[str, ...] | None:
    """Families of the decorations the piece carries from before."""
    return case.order.item.already


@fact("item.decorated", BOOL, ORDER)
def decorated(case: Case) -> bool | None:
    """Whether the piece carries a decoration from before."""
    names = case["item.already"]
    return None if names is None else bool(names)


@fact(
    "item.preparation",
    set_of(PREPARATIONS),
    ORDER,
    Assume("/item/preparation", (), "no preparation said"),
)
def preparation(case: Case) -> tuple[str, ...] | None:
    """What was done to the piece beforehand."""
    return case.order.item.preparation


@fact("item.contradiction", TEXT, ORDER)
def contradiction(case: Case) -> str:
    """Where the description and the named blank disagree, in words; empty if they do not."""
    item, blank = case.order.item, case.blank
    if blank is None:
        return ""
    clashes = []
    if item.substrate is not None and item.substrate != blank.substrate:
        clashes.append(f"it is described as {item.substrate}, the blank is {blank.substrate}")
    if item.fibres is not None and blank.fibres is not None and dict(item.fibres) != dict(blank.fibres):
        clashes.append(f"its fibres are given as {mixture(item.fibres)}, the blank's are {mixture(blank.fibres)}")
    if item.coating is not None and item.coating != blank.coating:
        clashes.append(f"its coating is given as {item.coating}, the blank's is {blank.coating}")
    return "; ".join(clashes)


@fact("item.contradicts_blank", BOOL, ORDER)
def contradicts_blank(case: Case) -> bool:
    """Whether the description and the named blank disagree on substrate, fibres or coating."""
    return bool(case["item.contradiction"])


def mixture(fibres: object) -> str:
    """Fibres as a label writes them: "65 % PES, 35 % CO"."""
    shares = sorted(dict(fibres).items(), key=lambda each: (-each[1], each[0]))  # type: ignore[call-overload]
    return ", ".join(f"{share:g} % {code}" for code, share in shares)
