"""Effects of proposals: those that were worked out, and the work on those that are being worked out.

An effect that was worked out is a document like any other. The work is not: it is nobody's act, changes every second or
two, and is no more than what judging the same orders once more would give. So it stands in no audit, and whoever writes
it compares and sets (``swap``). Should a fail-over lose the end of it, that much is done again.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from accord_rules.documents.canonical import canonical
from accord_service.store import names
from accord_service.store.commit import AddToIndex, Committer, Put, Transaction
from accord_service.store.connection import Connection
from accord_service.store.errors import StoreBroken

_SCRIPT = files("accord_service.store").joinpath("work.lua").read_text(encoding="utf-8")
_SCRIPT_SHA1 = hashlib.sha1(_SCRIPT.encode(), usedforsecurity=False).hexdigest()  # the server's own name for it
_LEVEL = 1  # of compression: a sum is written with each shard


@dataclass(frozen=True, slots=True)
class Run:
    """One working out of a proposal's effect, under an id of its own: a proposal that is opened again has another."""

    proposal_id: str
    run_id: str


@dataclass(frozen=True, slots=True)
class Work:
    """The work on a run as it is kept. ``version`` 0 and ``state`` None where there is none yet; ``total``: what the
    shards done come to, where it was asked for; ``now_s``: the store's own clock, seconds since 1970 (UTC)."""

    version: int
    state: Mapping[str, Any] | None
    total: Mapping[str, Any] | None
    now_s: float


class EffectStore:
    """Effects by proposal, and the work on runs."""

    def __init__(self, committer: Committer, connection: Connection) -> None:
        self._committer = committer
        self._connection = connection

    def get(self, proposal_id: str) -> Mapping[str, Any] | None:
        """What was kept of the effect that was worked out last; None where none was."""
        versioned = self._committer.get(_key(proposal_id))
        return None if versioned is None else versioned.document

    def keeping(self, proposal_id: str, document: Mapping[str, Any]) -> Transaction:
        """Keep an effect, to go into the commit that shows it."""
        return Transaction(writes=(Put(_key(proposal_id), document),))

    def starting(self, run: Run) -> Transaction:
        """Have a run worked on, to go into the commit that starts it."""
        return Transaction(writes=(AddToIndex(names.RUNS, _member(run), self._committer.clock()),))

    def runs(self) -> tuple[Run, ...]:
        """The runs to be worked on, the oldest first; one that has ended may still be among them."""
        members = self._connection.ask("ZRANGE", names.RUNS, 0, -1)
        return tuple(Run(*names.parts(member.decode())) for member in members)

    def forget(self, run: Run) -> None:
        """Take away what is left of a run that has ended. Whoever finds one that has does that, so that it is done even
        if whoever ended it is gone."""
        self._connection.ask_all((("ZREM", names.RUNS, _member(run)), ("DEL", _work(run))))

    def work(self, run: Run, *, total: bool = False) -> Work:
        """The work on a run. ``total``: with what the shards done come to."""
        fields = ("v", "d", "s") if total else ("v", "d")
        found, time_ = self._connection.ask_all((("HMGET", _work(run), *fields), ("TIME",)))
        now_s = int(time_[0]) + int(time_[1]) / 1e6
        version, text = found[:2]
        if version is None or text is None:
            return Work(0, None, None, now_s)
        try:
            packed = found[2] if total else None
            kept = None if packed is None else json.loads(zlib.decompress(packed))
            return Work(int(version), json.loads(text), kept, now_s)
        except (ValueError, zlib.error) as error:
            raise StoreBroken(f"the work on an effect can't be read: {error}") from None

    def swap(self, run: Run, version: int, state: Mapping[str, Any], total: Mapping[str, Any] | None = None) -> bool:
        """Write the work's next state, and ``total`` unless that stays; False if ``version`` is not its version any
        more. Raises StoreAway if the store did not acknowledge: then it was done or not, and reading tells."""
        packed = b"" if total is None else zlib.compress(canonical(total), _LEVEL)
        arguments = (str(version), canonical(state), "0" if total is None else "1", packed)
        return bool(self._connection.run(_SCRIPT, _SCRIPT_SHA1, (_work(run),), arguments))


def _key(proposal_id: str) -> str:
    return names.name("effect", proposal_id)


def _work(run: Run) -> str:
    return names.name("effect-work", run.proposal_id, run.run_id)


def _member(run: Run) -> str:
    return names.member(run.proposal_id, run.run_id)
