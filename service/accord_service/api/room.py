"""What one running application holds: made once by ``app`` in each worker, handed to every endpoint.

The seam for endpoints. Each request takes one ``Snapshot`` (``with room().taken() as snapshot``; ``endpoint`` does it)
and answers from that alone, so that no answer mixes two revisions. An endpoint gets it inside ``Call``:

    call.book                the book of the snapshot, or of ``?revision=`` where the endpoint is declared ``as_of``
    call.authority           the authority over that book, under the house rules of the caller's shop
    call.shop                the caller's shop as that book knows it (NoShop for a key that belongs to none)
    call.caller              .key_id (also the audit's ``who``), .role, .shop_id, .shop (the shop's records) or None
    call.room.store          the store: reads raise StoreAway, which ``endpoint`` turns into a 503
    call.room.tally          outcomes by cell, as of a few seconds ago
    call.body, .document     the body as the dataclass that was declared, and as the JSON that was sent
    call.version             the version in If-Match, where the endpoint is declared ``replaces``

An endpoint declared ``writes`` returns ``Prepared(preview, commit)`` after all its checks: ``commit(remember)`` writes
with ``also=lambda record: remember(answer)`` and gives the answer. validate_only, Idempotency-Key and If-Match then
work by themselves. Its roles stand in ``roles.MAY``.

The snapshot moves on when the head or the directory did: whoever sees that loads the new one, and everybody else who
sees it waits for that. While the store is away, or where a new head can't be loaded, answers go on from what is held.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from typing import Any, cast

from flask import current_app

from accord_rules.authority import Authority
from accord_rules.documents.files import BookError
from accord_rules.documents.reading import DocumentError
from accord_rules.governance.house import HouseError
from accord_rules.infer.engine import EngineError
from accord_rules.infer.ledger import Ledger
from accord_rules.revision.book import Book
from accord_service.http.problems import HouseRulesDoNotFit, NotFound, NotReady
from accord_service.run.config import Config
from accord_service.run.metrics import Metrics
from accord_service.run.times import newest_day
from accord_service.steps.audit_watch import AuditWatch, Unfaithful
from accord_service.steps.bundle_pulls import BundlePulls
from accord_service.steps.effect_queue import EffectQueue, EffectQueueWatch
from accord_service.steps.history import Changelog
from accord_service.steps.key_uses import KeyUses
from accord_service.steps.outcomes import Tally
from accord_service.steps.records import Pruning
from accord_service.steps.shops import Caller, Directory, KnownShop, no_house
from accord_service.store import RevisionHead, Store, StoreError, Watched
from accord_service.worker.edition import Edition
from accord_service.worker.lending import Lent, Shelf
from accord_service.worker.rates import Rates

logger = logging.getLogger(__name__)
EXTENSION = "accord"
OLD_EDITIONS_MOST = 2  # about 30 MB each
TRY_AGAIN_S = 30.0
WRITES_TRIED_S = 1.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Snapshot:
    """What one answer rests on. ``basis`` is live or held; ``why`` says why it is not live, ``age_s`` since when."""

    edition: Edition
    directory: Directory
    basis: str
    age_s: float
    why: str
    _room: Room
    _leases: ExitStack

    @property
    def book(self) -> Book:
        return self.edition.book

    def lent(self, leases: ExitStack) -> Snapshot:
        """The same, with what else it takes held no longer than ``leases``, within its own time."""
        return replace(self, _leases=leases)

    def as_of(self, revision: int | None) -> Snapshot:
        """The same with an older revision of the book; None for the one it has. Raises NotFound, StoreAway."""
        if revision is None or revision == self.edition.head.number:
            return self
        return replace(self, edition=self._leases.enter_context(self._room.older(revision)))

    def authority_for(self, known: KnownShop | None) -> Authority:
        """The authority under the shop's house rules. Raises HouseRulesDoNotFit."""
        house = no_house("") if known is None else known.house
        try:
            return self._leases.enter_context(self.edition.authority_for(house))
        except (HouseError, DocumentError) as error:
            raise HouseRulesDoNotFit(f"Under revision {self.edition.head.number} of the book: {error}") from None


@dataclass(frozen=True, slots=True, eq=False)
class _Held:
    """What the worker has in memory."""

    edition: Lent[Edition]
    directory: Directory


@dataclass(frozen=True, slots=True)
class _Refused:
    """A head that could not be used; after ``until_s`` (monotonic) it is tried again, as a busy machine may be why."""

    head: RevisionHead | None
    why: str
    until_s: float


_NOTHING_REFUSED = _Refused(None, "", 0.0)


@dataclass(frozen=True, slots=True)
class State:
    """What /readyz tells. ``status``: ready, degraded or not ready.

    Degraded: answers go on, from what is held where ``store`` says why, with nothing written where ``writes`` says why,
    by the judge's word where ``engine_since_s`` (seconds since 1970) says since when it had to settle what the engine
    could not answer or answered wrongly, from a store that is not what the audit says where ``audit`` tells how, with
    effects left undone where ``effects`` stands still.
    """

    status: str
    head: RevisionHead | None
    failed: str
    store: str
    writes: str
    engine_since_s: float | None
    audit: Unfaithful | None
    effects: EffectQueue


class Room:
    """One worker's. Its threads share it; ``clock`` gives seconds since 1970 (UTC)."""

    def __init__(self, config: Config, store: Store, metrics: Metrics, clock: Callable[[], float] = time.time) -> None:
        self.config = config
        self.store = store
        self.metrics = metrics
        self.tally = Tally(store)
        self.changelog = Changelog(store)
        self.pruning = Pruning(store)
        self.key_uses = KeyUses(store)
        self.bundle_pulls = BundlePulls(store)
        self.audit_watch = AuditWatch(store, config.anchor_file, clock)
        self.effect_queue = EffectQueueWatch(store)
        self.rates = Rates(store.rates, config.rate_limits)
        self._clock = clock
        self.checking = threading.Lock()  # held by whoever reads the whole store
        self._moving = threading.Lock()
        self._trying = threading.Lock()
        self._writes, self._writes_until_s = "", 0.0
        self._held: _Held | None = None
        self._refused = _NOTHING_REFUSED
        self._old: Shelf[int, Edition] = Shelf(OLD_EDITIONS_MOST, Edition.close)
        self.ledger = Ledger(clock)
        # The description made last, and for which book; made anew by ``openapi``.
        self.described: tuple[str, dict[str, Any]] | None = None
        # What was made of it, by name, and for which book.
        self.described_as: dict[str, tuple[str, bytes]] = {}

    @property
    def now_s(self) -> float:
        """Seconds since 1970 (UTC)."""
        return self._clock()

    @property
    def today(self) -> date:
        return datetime.fromtimestamp(self._clock(), UTC).date()

    @property
    def newest_day(self) -> date:
        """The last day that has begun where some shop may be; what is dated later is still to come."""
        return newest_day(self._clock())

    def close(self) -> None:
        """Give everything up."""
        self._old.clear()
        if self._held is not None:
            self._held.edition.give_up()
        self.key_uses.close()
        self.bundle_pulls.close()
        self.audit_watch.close()
        self.store.close()

    # -- one request -------------------------------------------------------------------------------------------------

    @contextmanager
    def taken(self) -> Iterator[Snapshot]:
        """What holds now, for as long as the block runs. Raises NotReady if there never was a book."""
        with ExitStack() as leases:
            watched = self._watched()
            held = self._current(watched)
            while not held.edition.take():
                held = self._current(watched)
            leases.callback(held.edition.give_back)
            self.audit_watch.now_and_then()
            yield self._snapshot(held, watched, leases)

    def _snapshot(self, held: _Held, watched: Watched, leases: ExitStack) -> Snapshot:
        edition, why = held.edition.resource, watched.why
        if watched.live and edition.head != watched.head:
            why = self._refused.why or f"revision {watched.head.number} is being loaded"
        return Snapshot(
            edition=edition,
            directory=held.directory,
            basis="held" if why else "live",
            age_s=watched.age_s,
            why=why,
            _room=self,
            _leases=leases,
        )

    @contextmanager
    def older(self, revision: int) -> Iterator[Edition]:
        """Another revision than the one held. Raises NotFound."""
        with self._old.lend(revision, lambda: self._load_older(revision)) as edition:
            yield edition

    def _load_older(self, revision: int) -> Edition:
        record = self.store.revisions.revision(revision)
        if record is None:
            raise NotFound(f"There is no revision {revision} of the book.")
        try:
            return Edition.load(record, self.ledger, superseded=True)
        except (BookError, EngineError) as error:
            logger.warning("revision %d can't be loaded: %s", revision, error)
            raise NotFound(f"Revision {revision} was written for another version of this service.") from None

    def caller(self, token: str, snapshot: Snapshot) -> Caller | None:
        """Whoever holds the token. A key that was issued or confirmed a moment ago is looked up in the store."""
        caller = snapshot.directory.caller(token)
        if (caller is not None and not caller.waits) or snapshot.basis == "held":
            return caller
        try:
            key = self.store.keys.by_token(token)
            if key is None:
                return None
            if key.waits:  # all keys and shops are not read anew for what is turned away, however often it comes
                return snapshot.directory.caller_of(key)
            return Directory.load(self.store, snapshot.directory.number).caller(token)
        except StoreError as error:
            logger.warning("a key could not be looked up: %s", error)
            return caller

    def holder_of(self, key_id: str, snapshot: Snapshot) -> Caller | None:
        """Whoever holds the key of this id, as ``caller`` finds whoever holds a token: for who showed that earlier.
        None where it is unknown or revoked."""
        key = snapshot.directory.ring.by_id(key_id)
        if (key is None or key.waits) and snapshot.basis == "live":
            try:
                key = self.store.keys.get(key_id)
            except StoreError as error:
                logger.warning("a key could not be looked up: %s", error)
        return None if key is None or key.revoked_at is not None else snapshot.directory.caller_of(key)

    def storefront_origins(self) -> frozenset[str]:
        """The origins of all storefronts' keys, of which a preflight, that carries none, may be from any."""
        try:
            with self.taken() as snapshot:
                return snapshot.directory.origins
        except NotReady:
            return frozenset()

    def state(self) -> State:
        """How this worker is."""
        try:
            with self.taken() as snapshot:
                failed, head, since_s = snapshot.edition.failed, snapshot.edition.head, self.ledger.since_s
                writes = self.writes_refused()
                unfaithful = self.audit_watch.unfaithful
                effects = self.effect_queue.current()
                degraded = (
                    snapshot.basis == "held"
                    or bool(writes)
                    or since_s is not None
                    or unfaithful is not None
                    or bool(effects.stands_still)
                )
                status = "not ready" if failed else "degraded" if degraded else "ready"
                return State(status, head, failed, snapshot.why, writes, since_s, unfaithful, effects)
        except NotReady as problem:
            writes, effects = self.writes_refused(), self.effect_queue.current()
            unfaithful = self.audit_watch.unfaithful
            return State("not ready", None, "", problem.detail, writes, self.ledger.since_s, unfaithful, effects)

    def writes_refused(self) -> str:
        """Why nothing can be written; empty where it can. Tried anew after ``WRITES_TRIED_S``: whoever watches asks
        often, and a service that nobody writes to would not notice otherwise."""
        with self._trying:
            is_news = self.store.newest.loss is not None and not self._writes
            if is_news or time.monotonic() >= self._writes_until_s:
                try:
                    self.store.try_to_write()
                    self._writes = ""
                except StoreError as error:
                    self._writes = str(error)
                self._writes_until_s = time.monotonic() + WRITES_TRIED_S
            return self._writes

    # -- moving on ---------------------------------------------------------------------------------------------------

    def _watched(self) -> Watched:
        try:
            return self.store.watch.current()
        except StoreError as error:
            raise NotReady(f"No book could be read from the store yet: {error}") from None

    def _current(self, watched: Watched) -> _Held:
        held = self._held
        if held is not None and not (watched.live and self._moved(held, watched)):
            return held
        with self._moving:
            held, newest = self._held, self._watched()
            if held is None or self._moved(held, newest):
                held = self._held = self._moved_on(held, newest)
        return held

    def _moved(self, held: _Held, watched: Watched) -> bool:
        return self._has_new_head(held, watched) or watched.directory != held.directory.number

    def _has_new_head(self, held: _Held, watched: Watched) -> bool:
        refused = self._refused
        if watched.head == refused.head and time.monotonic() < refused.until_s:
            return False
        return watched.head != held.edition.resource.head

    def _moved_on(self, held: _Held | None, watched: Watched) -> _Held:
        """What is held, brought up to what was seen; as far as that goes, if the store or the new book fails."""
        try:
            directory = (
                held.directory
                if held is not None and held.directory.number == watched.directory
                else Directory.load(self.store, watched.directory)
            )
            if held is not None and not self._has_new_head(held, watched):
                return _Held(held.edition, directory)
            edition = self._load_head(watched.head, held)
        except StoreError as error:
            if held is None:
                raise NotReady(f"No book could be read from the store yet: {error}") from None
            logger.warning("the store's news could not be read: %s", error)
            return held
        if edition is None:
            assert held is not None
            return _Held(held.edition, directory)
        moved = _Held(Lent(edition, Edition.close), directory)
        if held is not None:
            held.edition.give_up()
            logger.info("the book moved on", extra={"details": {"revision": edition.head.number}})
        return moved

    def _load_head(self, head: RevisionHead, held: _Held | None) -> Edition | None:
        """The new head's edition. None where it can't be used and an older one can go on; NotReady without that."""
        record = self.store.revisions.revision(head.number)
        try:
            if record is None or record.head != head:
                raise BookError([f"the store has no revision {head.number} with the head's digest"])
            edition = Edition.load(record, self.ledger, None if held is None else held.edition.resource.book)
        except Exception as error:  # whatever a new book does to the loader, the one that is held goes on answering
            why = f"revision {head.number} can't be loaded: {error}"
            if not isinstance(error, (BookError, EngineError)):
                logger.exception("the loader failed")
            if held is None:
                raise NotReady(why) from None
            self._refuse(head, why)
            return None
        if edition.failed and held is not None:
            edition.close()
            self._refuse(head, f"revision {head.number} fails its own test: {edition.failed}")
            return None
        self._refused = _NOTHING_REFUSED
        return edition

    def _refuse(self, head: RevisionHead, why: str) -> None:
        logger.error("%s", why)
        self._refused = _Refused(head, why, time.monotonic() + TRY_AGAIN_S)


def room() -> Room:
    """The room of the application that answers this request."""
    return cast(Room, current_app.extensions[EXTENSION])
