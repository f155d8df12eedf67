"""One revision of the book: loaded, cross-checked and digested. What is wrong is said with file, entry and reason."""

from __future__ import annotations

import json
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from accord_rules.derive import FACTS
from accord_rules.derive.graph import GRAPH
from accord_rules.documents import units
from accord_rules.documents.canonical import canonical
from accord_rules.documents.colour import read_colour
from accord_rules.documents.files import BookError, Documents, entry_of, shipped
from accord_rules.documents.reading import DocumentError, names_in, read
from accord_rules.load import examples
from accord_rules.load.bands import implausible
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book, vocabulary_of
from accord_rules.revision.catalogue import KINDS, AmbiguousFibre, Limit, Source
from accord_rules.revision.condition import ConditionError, Vocabulary, contradiction, parse
from accord_rules.revision.facts import Scope
from accord_rules.revision.rule import Rule, RuleText
from accord_rules.revision.sentences import SentenceError, read_sentence


def load_book() -> Book:
    """The shipped book, checked, as revision 1. Raises BookError with every reason."""
    return from_documents(shipped())


def from_documents(documents: Documents, revision: int = 1) -> Book:
    """Read and cross-check a whole book. Raises BookError with every reason found."""
    # In the order that the digest is taken over, so that the order of entries in a file can't change an answer.
    documents = json.loads(canonical(documents))
    reasons: list[str] = []
    catalogue = {kind: _entries(documents, kind, cls, reasons) for kind, cls in KINDS.items()}
    sources = _entries(documents, "sources", Source, reasons)
    limits = _entries(documents, "limits", Limit, reasons)
    ambiguous = _entries(documents, "ambiguous_fibres", AmbiguousFibre, reasons)
    values = _limit_values(limits, reasons)
    reasons += [*GRAPH.faults, *GRAPH.misnamed_in_book(limits, catalogue)]
    if reasons:
        raise BookError(reasons)
    rules = _rules(documents["rules"], catalogue, limits, values, reasons)
    book = Book(
        revision=revision,
        documents=documents,
        catalogue=MappingProxyType(catalogue),
        sources=MappingProxyType(sources),
        limits=MappingProxyType(limits),
        limit_values=MappingProxyType(values),
        rules=MappingProxyType(rules),
        ambiguous_fibres=ambiguous,
    )
    reasons += _dangling(book) + _dangling_in_example(book) + _impossible(book) + _clashing_fibres(book)
    reasons += _implausible(book)
    if not reasons:
        reasons += examples.failures(book)
    if reasons:
        raise BookError(reasons)
    return book


def _file(kind: str, documents: Documents, name: str) -> str:
    if kind == "rules":
        return f"rules/{documents['rules'][name].get('topic', '?')}/{name}.toml"
    return f"{kind}.toml: {name}" if kind != "limits" else f"limits: {name}"


def _entries(documents: Documents, kind: str, cls: type, reasons: list[str]) -> Mapping[str, Any]:
    read_entries: dict[str, Any] = {}
    for name, table in documents[kind].items():
        if kind == "products" and isinstance(table, Mapping):
            family = table.get("family")
            if not isinstance(family, str) or family not in documents["transfers"]:
                reasons.append(f"{_file(kind, documents, name)}: /family: there is no {family!r} in transfers")
                continue
        try:
            read_entries[name] = read(cls, entry_of(documents, kind, name) if isinstance(table, Mapping) else table)
        except DocumentError as error:
            reasons += [f"{_file(kind, documents, name)}: {fault}" for fault in error.faults]
    return MappingProxyType(read_entries)


def _limit_values(limits: Mapping[str, Limit], reasons: list[str]) -> dict[str, float]:
    values: dict[str, float] = {}
    for name, limit in limits.items():
        dimension = units.DIMENSIONS[limit.dimension]
        try:
            values[name] = amount(dimension, limit.value)
            amount(dimension, limit.step)
        except units.UnitError as error:
            reasons.append(f"limits: {name}: {error}")
    return values


def amount(dimension: units.Dimension, value: str | float) -> float:
    """A limit's amount in its inside unit. Raises UnitError where a unit is missing, or given to a plain number."""
    plain = len(dimension.units) == 1 and dimension in (units.PERCENT, units.COUNT, units.LIGHTNESS, units.RATIO)
    if plain and isinstance(value, float):
        return value
    if plain:
        raise units.UnitError(f"{dimension.name} is a plain number, not {value!r}")
    return units.parse(dimension, value)


def _rules(
    tables: Mapping[str, Any],
    catalogue: Mapping[str, Mapping[str, Any]],
    limits: Mapping[str, Limit],
    values: Mapping[str, float],
    reasons: list[str],
) -> dict[str, Rule]:
    vocabulary = vocabulary_of(catalogue, limits)
    rules: dict[str, Rule] = {}
    for name, table in tables.items():
        where = f"rules/{table.get('topic', '?')}/{name}.toml"
        try:
            rules[name] = read_rule(name, table, vocabulary)
            never = contradiction(rules[name].condition, values)
            if never is not None:
                reasons.append(f"{where}: when: {never}")
        except DocumentError as error:
            reasons += [f"{where}: {fault}" for fault in error.faults]
        except ConditionError as error:
            reasons.append(f"{where}: when: {error}")
        except SentenceError as error:
            reasons.append(f"{where}: {error}")
    return rules


def read_rule(name: str, table: Any, vocabulary: Vocabulary) -> Rule:
    """One rule from its table. Raises DocumentError, ConditionError or SentenceError."""
    text = read(RuleText, table)
    condition = parse(text.when, vocabulary)
    because = read_sentence(text.because, vocabulary.facts, vocabulary.limits)
    fix = read_sentence(text.fix, vocabulary.facts, vocabulary.limits)
    named = {*condition.facts, *because.facts, *fix.facts}
    limits = tuple(sorted({*condition.limits, *because.limits, *fix.limits}))
    scope = max((FACTS[fact].scope for fact in named), key=lambda each: each.rank, default=Scope.ORDER)
    if "{i}" in text.about or text.about in ("decoration", "artwork"):
        scope = max(scope, Scope.DECORATION, key=lambda each: each.rank)
    if text.about in ("press", "settings"):
        scope = Scope.PRESSING
    return Rule(
        id=name,
        topic=text.topic,
        level=text.level,
        title=text.title,
        about=text.about,
        when=text.when,
        condition=condition,
        because=because,
        fix=fix,
        sources=text.sources,
        limits=limits,
        scope=scope,
        fires=text.fires,
        silent=text.silent,
        status=text.status,
    )


def _dangling(book: Book) -> list[str]:
    """References to entries that are not there, in the catalogue, the limits and the rules."""
    reasons = []
    known = {**book.catalogue, "sources": book.sources}
    tables: dict[str, Mapping[str, Any]] = {
        **book.catalogue,
        "limits": book.limits,
        "ambiguous_fibres": book.ambiguous_fibres,
    }
    for kind, entries in tables.items():
        for name, entry in entries.items():
            for pointer, named_kind, named in names_in(entry):
                if named not in known[named_kind]:
                    reasons.append(
                        f"{_file(kind, book.documents, name)}: {pointer}: there is no {named!r} in {named_kind}"
                    )
    for name, rule in book.rules.items():
        reasons += [
            f"{_file('rules', book.documents, name)}: sources: there is no {source!r} in sources"
            for source in rule.sources
            if source not in book.sources
        ]
    return reasons


def _dangling_in_example(book: Book) -> list[str]:
    """What the quiet order and shop name and the book lacks; every example of a rule starts from them."""
    reasons = []
    for part, cls in (("shop", Shop), ("order", Order)):
        for pointer, kinds, named in names_in(read(cls, book.documents["base_example"][part])):
            if not any(named in book.catalogue[kind] for kind in kinds.split("|")):
                reasons.append(f"base_example.toml: {part}{pointer}: there is no {named!r} in {kinds}")
    return reasons


def _impossible(book: Book) -> list[str]:
    """Windows and sizes out of order, fibre sums off, colours and variants' substrates nobody knows."""
    reasons = []
    places = {*book.catalogue["substrates"], *(s.family for s in book.catalogue["substrates"].values())}
    for kind in ("transfers", "products"):
        for name, transfer in book.catalogue[kind].items():
            where = f"{kind}.toml: {name}"
            for part, holder in [("", transfer), *((f"on.{k}.", v) for k, v in transfer.on.items())]:
                reasons += [f"{where}: {part}{field}: {why}" for field, why in _bad_windows(holder)]
            reasons += [f"{where}: on.{k}: no substrate or family of that name" for k in transfer.on if k not in places]
            for k, variant in transfer.on.items():
                sides = [each.longer_side for each in variant.aim_by_size]
                if sides != sorted(set(sides)):
                    reasons.append(f"{where}: on.{k}.aim_by_size: longer sides must rise from one entry to the next")
    for name, press in book.catalogue["press_types"].items():
        extra = press.dwell_extra
        if not extra.least <= extra.aim <= extra.most:
            reasons.append(
                f"press_types.toml: {name}: dwell_extra: {_out_of_order(extra.least, extra.aim, extra.most)}"
            )
    for name, blank in book.catalogue["blanks"].items():
        if read_colour(blank.colour) is None:
            reasons.append(f"blanks.toml: {name}: colour: {blank.colour!r} is no colour")
    for kind in ("blanks", "substrates"):
        for name, entry in book.catalogue[kind].items():
            total = sum(entry.fibres.values()) if entry.fibres else 100
            if abs(total - 100) > 1:
                reasons.append(f"{kind}.toml: {name}: fibres: sum to {total:g} %, not 100")
    return reasons


def _implausible(book: Book) -> list[str]:
    """Quantities that no such thing has, as by a slip of the unit."""
    reasons = []
    substrates = book.catalogue["substrates"]
    for kind, entries in book.catalogue.items():
        for name, entry in entries.items():
            substrate = substrates.get(entry.substrate) if kind == "blanks" else entry
            if substrate is not None:  # a substrate that is not there is told elsewhere
                family = getattr(substrate, "family", "")
                where = _file(kind, book.documents, name)
                reasons += [f"{where}: {each}" for each in implausible(kind, entry, family)]
    return reasons


def _bad_windows(holder: Any) -> list[tuple[str, str]]:
    faults = []
    for field in ("temperature", "time"):
        window = getattr(holder, field)
        if window is not None and not window.least <= window.aim <= window.most:
            faults.append((field, _out_of_order(window.least, window.aim, window.most)))
    pressure = holder.pressure
    if pressure is not None:
        ranks = [("light", "medium", "firm").index(word) for word in (pressure.least, pressure.aim, pressure.most)]
        if ranks != sorted(ranks):
            faults.append(
                ("pressure", f"least {pressure.least}, aim {pressure.aim}, most {pressure.most} are out of order")
            )
    return faults


def _out_of_order(least: float, aim: float, most: float) -> str:
    return f"least {least:g}, aim {aim:g}, most {most:g} are out of order"


def _clashing_fibres(book: Book) -> list[str]:
    """Spellings that mean two fibres must be listed as ambiguous, never picked for the asker."""
    reasons = []
    seen: dict[str, str] = {}
    ambiguous = {code.lower() for code in book.ambiguous_fibres}
    for code, fibre in book.catalogue["fibres"].items():
        for spelling in {s.lower() for s in (fibre.name, *fibre.aliases)}:
            if seen.get(spelling, code) != code or spelling in ambiguous:
                reasons.append(f"fibres.toml: {code}: {spelling!r} means another fibre too")
            seen[spelling] = code
    return reasons
