"""Effects of proposals: those that were worked out, and the work on those that are being worked out.

An effect that was worked out is a document like any other. The work is not: it is nobody's act, changes every second or
two, and is no more than what judging the same orders once more would give. So it stands in no audit, and whoever writes
it compares and sets (``swap``). Should a fail-over lose the end of it, that much is done again.

What the effect will say rests on it all the same. So its state carries a MAC over the run, the version and the digest
of the sum that belongs to it: what was put there, or altered, past the services is not read (``AlteredWork``). A state
of before, put back whole with its version and its sum, is one that was true once; its shards are done again.
"""

from __future__ import annotations

import hashlib
import json
import math
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from accord_rules.documents.canonical import canonical
from accord_service.store import names
from accord_service.store.commit import AddToIndex, Committer, Put, Transaction
from accord_service.store.connection import Connection
from accord_service.store.errors import AlteredWork, StoreBroken

_SCRIPT = files("accord_service.store").joinpath("work.lua").read_text(encoding="utf-8")
_SCRIPT_SHA1 = hashlib.sha1(_SCRIPT.encode(), usedforsecurity=False).hexdigest()  # the server's own name for it
PRESENT_S = 30.0  # that somebody counts as present who said so
_LEVEL = 1  # of compression: a sum is written with each shard


@dataclass(frozen=True, slots=True)
class Run:
    """One working out of a proposal's effect, under an id of its own: a proposal that is opened again has another."""

    proposal_id: str
    run_id: str


@dataclass(frozen=True, slots=True)
class Work:
    """The work on a run as it is kept. ``version`` 0 and ``state`` None where there is none yet; ``total``: what the
    shards done come to, where it was asked for; ``now_s``: the store's own clock, seconds since 1970 (UTC);
    ``total_sha256``: of the sum as it is kept, empty where there is none."""

    version: int
    state: Mapping[str, Any] | None
    total: Mapping[str, Any] | None
    now_s: float
    total_sha256: str = ""


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
        return tuple(_run(member) for member in members)

    def be_present(self, name: str) -> None:
        """Say that the process of this name works on effects, or would; it counts for ``PRESENT_S``."""
        now_s = _seconds(self._connection.ask("TIME"))
        self._connection.ask_all(
            (
                ("ZADD", names.WORKERS, now_s, name),
                ("ZREMRANGEBYSCORE", names.WORKERS, "-inf", f"({now_s - PRESENT_S}"),
                ("EXPIRE", names.WORKERS, math.ceil(2 * PRESENT_S)),
            )
        )

    def leave(self, name: str) -> None:
        """Say that the process of this name has ended."""
        self._connection.ask("ZREM", names.WORKERS, name)

    def queue(self) -> tuple[float, tuple[tuple[Run, float], ...], int]:
        """The store's own time, the runs to be worked on with when they began, the oldest first (both in seconds since
        1970, UTC), and how many processes are present to work on them."""
        time_, members, present = self._connection.ask_all(
            (
                ("TIME",),
                ("ZRANGE", names.RUNS, 0, -1, "WITHSCORES"),
                ("ZRANGE", names.WORKERS, 0, -1, "WITHSCORES"),
            )
        )
        now_s = _seconds(time_)
        begun = tuple((_run(member), float(score)) for member, score in _pairs(members))
        return now_s, begun, sum(float(score) > now_s - PRESENT_S for _, score in _pairs(present))

    def forget(self, run: Run) -> None:
        """Take away what is left of a run that has ended. Whoever finds one that has does that, so that it is done even
        if whoever ended it is gone."""
        self._connection.ask_all((("ZREM", names.RUNS, _member(run)), ("DEL", _work(run))))

    def work(self, run: Run, *, total: bool = False) -> Work:
        """The work on a run. ``total``: with what the shards done come to. Raises AlteredWork for what no service
        wrote."""
        fields = ("v", "d", "m", "s") if total else ("v", "d", "m")
        try:
            found, time_ = self._connection.ask_all((("HMGET", _work(run), *fields), ("TIME",)))
        except StoreBroken:
            if self._connection.ask("TYPE", _work(run)) in (b"hash", b"none"):
                raise
            raise AlteredWork(_named(run)) from None
        now_s = _seconds(time_)
        if not any(found):
            return Work(0, None, None, now_s)
        version, text, seal, *packed = found
        if not self._is_sealed(run, version, text or b"", seal):
            raise AlteredWork(_named(run))
        kept = json.loads(text)
        state, total_sha256 = kept["state"], kept["total_sha256"]
        if not total or not total_sha256:
            return Work(int(version), state, None, now_s, total_sha256)
        if hashlib.sha256(packed[0] or b"").hexdigest() != total_sha256:
            raise AlteredWork(_named(run))
        return Work(int(version), state, json.loads(zlib.decompress(packed[0])), now_s, total_sha256)

    def _is_sealed(self, run: Run, version: bytes | None, text: bytes, seal: bytes | None) -> bool:
        if version is None or not version.isdigit():
            return False
        return self._committer.seals.is_sealed(_work(run), int(version), hashlib.sha256(text).hexdigest(), seal)

    def swap(self, run: Run, work: Work, state: Mapping[str, Any], total: Mapping[str, Any] | None = None) -> bool:
        """Write the state that follows ``work``, and ``total`` unless that stays; False if somebody wrote another
        meanwhile. Raises StoreAway if the store did not acknowledge: then it was done or not, and reading tells."""
        packed = b"" if total is None else zlib.compress(canonical(total), _LEVEL)
        total_sha256 = work.total_sha256 if total is None else hashlib.sha256(packed).hexdigest()
        text = canonical({"state": state, "total_sha256": total_sha256})
        seal = self._committer.seals.document_seal(_work(run), work.version + 1, hashlib.sha256(text).hexdigest())
        arguments = (str(work.version), text, seal, "0" if total is None else "1", packed)
        return bool(self._connection.run(_SCRIPT, _SCRIPT_SHA1, (_work(run),), arguments))

    def drop(self, run: Run) -> None:
        """Take the work on a run away, so that it is begun anew. What another has begun by then is begun once more."""
        self._connection.ask("DEL", _work(run))


def _key(proposal_id: str) -> str:
    return names.name("effect", proposal_id)


def _work(run: Run) -> str:
    return names.name("effect-work", run.proposal_id, run.run_id)


def _named(run: Run) -> str:
    return names.public(_work(run))


def _run(member: bytes) -> Run:
    return Run(*names.parts(member.decode()))


def _pairs(members: Sequence[Any]) -> Sequence[Any]:
    """Members with their scores, which a connection of this protocol tells one after the other or in pairs."""
    return members if not members or isinstance(members[0], tuple | list) else [*zip(*[iter(members)] * 2, strict=True)]


def _seconds(time_: Sequence[Any]) -> float:
    return int(time_[0]) + int(time_[1]) / 1e6


def _member(run: Run) -> str:
    return names.member(run.proposal_id, run.run_id)
