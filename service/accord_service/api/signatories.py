"""Who is behind the ids of keys: shop, holder's name and role, which is what people know each other by."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from accord_service.api.answers import Signatory
from accord_service.store import KeyRecord, Store


def signatory(key: KeyRecord | None) -> Signatory | None:
    """Whose key it is; None where there is none."""
    return None if key is None else Signatory(key.shop, key.holder, key.role)


def signatories(store: Store, ids: Iterable[str | None]) -> Mapping[str | None, Signatory]:
    """Whose keys these are, without ids of no key, as of parts of the program. Raises StoreAway."""
    keys = store.keys.get_all(id_ for id_ in ids if id_ is not None)
    return {id_: Signatory(key.shop, key.holder, key.role) for id_, key in keys.items()}
