"""What an order is refused for, put to the columns that said it."""

from __future__ import annotations

from accord_service.cli.orders import Refused
from accord_service.tables.columns import Columns
from accord_service.tables.rows import Problem, problem_of


def problems_of(refused: Refused, columns: Columns | None) -> tuple[Problem, ...]:
    """What an answer finds wrong with an order, put to the columns that said it."""
    if not refused.faults:
        return (Problem(f"{refused.title}{f': {refused.detail}' if refused.detail else ''}"),)
    return tuple(problem_of(fault, columns) for fault in refused.faults)
