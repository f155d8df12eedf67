"""What ``accord work`` does: effects of proposals worked out, one after another, until told to stop."""

from __future__ import annotations

import logging
import os
import secrets
import signal
import socket
import time
from contextlib import suppress
from types import FrameType

from accord_service.cli.failure import Failure
from accord_service.run import log
from accord_service.run.config import Config, ConfigError
from accord_service.steps.audit_watch import HEAD_EVERY_S
from accord_service.steps.presence import Presence
from accord_service.store import ChainHead, Seals, Store, StoreError

logger = logging.getLogger("accord_service.work")
NICE = 10
IDLE_S = 0.5
AWAY_S = 1.0
PATIENT_S = 5.0  # nobody waits for the store's answers here


class _End:
    """Whether to end: told to, or the owner is gone."""

    def __init__(self, owner: int | None) -> None:
        self._owner = owner
        self._told = False
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, self._tell)

    def _tell(self, number: int, frame: FrameType | None) -> None:
        self._told = True

    def __call__(self) -> bool:
        return self._told or (self._owner is not None and os.getppid() != self._owner)


class _HeadWatch:
    """Called again and again: sees now and then whether the audit goes on from what is known. Raises StoreError."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._due_s = 0.0  # by time.monotonic

    def __call__(self) -> None:
        if time.monotonic() >= self._due_s:
            self._due_s = time.monotonic() + HEAD_EVERY_S
            self._store.newest.look()


def work_until_told(store: str, owner: int | None) -> None:
    """Work on the store at an address, the environment's if empty. Raises Failure where it can't begin."""
    if store:
        os.environ["ACCORD_STORE_URL"] = store
    try:
        config = Config.of_worker()
        opened = Store.at(config.store_url, timeout_s=PATIENT_S, seals=Seals.read(config.seal_key_file))
    except (ConfigError, StoreError) as error:
        raise Failure(f"It cannot start: {error}") from None
    log.configure(config.log_level)
    os.nice(NICE)
    opened.newest.remember(ChainHead.kept_in(config.anchor_file))
    try:
        _work(opened, config, _End(owner))
    finally:
        opened.close()


def _work(store: Store, config: Config, end: _End) -> None:
    name = f"{socket.gethostname()}:{os.getpid()}:{secrets.token_hex(4)}"
    presence = Presence(store, name)
    try:
        _wait_for_a_run(store, end, presence)
        if not end():
            _work_until_end(store, config, end, name)
    finally:
        with suppress(StoreError):
            presence.end()


def _work_until_end(store: Store, config: Config, end: _End, name: str) -> None:
    # The rules and what they rest on: not before there is something to do, since they take some 60 MB.
    from accord_service.steps.effects import EffectWorker

    worker = EffectWorker(store, name, edges_most=config.edges_most, stopping=end)
    watch = _HeadWatch(store)
    while not end():
        try:
            watch()
            if not worker.turn():
                time.sleep(IDLE_S)
        except StoreError as error:
            logger.warning("the store cannot be used for effects now: %s", error)
            time.sleep(AWAY_S)
    worker.close()


def _wait_for_a_run(store: Store, end: _End, presence: Presence) -> None:
    watch = _HeadWatch(store)
    while not end():
        try:
            watch()
            presence()
            if store.effects.runs():
                return
        except StoreError as error:
            logger.warning("the store cannot be used for effects now: %s", error)
        time.sleep(IDLE_S)
