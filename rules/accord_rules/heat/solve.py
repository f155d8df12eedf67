"""One door to the three solvers."""

from __future__ import annotations

from accord_rules.heat.grid import Floats
from accord_rules.heat.history import History, checked_times
from accord_rules.heat.linear import solve_linear
from accord_rules.heat.sagging import solve_sagging
from accord_rules.heat.stack import HeatedPlaten, HeatError, OnOff, Stack
from accord_rules.heat.stepping import solve_stepping


def solve(
    stack: Stack,
    initial_c: float | tuple[float, ...],
    times_s: Floats,
    *,
    refine: int = 1,
    step_refine: int = 1,
    stepped: bool = False,
) -> History:
    """Temperatures of ``stack`` at ``times_s`` (which start at 0 and rise), from ``initial_c`` for all layers or each.

    A dry stack is solved exactly in time from its kept decomposition, under a platen that sags piece by piece; one
    with moisture or a thermostat is stepped (``stepped`` asks for that in any case). ``refine`` multiplies the cells
    and ``step_refine`` divides the steps, for convergence checks. Raises HeatError.
    """
    if refine < 1 or step_refine < 1:
        raise HeatError("refine and step_refine are whole numbers from 1")
    times, start_c = checked_times(times_s), stack.start(initial_c)
    if stepped or stack.damp or (isinstance(stack.top, HeatedPlaten) and isinstance(stack.top.control, OnOff)):
        return solve_stepping(stack, start_c, times, refine, step_refine)
    if isinstance(stack.top, HeatedPlaten):
        return solve_sagging(stack, start_c, times, refine)
    return solve_linear(stack, start_c, times, refine)
