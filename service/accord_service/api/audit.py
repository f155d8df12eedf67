"""How the audit is told: entries with whose keys they name, the head with its anchor, the account of a check."""

from __future__ import annotations

from collections.abc import Sequence

from accord_service.api.endpoint import Call
from accord_service.api.governance_answers import AuditAccount, AuditEntry, AuditFault, AuditHead
from accord_service.api.signatories import signatories
from accord_service.store import Account, ChainHead, SealedEntry


def audit_head(call: Call, head: ChainHead) -> AuditHead:
    """Where the chain ends."""
    return AuditHead(
        seq=head.seq,
        hash=head.hash,
        written_at=head.written_at or None,
        seal_key_id=head.seal_key_id or None,
        public_key=call.room.store.seals.public_key(head.seal_key_id) or None,
        anchor=head.text() if head.signature else None,
    )


def audit_entries(call: Call, entries: Sequence[SealedEntry]) -> tuple[AuditEntry, ...]:
    """Entries as they are sealed, and who did what to whose key."""
    whose = signatories(call.room.store, (id_ for entry in entries for id_ in (entry.actor_id, entry.subject_id)))
    return tuple(
        AuditEntry(
            seq=entry.seq,
            written_at=entry.written_at,
            actor_id=entry.actor_id,
            actor=whose.get(entry.actor_id),
            event=entry.event,
            subject_id=entry.subject_id,
            subject=whose.get(entry.subject_id),
            written=entry.written,
            versions=entry.versions,
            ends=entry.ends,
            seal_key_id=entry.seal_key_id,
            previous=entry.previous,
            hash=entry.hash,
        )
        for entry in entries
    )


def audit_account(call: Call, account: Account) -> AuditAccount:
    """What a check came to."""
    return AuditAccount(
        whole=account.is_whole,
        lines=account.lines(),
        head=audit_head(call, account.head),
        documents=account.documents,
        adopted_seq=account.adopted_seq,
        faults=tuple(AuditFault(fault.code, fault.name, fault.seq, fault.sentence) for fault in account.faults),
        faults_left_out=account.more,
        seals_checked=account.checks_seals,
    )
