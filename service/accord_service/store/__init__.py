"""Where everything is kept. The only room that knows the Redis protocol; see README.md for what it offers."""

from accord_rules.governance.outcomes import Cell
from accord_service.store.audit import Audit, AuditEntry, AuditHead, Event, SealedEntry
from accord_service.store.commit import ABSENT, Transaction
from accord_service.store.embedded import EmbeddedServer
from accord_service.store.errors import (
    AllReported,
    Conflict,
    FolderOwned,
    KeyReused,
    NotThere,
    StillRunning,
    StoreAway,
    StoreBroken,
    StoreError,
    WriteRefused,
)
from accord_service.store.idempotency import Remembered
from accord_service.store.index import Page
from accord_service.store.keys import USED_EVERY_S, IssuedKey, KeyRecord, KeyRing
from accord_service.store.outcomes import CellCount, OutcomeRecord
from accord_service.store.proposals import ProposalRecord
from accord_service.store.records import OrderRecord, without_reference
from accord_service.store.revisions import RevisionHead, RevisionRecord
from accord_service.store.shops import HouseRecord, ShopRecord
from accord_service.store.store import Store
from accord_service.store.watch import HeadWatch, Watched

__all__ = [
    "ABSENT",
    "USED_EVERY_S",
    "AllReported",
    "Audit",
    "AuditEntry",
    "AuditHead",
    "Cell",
    "CellCount",
    "Conflict",
    "EmbeddedServer",
    "Event",
    "FolderOwned",
    "HeadWatch",
    "HouseRecord",
    "IssuedKey",
    "KeyRecord",
    "KeyReused",
    "KeyRing",
    "NotThere",
    "OrderRecord",
    "OutcomeRecord",
    "Page",
    "ProposalRecord",
    "Remembered",
    "RevisionHead",
    "RevisionRecord",
    "SealedEntry",
    "ShopRecord",
    "StillRunning",
    "Store",
    "StoreAway",
    "StoreBroken",
    "StoreError",
    "Transaction",
    "Watched",
    "WriteRefused",
    "without_reference",
]
