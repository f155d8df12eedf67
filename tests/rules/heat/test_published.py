"""The solver against published closed-form answers, and the book's materials against tabulated ones."""

from __future__ import annotations

import pytest
from ht.insulation import ASHRAE, building_materials
from tests.rules.heat.check_table import CHECKS, Check

from accord_rules.documents.files import shipped
from accord_rules.documents.units import CONDUCTIVITY, DENSITY, HEAT_CAPACITY, parse
from accord_rules.heat.materials import (
    ACRYLIC,
    ALUMINIUM,
    FELT,
    FILLED_SILICONE,
    PLYWOOD,
    POLYAMIDE,
    POLYPROPYLENE,
    PTFE,
    PU,
    PVC,
    SILICONE,
    SILICONE_FOAM,
    Material,
)

SUBSTRATES = shipped()["substrates"]


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.name)
def test_printed_answer(check: Check) -> None:
    assert check.ours() == pytest.approx(check.printed, abs=check.tolerance)


# Ours -> the row of the library's copy of DIN EN 12524 and the VDI Heat Atlas: (density, conductivity, capacity).
BOOK_BY_EN_12524 = {
    "aluminium-sheet": "Metals, aluminium alloys",
    "steel-sheet": "Metals, steel",
    "enamel-mug": "Metals, steel",
    "stainless-tumbler": "Metals, stainless steel",
    "mdf": "Wood, fibreboard, 800 kg/m^3",
    "plywood": "Wood, plywood 700 kg/m^3",
    "timber": "Timber, 700 kg/m^3",
    "slate": "Stone, slate",
    "ceramic-tile": "Tiles, ceramic or porcelain",
    "ceramic-mug": "Tiles, ceramic or porcelain",
    "glass-panel": "Glass, soda lime",
    "glass-tumbler": "Glass, soda lime",
    "acrylic-sheet": "Plastics, polymethylmethacrylate (PMMA)",
    "acrylic-coated": "Plastics, polymethylmethacrylate (PMMA)",
    "polycarbonate-sheet": "Plastics, polycarbonates",
    "silicone-sheet": "Sealant, silicone, pure",
    "leatherette-pu": "Plastics, polyurethane (PU)",
    "leatherette-pvc": "Plastics, Polyvinylchloride (PVC)",
    "felt": "Floor covering, underlay, wool",
    "aluminium-bottle": "Metals, aluminium alloys",
    "brass-sheet": "Metals, brass",
    "ceramic-plate": "Tiles, ceramic or porcelain",
    "crystal-block": "Glass, soda lime",
    "marble": "Stone, marble",
    "mirror": "Glass, soda lime",
    "pen-barrel": "Metals, aluminium alloys",
    "phone-shell": "Plastics, polycarbonates",
    "polypropylene-sheet": "Plastics, polypropylene",
    "pvc-sheet": "Plastics, Polyvinylchloride (PVC)",
    "rubber-sheet": "Rubber, natural",
    "tapered-tumbler": "Metals, stainless steel",
    "tpu-shell": "Plastics, polyurethane (PU)",
    "vinyl-banner": "Sealant, polyvinylchloride (PVC) flexible, with 40% softner",
}
ROOM_BY_EN_12524 = (
    (ALUMINIUM, "Metals, aluminium alloys"),
    (PTFE, "Plastics, polytetrafluoroethylene (PTFE)"),
    (PU, "Plastics, polyurethane (PU)"),
    (PVC, "Plastics, Polyvinylchloride (PVC)"),
    (ACRYLIC, "Plastics, acrylic"),
    (POLYAMIDE, "Plastics, polyamide (nylon)"),
    (FELT, "Floor covering, underlay, felt"),
    (SILICONE, "Sealant, silicone, pure"),
    (FILLED_SILICONE, "Sealant, silicone, filled"),
    (SILICONE_FOAM, "Sealant, silicone foam"),
    (PLYWOOD, "Wood, plywood 500 kg/m^3"),
    (POLYPROPYLENE, "Plastics, polypropylene"),
)
STANDARD_HARDBOARD = "Hardboard, high density, standard-tempered grade"


def bulk(substrate: str) -> tuple[float, float, float]:
    """Density, conductivity and heat capacity of a substrate of the book."""
    entry = SUBSTRATES[substrate]
    return (
        parse(DENSITY, entry["density"]),
        parse(CONDUCTIVITY, entry["conductivity"]),
        parse(HEAT_CAPACITY, entry["heat_capacity"]),
    )


@pytest.mark.parametrize(("substrate", "row"), BOOK_BY_EN_12524.items())
def test_the_book_agrees_with_en_12524(substrate: str, row: str) -> None:
    assert bulk(substrate) == pytest.approx(building_materials[row])


@pytest.mark.parametrize(("material", "row"), ROOM_BY_EN_12524, ids=lambda value: getattr(value, "title", ""))
def test_the_rooms_own_materials_agree_with_en_12524(material: Material, row: str) -> None:
    ours = (material.density_kg_m3, material.conductivity_w_mk, material.heat_capacity_j_kgk)
    assert ours == pytest.approx(building_materials[row])


def test_the_books_hardboard_agrees_with_ashrae() -> None:
    density, capacity, conductivity, *_ = ASHRAE[STANDARD_HARDBOARD]
    assert bulk("hardboard") == pytest.approx((density, conductivity, capacity))


def test_every_substrate_that_claims_en_12524_alone_is_checked() -> None:
    claiming = {name for name, entry in SUBSTRATES.items() if entry["sources"] == ["thermal-en-12524"]}
    assert claiming - set(BOOK_BY_EN_12524) == {"cork-sheet"}


def test_cork_tiles_are_a_slip_in_the_library_and_right_in_the_book() -> None:
    # 65.0 W/(m K) would make cork a metal. When this fails the library was mended: take the row into the list above.
    density, conductivity, capacity = building_materials["Floor covering, tiles, cork"]
    assert conductivity == 65.0
    assert bulk("cork-sheet") == pytest.approx((density, conductivity / 1000, capacity))


def test_dense_particleboard_is_a_slip_in_the_library() -> None:
    # 1.18 is in Btu in/(h ft² °F), 0.170 W/(m K); its neighbours are 0.102 and 0.135. Fails when the library is mended.
    density, _, conductivity, *_ = ASHRAE["Particleboard, high density"]
    assert (density, conductivity) == (1000.0, 1.18)
    inch, foot, british_thermal_unit, hour, fahrenheit = 0.0254, 0.3048, 1055.05585262, 3600.0, 5 / 9
    assert conductivity * british_thermal_unit * inch / (hour * foot**2 * fahrenheit) == pytest.approx(0.170, abs=5e-4)


def test_ptfe_diffusivity() -> None:
    assert PTFE.layer(1e-3).diffusivity_m2_s == pytest.approx(1.136e-7, abs=1e-10)
