"""Orders, shops and settings back as plain documents: what is digested, and what an answer offers to put back."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

from accord_rules.derive.chosen import Chosen
from accord_rules.derive.sheets import NONE
from accord_rules.documents import units


def plain(value: Any) -> Any:
    """A dataclass tree as JSON data in inside units, None left out: equal meanings give equal bytes."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = ((f.name, getattr(value, f.name)) for f in dataclasses.fields(value))
        return {name: plain(each) for name, each in fields if each is not None}
    if isinstance(value, Mapping):
        return {key: plain(each) for key, each in value.items()}
    if isinstance(value, (tuple, list)):
        return [plain(each) for each in value]
    return value


def exact(dimension: units.Dimension, value: float, preferences: units.UnitPreferences) -> str:
    """A quantity as an order document writes it, in the shop's unit, so that reading it gives ``value`` again."""
    unit = preferences.unit(dimension)
    if value == 0 and unit.offset == 0:
        return f"0 {unit.symbol}"
    for decimals in range(7):
        text = f"{unit.outside(value):.{decimals}f} {unit.symbol}"
        try:
            if abs(units.parse(dimension, text) - value) <= 1e-9:
                return text
        except units.UnitError:
            continue  # too few decimals can round to a value that no workshop can mean
    return f"{f'{value:.6f}'.rstrip('0').rstrip('.')} {dimension.symbol}"


def order_settings(chosen: Chosen, preferences: units.UnitPreferences) -> dict[str, Any]:
    """Complete settings as an order document writes them."""
    document: dict[str, Any] = {}
    if chosen.display_c is not None:
        document |= {"temperature": exact(units.TEMPERATURE, chosen.display_c, preferences), "read_at": "display"}
    if chosen.time_s is not None:
        document["time"] = exact(units.TIME, chosen.time_s, preferences)
    if isinstance(chosen.pressure, str):
        document["pressure"] = chosen.pressure
    elif chosen.pressure is not None:
        document["pressure"] = exact(units.PRESSURE, chosen.pressure, preferences)
    if chosen.peel is not None:
        document["peel"] = chosen.peel
    document |= {part: getattr(chosen, part) or NONE for part in ("cover", "pad", "tape")}
    document["pre_press"] = exact(units.TIME, chosen.pre_press_s, preferences)
    document["second_press"] = exact(units.TIME, chosen.second_press_s, preferences)
    return document
