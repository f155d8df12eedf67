"""What a condition wants set where an order sets otherwise: found in the sentences of the conditions themselves.

A ticket whose largest letters or whose steps say 70 s while a condition says 105 s has it pressed for 70 s.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from accord_rules.derive.case import Case
from accord_rules.revision.rule import Rule
from accord_rules.weigh.scales import Weighed

# A setting as rules read it, and the figure that a sentence tells to set for it.
_TOLD: Mapping[str, str] = MappingProxyType(
    {"set.time_s": "window.time_dial_s", "set.display_c": "window.aim_display_c"}
)
_IN_ORDERS: Mapping[str, str] = MappingProxyType({"set.time_s": "time", "set.display_c": "temperature"})


def told_settings(rule: Rule) -> tuple[str, ...]:
    """The settings, by their names in an order, that a rule's remedy tells a figure for."""
    told = rule.fix.facts if rule.about == "settings" else ()
    return tuple(_IN_ORDERS[of] for of, figure in _TOLD.items() if figure in told)


def told_instead(case: Case, weighed: Weighed) -> Mapping[str, float]:
    """The figure that a condition tells to set in place of what is set, by the fact of the setting: s and °C."""
    told = {
        setting
        for fired in weighed.at("requires")
        if fired.case.index == case.index
        for setting in told_settings(fired.rule)
    }
    return {
        of: case[figure]
        for of, figure in _TOLD.items()
        if _IN_ORDERS[of] in told and case[of] is not None and case[of] != case[figure]
    }


def with_settings_told(case: Case, weighed: Weighed) -> Case:
    """The pressing as hands set it: with the figures that conditions tell in place of those they replace."""
    instead = told_instead(case, weighed)
    if not instead or case.chosen is None or case.parent is None:
        return case
    chosen = case.chosen._replace(time_s=instead.get("set.time_s", case.chosen.time_s))
    if "set.display_c" in instead:
        display_c, calibration = instead["set.display_c"], case["press.calibration"]
        chosen = chosen._replace(
            display_c=display_c,
            surface_c=round(calibration.surface_c(display_c), 6),
            spread_k=round(calibration.spread_k(display_c), 6),
        )
    return case.parent.pressing_case(case.press, chosen, case.sequence)
