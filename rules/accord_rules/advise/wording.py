"""Settings as an order document writes them: what an answer offers to put back."""

from __future__ import annotations

from typing import Any

from accord_rules.derive.chosen import Chosen
from accord_rules.documents import units
from accord_rules.documents.writing import quantity
from accord_rules.orders.order import NONE


def order_settings(chosen: Chosen, preferences: units.UnitPreferences) -> dict[str, Any]:
    """Complete settings as an order document writes them."""
    document: dict[str, Any] = {}
    if chosen.display_c is not None:
        document |= {"temperature": quantity(units.TEMPERATURE, chosen.display_c, preferences), "read_at": "display"}
    if chosen.time_s is not None:
        document["time"] = quantity(units.TIME, chosen.time_s, preferences)
    if isinstance(chosen.pressure, str):
        document["pressure"] = chosen.pressure
    elif chosen.pressure is not None:
        document["pressure"] = quantity(units.PRESSURE, chosen.pressure, preferences)
    if chosen.peel is not None:
        document["peel"] = chosen.peel
    document |= {part: getattr(chosen, part) or NONE for part in ("cover", "pad", "tape")}
    document["pre_press"] = quantity(units.TIME, chosen.pre_press_s, preferences)
    document["second_press"] = quantity(units.TIME, chosen.second_press_s, preferences)
    return document
