"""The steward's desk: proposals and what they would do, revisions, the audit, outcomes and the shops' bundles."""

from accord_service.pages.desk.audit import desk_audit
from accord_service.pages.desk.book_draft import desk_draft_entry, desk_entries, desk_entry
from accord_service.pages.desk.draft import desk_draft
from accord_service.pages.desk.front import desk, desk_seen
from accord_service.pages.desk.outcomes import desk_outcomes
from accord_service.pages.desk.proposals import (
    desk_proposal,
    desk_proposal_status,
    desk_proposal_step,
    desk_proposals,
)
from accord_service.pages.desk.revisions import desk_revision, desk_revision_revert, desk_revisions
from accord_service.pages.desk.shops import desk_shops

__all__ = ["DESK"]

DESK = (
    desk,
    desk_seen,
    desk_proposals,
    desk_proposal,
    desk_proposal_status,
    desk_proposal_step,
    desk_draft,
    desk_entries,
    desk_entry,
    desk_draft_entry,
    desk_revisions,
    desk_revision,
    desk_revision_revert,
    desk_audit,
    desk_outcomes,
    desk_shops,
)
