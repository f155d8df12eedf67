"""One shop's bundle on this machine: pulled from the service, kept, and answered from while there is no line.

In one file are the bundle, the public key that is pinned, what the service calls this version of it (ETag), and marks
of the tokens that pulled it. The public key is taken from the first bundle unless it is given, and no other is taken
afterwards: whoever can pass for the service later can't bring a book of their own.

A bundle answers for the tokens that pulled it and for no other, since the service gave it to these alone; for each no
longer than the bundle that it pulled last, so that a key that was revoked since does not live on by others' pulls. A
mark is a salted digest (HMAC-SHA-256) of a token of 256 random bits (``store/keys.py``), so that a file that got lost
gives none away. It keeps keys, shops and roles apart on one machine, and is no lock: the book in the file can be read.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
import tempfile
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path

from accord_rules.documents.answers import STRING
from accord_rules.documents.reading import Date, Many, Object, optional, read, required
from accord_service.run.config import BUNDLE_FOLDER
from accord_service.steps.bundles import (
    Bundle,
    BundledAuthority,
    BundleRefused,
    Number,
    check,
    key_of,
    nobody,
    opened,
)

# A bundle is of a day: one that is two days old was not pulled for a day at least.
STALE_DAYS = 2
_FILE = "held.json"
_SALT_BYTES = 16
# More than a shop has keys; the oldest mark goes first.
_MARKS_MOST = 50
_UNREADABLE = "what is kept on this machine can't be read"
ABSENT, FRESH, STALE, BAD = "absent", "fresh", "stale", "bad"
OTHER_TOKEN, NO_TOKEN = "pulled-with-another-token", "no-token"
_NOT_YOURS = {
    True: "This bundle was pulled with another key than yours: pull it with this one (accord bundle pull).",
    False: "A bundle answers for the key that pulled it, and no key is set: set ACCORD_TOKEN, or give --token.",
}
# Gives the bytes of the bundle and their ETag, or None where those of the ETag that it gets still hold.
Pull = Callable[[str], tuple[bytes, str] | None]


def usual_folder() -> Path:
    """Where a bundle is kept unless somebody says otherwise (the XDG base directory specification)."""
    if named := os.environ.get(BUNDLE_FOLDER, "").strip():
        return Path(named)
    data = os.environ.get("XDG_DATA_HOME", "").strip()
    return (Path(data) if Path(data).is_absolute() else Path.home() / ".local" / "share") / "accord" / "bundle"


def today() -> date:
    """The day, UTC, as bundles count them."""
    return datetime.now(UTC).date()


@dataclass(frozen=True, slots=True)
class Holding:
    """What is held in a folder. ``state``: absent, fresh, stale (not pulled for a day or more) or bad.

    ``why``: of one that is bad, a word of ``bundles.REFUSED``, OTHER_TOKEN or NO_TOKEN, and ``message`` says it to
    people. ``bundle`` is None where there is none to answer from. ``answers_for``: whether the holder of a token may be
    answered from it.
    """

    state: str
    bundle: Bundle | None = None
    key: str = ""
    why: str = ""
    message: str = ""
    answers_for: Callable[[str], bool] = nobody

    def open(self, day: date) -> BundledAuthority:
        """What answers from it. Raises BundleRefused."""
        if self.bundle is None:
            raise BundleRefused(self.why or ABSENT, self.message or "No bundle was pulled to this machine yet.")
        return opened(self.bundle, day, self.answers_for)


@dataclass(frozen=True, slots=True)
class Pulled:
    """What became of a pull. ``is_new``: the bundle is another than was held; ``pinned``: its key was pinned now."""

    bundle: Bundle
    key: str
    is_new: bool
    pinned: bool


@dataclass(frozen=True, slots=True)
class _Mark:
    """What is kept of a token that pulled the bundle: salt, digest (hexadecimal digits), and the last day it holds."""

    salt: str = required(STRING)
    digest: str = required(STRING)
    holds_until: str = required(Date())

    @classmethod
    def of(cls, token: str, bundle: Bundle) -> _Mark:
        salt = secrets.token_hex(_SALT_BYTES)
        return cls(salt, _digest(salt, token), bundle.expires_on.isoformat())

    def is_of(self, token: str) -> bool:
        return hmac.compare_digest(self.digest.encode(), _digest(self.salt, token).encode())


def _digest(salt: str, token: str) -> str:
    return hmac.new(salt.encode(), token.encode(), hashlib.sha256).hexdigest()


@dataclass(frozen=True, slots=True)
class _Kept:
    """What stands in the file: written and read as one, so that no bundle is ever held with another one's key.

    ``pulled_by`` is empty in a file from before that was kept: nobody is answered from it until they pull it.
    """

    public_key: str = required(STRING)
    etag: str = required(STRING)
    bundle: str = required(STRING)
    pulled_by: tuple[_Mark, ...] = optional(Many(Object(_Mark), _MARKS_MOST), ())

    def answers_for(self, token: str, day: date) -> bool:
        return any(mark.is_of(token) and day.isoformat() <= mark.holds_until for mark in self.pulled_by)


def held(folder: Path, day: date, token: str | None) -> Holding:
    """What is held in a folder on a day for whoever has a token; bad for one that did not pull it, and for none."""
    try:
        kept = _read(folder)
    except (OSError, ValueError) as error:
        return Holding(BAD, why="unreadable", message=f"The bundle can't be used: {_UNREADABLE} ({_said(error)}).")
    if kept is None:
        return Holding(ABSENT)
    holding = _holding(kept, day)
    if holding.bundle is None:
        return holding
    if token and kept.answers_for(token, day):
        return replace(holding, answers_for=lambda asking: kept.answers_for(asking, day))
    return Holding(BAD, key=kept.public_key, why=OTHER_TOKEN if token else NO_TOKEN, message=_NOT_YOURS[bool(token)])


def _holding(kept: _Kept, day: date) -> Holding:
    try:
        bundle = check(kept.bundle.encode(), kept.public_key, "", day)
    except BundleRefused as refused:
        return Holding(BAD, key=kept.public_key, why=refused.why, message=str(refused))
    state = STALE if bundle.age_days(day) >= STALE_DAYS else FRESH
    return Holding(state, bundle, kept.public_key)


def pull(folder: Path, ask: Pull, token: str, shop_id: str, day: date, key: str = "") -> Pulled:
    """Ask for the bundle, check it, have it give its answers, and keep it; what is held stays where that fails.

    ``token``: what ``ask`` asks with; the bundle answers for it from now on, beside those of the same shop that pulled
    it before. ``shop_id``: whose it has to be. ``key``: the public key to pin, in place of one that is pinned; empty
    for that, or for the bundle's own where none is. Raises BundleRefused, OSError, and what ``ask`` raises.
    """
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    kept = _kept(folder, key)
    holding = Holding(ABSENT) if kept is None else _holding(kept, day)
    pinned = key or holding.key
    own = None if holding.bundle is None or holding.bundle.shop.record.id != shop_id else holding.bundle
    answer = ask("" if kept is None or own is None or key else kept.etag)
    if answer is None:
        if kept is None or own is None:
            raise BundleRefused("unreadable", "The service says that nothing changed, and there is no bundle here.")
        if not kept.answers_for(token, own.expires_on):
            _replace(folder / _FILE, _written(replace(kept, pulled_by=_marks(kept, token, own))))
        return Pulled(own, pinned, is_new=False, pinned=False)
    data, etag = answer
    taken = pinned or key_of(data)
    bundle = check(data, taken, shop_id, day, _number_of(holding, shop_id))
    opened(bundle, day).close()
    marks = _marks(None if own is None else kept, token, bundle)
    _replace(folder / _FILE, _written(_Kept(taken, etag, data.decode(), marks)))
    is_new = own is None or own.number != bundle.number
    return Pulled(bundle, taken, is_new=is_new, pinned=holding.key != taken)


def forget(folder: Path, token: str) -> bool:
    """Answer a token no more from what is kept; whether it was answered. Raises OSError."""
    try:
        kept = _read(folder)
    except ValueError:  # nobody is answered from it
        return False
    if kept is None or not any(mark.is_of(token) for mark in kept.pulled_by):
        return False
    others = tuple(mark for mark in kept.pulled_by if not mark.is_of(token))
    _replace(folder / _FILE, _written(replace(kept, pulled_by=others)))
    return True


def _number_of(holding: Holding, shop_id: str) -> Number | None:
    """What the next bundle may not be behind; of another shop's, the book and the day."""
    if holding.bundle is None:
        return None
    number = holding.bundle.number
    return number if holding.bundle.shop.record.id == shop_id else replace(number, shop=0, house_rules=0)


def _marks(kept: _Kept | None, token: str, bundle: Bundle) -> tuple[_Mark, ...]:
    """The marks of those who pulled before, and of a token that pulled a bundle now."""
    before = () if kept is None else kept.pulled_by
    others = tuple(mark for mark in before if not mark.is_of(token))
    return (*others[1 - _MARKS_MOST :], _Mark.of(token, bundle))


def _kept(folder: Path, key: str) -> _Kept | None:
    """What is there, to be replaced. A file that can't be read had a key pinned: no other takes its place unasked."""
    try:
        return _read(folder)
    except ValueError:
        if key:
            return None
        message = f"{_UNREADABLE}, nor what key is pinned: name it with --key, or remove {folder / _FILE}"
        raise BundleRefused("unreadable", f"The bundle can't be used: {message}.") from None


def _read(folder: Path) -> _Kept | None:
    """What is in the file; None where there is none. Raises OSError, and ValueError for what nobody wrote so."""
    try:
        content = (folder / _FILE).read_bytes()
    except FileNotFoundError:
        return None
    return read(_Kept, json.loads(content))


def _written(kept: _Kept) -> bytes:
    return json.dumps(asdict(kept)).encode()


def _said(error: Exception) -> str:
    return error.strerror or str(error) if isinstance(error, OSError) else "it is no bundle, or only a part of one"


def _replace(file: Path, content: bytes) -> None:
    """Whole or not at all, whenever this process ends."""
    handle, written = tempfile.mkstemp(dir=file.parent, prefix=f".{file.name}-")
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        os.replace(written, file)
    except OSError:
        os.unlink(written)
        raise
    folder = os.open(file.parent, os.O_RDONLY)
    try:
        os.fsync(folder)  # the new name too
    finally:
        os.close(folder)


def told(holding: Holding, day: date) -> str:
    """What is held, in a sentence."""
    if holding.bundle is None:
        return holding.message or "No bundle was pulled to this machine yet."
    bundle = holding.bundle
    age = bundle.age_days(day)
    days = "today's" if age == 0 else "yesterday's" if age == 1 else f"{age} days old"
    return (
        f"The bundle of {bundle.shop.shop.name}, revision {bundle.revision}, is {days} and good until"
        f" {bundle.expires_on.isoformat()}."
    )


def introduced(holding: Holding, day: date) -> str:
    """Who answers, and how old their book is."""
    told_of_it = f"Answers without a service. {told(holding, day)}"
    if holding.state != STALE:
        return told_of_it
    return f"{told_of_it} It was not pulled for a day or more, and the book may have moved on."


def as_document(holding: Holding) -> str:
    """The same for scripts, as JSON."""
    bundle = holding.bundle
    document = {
        "state": holding.state,
        "why": holding.why or None,
        "public_key": holding.key or None,
        "shop_id": bundle and bundle.shop.record.id,
        "revision": bundle and bundle.revision,
        "made_on": bundle and bundle.number.day,
        "expires_on": bundle and bundle.expires_on.isoformat(),
    }
    return json.dumps(document, ensure_ascii=False, indent=2)
