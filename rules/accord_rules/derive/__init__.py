"""Order + settings -> facts. Importing this package declares every fact (see ``revision.facts``)."""

from collections.abc import Mapping
from types import MappingProxyType

from accord_rules.derive import (
    artwork,
    care,
    ceiling,
    covers,
    dials,
    fibres,
    handling,
    heat,
    item,
    market,
    migration,
    press,
    process,
    sample,
    setting,
    sheet,
    transfer,
    use,
    window,
)
from accord_rules.revision.facts import Fact, FactType, declared

FACTS: Mapping[str, Fact] = declared()
FACT_TYPES: Mapping[str, FactType] = MappingProxyType({name: fact.type for name, fact in FACTS.items()})

__all__ = [
    "FACTS",
    "FACT_TYPES",
    "artwork",
    "care",
    "ceiling",
    "covers",
    "dials",
    "fibres",
    "handling",
    "heat",
    "item",
    "market",
    "migration",
    "press",
    "process",
    "sample",
    "setting",
    "sheet",
    "transfer",
    "use",
    "window",
]
