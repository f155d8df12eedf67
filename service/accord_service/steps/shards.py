"""The work on an effect, piece by piece: which shards there are, who has which and until when, what is done.

Pure functions over what the store keeps of it, plain JSON: the store compares and sets (``EffectStore.swap``), so each
of them is one step that is done whole or not at all. Only what is under way is listed: shards are cut off as they are
handed out, the recorded orders from the newest to the oldest, then the orders at edges; one that is done is in the sum.
A worker that dies leaves its shard to whoever comes after its time is up. Times are the store's own, in seconds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

TRIAL, RECORDED, EDGES = "trial", "recorded", "edges"
TRIES_MOST = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Shard:
    """What one worker does at once. Of recorded orders: their ``places``; of those at edges: from which to which.

    ``by``: who has it, None for nobody; ``until_s``: when it is lost to whoever has it; ``tries``: how often it was
    begun.
    """

    kind: str
    places: tuple[str, ...] = ()
    first: int = 0
    end: int = 0
    by: str | None = None
    until_s: float = 0.0
    tries: int = 0

    @property
    def orders(self) -> int:
        """How many it holds."""
        return len(self.places) if self.kind == RECORDED else self.end - self.first

    def document(self) -> dict[str, Any]:
        """Plain JSON."""
        return {name: getattr(self, name) for name in self.__slots__} | {"places": list(self.places)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """All the work on one run. ``code``: whose; ``trier``: who tried the book, empty until then.

    ``recorded`` and ``edges``: how many orders there are, None until the book was tried; ``cursor``: behind which
    record the next shard begins; ``all_recorded``: none is left to be handed out; ``next_edge``: which is the next one
    of those; ``judged``: orders done, of which ``gone`` were deleted meanwhile; ``flips`` so far.
    """

    code: str
    touched_s: float
    shards: Mapping[int, Shard]
    next_shard: int
    tried_s: float | None = None
    trier: str = ""
    recorded: int | None = None
    edges: int | None = None
    edges_left_out: int = 0
    cursor: str | None = None
    all_recorded: bool = False
    next_edge: int = 0
    judged: int = 0
    gone: int = 0

    @classmethod
    def begun(cls, code: str, now_s: float) -> Progress:
        """With the trial of the book as its one shard, since no worker runs rules that may crash it."""
        return cls(code=code, touched_s=now_s, shards=MappingProxyType({0: Shard(kind=TRIAL)}), next_shard=1)

    @classmethod
    def read(cls, document: Mapping[str, Any]) -> Progress:
        """What ``document`` wrote."""
        shards = {
            int(number): Shard(**{**shard, "places": tuple(shard["places"])})
            for number, shard in document["shards"].items()
        }
        return cls(**{**document, "shards": MappingProxyType(shards)})

    def document(self) -> dict[str, Any]:
        """Plain JSON."""
        shards = {str(number): shard.document() for number, shard in self.shards.items()}
        return {name: getattr(self, name) for name in self.__slots__} | {"shards": shards}

    @property
    def is_tried(self) -> bool:
        """Whether the changed book was tried, so that orders can be judged by it."""
        return self.tried_s is not None

    @property
    def is_done(self) -> bool:
        """Whether nothing is left to be handed out and nothing under way."""
        return self.is_tried and self.all_recorded and self.next_edge >= (self.edges or 0) and not self.shards

    @property
    def orders(self) -> int | None:
        """How many there are to be judged; None until that is known. As records come to the end of their time it may
        be a few less in the end."""
        return None if self.recorded is None or self.edges is None else self.recorded + self.edges

    def left_s(self, now_s: float) -> float | None:
        """How long it will take at the rate so far, by all that work on it; None until something is done."""
        if self.orders is None or self.tried_s is None or not self.judged:
            return None
        return max(0.0, self.orders - self.judged) * max(0.0, now_s - self.tried_s) / self.judged

    # -- steps ---------------------------------------------------------------------------------------------------------

    def may_begin_anew(self, code: str, now_s: float, lease_s: float) -> bool:
        """Whether a worker of another code may drop all this: only once nobody of its own has been at it for a while,
        or two programs beside each other, as in an upgrade, would drop each other's work for ever."""
        return code != self.code and now_s > self.touched_s + lease_s

    def free(self, by: str, now_s: float) -> int | None:
        """The first shard that somebody may take, as nobody has it, its time is up, or they let it slip (the store was
        away); None where there is none."""
        shards = sorted(self.shards.items())
        return next((number for number, shard in shards if shard.until_s <= now_s or shard.by == by), None)

    def handed(self, number: int, by: str, now_s: float, lease_s: float) -> Progress:
        """With a shard in somebody's hands. It is begun once more, unless by whoever had it: they are alive."""
        shard = self.shards[number]
        tries = shard.tries + int(shard.by != by)
        return self._with(number, replace(shard, by=by, until_s=now_s + lease_s, tries=tries), now_s)

    def renewed(self, number: int, now_s: float, lease_s: float) -> Progress:
        """With more time for whoever has a shard."""
        return self._with(number, replace(self.shards[number], until_s=now_s + lease_s), now_s)

    def given_back(self, number: int, now_s: float) -> Progress:
        """With a shard in nobody's hands, by somebody who stopped: no fault of the shard's."""
        shard = self.shards[number]
        return self._with(number, replace(shard, by=None, until_s=0.0, tries=shard.tries - 1), now_s)

    def cut_recorded(self, places: Sequence[str], cursor: str | None) -> Progress:
        """With one more shard, of these records; ``cursor`` None: they are the last ones."""
        cut = replace(self, cursor=cursor, all_recorded=cursor is None)
        return cut._cut(Shard(kind=RECORDED, places=tuple(places))) if places else cut

    def cut_edges(self, most: int) -> Progress:
        """With one more shard, of the orders at edges that follow, if any do."""
        end = min(self.edges or 0, self.next_edge + most)
        if end == self.next_edge:
            return self
        return replace(self, next_edge=end)._cut(Shard(kind=EDGES, first=self.next_edge, end=end))

    def tried(self, number: int, trier: str, recorded: int, edges: int, edges_left_out: int, now_s: float) -> Progress:
        """With the book tried, and so many orders to be judged."""
        done = self._without(number, now_s)
        return replace(done, tried_s=now_s, trier=trier, recorded=recorded, edges=edges, edges_left_out=edges_left_out)

    def finished(self, number: int, gone: int, now_s: float) -> Progress:
        """With a shard done; ``gone``: so many of its records are no more."""
        done = self._without(number, now_s)
        return replace(done, judged=self.judged + self.shards[number].orders, gone=self.gone + gone)

    def has(self, number: int, by: str) -> bool:
        """Whether a shard is in somebody's hands, and in nobody else's by now."""
        return number in self.shards and self.shards[number].by == by

    def _cut(self, shard: Shard) -> Progress:
        shards = MappingProxyType({**self.shards, self.next_shard: shard})
        return replace(self, shards=shards, next_shard=self.next_shard + 1)

    def _with(self, number: int, shard: Shard, now_s: float) -> Progress:
        return replace(self, shards=MappingProxyType({**self.shards, number: shard}), touched_s=now_s)

    def _without(self, number: int, now_s: float) -> Progress:
        left = MappingProxyType({other: shard for other, shard in self.shards.items() if other != number})
        return replace(self, shards=left, touched_s=now_s)
