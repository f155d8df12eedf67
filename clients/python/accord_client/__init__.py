"""Asks a Platen Accord service: can this order be done, and how.

from accord_client import Client

with Client("https://accord.example", token) as accord:
    verdict = accord.validate(order)
    if not verdict.workable:
        print(verdict.findings[0].because)
"""

from accord_client.aio import AsyncClient
from accord_client.client import Client
from accord_client.documents import (
    Assumption,
    Change,
    Editable,
    Entry,
    Envelope,
    Fact,
    Finding,
    Health,
    Kind,
    Need,
    Plan,
    PlannedDecoration,
    PlannedStep,
    PressingStack,
    PressVerdict,
    Recommendation,
    Remedy,
    Rule,
    RuledOut,
    RuleLine,
    SampleLeanedOn,
    ShopStatus,
    SourcedMarketRow,
    SourcedNumber,
    SourcedRoom,
    Sourcing,
    StackLayer,
    Step,
    StepLine,
    Verdict,
)
from accord_client.exceptions import (
    AccordError,
    BadAnswer,
    ConnectionFailed,
    EffectNotDone,
    Fault,
    InvalidOrder,
    NotAuthorised,
    NotFound,
    NotJson,
    ProblemError,
    ServiceFault,
    TimedOut,
    TooManyRequests,
    UnsafeAddress,
)
from accord_client.lines import AnsweredOrder
from accord_client.version import VERSION

__version__ = VERSION
__all__ = [
    "AccordError",
    "AnsweredOrder",
    "Assumption",
    "AsyncClient",
    "BadAnswer",
    "Change",
    "Client",
    "ConnectionFailed",
    "Editable",
    "EffectNotDone",
    "Entry",
    "Envelope",
    "Fact",
    "Fault",
    "Finding",
    "Health",
    "InvalidOrder",
    "Kind",
    "Need",
    "NotAuthorised",
    "NotFound",
    "NotJson",
    "Plan",
    "PlannedDecoration",
    "PlannedStep",
    "PressVerdict",
    "PressingStack",
    "ProblemError",
    "Recommendation",
    "Remedy",
    "Rule",
    "RuleLine",
    "RuledOut",
    "SampleLeanedOn",
    "ServiceFault",
    "ShopStatus",
    "SourcedMarketRow",
    "SourcedNumber",
    "SourcedRoom",
    "Sourcing",
    "StackLayer",
    "Step",
    "StepLine",
    "TimedOut",
    "TooManyRequests",
    "UnsafeAddress",
    "Verdict",
]
