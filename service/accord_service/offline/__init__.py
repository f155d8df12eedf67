"""One shop's bundle on this machine: pulled from the service, kept, and answered from while there is no line.

In one file are the bundle, the public key that is pinned, and what the service calls this version of it (ETag). The
key is taken from the first bundle unless it is given, and no other is taken afterwards: whoever can pass for the
service later can't bring a book of their own.
"""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from accord_rules.documents.answers import STRING
from accord_rules.documents.reading import read, required
from accord_service.run.config import BUNDLE_FOLDER
from accord_service.steps.bundles import Bundle, BundledAuthority, BundleRefused, check, key_of, opened

# A bundle is of a day: one that is two days old was not pulled for a day at least.
STALE_DAYS = 2
_FILE = "held.json"
_UNREADABLE = "what is kept on this machine can't be read"
ABSENT, FRESH, STALE, BAD = "absent", "fresh", "stale", "bad"
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

    ``why``: of one that is bad, a word of ``bundles.REFUSED``, and ``message`` says it to people. ``bundle`` is None
    where there is none to answer from.
    """

    state: str
    bundle: Bundle | None = None
    key: str = ""
    why: str = ""
    message: str = ""

    def open(self, day: date) -> BundledAuthority:
        """What answers from it. Raises BundleRefused."""
        if self.bundle is None:
            raise BundleRefused(self.why or ABSENT, self.message or "No bundle was pulled to this machine yet.")
        return opened(self.bundle, day)


@dataclass(frozen=True, slots=True)
class Pulled:
    """What became of a pull. ``is_new``: the bundle is another than was held; ``pinned``: its key was pinned now."""

    bundle: Bundle
    key: str
    is_new: bool
    pinned: bool


@dataclass(frozen=True, slots=True)
class _Kept:
    """What stands in the file: written and read as one, so that no bundle is ever held with another one's key."""

    public_key: str = required(STRING)
    etag: str = required(STRING)
    bundle: str = required(STRING)


def held(folder: Path, day: date) -> Holding:
    """What is held in a folder on a day."""
    try:
        kept = _read(folder)
    except (OSError, ValueError) as error:
        return Holding(BAD, why="unreadable", message=f"The bundle can't be used: {_UNREADABLE} ({_said(error)}).")
    if kept is None:
        return Holding(ABSENT)
    return _holding(kept, day)


def _holding(kept: _Kept, day: date) -> Holding:
    try:
        bundle = check(kept.bundle.encode(), kept.public_key, "", day)
    except BundleRefused as refused:
        return Holding(BAD, key=kept.public_key, why=refused.why, message=str(refused))
    state = STALE if bundle.age_days(day) >= STALE_DAYS else FRESH
    return Holding(state, bundle, kept.public_key)


def pull(folder: Path, ask: Pull, shop_id: str, day: date, key: str = "") -> Pulled:
    """Ask for the bundle, check it, have it give its answers, and keep it; what is held stays where that fails.

    ``shop_id``: whose it has to be. ``key``: the public key to pin, in place of one that is pinned; empty for that, or
    for the bundle's own where none is. Raises BundleRefused, OSError, and what ``ask`` raises.
    """
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    kept = _kept(folder, key)
    holding = Holding(ABSENT) if kept is None else _holding(kept, day)
    pinned = key or holding.key
    is_asked_anew = kept is None or holding.bundle is None or bool(key)
    answer = ask("" if kept is None or is_asked_anew else kept.etag)
    if answer is None:
        if holding.bundle is None:
            raise BundleRefused("unreadable", "The service says that nothing changed, and there is no bundle here.")
        return Pulled(holding.bundle, pinned, is_new=False, pinned=False)
    data, etag = answer
    taken = pinned or key_of(data)
    bundle = check(data, taken, shop_id, day, None if holding.bundle is None else holding.bundle.number)
    opened(bundle, day).close()
    _replace(folder / _FILE, _written(_Kept(taken, etag, data.decode())))
    is_new = holding.bundle is None or holding.bundle.number != bundle.number
    return Pulled(bundle, taken, is_new=is_new, pinned=holding.key != taken)


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
    return json.dumps({"public_key": kept.public_key, "etag": kept.etag, "bundle": kept.bundle}).encode()


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
