"""Verdict records: what was asked and what was answered, by shop and content address."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import unquote

from accord_service.store import names
from accord_service.store.audit import AuditEntry
from accord_service.store.commit import (
    ABSENT,
    AddToIndex,
    Committer,
    DropFromIndex,
    Put,
    Transaction,
    Versioned,
    Write,
    nothing_else,
)
from accord_service.store.connection import Connection
from accord_service.store.errors import Conflict, NotThere
from accord_service.store.index import Page, page_of_members

DAY_S = 86400
PAGE = 50
MASKED = "masked"


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictRecord:
    """``order`` and ``verdict`` as documents; ``reference`` is the shop's own word for the order, MASKED once masked.

    ``at`` and ``expires_at`` in seconds since 1970 (UTC); None: kept for good.
    """

    id: str
    shop: str
    version: int
    order: Mapping[str, Any]
    verdict: Mapping[str, Any]
    revision: int
    reference: str | None
    at: float
    expires_at: float | None

    def kept(self) -> dict[str, Any]:
        return {
            "order": self.order,
            "verdict": self.verdict,
            "revision": self.revision,
            "reference": self.reference,
            "at": self.at,
            "expires_at": self.expires_at,
        }


class Verdicts:
    def __init__(self, committer: Committer, connection: Connection) -> None:
        self._committer = committer
        self._connection = connection

    def record(
        self,
        shop: str,
        id_: str,
        *,
        order: Mapping[str, Any],
        verdict: Mapping[str, Any],
        revision: int,
        reference: str | None = None,
        retain_days: int | None = None,
        who: str,
        also: Callable[[VerdictRecord], Transaction] = nothing_else,
    ) -> VerdictRecord:
        """Keep a verdict. One that is there already is returned as it is, and costs one read.

        ``retain_days``: whole days after which it is gone; None keeps it for good. ``also`` is written only with it.
        """
        known = self.get(shop, id_)
        if known is not None:
            return known
        now = self._committer.clock()
        lives_s = None if retain_days is None else retain_days * DAY_S
        expires_at = None if lives_s is None else now + lives_s
        record = VerdictRecord(
            id=id_,
            shop=shop,
            version=1,
            order=order,
            verdict=verdict,
            revision=revision,
            reference=reference,
            at=now,
            expires_at=expires_at,
        )
        member = names.member(shop, id_)
        own = Transaction(
            {_key(shop, id_): ABSENT},
            (
                Put(_key(shop, id_), record.kept(), lives_s),
                AddToIndex(names.VERDICTS, member, now),
                DropFromIndex(names.VERDICTS_EXPIRY, member)
                if expires_at is None
                else AddToIndex(names.VERDICTS_EXPIRY, member, expires_at),
            ),
        )
        try:
            self._committer.apply(own + also(record), AuditEntry(who, "verdict.record", member))
        except Conflict as conflict:
            known = self.get(shop, id_) if conflict.key == _key(shop, id_) else None
            if known is None:
                raise
            return known
        return record

    def get(self, shop: str, id_: str) -> VerdictRecord | None:
        """One shop's verdict; never another's."""
        return _record(shop, id_, self._committer.get(_key(shop, id_)))

    def page(self, cursor: str | None = None, limit: int = PAGE) -> Page[VerdictRecord]:
        """Of all shops, newest first. A page may be short where records expired; ``next`` says whether more follow."""
        page = page_of_members(self._connection, names.VERDICTS, cursor, limit)
        places = [_parts(member) for member in page.items]
        kept = self._committer.get_all([_key(shop, id_) for shop, id_ in places])
        records = (_record(shop, id_, each) for (shop, id_), each in zip(places, kept, strict=True))
        return Page(tuple(each for each in records if each is not None), page.next)

    def all(self, limit: int = PAGE) -> Iterator[VerdictRecord]:
        """Of all shops, newest first, asked for in pages of ``limit``."""
        cursor = None
        while True:
            page = self.page(cursor, limit)
            yield from page.items
            if page.next is None:
                return
            cursor = page.next

    def mask_reference(self, shop: str, id_: str, *, who: str) -> VerdictRecord:
        """Take the reference out of the record, the order and the verdict, for good. Raises NotThere, or Conflict if
        it changed meanwhile."""
        old = self.get(shop, id_)
        if old is None:
            raise NotThere(f"there is no verdict {id_!r}")
        record = replace(
            old,
            version=old.version + 1,
            order=_masked(old.order),
            verdict=_masked(old.verdict),
            reference=None if old.reference is None else MASKED,
        )
        change = Transaction({_key(shop, id_): old.version}, (Put(_key(shop, id_), record.kept()),))
        self._committer.apply(change, AuditEntry(who, "verdict.mask", names.member(shop, id_)))
        return record

    def prune(self, *, who: str, limit: int = 500) -> int:
        """Take records that the server let expire out of the indexes too; how many that were. Run it now and then."""
        now = repr(self._committer.clock())
        due = self._connection.ask("ZRANGE", names.VERDICTS_EXPIRY, "-inf", now, "BYSCORE", "LIMIT", 0, limit)
        places = {each.decode(): _key(*_parts(each.decode())) for each in due}
        kept = self._committer.get_all(list(places.values()))
        gone = [member for member, record in zip(places, kept, strict=True) if record is None]
        if not gone:
            return 0
        writes: list[Write] = []
        for member in gone:
            writes += [DropFromIndex(names.VERDICTS, member), DropFromIndex(names.VERDICTS_EXPIRY, member)]
        # One that is recorded anew at this moment must not drop out of the indexes.
        expect = {places[member]: ABSENT for member in gone}
        self._committer.commit(expect, writes, AuditEntry(who, "verdict.prune", str(len(gone))))
        return len(gone)


def _parts(member: str) -> tuple[str, str]:
    shop, id_ = (unquote(part) for part in member.split("/"))
    return shop, id_


def _masked(document: Mapping[str, Any]) -> Mapping[str, Any]:
    return {**document, "reference": MASKED} if document.get("reference") is not None else document


def _key(shop: str, id_: str) -> str:
    return names.name("verdict", shop, id_)


def _record(shop: str, id_: str, kept: Versioned | None) -> VerdictRecord | None:
    return None if kept is None else VerdictRecord(id=id_, shop=shop, version=kept.version, **kept.document)
