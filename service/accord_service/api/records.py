"""What the endpoints that judge an order, and those about recorded orders, share."""

from __future__ import annotations

from collections.abc import Sequence
from types import MappingProxyType
from typing import Any

from accord_service.api.answers import Signatory
from accord_service.api.endpoint import Call
from accord_service.api.governance_answers import OutcomeReport, Record, RecordLine
from accord_service.api.request import note
from accord_service.api.signatories import signatories
from accord_service.http.problems import NotFound
from accord_service.run.times import instant
from accord_service.store import OrderRecord, OutcomeRecord
from accord_service.worker.kept import Counted, CountedFinding

RECORD_ID = MappingProxyType({"record_id": "id of the record"})


def judged(call: Call) -> dict[str, Any]:
    """The answer to an order, counted and noted in the log."""
    document, counted = judged_apart(call)
    count(call, counted)
    return document


def judged_apart(call: Call, *, observed: bool = False) -> tuple[dict[str, Any], Counted]:
    """The same, and what has to be counted of it; ``observed``: with what each finding found."""
    verdict, watched = call.authority.validated(call.body, call.shop, observed=observed)
    findings = (CountedFinding(finding.layer, finding.rule, finding.level) for finding in verdict.findings)
    counted = Counted(verdict.verdict, verdict.id, tuple(findings), watched)
    return {**verdict.document(), "basis": call.snapshot.basis}, counted


def count(call: Call, counted: Counted) -> None:
    """Count an answer that is given, and note it in the log."""
    if counted.watched:
        call.authority.count_watched(counted.watched)
    metrics = call.room.metrics
    metrics.count_verdict(counted.verdict)
    for finding in counted.findings:
        metrics.count_finding(finding.layer, finding.rule, finding.level)
    note(verdict=counted.verdict, verdict_id=counted.verdict_id)


def record_at(call: Call) -> OrderRecord:
    """The record that the address names, if it is the caller's shop's. Raises NoShop, and NotFound for others'."""
    record_id = call.path["record_id"]
    record = call.room.store.records.get(call.own.record.id, record_id)
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


def outcome_at(call: Call, record: OrderRecord) -> OutcomeRecord:
    """The report on a record that the address names. Raises NotFound."""
    outcome_id = call.path["outcome_id"]
    outcome = call.room.store.outcomes.get(record, outcome_id)
    if outcome is None:
        raise NotFound(f"Record {record.record_id} has no outcome {outcome_id!r}.")
    return outcome


def whole_record(record: OrderRecord) -> Record:
    """A record as its shop reads it."""
    question = record.question
    return Record(line=record_line(record), code=question["code"], order=question["order"], answer=record.answer)


def outcome_reports(call: Call, outcomes: Sequence[OutcomeRecord]) -> tuple[OutcomeReport, ...]:
    """Reports as their shop reads them, with whose key each was made with."""
    whose = signatories(call.room.store, (outcome.reported_by for outcome in outcomes))
    return tuple(_outcome_report(outcome, whose.get(outcome.reported_by)) for outcome in outcomes)


def outcome_report(call: Call, outcome: OutcomeRecord) -> OutcomeReport:
    """One report."""
    (report,) = outcome_reports(call, (outcome,))
    return report


def _outcome_report(outcome: OutcomeRecord, reported_by: Signatory | None) -> OutcomeReport:
    document = outcome.document
    return OutcomeReport(
        outcome_id=outcome.outcome_id,
        record_id=outcome.record_id,
        decoration=document["decoration"],
        result=document["result"],
        failure=outcome.failure,
        washes=document["washes"],
        note=document["note"],
        transfer=outcome.cell.transfer,
        substrate=outcome.cell.substrate,
        press_type=outcome.cell.press_type,
        reported_at=instant(outcome.reported_at),
        reported_by=reported_by,
        withdrawn_at=None if outcome.withdrawn_at is None else instant(outcome.withdrawn_at),
        drafted_proposal_id=outcome.drafted_proposal_id,
    )
