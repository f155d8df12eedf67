"""Sealing what is there as it is: a store of before there were seals, or with a new key after the old one was lost.

Nothing is known of what was done to it before. So this is said in the chain, by entries of their own that name every
document there is, and in each account of a check from then on.
"""

from __future__ import annotations

from collections.abc import Iterator

from accord_service.store.audit import FIRST_PAGE, Event, UnsealedEntry
from accord_service.store.commit import Committer, Reseal
from accord_service.store.connection import Connection
from accord_service.store.errors import Conflict, StoreAway
from accord_service.store.kinds import KINDS, place_of
from accord_service.store.look import Kept, all_names, looks

ATTEMPTS = 20


class Adoption:
    """Adopts a store. The services on it have to have stopped, or have to have the new key already."""

    def __init__(self, committer: Committer, connection: Connection) -> None:
        self._committer = committer
        self._connection = connection

    def adopt(self, *, who: str) -> int:
        """Seal every document of a kind that there may be, as it is; how many there are. Raises StoreAway, StoreBroken.

        What is of no kind stays unsealed, and is reported by each check.
        """
        self._seal_page((), who, FIRST_PAGE)
        sealed: set[str] = set()
        for number, keys in enumerate(self._pages(), int(FIRST_PAGE) + 1):
            new = tuple(key for key in dict.fromkeys(keys) if key not in sealed)
            self._seal_page(new, who, str(number))
            sealed |= set(new)
        return len(sealed)

    def _pages(self) -> Iterator[tuple[str, ...]]:
        for page in all_names(self._connection):
            keys = (key.decode("utf-8", "replace") for key in page)
            documents = tuple(key for key in keys if (kind := KINDS.get(place_of(key)[0])) and kind.is_document)
            if documents:
                yield documents

    def _seal_page(self, keys: tuple[str, ...], who: str, page: str) -> None:
        for _ in range(ATTEMPTS):
            kept = [document for seen in looks(self._connection, keys) for document in seen.documents]
            writes = [self._reseal(document) for document in kept if document.type == "hash" and document.version]
            entry = UnsealedEntry(who, Event.STORE_ADOPTED, page)
            try:
                expect = {write.key: write.version for write in writes}
                self._committer.commit(expect, writes, entry, on_any_head=page == FIRST_PAGE)
            except Conflict:
                continue
            return
        raise StoreAway(f"others wrote first {ATTEMPTS} times")

    def _reseal(self, document: Kept) -> Reseal:
        ends_at = None if document.lives_ms < 0 else self._committer.clock() + document.lives_ms / 1000
        return Reseal(document.key, document.version, document.sha256, ends_at)
