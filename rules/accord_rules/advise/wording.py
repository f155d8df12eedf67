"""Settings as an order document writes them: what an answer offers to put back."""

from __future__ import annotations

from typing import Any

from accord_rules.derive.chosen import Chosen, ChosenPressing
from accord_rules.documents import units
from accord_rules.documents.writing import quantity
from accord_rules.orders.order import NONE
from accord_rules.orders.sheet import SECOND


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
    pressings = {pressing.name: _pressing(pressing, preferences) for pressing in chosen.pressings}
    return document | ({"pressings": pressings} if pressings else {})


def _pressing(pressing: ChosenPressing, preferences: units.UnitPreferences) -> dict[str, Any]:
    """One beside the main pressing; what is as in the main one, and the time of a second press, stand there."""
    document: dict[str, Any] = {}
    if pressing.display_c is not None:
        document["temperature"] = quantity(units.TEMPERATURE, pressing.display_c, preferences)
    if pressing.name not in SECOND:
        document["time"] = quantity(units.TIME, pressing.time_s, preferences)
    if pressing.pressure is not None:
        document["pressure"] = pressing.pressure
    return document | {"peel": pressing.peel, "cover": pressing.cover or NONE}
