"""Practice points beside plans and the heat estimate: ``python tests/rules/heat/practice_table.py``.

The residual is how many K hotter or cooler the print likely gets than its dose needs in that dwell: negative is short.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite

from practice_points import NEAR_K, NEAR_SHARE, planned, pressed_as_said, words

from accord_rules.authority import Authority
from accord_rules.documents import units
from accord_rules.load.loader import load_book


def _time(seconds: float) -> str:
    return f"{seconds:.0f}" if isfinite(seconds) else "-"


def rows(authority: Authority) -> Iterator[str]:
    points = authority.book.catalogue["practice"]
    yield f"{'point':38}{'press':18}{'set':>24}  {'plan':>14}  {'enough after s, by estimate':30}{'residual':>9}"
    for name, point in points.items():
        said = f"{words(units.TEMPERATURE, point.temperature)}, {words(units.TIME, point.time)}"
        plan = planned(point, authority)
        plan_words = "none" if plan is None else f"{plan.display_c:.0f} °C, {plan.time_s:.0f} s"
        mark = "" if plan is not None and plan.near else " (own sheet)" if point.own_sheet else " (off)"
        case = pressed_as_said(point, authority.book)
        estimate = case["heat.estimate"]
        if estimate is None:
            yield f"{name:38}{point.press:18}{said:>24}  {plan_words:>14}  {'no estimate':39}{mark}"
            continue
        soon, likely, late = map(_time, estimate.reach_s)
        cold = " too little even if everything helps" if case["heat.surely_cold"] else ""
        yield (
            f"{name:38}{point.press:18}{said:>24}  {plan_words:>14}  {f'{likely} ({soon} to {late})':30}"
            f"{-case['heat.short_k']:+8.1f} K{mark}{cold}"
        )
    yield f"A plan is off where it lies more than {NEAR_K:g} K or {NEAR_SHARE:.0%} of the dwell outside the point."


def main() -> None:
    for row in rows(Authority(load_book())):
        print(row)


if __name__ == "__main__":
    main()
