"""What the endpoints that judge an order, and those about recorded orders, share."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any

from accord_service.api.endpoint import Asked
from accord_service.api.governance_answers import OutcomeReport, Record, RecordLine
from accord_service.api.request import note
from accord_service.http.problems import NotFound
from accord_service.run.times import instant
from accord_service.store import OrderRecord, OutcomeRecord

RECORD_ID = MappingProxyType({"record_id": "id of the record"})


def judged(asked: Asked, *, observed: bool = False) -> dict[str, Any]:
    """The answer to an order, counted and noted in the log; ``observed``: with what each finding found."""
    verdict = asked.authority.validate(asked.body, asked.shop, observed=observed)
    metrics = asked.room.metrics
    metrics.count_verdict(verdict.verdict)
    for finding in verdict.findings:
        metrics.count_finding(finding)
    note(verdict=verdict.verdict, verdict_id=verdict.id)
    return {**verdict.document(), "basis": asked.snapshot.basis}


def record_at(asked: Asked) -> OrderRecord:
    """The record that the address names, if it is the caller's shop's. Raises NoShop, and NotFound for others'."""
    record_id = asked.path["record_id"]
    record = asked.room.store.records.get(asked.own.record.id, record_id)
    if record is None:
        raise NotFound(f"Your shop has no record {record_id!r}.")
    return record


def record_line(record: OrderRecord) -> RecordLine:
    """A record in a list."""
    return RecordLine(
        record_id=record.record_id,
        recorded_at=instant(record.recorded_at),
        expires_at=None if record.expires_at is None else instant(record.expires_at),
        reference=record.reference,
        verdict_id=record.answer["id"],
        verdict=record.answer["verdict"],
        revision=record.revision,
    )


def whole_record(record: OrderRecord) -> Record:
    """A record as its shop reads it."""
    asked = record.asked
    return Record(line=record_line(record), code=asked["code"], order=asked["order"], answer=record.answer)


def outcome_report(outcome: OutcomeRecord) -> OutcomeReport:
    """A report as its shop reads it."""
    said = outcome.document
    return OutcomeReport(
        outcome_id=outcome.outcome_id,
        record_id=outcome.record_id,
        decoration=said["decoration"],
        result=said["result"],
        failure=outcome.failure,
        washes=said["washes"],
        note=said["note"],
        transfer=outcome.cell.transfer,
        substrate=outcome.cell.substrate,
        press_type=outcome.cell.press_type,
        reported_at=instant(outcome.reported_at),
    )
