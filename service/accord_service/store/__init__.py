"""Where everything is kept. The only room that knows the Redis protocol; see README.md for what it offers."""

from accord_rules.governance.outcomes import Cell
from accord_service.store.audit import AuditLog, Event, SealedEntry, UnsealedEntry, broken_at
from accord_service.store.check import FAULTS, Account, Check, Fault
from accord_service.store.commit import ABSENT, Transaction, nothing_else
from accord_service.store.effects import EffectStore, Run, Work
from accord_service.store.embedded import EmbeddedServer
from accord_service.store.errors import (
    AllReported,
    Altered,
    AlteredWork,
    Conflict,
    FolderOwned,
    KeyReused,
    NotReplicated,
    NotThere,
    SetBack,
    StillRunning,
    StoreAway,
    StoreBroken,
    StoreError,
    WriteRefused,
)
from accord_service.store.idempotency import RememberedAnswer
from accord_service.store.index import Page, number_of
from accord_service.store.keys import CONFIRMED_ROLES, USED_EVERY_S, KeyRecord, KeyRing, NewKey
from accord_service.store.newest import Loss, NewestHead
from accord_service.store.outcomes import CellCount, OutcomeRecord
from accord_service.store.proposals import ProposalRecord
from accord_service.store.rates import RateStore
from accord_service.store.readings import (
    WAITING_MOST,
    CountedReading,
    ReadingStore,
    WaitingReading,
    WaitingReadings,
)
from accord_service.store.records import OrderRecord, without_reference
from accord_service.store.revisions import RevisionHead, RevisionRecord
from accord_service.store.seals import SEAL_FAULTS, ChainHead, SealError, Seals
from accord_service.store.sessions import SESSION_S, SessionRecord, id_of
from accord_service.store.shops import VERSIONS_MOST, BundlePull, HouseRecord, ShopRecord, VersionRecord
from accord_service.store.store import OtherKey, Store
from accord_service.store.watch import HeadWatch, Watched

__all__ = [
    "ABSENT",
    "CONFIRMED_ROLES",
    "FAULTS",
    "SEAL_FAULTS",
    "SESSION_S",
    "USED_EVERY_S",
    "VERSIONS_MOST",
    "WAITING_MOST",
    "Account",
    "AllReported",
    "Altered",
    "AlteredWork",
    "AuditLog",
    "BundlePull",
    "Cell",
    "CellCount",
    "ChainHead",
    "Check",
    "Conflict",
    "CountedReading",
    "EffectStore",
    "EmbeddedServer",
    "Event",
    "Fault",
    "FolderOwned",
    "HeadWatch",
    "HouseRecord",
    "KeyRecord",
    "KeyReused",
    "KeyRing",
    "Loss",
    "NewKey",
    "NewestHead",
    "NotReplicated",
    "NotThere",
    "OrderRecord",
    "OtherKey",
    "OutcomeRecord",
    "Page",
    "ProposalRecord",
    "RateStore",
    "ReadingStore",
    "RememberedAnswer",
    "RevisionHead",
    "RevisionRecord",
    "Run",
    "SealError",
    "SealedEntry",
    "Seals",
    "SessionRecord",
    "SetBack",
    "ShopRecord",
    "StillRunning",
    "Store",
    "StoreAway",
    "StoreBroken",
    "StoreError",
    "Transaction",
    "UnsealedEntry",
    "VersionRecord",
    "WaitingReading",
    "WaitingReadings",
    "Watched",
    "Work",
    "WriteRefused",
    "broken_at",
    "id_of",
    "nothing_else",
    "number_of",
    "without_reference",
]
