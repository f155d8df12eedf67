"""Stacks that several tests share: a 3.2 mm hardboard piece under a sheet and dye paper, on a bench press's bed."""

from __future__ import annotations

from accord_rules.heat import (
    Convective,
    FixedPlaten,
    HeatedPlaten,
    Interface,
    Layer,
    OnOff,
    Proportional,
    Stack,
)
from accord_rules.heat.stack import Top

CONTACT = Interface(1200.0, 500.0, 3000.0)
AIR_C = 22.0


def board_stack(top: Top | None = None, water_share: float = 0.0, print_side: str = "upper") -> Stack:
    """The stack, 200 °C at the platen unless ``top`` says otherwise."""
    layers = (
        Layer("cover", 0.25, 2200.0, 1000.0, 0.13e-3),
        Layer("paper", 0.18, 930.0, 1340.0, 0.1e-3),
        Layer("board", 0.144, 1010.0, 1340.0, 3.2e-3, water_share),
        Layer("pad", 0.12, 750.0, 1000.0, 10e-3),
        Layer("bed", 160.0, 2800.0, 880.0, 10e-3),
    )
    return Stack(layers, (CONTACT,) * 6, 2, top or FixedPlaten(200.0), Convective(10.0, AIR_C), print_side)


def light_platen(control: Proportional | OnOff | None = None, set_c: float = 200.0) -> HeatedPlaten:
    """A hand-held press's platen: 9.3 kg/m² of aluminium and 1400 W on 254 mm square."""
    return HeatedPlaten(set_c, 8.2e3, 21.7e3, 12.0, AIR_C, control or Proportional())
