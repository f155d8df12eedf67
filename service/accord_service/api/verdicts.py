"""What the endpoints about recorded verdicts share."""

from __future__ import annotations

from types import MappingProxyType

from accord_service.api.endpoint import Asked
from accord_service.api.governance_answers import OutcomeReport
from accord_service.http.problems import NotFound
from accord_service.run.times import instant
from accord_service.store import OutcomeRecord, VerdictRecord

VERDICT = MappingProxyType({"verdict": "id of the verdict, as it was answered with record=true"})


def record_of(asked: Asked) -> VerdictRecord:
    """The verdict that the address names, if it is the caller's shop's. Raises NotFound, whoever else's it may be."""
    id_ = asked.path["verdict"]
    record = asked.room.store.verdicts.get(asked.caller.shop_id, id_)
    if record is None:
        raise NotFound(f"Your shop has no recorded verdict {id_!r}.")
    return record


def reported(record: OutcomeRecord) -> OutcomeReport:
    """A report as its shop reads it."""
    said = record.document
    return OutcomeReport(
        id=record.id,
        verdict=record.verdict,
        decoration=said["decoration"],
        result=said["result"],
        failure=record.failure,
        washes=said["washes"],
        note=said["note"],
        transfer=record.cell.transfer,
        substrate=record.cell.substrate,
        press_type=record.cell.press_type,
        at=instant(record.at),
    )
