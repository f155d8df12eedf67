"""Where the working out of a proposal's effect stands: what is written down of it in the proposal."""

from __future__ import annotations

import dataclasses
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from accord_rules.governance.proposal import LIVE, Proposal
from accord_service.store import Run

EFFECT_STATES = WORKING, DONE, FAILED, CANCELLED, VOID = ("working", "done", "failed", "cancelled", "void")


@dataclass(frozen=True, slots=True, kw_only=True)
class EffectRun:
    """One working out of an effect. ``started_by``: the id of a key; ``because``: why it ended otherwise than done.

    ``orders``: how many were judged; None until all are. Times in seconds since 1970 (UTC).
    """

    run_id: str
    state: str
    started_by: str
    started_at: float
    ended_at: float | None = None
    because: str | None = None
    orders: int | None = None

    @classmethod
    def started(cls, who: str, now_s: float) -> EffectRun:
        """A new one, under an id of its own."""
        return cls(run_id=f"run_{secrets.token_hex(8)}", state=WORKING, started_by=who, started_at=now_s)

    @classmethod
    def read(cls, document: Mapping[str, Any] | None) -> EffectRun | None:
        """What ``document`` wrote; None where there was none."""
        return None if document is None else cls(**document)

    def document(self) -> dict[str, Any]:
        """Plain JSON, as it is kept in the proposal."""
        return dataclasses.asdict(self)

    def of(self, proposal_id: str) -> Run:
        """The run as the store knows it."""
        return Run(proposal_id, self.run_id)

    def ended(self, state: str, now_s: float, because: str | None = None, orders: int | None = None) -> EffectRun:
        """The same, at its end."""
        return replace(self, state=state, ended_at=now_s, because=because, orders=orders)

    def beside(self, proposal: Proposal) -> EffectRun:
        """As it stands while the proposal stands so: over where that is void, or has ended."""
        if self.state != WORKING or proposal.state in LIVE:
            return self
        if proposal.state == "void":
            return replace(self, state=VOID, because=proposal.ended_because)
        return replace(self, state=CANCELLED, because=f"The proposal was {proposal.state} meanwhile.")
