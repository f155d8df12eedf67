"""What the endpoints about versions of a document share."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import islice
from types import MappingProxyType

from accord_service.api.answers import Signatory
from accord_service.api.endpoint import Call
from accord_service.api.shop_answers import PlaceChange, VersionLine, Versions
from accord_service.http.paging import next_address
from accord_service.http.problems import NotFound
from accord_service.http.writing import Answer
from accord_service.run.times import instant
from accord_service.steps.versions import differences
from accord_service.store import KeyRecord, Page, VersionRecord, number_of

VERSION = MappingProxyType({"version": "number of the version"})
CHANGES_MOST = 200


def version_in(call: Call) -> int:
    """The number of the version that the address names. Raises NotFound."""
    number = number_of(call.path["version"])
    if number is None:
        raise no_version(call.path["version"])
    return number


def no_version(version: object) -> NotFound:
    return NotFound(f"There is no version {version}, or it is too old to be kept.")


def versions_answer(call: Call, address: str, page: Page[VersionRecord]) -> Answer:
    """A page of versions as an answer."""
    following = next_address(address, page.next, call.query)
    return Answer(Versions(version_lines(call, page.items), following).document())


def version_lines(call: Call, records: Iterable[VersionRecord]) -> tuple[VersionLine, ...]:
    """Versions without their documents, with whose keys wrote them."""
    told = tuple(records)
    keys = call.room.store.keys.get_all([record.changed_by for record in told if record.changed_by is not None])
    return tuple(_line(record, keys) for record in told)


def changes_of(before: VersionRecord | None, record: VersionRecord) -> tuple[tuple[PlaceChange, ...] | None, int]:
    """Where a version differs from the one before, and how many places more; None where that is not kept."""
    if record.version == 1:
        return (), 0
    if before is None:
        return None, 0
    told = differences(before.document, record.document)
    first = tuple(PlaceChange(pointer=d.pointer, before=d.before, after=d.after) for d in islice(told, CHANGES_MOST))
    return first, sum(1 for _ in told)


def _line(record: VersionRecord, keys: Mapping[str, KeyRecord]) -> VersionLine:
    key = keys.get(record.changed_by or "")
    return VersionLine(
        version=record.version,
        changed_at=instant(record.changed_at),
        changed_by_id=record.changed_by,
        changed_by=None if key is None else Signatory(key.shop, key.holder, key.role),
    )
