"""The shapes of answers about the book, shops and keys: dataclasses whose fields carry their readers.

Document, OpenAPI schema and marshmallow schema are made from them. What the authority answers is in
``accord_rules.verdict``, what is said of changes and records in ``governance_answers``, problems in ``http.problems``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from accord_rules.derive.glossary import FactEntry
from accord_rules.documents.answers import (
    INSTANT,
    INSTANT_OR_NULL,
    INTEGER,
    STRING,
    STRING_OR_NULL,
    STRINGS,
    Free,
    Nullable,
    listed,
    mapped,
)
from accord_rules.documents.reading import Choice, Flag, Object, optional, required
from accord_rules.documents.writing import Documented
from accord_rules.revision.catalogue import KINDS, SOURCE_KINDS, Limit, Source
from accord_rules.revision.rule import RuleText
from accord_rules.revision.search import KINDS as SEARCHED
from accord_rules.revision.spoken import ConditionLine
from accord_rules.revision.step import StepText
from accord_rules.verdict import LEVELS, STAGES, BookState
from accord_service.http.roles import ROLES
from accord_service.steps.outcomes import CellOutcomes

Document = Mapping[str, Any]


def next_page() -> Any:
    return required(STRING_OR_NULL, "address of the next page, relative to the service; null on the last")


def time(about: str) -> Any:
    return required(INSTANT, f"{about}, UTC")


# -- the API itself ----------------------------------------------------------------------------------------------------

# Everywhere, and where origins are listed (``Config.cors_origins``).
ALWAYS, CROSS_ORIGIN = ("as-of-revision", "gzip", "idempotency-key", "if-match", "validate-only"), "cross-origin"
FEATURES = (*ALWAYS, CROSS_ORIGIN)


@dataclass(frozen=True, slots=True)
class IndexedOperation(Documented):
    """One thing that can be asked."""

    operation_id: str = required(STRING, "its name in the description")
    method: str = required(STRING, "the HTTP method")
    path: str = required(STRING, "its address; names in braces are filled in")


@dataclass(frozen=True, slots=True, kw_only=True)
class ApiIndex(Documented):
    """What this API is, and where everything is."""

    api_version: str = required(STRING, "the version in addresses: it grows only when an older client could not go on")
    code_version: str = required(STRING, "version of the program")
    code_digest: str = required(STRING, "SHA-256 of the code that judges, as records name it")
    features: tuple[str, ...] = required(
        listed(Choice(FEATURES)), "what can be relied on beyond the addresses; absent: not here, or not yet"
    )
    links: Mapping[str, str] = required(mapped(STRING), "addresses of the description and of pages for people")
    operations: tuple[IndexedOperation, ...] = required(
        listed(Object(IndexedOperation)), "everything that can be asked"
    )


# -- the book ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Kind(Documented):
    """One kind of entry."""

    kind: str = required(STRING, "the word in /v1/catalogue/{kind}")
    description: str = required(STRING, "what entries of this kind are")
    count: int = required(INTEGER, "entries of this kind")
    with_sheet: int | None = required(
        Nullable(INTEGER), "products that say how their maker has them pressed; null for other kinds"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Catalogue(BookState):
    """A page of the kinds of entry in the book."""

    entries: tuple[Kind, ...] = required(listed(Object(Kind)), "every kind")
    next: str | None = next_page()


def _entry(*kinds: type) -> Any:
    """An entry of one of ``kinds``, with units and sources as the book writes them."""
    return required(Free(kinds), "the entry, with units as the book writes them")


@dataclass(frozen=True, slots=True, kw_only=True)
class CatalogueEntry(BookState):
    """One entry of the catalogue."""

    kind: str = required(STRING, "its kind")
    id: str = required(STRING, "its name")
    entry: Document = _entry(*KINDS.values())
    outcomes: tuple[CellOutcomes, ...] | None = optional(
        listed(Object(CellOutcomes)), about="for transfers and products: how reported pieces came out"
    )


@dataclass(frozen=True, slots=True)
class ListedEntry(Documented):
    """One entry in a list."""

    id: str = required(STRING, "its name")
    entry: Document = _entry(*KINDS.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class CatalogueKind(BookState):
    """A page of the entries of one kind."""

    kind: str = required(STRING, "the kind")
    entries: tuple[ListedEntry, ...] = required(listed(Object(ListedEntry)), "sorted by name")
    next: str | None = next_page()


@dataclass(frozen=True, slots=True)
class ListedLimit(Documented):
    """One limit in a list."""

    id: str = required(STRING, "its name")
    entry: Document = _entry(Limit)


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits(BookState):
    """A page of the limits."""

    entries: tuple[ListedLimit, ...] = required(listed(Object(ListedLimit)), "sorted by name")
    next: str | None = next_page()


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitEntry(BookState):
    """One limit."""

    id: str = required(STRING, "its name")
    entry: Document = _entry(Limit)
    kind: str = required(Choice(SOURCE_KINDS), "what kind of source its value rests on: the weakest of those it names")
    rules: tuple[str, ...] = required(STRINGS, "ids of the rules that compare with it")
    steps: tuple[str, ...] = required(STRINGS, "ids of the steps that compare with it or name it")


@dataclass(frozen=True, slots=True)
class ListedSource(Documented):
    """One source in a list."""

    id: str = required(STRING, "its name")
    entry: Document = _entry(Source)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sources(BookState):
    """A page of the sources."""

    entries: tuple[ListedSource, ...] = required(listed(Object(ListedSource)), "sorted by name")
    next: str | None = next_page()


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceEntry(BookState):
    """One source."""

    id: str = required(STRING, "its name")
    entry: Document = _entry(Source)
    rules: tuple[str, ...] = required(STRINGS, "ids of the rules that rest on it")
    steps: tuple[str, ...] = required(STRINGS, "ids of the steps that rest on it")
    limits: tuple[str, ...] = required(STRINGS, "ids of the limits that rest on it")


@dataclass(frozen=True, slots=True)
class SourcedRoom(Documented):
    """One room of the book, and what its numbers rest on."""

    id: str = required(STRING, "a kind of the catalogue, or limits")
    total: int = required(INTEGER, "how many numbers it has; of a product, those that it says itself")
    counts: Mapping[str, int] = required(mapped(INTEGER), "how many of them rest on each kind of source")


@dataclass(frozen=True, slots=True)
class SourcedNumber(Documented):
    """One limit, and what it rests on."""

    limit: str = required(STRING, "its name")
    title: str = required(STRING, "the limit in a few words")
    value: str = required(STRING, "its value with its unit, as the book writes it")
    kind: str = required(Choice(SOURCE_KINDS), "what kind of source it rests on: the weakest of those it names")
    sources: tuple[str, ...] = required(STRINGS, "ids of its sources")


@dataclass(frozen=True, slots=True)
class SourcedMarketRow(Documented):
    """One row of a market, and what its numbers rest on."""

    market: str = required(STRING, "the market")
    matter: str = required(STRING, "which of its rows")
    kind: str = required(
        Choice(SOURCE_KINDS), "what kind of source it rests on: the weakest of those it names and of how it was seen"
    )
    sources: tuple[str, ...] = required(STRINGS, "ids of its sources")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sourcing(BookState):
    """How well the book's numbers are sourced."""

    kinds: tuple[str, ...] = required(listed(Choice(SOURCE_KINDS)), "the kinds of source, best first")
    rooms: tuple[SourcedRoom, ...] = required(listed(Object(SourcedRoom)), "the rooms of the book, in its order")
    safety_limits: tuple[SourcedNumber, ...] = required(
        listed(Object(SourcedNumber)), "the limits that keep people safe, the worst-sourced first"
    )


@dataclass(frozen=True, slots=True)
class ListedRule(Documented):
    """One rule in a list."""

    id: str = required(STRING, "its name")
    topic: str = required(STRING, "its topic")
    level: str = required(Choice(LEVELS), "what it finds")
    title: str = required(STRING, "the rule in a few words")


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules(BookState):
    """A page of the rules."""

    entries: tuple[ListedRule, ...] = required(listed(Object(ListedRule)), "sorted by name")
    next: str | None = next_page()


@dataclass(frozen=True, slots=True)
class RelatedRule(Documented):
    """Another rule that reads some of the same facts."""

    id: str = required(STRING, "its name")
    level: str = required(Choice(LEVELS), "what it finds")
    title: str = required(STRING, "the rule in a few words")
    facts: tuple[str, ...] = required(STRINGS, "ids of the facts that both read")


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule(BookState):
    """One rule."""

    id: str = required(STRING, "its name")
    topic: str = required(STRING, "its topic")
    level: str = required(Choice(LEVELS), "what it finds")
    limits: tuple[str, ...] = required(STRINGS, "ids of the limits it compares with")
    sources: tuple[str, ...] = required(STRINGS, "ids of the sources it rests on")
    numbers: tuple[SourcedNumber, ...] = required(
        listed(Object(SourcedNumber)), "its limits, and what kind of source each rests on"
    )
    market_rows: tuple[SourcedMarketRow, ...] = required(
        listed(Object(SourcedMarketRow)), "the rows of markets that it speaks of, and what kind of source each rests on"
    )
    source_kinds: Mapping[str, str] = required(
        mapped(STRING), "of what kind each source is that it, its limits or these rows name"
    )
    in_words: tuple[ConditionLine, ...] = required(
        listed(Object(ConditionLine)), "its condition as people read it, line by line"
    )
    related: tuple[RelatedRule, ...] = required(
        listed(Object(RelatedRule)), "rules that read the same facts, those that have most in common first"
    )
    entry: Document = required(
        Free((RuleText,)),
        "the rule as the book writes it, with what makes it fire and what keeps it silent",
    )


@dataclass(frozen=True, slots=True)
class ListedStep(Documented):
    """One step in a list."""

    id: str = required(STRING, "its name")
    stage: str = required(Choice(STAGES), "its stage")
    rank: int = required(INTEGER, "its place within the stage, lowest first; equal ones go by id")
    text: str = required(STRING, "its sentence; what stands in braces is filled in")


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps(BookState):
    """A page of the steps."""

    entries: tuple[ListedStep, ...] = required(listed(Object(ListedStep)), "sorted by name")
    next: str | None = next_page()


@dataclass(frozen=True, slots=True, kw_only=True)
class Step(BookState):
    """One step."""

    id: str = required(STRING, "its name")
    stage: str = required(Choice(STAGES), "its stage")
    limits: tuple[str, ...] = required(STRINGS, "ids of the limits it compares with or names")
    sources: tuple[str, ...] = required(STRINGS, "ids of the sources it rests on")
    rules: tuple[str, ...] = required(STRINGS, "ids of the rules whose findings ask for it")
    in_words: tuple[ConditionLine, ...] = required(
        listed(Object(ConditionLine)), "its condition as people read it, line by line; none: it stands in every plan"
    )
    entry: Document = required(
        Free((StepText,)),
        "the step as the book writes it, with what brings it into a plan and what keeps it out",
    )


@dataclass(frozen=True, slots=True)
class SpellingTaken(Documented):
    """A word that the book does not have, and the one that was looked for instead."""

    word: str = required(STRING, "the word as it was asked for")
    taken: str = required(STRING, "the nearest one that is known")


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchHit(Documented):
    """One entry that was found."""

    kind: str = required(Choice(SEARCHED), "rules, limits, steps, sources, facts, or a kind of the catalogue")
    id: str = required(STRING, "its name")
    title: str = required(STRING, "what people call it")
    level: str | None = required(Nullable(Choice(LEVELS)), "of a rule, what it finds; else null")
    excerpt: str = required(STRING, "how what it says begins; may be empty")


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchResults(BookState):
    """What was found for some words."""

    query: str = required(STRING, "the words that were asked for")
    total: int = required(INTEGER, "how many entries have some of them")
    instead: tuple[SpellingTaken, ...] = required(
        listed(Object(SpellingTaken)), "words that the book does not have, and what was looked for instead"
    )
    entries: tuple[SearchHit, ...] = required(listed(Object(SearchHit)), "the best first, as many as were asked for")


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts(BookState):
    """A page of the facts."""

    entries: tuple[FactEntry, ...] = required(listed(Object(FactEntry)), "sorted by name")
    next: str | None = next_page()


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact(BookState):
    """One fact, with the words and rules of this revision."""

    fact: FactEntry = required(Object(FactEntry), spread=True)


# -- people -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Signatory(Documented):
    """Who stands behind a step: shop, name and role."""

    shop_id: str = required(STRING, "the shop of the key, or collective")
    holder: str | None = required(STRING_OR_NULL, "whose key it is; null where it was issued before keys named anybody")
    role: str = required(STRING, "the role of the key")


# -- shops and keys ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PulledBundle(Documented):
    """Which bundle a shop pulled last. A machine of the shop may hold an older one."""

    pulled_at: str = time("when it was pulled")
    revision: int = required(INTEGER, "the revision of the book in it")
    expires_on: str = required(STRING, "the last day (UTC) on which orders are answered from it")


@dataclass(frozen=True, slots=True)
class ListedShop(Documented):
    """One shop in a list."""

    id: str = required(STRING, "its name in addresses and keys")
    name: str = required(STRING, "what it calls itself")
    version: int = required(INTEGER, "grows with each change")
    changed_at: str = time("when it was last changed")
    bundle: PulledBundle | None = required(
        Nullable(Object(PulledBundle)), "the bundle it pulled last; null where none is noted"
    )


@dataclass(frozen=True, slots=True)
class Shops(Documented):
    """A page of the shops."""

    entries: tuple[ListedShop, ...] = required(listed(Object(ListedShop)), "sorted by id")
    next: str | None = next_page()


@dataclass(frozen=True, slots=True, kw_only=True)
class Key(Documented):
    """One key. The token itself is kept nowhere."""

    key_id: str | None = required(STRING_OR_NULL, "its id; null when only asked (validate_only)")
    shop_id: str = required(STRING, "the shop it belongs to, or collective")
    role: str = required(Choice(ROLES), "what it may do")
    holder: str | None = required(STRING_OR_NULL, "whose it is; null where it was issued before keys named anybody")
    last_four: str | None = required(STRING_OR_NULL, "the token's last four characters; null when only asked")
    issued_at: str = time("when")
    issued_by: str = required(STRING, "the id of the key it was issued with, or the part of the program that issued it")
    issuer: Signatory | None = required(Nullable(Object(Signatory)), "who that is; null for a part of the program")
    expires_at: str | None = required(INSTANT_OR_NULL, "when it ends by itself, UTC; null: never")
    last_used_at: str | None = required(INSTANT_OR_NULL, "when it was used last, UTC, to within an hour; null: not yet")
    waits: bool = required(Flag(), "whether it opens nothing until a second admin confirms it")
    confirmed_by: str | None = required(STRING_OR_NULL, "the id of the second admin's key; null where there was none")
    confirmer: Signatory | None = required(Nullable(Object(Signatory)), "who that is; null where there was none")
    confirmed_at: str | None = required(INSTANT_OR_NULL, "when, UTC; null where nobody did")
    revoked_at: str | None = required(INSTANT_OR_NULL, "when, UTC; null while it holds")
    origins: tuple[str, ...] = required(listed(STRING), "of the pages that a storefront's key stands in; else empty")


@dataclass(frozen=True, slots=True)
class IssuedKey(Documented):
    """A new key."""

    key: Key = required(Object(Key), "the key", spread=True)
    token: str | None = required(STRING_OR_NULL, "shown this once; null when only asked (validate_only) or asked again")


@dataclass(frozen=True, slots=True)
class Keys(Documented):
    """A page of keys."""

    entries: tuple[Key, ...] = required(listed(Object(Key)), "sorted by id")
    next: str | None = next_page()
