from __future__ import annotations

from dataclasses import dataclass

from accord_rules.documents.reading import optional
from accord_rules.orders.order import REFERENCE
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.governance_answers import Records
from accord_service.api.governance_examples import RECORDS
from accord_service.api.records import record_line
from accord_service.http.paging import PageQuery, bad_cursor, next_address
from accord_service.http.problems import NoShop
from accord_service.http.writing import Answer


@dataclass(frozen=True, slots=True)
class RecordsQuery(PageQuery):
    """Which records."""

    reference: str | None = optional(REFERENCE, about="only those of orders with exactly this reference")


@endpoint(
    "GET",
    "/v1/records",
    operation_id="listRecords",
    tag="Records",
    answers=Records,
    query=RecordsQuery,
    problems=(NoShop,),
    examples=(Example("One job", answer=RECORDS),),
)
def get_records(call: Call) -> Answer:
    """List the own shop's records, newest first; of one reference if wished. A page may be short."""
    shop_id, query = call.own.record.id, call.query
    with bad_cursor():
        page = call.room.store.records.page(shop_id, query.reference, query.cursor, query.limit)
    following = next_address("/v1/records", page.next, query, {"reference": query.reference})
    return Answer(Records(tuple(map(record_line, page.items)), following).document())
