from __future__ import annotations

from dataclasses import dataclass

from accord_rules.orders.order import Order
from accord_service.api import examples, lines
from accord_service.api.endpoint import Call, always, endpoint
from accord_service.api.kept_answers import given_again, validated
from accord_service.api.v1.post_validate import ValidateQuery
from accord_service.http.writing import Answer


@dataclass(frozen=True, slots=True)
class ValidateBatchQuery(ValidateQuery):
    """What to tell with each verdict, which number the first line has, and which lines were answered before."""

    first_line: int | None = lines.first_line()
    from_line: int = lines.from_line()


@endpoint(
    "POST",
    "/v1/validate/batch",
    operation_id="validateOrders",
    tag="Orders",
    takes=Order,
    lines=True,
    query=ValidateBatchQuery,
    answers=lines.AnsweredLine,
    judges=True,
    heavy=always,
    again=given_again,
    as_of=True,
    examples=examples.ORDER_LINES,
)
def post_validate_batch(call: Call) -> Answer:
    """Say of many orders whether they can be done.

    An order a line (NDJSON), or an order a row of a table (text/csv), any number of them; each is answered with a line,
    in the same order, as soon as it is worked out. All are answered from one revision. A line that can't be read is
    answered with the problem, and the others are not held up by it. The last line says how many there were, and whether
    all were answered: without it the answer was cut. Where others wait, or after five minutes, it ends early, and the
    last line says which line to go on with: from_line has the same body gone on with, first_line one that begins
    there. Send and read at the same time, or pieces of at most 1 MiB: the service
    takes no more of the body while answers wait to be read.

    A table begins with a row of headers, in the words that an order's fields go by, with a unit where bare numbers
    stand below ("width (in)"). Columns that no order has are left out, and the last line names them. Where a quoted
    cell is never closed, rows behind it may lie in it: none of them is read, and the last line names the row
    (broken_row).
    """
    return validated(call)
