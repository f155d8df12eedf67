"""Which request an answer leads to (OpenAPI 3.1, link object)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any


@dataclass(frozen=True, slots=True)
class Link:
    """The request that an answer leads to: its operation, the names in its address, and its body, as places in the
    answer (JSON Pointers)."""

    operation_id: str
    path: Mapping[str, str]
    body: str | None = None
    about: str = ""

    def document(self) -> dict[str, Any]:
        places = {name: f"$response.body#{pointer}" for name, pointer in self.path.items()}
        body = {} if self.body is None else {"requestBody": f"$response.body#{self.body}"}
        return {"operationId": self.operation_id, "parameters": places, **body, "description": self.about}


_ITS_OWN = {"proposal_id": "/proposal_id"}
_ITS_RULE = {"rule_id": "/id"}
_ITS_READING = {"press_id": "/press_id", "reading_id": "/reading_id"}
_ITS_RECORD = {"record_id": "/record_id"}
# The operation that answers, to the links of its answer by name.
LINKS: Mapping[str, Mapping[str, Link]] = MappingProxyType(
    {
        "recordOrder": {
            "report": Link("reportOutcome", _ITS_RECORD, about="once a piece is pressed"),
            "delete": Link("deleteRecordReference", _ITS_RECORD, about="the reference alone"),
        },
        "reportOutcome": {
            "withdraw": Link(
                "withdrawOutcome", _ITS_RECORD | {"outcome_id": "/outcome_id"}, about="by who reported it"
            ),
        },
        "addHouseRule": {
            "edit": Link("replaceHouseRule", _ITS_RULE, about="with the ETag of a read of it in If-Match"),
            "delete": Link("deleteHouseRule", _ITS_RULE, about="with the ETag of a read of it in If-Match"),
        },
        "enterReading": {
            "confirm": Link("confirmReading", _ITS_READING, about="by the owner, where it waits"),
            "delete": Link("deleteReading", _ITS_READING, about="by the owner, or who entered it while it waits"),
        },
        "issueKey": {
            "confirm": Link("confirmKey", {"key_id": "/key_id"}, about="by another admin, a steward's or an admin's"),
            "revoke": Link("revokeKey", {"key_id": "/key_id"}, about="for good"),
        },
        "draftProposal": {
            "edit": Link("replaceProposal", _ITS_OWN, about="with the ETag of a read of it in If-Match"),
            "open": Link("openProposal", _ITS_OWN, about="to put it to the stewards"),
            "decline": Link("declineProposal", _ITS_OWN, about="by a steward"),
            "withdraw": Link("withdrawProposal", _ITS_OWN, about="by its author"),
        },
        "openProposal": {
            "effect": Link("readProposalEffect", _ITS_OWN, about="how far it is, and what it came to"),
            "cancel": Link("cancelProposalEffect", _ITS_OWN, about="by its author or a steward"),
        },
        "readProposalStatus": {
            "approve": Link("approveProposal", _ITS_OWN, "/digests", "once it is open, by a steward of another shop"),
        },
        "approveProposal": {"publish": Link("publishProposal", _ITS_OWN, about="once it is approved")},
    }
)
