"""How the book changes, and what became of what was pressed: revisions, proposals, records, outcomes, audit.

Answers are the service's documents as they come (plain JSON); /docs on the service tells every field.
Every write carries an Idempotency-Key, so that asking again after a lost connection does nothing twice.
"""

from __future__ import annotations

import time
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, Protocol
from urllib.parse import urlencode

from accord_client.documents import Editable
from accord_client.exceptions import EffectNotDone, TimedOut

Document = Mapping[str, Any]
# A small effect takes some seconds, one of many recorded orders hours: it is asked for more and more rarely.
_SOON_S, _RARELY_S, _LATER = 0.2, 5.0, 1.5
CHECKING_S = 300.0


class Asker(Protocol):
    """What ``Client`` lends."""

    def read(self, address: str, silence_s: float | None = None) -> dict[str, Any]:
        """The answer to a GET; ``silence_s``: how long it may take, the client's own limit or this."""

    def write(self, method: str, address: str, body: Document | None, headers: Mapping[str, str]) -> dict[str, Any]:
        """The answer to a POST, PUT or DELETE."""

    def editable(self, address: str) -> Editable:
        """The answer to a GET, with its ETag."""

    def replace(self, address: str, body: Document, headers: Mapping[str, str]) -> Editable:
        """The answer to a PUT, with its ETag."""

    def pages(self, address: str) -> Iterator[Any]:
        """Every entry of a list, fetched page by page as they are taken."""


class Governance:
    """``Client.governance``. ``validate_only`` checks a write by the same path and writes nothing.

    Raises what ``Client`` raises: NotFound, NotAuthorised, InvalidOrder for a document with faults, and ProblemError
    with status 409 or 412 where somebody else was faster or the steps are not in order; its ``problem`` says which.
    """

    def __init__(
        self, asker: Asker, segment: Callable[[str], str], sleep: Callable[[float], None] = time.sleep
    ) -> None:
        self._asker = asker
        self._segment = segment
        self._sleep = sleep

    # -- revisions -----------------------------------------------------------------------------------------------------

    def revisions(self) -> Iterator[Document]:
        """Every revision of the book, newest first, without the book itself."""
        return self._asker.pages("/v1/revisions")

    def revision(self, revision: int, *, documents: bool = False) -> Document:
        """One revision; with ``documents`` the whole book as it was."""
        return self._asker.read(f"/v1/revisions/{revision}" + ("?documents=true" if documents else ""))

    def changes(self, revision: int) -> Document:
        """What a revision changed of the one before, beside what was there (``was``)."""
        return self._asker.read(f"/v1/revisions/{revision}/changes")

    def history(self, kind: str, id: str) -> Iterator[Document]:
        """The revisions that changed an entry, newest first, with what they changed; also of one that is gone."""
        return self._asker.pages(f"/v1/history/{self._segment(kind)}/{self._segment(id)}")

    def revert(self, revision: int, reason: str, *, validate_only: bool = False) -> Document:
        """A proposal that takes the book back to what a revision says, with its ``status``."""
        return self._post(f"/v1/revisions/{revision}/revert", {"reason": reason}, validate_only)

    # -- proposals -----------------------------------------------------------------------------------------------------

    def propose(
        self, base: Document, changes: Sequence[Document], reason: str, evidence: str, *, validate_only: bool = False
    ) -> Document:
        """Draft a proposal; it comes with its ``status``. ``base``: revision and digest that it starts from;
        ``changes``: kind, id, value each."""
        body = {
            "base": {"revision": base["revision"], "digest": base["digest"]},
            "changes": [dict(change) for change in changes],
            "reason": reason,
            "evidence": evidence,
        }
        return self._post("/v1/proposals", body, validate_only)

    def proposals(self, state: str | None = None) -> Iterator[Document]:
        """Every proposal, or those of one state, newest first, each with its status."""
        return self._asker.pages("/v1/proposals" + (f"?{urlencode({'state': state})}" if state else ""))

    def proposal(self, proposal_id: str) -> Editable:
        """A proposal as its author wrote it: base, changes, reason, evidence."""
        return self._asker.editable(self._proposal(proposal_id))

    def status(self, proposal_id: str) -> Document:
        """What became of a proposal: its state, its approvals, the digests to approve."""
        return self._asker.read(f"{self._proposal(proposal_id)}/status")

    def proposal_changes(self, proposal_id: str) -> Document:
        """What a proposal changes, entry by entry, beside what its base has (``was``), and which way a limit goes."""
        return self._asker.read(f"{self._proposal(proposal_id)}/changes")

    def edit(self, proposal_id: str, draft: Document, etag: str) -> Editable:
        """Write a proposal anew; refused (412) if ``proposal`` would have another ETag by now."""
        return self._asker.replace(self._proposal(proposal_id), draft, {"If-Match": etag, **_once()})

    def open(self, proposal_id: str, *, validate_only: bool = False) -> Document:
        """Have the effect worked out, upon which the proposal is put to the stewards.

        All recorded orders are judged for it, so the answer only says that it has begun; see ``wait_for_effect``.
        """
        return self._post(f"{self._proposal(proposal_id)}/open", None, validate_only)

    def effect(self, proposal_id: str) -> Document:
        """What the proposal would do, order by order, or how far the working out of that has come."""
        return self._asker.read(f"{self._proposal(proposal_id)}/effect")

    def wait_for_effect(
        self, proposal_id: str, *, progress: Callable[[Document], None] | None = None, patience_s: float = 3600.0
    ) -> Document:
        """The effect once it is worked out. ``progress`` is given what ``effect`` says each time that it is asked.

        Raises EffectNotDone where it failed, was stopped or is void, TimedOut after ``patience_s`` of waiting; it goes
        on meanwhile.
        """
        waited_s, pause_s = 0.0, _SOON_S
        while True:
            effect = self.effect(proposal_id)
            if progress is not None:
                progress(effect)
            if effect["state"] == "done":
                return effect
            if effect["state"] != "working":
                raise EffectNotDone(effect)
            if waited_s >= patience_s:
                raise TimedOut(f"the effect of {proposal_id} was not worked out within {patience_s:g} s")
            self._sleep(pause_s)
            waited_s, pause_s = waited_s + pause_s, min(_RARELY_S, _LATER * pause_s)

    def cancel_effect(self, proposal_id: str, *, validate_only: bool = False) -> Document:
        """Stop the working out of an effect: for the proposal's author, and stewards."""
        return self._post(f"{self._proposal(proposal_id)}/effect/cancel", None, validate_only)

    def approve(self, status: Document, *, validate_only: bool = False) -> Document:
        """Approve exactly what ``status``, as it was read, stands for."""
        return self._post(f"{self._proposal(status['proposal_id'])}/approve", dict(status["digests"]), validate_only)

    def decline(self, proposal_id: str, reason: str, *, validate_only: bool = False) -> Document:
        """A steward's no to somebody else's proposal."""
        return self._post(f"{self._proposal(proposal_id)}/decline", {"reason": reason}, validate_only)

    def withdraw(self, proposal_id: str, reason: str, *, validate_only: bool = False) -> Document:
        """Take the own proposal back."""
        return self._post(f"{self._proposal(proposal_id)}/withdraw", {"reason": reason}, validate_only)

    def publish(self, proposal_id: str, *, validate_only: bool = False) -> Document:
        """Make it the next revision."""
        return self._post(f"{self._proposal(proposal_id)}/publish", None, validate_only)

    # -- records and outcomes ------------------------------------------------------------------------------------------

    def record(self, order: Document, *, idempotency_key: str | None = None, validate_only: bool = False) -> Document:
        """Have an order judged and kept with its answer. Each call makes a record of its own, for equal orders too.

        An ``idempotency_key`` of your own, one for each job, makes that safe beyond this call: whatever is sent again
        with it within 24 hours is answered with the record that there is.
        """
        return self._post("/v1/records", order, validate_only, idempotency_key)

    def records(self, reference: str | None = None) -> Iterator[Document]:
        """The own shop's records, or those with one reference, newest first and without order and answer."""
        return self._asker.pages("/v1/records" + (f"?{urlencode({'reference': reference})}" if reference else ""))

    def read_record(self, record_id: str) -> Document:
        """One record: the order, and the answer as it was given."""
        return self._asker.read(self._record(record_id))

    def replay(self, record_id: str, revision: int | None = None) -> Document:
        """A recorded order asked again, under the present revision or another."""
        return self._asker.read(f"{self._record(record_id)}/replay" + (f"?revision={revision}" if revision else ""))

    def ticket(self, record_id: str, press: str | None = None) -> Document:
        """What a recorded order is pressed by: the plan as it was judged, on the best press or the one named."""
        return self._asker.read(
            f"{self._record(record_id)}/ticket" + (f"?{urlencode({'press': press})}" if press else "")
        )

    def delete_reference(self, record_id: str, *, validate_only: bool = False) -> Document:
        """Take the shop's own reference out of a record, for good."""
        address = f"{self._record(record_id)}/reference" + ("?validate_only=true" if validate_only else "")
        return self._asker.write("DELETE", address, None, _once())

    def report_outcome(self, record_id: str, outcome: Document, *, validate_only: bool = False) -> Document:
        """Say how a piece came out: ``{"result": "good"}``, or "failed" with ``failure`` and ``washes``."""
        return self._post(f"{self._record(record_id)}/outcomes", outcome, validate_only)

    def outcomes(self, record_id: str) -> Iterator[Document]:
        """The reports on one record, newest first."""
        return self._asker.pages(f"{self._record(record_id)}/outcomes")

    def outcome(self, record_id: str, outcome_id: str) -> Document:
        """One report on a record."""
        return self._asker.read(f"{self._record(record_id)}/outcomes/{self._segment(outcome_id)}")

    def withdraw_outcome(self, record_id: str, outcome_id: str, *, validate_only: bool = False) -> Document:
        """Take back a report that one made oneself; it counts no more, and stays to be read."""
        address = f"{self._record(record_id)}/outcomes/{self._segment(outcome_id)}/withdraw"
        return self._post(address, None, validate_only)

    def outcome_counts(self, *, poor: bool = False) -> Iterator[Document]:
        """How reported pieces of all shops came out, by transfer, substrate and type of press; only ``poor`` ones."""
        return self._asker.pages("/v1/outcomes?limit=200" + ("&poor=true" if poor else ""))

    # -- audit ---------------------------------------------------------------------------------------------------------

    def news(self, since: int | None = None) -> Document:
        """What happened since an entry of the audit, as far as it concerns this key; ``seq`` is what to ask since the
        next time, ``more`` whether to ask again at once. Left out, ``since`` is now."""
        return self._asker.read("/v1/news" if since is None else f"/v1/news?since={since}")

    def audit(self) -> Iterator[Document]:
        """Every write there ever was, oldest first; for stewards and admins."""
        return self._asker.pages("/v1/audit?limit=200")

    def audit_head(self) -> Document:
        """Where the audit ends: ``seq``, ``hash`` and the rest, with the ``anchor``, one line to be kept."""
        return self._asker.read("/v1/audit/head")

    def check_audit(self, anchor: str | None = None, silence_s: float = CHECKING_S) -> Document:
        """The service's account of whether all it holds is what the audit says: ``whole``, ``lines`` for people,
        ``faults``; for stewards and admins. ``anchor``: a line of ``audit_head`` that was kept, to be found again.

        Everything is read for it, so the service may stay silent for ``silence_s``.
        """
        query = f"?{urlencode({'anchor': anchor})}" if anchor is not None else ""
        return self._asker.read(f"/v1/audit/check{query}", silence_s)

    # -- inside --------------------------------------------------------------------------------------------------------

    def _post(
        self,
        address: str,
        body: Document | None,
        validate_only: bool,
        idempotency_key: str | None = None,
    ) -> dict[str, Any]:
        query = "?validate_only=true" if validate_only else ""
        return self._asker.write("POST", address + query, body, _once(idempotency_key))

    def _proposal(self, proposal_id: str) -> str:
        return f"/v1/proposals/{self._segment(proposal_id)}"

    def _record(self, record_id: str) -> str:
        return f"/v1/records/{self._segment(record_id)}"


def _once(idempotency_key: str | None = None) -> dict[str, str]:
    return {"Idempotency-Key": idempotency_key or uuid.uuid4().hex}
