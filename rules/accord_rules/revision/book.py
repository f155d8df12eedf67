"""One revision of the book in memory, read and checked by ``load``."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import Any

from accord_rules.documents import units
from accord_rules.documents.canonical import digest
from accord_rules.documents.files import Documents
from accord_rules.documents.reading import read
from accord_rules.documents.spelling import as_word, singulars
from accord_rules.orders.shop import Shop
from accord_rules.revision.catalogue import (
    AmbiguousFibre,
    AmbiguousWord,
    Limit,
    NotCovered,
    Source,
    Transfer,
    transfer_named,
)
from accord_rules.revision.condition import Vocabulary
from accord_rules.revision.facts import declared
from accord_rules.revision.rule import Rule
from accord_rules.revision.search import Index
from accord_rules.revision.sentences import in_a_sentence
from accord_rules.revision.step import Step

PEOPLE = "people"  # the topic of rules that keep people from harm
ORDER_SENSE = "order-sense"  # the topic of rules on whether an order says what it means
# What a shop has in stock, by the kind of entry that it is.
_STOCKED = ("products", "consumables")


@dataclass(frozen=True, kw_only=True)
class Book:
    """An immutable revision. ``documents`` is what it was read from; everything else follows from that."""

    revision: int
    documents: Documents
    catalogue: Mapping[str, Mapping[str, Any]]
    sources: Mapping[str, Source]
    limits: Mapping[str, Limit]
    limit_values: Mapping[str, float]
    rules: Mapping[str, Rule]
    steps: Mapping[str, Step]  # in the order of a plan
    ambiguous_fibres: Mapping[str, AmbiguousFibre]
    ambiguous_words: Mapping[str, AmbiguousWord]
    moved: frozenset[str] = frozenset()  # limits whose values are a shop's own, stricter ones

    @cached_property
    def digest(self) -> str:
        """SHA-256 over the canonical JSON of the whole book."""
        return digest({kind: dict(entries) for kind, entries in self.documents.items()})

    @cached_property
    def named_facts(self) -> frozenset[str]:
        """The facts that whoever weighs an order reads: those that a rule in force names."""
        return frozenset(fact for rule in self.rules.values() if rule.enforced for fact in rule.condition.facts)

    @cached_property
    def fibre_names(self) -> Mapping[str, str]:
        """Every accepted spelling of a fibre (lower case) to its code."""
        return MappingProxyType(_fibre_names(self.catalogue["fibres"]))

    @cached_property
    def aliases(self) -> Mapping[str, Mapping[str, str]]:
        """By kind of entry, every other word that an order may use (as ``as_word`` writes it), to the entry's name."""
        return MappingProxyType({kind: _aliases(entries) for kind, entries in self.catalogue.items()})

    @cached_property
    def fibre_words(self) -> Mapping[str, str]:
        """The same as ``as_word`` writes them, for spellings with other spaces and hyphens."""
        return MappingProxyType({as_word(spelling): code for spelling, code in self.fibre_names.items()})

    @cached_property
    def _titled(self) -> Mapping[str, Mapping[str, tuple[str, ...]]]:
        """By kind of what orders name by its title, the entries of each title, without its case and punctuation."""
        return MappingProxyType({kind: _titles(self.catalogue[kind]) for kind in ("blanks", "transfers", "products")})

    def readings(self, kinds: str, name: str) -> tuple[str, ...]:
        """The entries of a kind (or of ``transfers|products``) that a word stands for, or its singular: none, one, or
        several."""
        spellings = (name, *singulars(as_word(name)))
        return next(filter(None, (self._readings(kinds.split("|"), spelling) for spelling in spellings)), ())

    def _readings(self, of_kinds: Sequence[str], name: str) -> tuple[str, ...]:
        word = as_word(name)
        for kind in of_kinds:
            for spelling in (name, word):
                if spelling in self.catalogue[kind]:
                    return (spelling,)
            if word in self.aliases[kind]:
                return (self.aliases[kind][word],)
        ambiguous = self.ambiguous_words.get(word)
        if ambiguous is None:
            title = _plain(name)
            return tuple(entry for kind in of_kinds for entry in self._titled.get(kind, {}).get(title, ()))
        named = (name for kind in of_kinds for name in ambiguous.readings.get(kind, ()))
        return tuple(name for name in named if any(name in self.catalogue[kind] for kind in of_kinds))

    def left_out(self, name: str) -> str:
        """What the book says of a word for what it leaves out on purpose; empty for any other."""
        entries: Mapping[str, NotCovered] = self.catalogue["not_covered"]
        word = as_word(name)
        entry = entries.get(self.aliases["not_covered"].get(word, word))
        if entry is None:
            return ""
        because, instead = (in_a_sentence(said).removesuffix(".") for said in (entry.because, entry.instead))
        return f"the book leaves out {in_a_sentence(entry.title)}: {because}; {instead}"

    @cached_property
    def vocabulary(self) -> Vocabulary:
        return vocabulary_of(self.catalogue, self.limits)

    @cached_property
    def index(self) -> Index:
        """What people's words are looked up in; made when it is first searched."""
        return Index(self.documents)

    @cached_property
    def example_shop_document(self) -> Mapping[str, Any]:
        """The quiet shop that examples start from, without what was withdrawn from the book since: it comes with the
        code, where no proposal can take anything out of its stock."""
        shop: Mapping[str, Any] = self.documents["base_example"]["shop"]
        stock = {
            of: [name for name in named if name in self.catalogue[of]] if of in _STOCKED else named
            for of, named in shop.get("stock", {}).items()
        }
        return {**shop, "stock": stock} if stock else shop

    @cached_property
    def example_shop(self) -> Shop:
        """The quiet shop that examples start from."""
        return read(Shop, self.example_shop_document)

    def keeps_people_safe(self, rule: Rule) -> bool:
        """Whether it is a rule about people, or compares with a safety limit."""
        return rule.topic == PEOPLE or any(self.limits[name].safety for name in rule.condition.limits)

    def transfer(self, name: str | None) -> Transfer | None:
        """A family or product by name."""
        return transfer_named(name, self.catalogue["products"], self.catalogue["transfers"])

    def limit_dimension(self, name: str) -> units.Dimension:
        return units.DIMENSIONS[self.limits[name].dimension]


def vocabulary_of(catalogue: Mapping[str, Mapping[str, Any]], limits: Mapping[str, Limit]) -> Vocabulary:
    return Vocabulary(
        {name: fact.type for name, fact in declared().items()},
        {name: units.DIMENSIONS[limit.dimension] for name, limit in limits.items()},
        {kind: frozenset(entries) for kind, entries in catalogue.items()} | {"none": frozenset({"none"})},
    )


def _aliases(entries: Mapping[str, Any]) -> Mapping[str, str]:
    return {as_word(alias): name for name, entry in entries.items() for alias in getattr(entry, "aliases", ())}


def _titles(entries: Mapping[str, Any]) -> Mapping[str, tuple[str, ...]]:
    titles: dict[str, tuple[str, ...]] = {}
    for name, entry in entries.items():
        title = _plain(entry.title)
        titles[title] = (*titles.get(title, ()), name)
    return MappingProxyType(titles)


def _plain(text: str) -> str:
    return " ".join(re.findall(r"[^\W_]+", text.casefold()))


def _fibre_names(fibres: Mapping[str, Any]) -> dict[str, str]:
    names: dict[str, str] = {}
    for code, fibre in fibres.items():
        for spelling in (code, fibre.name, fibre.us_name, *fibre.aliases):
            names.setdefault(spelling.lower(), code)
    return names
