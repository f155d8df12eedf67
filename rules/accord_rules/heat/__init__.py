"""Heat: transient conduction through the stack under a press, and cooling to the touch. Pure; see README.md.

stack = stack_for(substrate, transfer, press_type, surface_c=195.0, cover=Sheet("ptfe-sheet", entry))
history = solve(stack, initial_c=22.0, times_s=time_grid(70.0))
history.time_to_reach_s(180.0), history.time_above_s(180.0), history.peak_back_c
estimate(stack, 22.0, 70.0, 180.0, Spread(platen_k=press_type.spread)).time_to_reach_s     # low, likely, high
"""

from accord_rules.heat.build import Sheet, platen_for, sheet_layer, stack_for, substrate_layer, transfer_layers
from accord_rules.heat.estimate import Estimate, Spread, estimate
from accord_rules.heat.history import History, time_grid
from accord_rules.heat.ranges import Range
from accord_rules.heat.solve import solve
from accord_rules.heat.stack import (
    PERFECT,
    Convective,
    FixedPlaten,
    HeatedPlaten,
    HeatError,
    Insulated,
    Interface,
    Layer,
    OnOff,
    Proportional,
    Stack,
)
from accord_rules.heat.touch import FAN, STILL_AIR, Air, cooling_s, time_to_touch_s, touch_limit_c

__all__ = [
    "FAN",
    "PERFECT",
    "STILL_AIR",
    "Air",
    "Convective",
    "Estimate",
    "FixedPlaten",
    "HeatError",
    "HeatedPlaten",
    "History",
    "Insulated",
    "Interface",
    "Layer",
    "OnOff",
    "Proportional",
    "Range",
    "Sheet",
    "Spread",
    "Stack",
    "cooling_s",
    "estimate",
    "platen_for",
    "sheet_layer",
    "solve",
    "stack_for",
    "substrate_layer",
    "time_grid",
    "time_to_touch_s",
    "touch_limit_c",
    "transfer_layers",
]
