"""What the book does not hold: platens, beds, carriers, the bulk of sheets and pads, and the contacts between them.

Each entry names a source of ``book/sources.toml``, or says that it is a choice and why.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from accord_rules.heat.stack import HeatError, Interface, Layer


@dataclass(frozen=True, slots=True)
class Material:
    """Conductivity W/(m K), density kg/m³, heat capacity J/(kg K), and the sources they are from."""

    title: str
    conductivity_w_mk: float
    density_kg_m3: float
    heat_capacity_j_kgk: float
    sources: tuple[str, ...]

    def layer(self, thickness_m: float, title: str | None = None, conductivity_w_mk: float | None = None) -> Layer:
        """A layer of it; ``conductivity_w_mk`` where the book says better."""
        return Layer(
            title or self.title,
            conductivity_w_mk or self.conductivity_w_mk,
            self.density_kg_m3,
            self.heat_capacity_j_kgk,
            thickness_m,
        )


_EN = ("thermal-en-12524",)
_PAPER = ("thermal-secondary", "thermal-incropera")

ALUMINIUM = Material("aluminium alloy", 160.0, 2800.0, 880.0, _EN)
PTFE = Material("PTFE", 0.25, 2200.0, 1000.0, _EN)
PU = Material("polyurethane", 0.25, 1200.0, 1800.0, _EN)
PVC = Material("PVC", 0.17, 1390.0, 900.0, _EN)
ACRYLIC = Material("acrylic", 0.20, 1050.0, 1500.0, _EN)
POLYAMIDE = Material("polyamide", 0.25, 1150.0, 1600.0, _EN)
PET = Material("polyester film", 0.24, 1370.0, 1000.0, ("thermal-secondary",))
PAPER = Material("paper", 0.18, 930.0, 1340.0, _PAPER)
FELT = Material("felt", 0.05, 120.0, 1300.0, _EN)
SILICONE = Material("silicone rubber", 0.35, 1200.0, 1000.0, _EN)
FILLED_SILICONE = Material("filled silicone rubber", 0.5, 1450.0, 1000.0, _EN)
SILICONE_FOAM = Material("silicone sponge", 0.12, 750.0, 1000.0, _EN)
POLYPROPYLENE = Material("polypropylene", 0.22, 910.0, 1800.0, _EN)
PLYWOOD = Material("plywood", 0.13, 500.0, 1600.0, _EN)
CLOTH = Material("pressed cloth", 0.07, 400.0, 1350.0, ("thermal-cloth-practice",))

# What stays on the piece, by the book's word for its plastic. Wax, and what has none (foil, ink), count as acrylic:
# thin enough that it hardly matters; a choice. Plastisol is PVC with plasticiser.
PLASTICS: Mapping[str, Material] = MappingProxyType(
    {
        "pu": PU,
        "pvc": PVC,
        "plastisol": PVC,
        "polyester": PET,
        "acrylic": ACRYLIC,
        "polyamide": POLYAMIDE,
        "wax": ACRYLIC,
        "none": ACRYLIC,
    }
)

# Carriers by the book's word, with the usual thickness: 0.1 mm print paper, 0.075 mm film. Common practice.
CARRIERS: Mapping[str, Layer] = MappingProxyType(
    {"paper": PAPER.layer(0.1e-3, "carrier paper"), "film": PET.layer(0.075e-3, "carrier film")}
)

# The bulk of the book's sheets and pads, which says how thick they are and how they conduct but not how heavy they are.
SHEETS: Mapping[str, Material] = MappingProxyType(
    {
        "ptfe-sheet": PTFE,
        "silicone-paper": PAPER,
        "plain-paper": PAPER,
        "kraft-paper": PAPER,
        "thin-film-cover": PET,
        "pressing-cloth": CLOTH,
        "felt-pad": FELT,
        "silicone-pad": SILICONE_FOAM,
        "conductive-silicone-pad": FILLED_SILICONE,
        "foam-pillow": FELT,
        "lower-platen-cover": PTFE,
        "pressing-board": PLYWOOD,
        "mug-wrap-sleeve": SILICONE,
        "shrink-sleeve": POLYPROPYLENE,
    }
)
# For a sheet or pad that is not listed: paper is the middle of the covers, sponge of the pads. A choice.
USUAL_SHEETS: Mapping[str, Material] = MappingProxyType({"cover": PAPER, "pad": SILICONE_FOAM})


def sheet_material(name: str, kind: str) -> Material:
    """The bulk of a consumable of the book, by its id, else by its kind. Raises HeatError for tape: it is no layer."""
    sheet = SHEETS.get(name) or USUAL_SHEETS.get(kind)
    if sheet is None:
        raise HeatError(f"{name}: a {kind} is not a layer of the stack")
    return sheet


@dataclass(frozen=True, slots=True)
class PlatenBuild:
    """The heated plate of a type of press and the bed it works against.

    ``mass_kg_m2`` is aluminium; ``loss_w_m2k`` what an idle platen loses over its back and sides, per area of its
    face. ``bed`` lies under everything, top to bottom. ``contact`` is what each contact conducts under this press.
    """

    mass_kg_m2: float
    loss_w_m2k: float
    bed: tuple[Layer, ...]
    contact: Interface

    @property
    def capacity_j_m2k(self) -> float:
        """Heat the platen gives up per kelvin, per square metre of its face."""
        return self.mass_kg_m2 * ALUMINIUM.heat_capacity_j_kgk


# No published conductance of paper or cloth against a plate at press pressures was found. An air gap of g conducts
# 0.026/g: 10 µm 2600, 100 µm 260 W/(m² K). 500-3000 is a range to try, not data; a choice. By hand, with a few kPa
# instead of a bench press's tens, contacts are looser: from the 100 µm gap to what a bench press is likely to have.
FIRM_CONTACT = Interface(1200.0, 500.0, 3000.0)
HAND_CONTACT = Interface(600.0, 260.0, 1200.0)

_BENCH_BED = (SILICONE_FOAM.layer(10e-3, "bed pad"), ALUMINIUM.layer(10e-3, "lower platen"))
_TABLE_BED = (FELT.layer(10e-3, "pressing mat"), PLYWOOD.layer(18e-3, "table"))
# Bench platens are cast plates of about 15 mm; a hand-held press has about 0.6 kg on 254 mm square. Choices, from
# what such machines weigh. Losses: still air on insulated backs; a hand-held press is thinly insulated.
_BENCH = PlatenBuild(40.0, 8.0, _BENCH_BED, FIRM_CONTACT)
PLATENS: Mapping[str, PlatenBuild] = MappingProxyType(
    {
        "hand": PlatenBuild(0.6 / 0.254**2, 12.0, _TABLE_BED, HAND_CONTACT),
        "hinged": _BENCH,
        "parallel": _BENCH,
        # A wrap is a heater mat in silicone, about 3 mm; the piece is hollow, with still air inside it.
        "wrap": PlatenBuild(3.6, 8.0, (), FIRM_CONTACT),
    }
)

# How many K more do in half the time what an adhesive takes, around 130 °C: 84 kJ/mol. From one film that its maker
# gives four settings for, and one flock with two (practice points), at the likely contact; a looser one wants more.
ADHESIVE_HALVED_BY_K = 11.0

# How fast a pre-press dries: cloth by its water, 18 g/m² of a cotton tee in 3 s as practice has it (a platen at 150 °C
# brings the heat for 10 g/m² a second at first). A board dries from its face inwards, as the square of the depth: at
# 195 °C 3.2 mm of damp hardboard is dry through after 165 s, 2 mm of greyboard after 57 s (stepped, this room).
CLOTH_DRIES_KG_M2S = 0.006
BOARD_DRIES_S_MM2 = 15.0

ROOM_C = 22.0
# A bench press's bed is warm from the pressing before; a table's mat is not. A choice.
WARM_BED_C = 50.0
# Free convection and radiation from the underside of bench or table, or into a hollow piece. Incropera Table 1.1 gives
# 2-25 W/(m² K) for free convection, from memory; it hardly matters within a dwell.
STILL_AIR_W_M2K = 10.0

# Moisture at 65 % humidity that a pre-press drives off, as a share of the dry mass, by the book's substrate families;
# cloth whose fibres are known has theirs instead. Cotton's regain is 7.0-8.5 %; board and leather from memory, order of
# magnitude.
USUAL_WATER_SHARE: Mapping[str, float] = MappingProxyType(
    {"cloth": 0.075, "wood": 0.06, "paper": 0.06, "cork": 0.04, "leather": 0.12}
)
