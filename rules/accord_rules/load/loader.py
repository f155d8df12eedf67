"""One revision of the book: loaded, cross-checked and digested. What is wrong is said with file, entry and reason."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from functools import cache, lru_cache
from importlib.resources.abc import Traversable
from itertools import product
from operator import attrgetter
from types import MappingProxyType
from typing import Any, TypeVar

from accord_rules.derive import FACTS
from accord_rules.derive.graph import GRAPH
from accord_rules.documents import units
from accord_rules.documents.canonical import canonical
from accord_rules.documents.colour import names as colours
from accord_rules.documents.colour import read_colour
from accord_rules.documents.files import (
    FOLDERS,
    BookError,
    Documents,
    EntryFault,
    Reason,
    entry_of,
    fault_in,
    in_limit_files,
    read_folder,
    shipped_folder,
)
from accord_rules.documents.reading import (
    DocumentError,
    Fault,
    LeafError,
    Object,
    Quantity,
    escape,
    names_in,
    read,
    readers_of,
    unknown_name,
)
from accord_rules.documents.spelling import as_word
from accord_rules.load import examples
from accord_rules.load.bands import implausible, unbanded
from accord_rules.load.citations import miscited
from accord_rules.load.transfers import impossible, not_its_own, out_of_order
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book, vocabulary_of
from accord_rules.revision.catalogue import (
    KINDS,
    MIGRATION_DYES,
    MIGRATION_SHADES,
    MIGRATION_SHARES,
    AmbiguousFibre,
    AmbiguousWord,
    Limit,
    MigrationCell,
    PracticePoint,
    Source,
)
from accord_rules.revision.condition import UNITLESS, ConditionError, Vocabulary, contradiction, parse
from accord_rules.revision.facts import Scope
from accord_rules.revision.markets import ELSEWHERE, Market
from accord_rules.revision.names import SUM_TOLERANCE
from accord_rules.revision.rule import ABOUT, SHOP, Rule, RuleText
from accord_rules.revision.sentences import Sentence, SentenceError, read_sentence
from accord_rules.revision.step import ALWAYS, PRINT, SLIP, STANDING, Step, StepText
from accord_rules.verdict import LEVELS

Part = TypeVar("Part")
Conditional = TypeVar("Conditional", Rule, Step)
_SENTENCE_END = re.compile(r"[.!?]\s+[A-Z]")
# Facts that hang on a shop and its press alone.
_OF_SHOPS = frozenset(
    name
    for name in GRAPH.facts
    if all(
        GRAPH.sources[read].subject in ("shop", "shop.stock", "press")
        for read in GRAPH.upstream[name] & GRAPH.sources.keys()
    )
)
# The quiet order and shop that rule examples start from.
QUIET: Mapping[str, type] = MappingProxyType({"shop": Shop, "order": Order})


@cache
def load_book() -> Book:
    """The shipped book, checked, as revision 1: loaded once a process. Raises BookError with every reason."""
    return load_folder(shipped_folder())


def load_folder(folder: Traversable, passed: Callable[[Documents], bool] = lambda documents: False) -> Book:
    """The book of a folder, checked, as revision 1. Raises BookError with every reason, each with its file.

    ``passed``: whether this very code has tried the examples of such documents before.
    """
    documents = read_folder(folder)
    try:
        return from_documents(documents, tried=documents if passed(documents) else None)
    except BookError as error:
        raise in_limit_files(folder, error) from None


def from_documents(
    documents: Documents, revision: int = 1, *, tried: Documents | None = None, superseded: bool = False
) -> Book:
    """Read and cross-check a whole book. Raises BookError with every reason found.

    ``tried``: these documents, or those that they were made of, where this very code has tried their examples before.
    That is most of the work: only what could answer otherwise is tried again. ``superseded``: a revision that was
    judged by and holds no more may lack what books have had to say since, where nothing is judged by it.
    """
    # In the order that the digest is taken over, so that the order of entries in a file can't change an answer.
    documents = json.loads(canonical(documents))
    reasons: list[Reason] = [*_quiet_faults(documents)]
    catalogue = {kind: _entries(documents, kind, cls, reasons) for kind, cls in KINDS.items()}
    sources = _entries(documents, "sources", Source, reasons)
    limits = _entries(documents, "limits", Limit, reasons)
    ambiguous = _entries(documents, "ambiguous_fibres", AmbiguousFibre, reasons)
    ambiguous_words = _entries(documents, "ambiguous_words", AmbiguousWord, reasons)
    values = _limit_values(limits, reasons)
    reasons += [*GRAPH.faults, *GRAPH.misnamed_in_book(limits, catalogue), *unbanded(KINDS)]
    if reasons:
        raise BookError(reasons)
    named = vocabulary_of(catalogue, limits), sources, documents["steps"]
    rules = _conditional(documents, "rules", lambda name, table: read_rule(name, table, *named), values, reasons)

    def step_of(name: str, table: Any) -> Step:
        return read_step(name, table, *named, superseded=superseded)

    steps = _conditional(documents, "steps", step_of, values, reasons)
    book = Book(
        revision=revision,
        documents=documents,
        catalogue=MappingProxyType(catalogue),
        sources=MappingProxyType(sources),
        limits=MappingProxyType(limits),
        limit_values=MappingProxyType(values),
        rules=MappingProxyType(rules),
        steps=MappingProxyType({step.id: step for step in sorted(steps.values(), key=attrgetter("place"))}),
        ambiguous_fibres=ambiguous,
        ambiguous_words=ambiguous_words,
    )
    reasons += _dangling(book) + _dangling_in_example(book) + _impossible(book) + _clashing_fibres(book)
    reasons += [*_clashing_words(book), *_ambiguous_words(book), *_contradicting_markets(book)]
    reasons += _ill_placed(book)
    reasons += _implausible(book)
    if not reasons:
        reasons += miscited(book)
    if not reasons:
        reasons += examples.failures(book, tried)
    if reasons:
        raise BookError(reasons)
    return book


def _quiet_faults(documents: Documents) -> Iterator[EntryFault]:
    """What is wrong with the quiet order and shop as such; every example of a rule starts from them."""
    quiet = documents["base_example"]
    for name in quiet:
        if name not in QUIET:
            yield EntryFault(
                "base_example.toml",
                "",
                Fault(f"/{escape(name)}", "is not a known table", tuple(QUIET), refused=name, code="unknown-field"),
            )
    for name, cls in QUIET.items():
        if name not in quiet:
            yield EntryFault("base_example.toml", "", Fault(f"/{name}", "is required", code="required"))
            continue
        try:
            read(cls, quiet[name])
        except DocumentError as error:
            yield from (fault_in("base_example", name, fault) for fault in error.faults)


def _entries(documents: Documents, kind: str, cls: type, reasons: list[Reason]) -> Mapping[str, Any]:
    read_entries: dict[str, Any] = {}
    families = documents["transfers"]
    for name, table in documents[kind].items():
        if kind == "products" and isinstance(table, Mapping):
            if "family" not in table:
                reasons += [fault_in(kind, name, fault) for fault in _without_family(table, cls)]
                continue
            family = table["family"]
            if not isinstance(family, str) or family not in families:
                reasons.append(fault_in(kind, name, unknown_name("/family", family, "transfers", families)))
                continue
            if not isinstance(families[family], Mapping):
                continue  # told of the family
            reasons += [fault_in(kind, name, fault) for fault in not_its_own(table)]
        try:
            read_entries[name] = _entry(
                cls, canonical(entry_of(documents, kind, name) if isinstance(table, Mapping) else table)
            )
        except DocumentError as error:
            reasons += [fault_in(kind, name, fault) for fault in error.faults]
    return MappingProxyType(read_entries)


# A book has some 1,000: those that no change touches are read once, and shared by all revisions.
@lru_cache(maxsize=4096)
def _entry(cls: type, text: bytes) -> Any:
    return read(cls, json.loads(text))


def _without_family(table: Mapping[str, Any], cls: type) -> Iterator[Fault]:
    """What is wrong with a product that names no family: it cannot be laid over one, and so not be read."""
    fields = tuple(readers_of(cls))
    for name in table:
        if name not in fields:
            pointer = f"/{escape(name)}"
            yield Fault(pointer, "is not a known field", fields, refused=name, code="unknown-field")
    yield Fault("/family", "is required", code="required")


def _limit_values(limits: Mapping[str, Limit], reasons: list[Reason]) -> dict[str, float]:
    values: dict[str, float] = {}
    for name, limit in limits.items():
        dimension = units.DIMENSIONS[limit.dimension]
        for field in ("value", "step"):
            try:
                number = amount(dimension, getattr(limit, field))
            except LeafError as error:
                reasons.append(fault_in("limits", name, error.at(f"/{field}")))
            else:
                values.setdefault(name, number)
    return values


def amount(dimension: units.Dimension, value: str | float) -> float:
    """A limit's amount in its inside unit. Raises LeafError where a unit is missing, or given to a plain number."""
    plain = dimension in UNITLESS
    if plain and isinstance(value, float):
        return value
    if plain:
        raise LeafError(f"{dimension.name} is a plain number, not {value!r}", code="wrong-type")
    return Quantity(dimension).leaf(value)


def _conditional(
    documents: Documents,
    kind: str,
    read_entry: Callable[[str, Any], Conditional],
    values: Mapping[str, float],
    reasons: list[Reason],
) -> dict[str, Conditional]:
    """The rules, or the steps."""
    conditional: dict[str, Conditional] = {}
    for name, table in documents[kind].items():
        topic = table.get(FOLDERS[kind], "?") if isinstance(table, Mapping) else "?"
        try:
            conditional[name] = read_entry(name, table)
        except DocumentError as error:
            reasons += [fault_in(kind, name, fault, topic) for fault in error.faults]
            continue
        never = contradiction(conditional[name].condition, values)
        if never is not None:
            reasons.append(fault_in(kind, name, Fault("/when", never, code="contradiction"), topic))
    return conditional


def read_rule(name: str, table: Any, vocabulary: Vocabulary, sources: Collection[str], steps: Collection[str]) -> Rule:
    """One rule from its table. Raises DocumentError with every fault, also of its condition, sentences and sources."""
    faults: list[Fault] = []
    text: RuleText | None = Object(RuleText).read(table, "", faults)
    written = table if isinstance(table, Mapping) else {}

    def sentence(words: str) -> Sentence:
        return read_sentence(words, vocabulary.facts, vocabulary.limits)

    condition = _part(written, "when", lambda words: parse(words, vocabulary), faults)
    because, fix = _part(written, "because", sentence, faults), _part(written, "fix", sentence, faults)
    faults += [] if text is None else [*_unknown_sources(text.sources, sources), *_no_step("/step", text.step, steps)]
    if faults or text is None or condition is None or because is None or fix is None:
        raise DocumentError(faults)
    named = {*condition.facts, *because.facts, *fix.facts}
    limits = tuple(sorted({*condition.limits, *because.limits, *fix.limits}))
    scope = max((FACTS[fact].scope for fact in named), key=attrgetter("rank"), default=Scope.ORDER)
    if "{i}" in ABOUT[text.about]:
        scope = max(scope, Scope.DECORATION, key=attrgetter("rank"))
    if text.about in ("press", "settings", SHOP):
        scope = Scope.PRESSING
    if text.about == SHOP:
        faults += _not_of_shops(named, text.level)
    if faults:
        raise DocumentError(faults)
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
        step=text.step,
        defers_to=text.defers_to,
        instead_of=text.instead_of,
    )


def _ill_placed(book: Book) -> Iterator[Reason]:
    """What is wrong with which rules speak instead of others: an answer may be no less grave or safe for it."""
    for rule in book.rules.values():
        for index, name in enumerate(rule.instead_of):
            pointer = f"/instead_of/{index}"
            for fault in _ill_replaced(book, rule, pointer, name):
                yield fault_in("rules", rule.id, fault, rule.topic)


def _ill_replaced(book: Book, rule: Rule, pointer: str, name: str) -> Iterator[Fault]:
    replaced = book.rules.get(name)
    if replaced is None:
        yield unknown_name(pointer, name, "rules", book.rules)
    elif rule.id == name or rule.id in replaced.instead_of:
        yield Fault(pointer, "is the rule itself, or one that speaks instead of it", code="contradiction")
    elif LEVELS.index(rule.level) > LEVELS.index(replaced.level):
        yield Fault(pointer, f"is of a graver level, {replaced.level}", code="contradiction")
    elif book.keeps_people_safe(replaced) and not book.keeps_people_safe(rule):
        yield Fault(pointer, "keeps people safe, and this rule does not", code="contradiction")
    elif SHOP in (rule.about, replaced.about):
        yield Fault(pointer, "is of no use: what is told of a shop stands beside no order", code="contradiction")


def _not_of_shops(named: Collection[str], level: str) -> Iterator[Fault]:
    """What keeps a rule from being told once per shop."""
    if of_orders := sorted({*named} - _OF_SHOPS):
        message = f"is told once per shop, but {', '.join(of_orders)} hangs on an order"
        yield Fault("/about", message, code="contradiction")
    if level not in LEVELS[2:]:
        message = "turns verdicts, and what is told once per shop stands beside none"
        yield Fault("/level", message, LEVELS[2:], code="contradiction", refused=level)


def read_step(
    name: str,
    table: Any,
    vocabulary: Vocabulary,
    sources: Collection[str],
    steps: Mapping[str, Any],
    *,
    superseded: bool = False,
) -> Step:
    """One step from its table; ``steps`` are the tables of all. Raises DocumentError with every fault.

    ``superseded``: one of an earlier book, whose care may have no words of its own for the slip.
    """
    faults: list[Fault] = []
    text: StepText | None = Object(StepText).read(table, "", faults)
    written = table if isinstance(table, Mapping) else {}
    always = written.get("when", ALWAYS) == ALWAYS
    condition = STANDING if always else _part(written, "when", lambda words: parse(words, vocabulary), faults)

    def sentence_of(words: str) -> Sentence:
        return read_sentence(words, vocabulary.facts, vocabulary.limits)

    slip = _part(written, "slip", sentence_of, faults)
    # Where other fields are wrong, what stands in the slip's place is not told as well.
    whole = f"{written.get('text', '')}".replace(SLIP, "") if text is None else text.whole
    sentence = _part({"text": whole}, "text", sentence_of, faults)
    if text is not None:
        faults += [*_unknown_sources(text.sources, sources), *_no_step("/instead_of", text.instead_of, steps)]
        faults += _ill_made(name, text, steps, superseded=superseded)
    if faults or text is None or condition is None or sentence is None:
        raise DocumentError(faults)
    return Step(
        id=name,
        stage=text.stage,
        rank=text.rank,
        when=text.when,
        condition=condition,
        printed_open=text.when_open == PRINT,
        text=sentence,
        slip=slip,
        instead_of=text.instead_of,
        why=text.why,
        sources=text.sources,
        fires=text.fires,
        silent=text.silent,
    )


def _ill_made(name: str, text: StepText, steps: Mapping[str, Any], *, superseded: bool) -> Iterator[Fault]:
    """What is wrong with how the parts of a step go together."""
    for field, words in (("text", text.whole), ("slip", text.slip or "None.")):
        if not words.endswith((".", "!")) or _SENTENCE_END.search(words):
            yield Fault(f"/{field}", "must be one sentence with a full stop", code="bad-format")
    if text.stage == "care" and text.slip is None and not superseded:
        yield Fault("/slip", "is required of what the customer is told", code="required")
    if text.stage != "care" and text.slip is not None:
        yield Fault("/slip", "is for steps of the stage care alone", code="contradiction")
    if text.text.count(SLIP) != (text.slip is not None):
        yield Fault("/text", f"must have {SLIP} once where the step has a slip, and nowhere else", code="contradiction")
    for kind in ("fires", "silent"):
        if text.when == ALWAYS and getattr(text, kind):
            yield Fault(f"/{kind}", "is of no use: the step stands in every plan", code="contradiction")
        elif text.when != ALWAYS and not getattr(text, kind):
            yield Fault(f"/{kind}", "is required where there is a condition", code="required")
    if text.when == ALWAYS and text.when_open == PRINT:
        yield Fault("/when_open", "is of no use: the step stands in every plan", code="contradiction")
    replaced = steps.get(text.instead_of) if text.instead_of is not None else None
    if text.instead_of == name:
        yield Fault("/instead_of", "is the step itself", code="contradiction")
    elif isinstance(replaced, Mapping) and replaced.get("stage") != text.stage:
        yield Fault("/instead_of", f"is of another stage, {replaced.get('stage')}", code="contradiction")


def _no_step(pointer: str, name: str | None, steps: Collection[str]) -> list[Fault]:
    return [] if name is None or name in steps else [unknown_name(pointer, name, "steps", steps)]


def _part(table: Mapping[str, Any], field: str, read_part: Callable[[str], Part], faults: list[Fault]) -> Part | None:
    """A field of a rule that is read further; None where that fails, or there is no text."""
    words = table.get(field)
    try:
        return read_part(words) if isinstance(words, str) else None
    except (ConditionError, SentenceError) as error:
        faults.append(error.at(f"/{field}"))
        return None


def _unknown_sources(named: Iterable[str], sources: Collection[str]) -> list[Fault]:
    """The sources that a rule names and the book has not."""
    return [
        unknown_name(f"/sources/{index}", name, "sources", sources)
        for index, name in enumerate(named)
        if name not in sources
    ]


def _dangling(book: Book) -> list[EntryFault]:
    """References to entries that are not there, in the catalogue and the limits."""
    reasons = []
    catalogue = {**book.catalogue, "transfers|products": {**book.catalogue["transfers"], **book.catalogue["products"]}}
    by_kind = {**catalogue, "sources": book.sources}
    tables: dict[str, Mapping[str, Any]] = {
        **book.catalogue,
        "limits": book.limits,
        "ambiguous_fibres": book.ambiguous_fibres,
    }
    for kind, entries in tables.items():
        for name, entry in entries.items():
            for pointer, named_kind, named in names_in(entry):
                if named not in by_kind[named_kind]:
                    fault = unknown_name(pointer, named, named_kind, by_kind[named_kind])
                    reasons.append(fault_in(kind, name, fault))
    return reasons


def _dangling_in_example(book: Book) -> list[EntryFault]:
    """What the quiet order and shop name and the book lacks; of the shop's stock that was withdrawn."""
    quiet: dict[str, Order | Shop] = {
        "shop": book.example_shop,
        "order": read(Order, book.documents["base_example"]["order"]),
    }
    return [
        fault_in("base_example", part, fault)
        for part, value in quiet.items()
        for fault in examples.unknown_names(value, book)
    ]


def _impossible(book: Book) -> list[EntryFault]:
    """Windows and sizes out of order, fibre sums off, colours and variants' substrates nobody knows."""
    reasons = []
    for kind in ("transfers", "products"):
        for name, transfer in book.catalogue[kind].items():
            if kind == "transfers" and transfer.sheet is not None:
                fault = Fault("/sheet", "is a product's; a family has practice and bounds", code="not-allowed")
                reasons.append(fault_in(kind, name, fault))
            reasons += [fault_in(kind, name, fault) for fault in impossible(transfer, book.catalogue["substrates"])]
    for name, press in book.catalogue["press_types"].items():
        extras = {"/dwell_extra": press.dwell_extra}
        extras |= {f"/dwell_extra_on/{escape(on)}": extra for on, extra in press.dwell_extra_on.items()}
        for pointer, extra in extras.items():
            if not extra.least <= extra.aim <= extra.most:
                message = out_of_order(extra.least, extra.aim, extra.most)
                reasons.append(fault_in("press_types", name, Fault(pointer, message, code="contradiction")))
    for name, blank in book.catalogue["blanks"].items():
        if read_colour(blank.colour) is None:
            fault = Fault(
                "/colour", f"{blank.colour!r} is no colour", tuple(colours()), refused=blank.colour, code="bad-format"
            )
            reasons.append(fault_in("blanks", name, fault))
    for kind in ("blanks", "substrates"):
        for name, entry in book.catalogue[kind].items():
            total = sum(entry.fibres.values()) if entry.fibres else 100
            if abs(total - 100) > SUM_TOLERANCE:
                reasons.append(
                    fault_in(kind, name, Fault("/fibres", f"sum to {total:g} %, not 100", code="out-of-range"))
                )
    for name, point in book.catalogue["practice"].items():
        reasons += [fault_in("practice", name, fault) for fault in _contradicting_practice(point)]
    return [*reasons, *_faults_of_migration(book.catalogue["migration"])]


def _faults_of_migration(cells: Mapping[str, MigrationCell]) -> Iterator[EntryFault]:
    """The table has each cell once, under the name of its words, and the levels of a cell rise."""
    words = tuple(map("-".join, product(MIGRATION_DYES, MIGRATION_SHARES, MIGRATION_SHADES)))
    for name, cell in cells.items():
        own = f"{cell.dye}-{cell.share}-{cell.shade}"
        if name != own:
            yield fault_in("migration", name, Fault("", f"its words make it {own}", code="contradiction"))
        if not cell.fine <= cell.caution <= cell.most:
            message = "fine, caution and most must not fall"
            yield fault_in("migration", name, Fault("/caution", message, code="contradiction"))
    for name in words:
        if name not in cells:
            yield fault_in("migration", name, Fault("", "the table lacks this cell", code="required"))


def _contradicting_practice(point: PracticePoint) -> Iterator[Fault]:
    """What no setting that works can be: on no piece or two, from more to less."""
    if (point.blank is None) is (point.substrate is None):
        yield Fault("/blank", "takes either a blank or a substrate", code="contradiction")
    for field in ("temperature", "time"):
        least, *most = getattr(point, field)
        if most and not least < most[0]:
            yield Fault(f"/{field}", "the least comes first, then the most", code="contradiction")


def _contradicting_markets(book: Book) -> Iterator[EntryFault]:
    """What no market can say, and that there is none for places the book does not know."""
    markets: Mapping[str, Market] = book.catalogue["markets"]
    if ELSEWHERE not in markets:
        why = "is required: it is the market of whoever sells where the book has none"
        yield fault_in("markets", ELSEWHERE, Fault("", why, code="required"))
    for name, market in markets.items():
        for pointer, message in market.contradictions:
            yield fault_in("markets", name, Fault(pointer, message, code="contradiction"))


def _implausible(book: Book) -> list[EntryFault]:
    """Quantities that no such thing has, as by a slip of the unit."""
    reasons = []
    substrates = book.catalogue["substrates"]
    for kind, entries in book.catalogue.items():
        for name, entry in entries.items():
            substrate = substrates.get(entry.substrate) if kind == "blanks" else entry
            if substrate is not None:  # a substrate that is not there is told elsewhere
                family = getattr(substrate, "family", "")
                reasons += [fault_in(kind, name, fault) for fault in implausible(kind, entry, family)]
    return reasons


def _clashing_words(book: Book) -> Iterator[EntryFault]:
    """Words that mean two entries which may stand in the same place of an order."""
    for kinds in (
        ("substrates",),
        ("transfers", "products"),
        ("consumables",),
        ("press_types",),
        ("blanks",),
        ("markets",),
        ("not_covered",),
    ):
        entries = [(kind, *item) for kind in kinds for item in book.catalogue[kind].items()]
        seen = {name: name for _, name, _ in entries}
        for kind, name, entry in entries:
            for index, word in enumerate(map(as_word, entry.aliases)):
                if seen.setdefault(word, name) != name:
                    message = f"{word!r} means {seen[word]} too"
                    yield fault_in(kind, name, Fault(f"/aliases/{index}", message, code="ambiguous"))


def _ambiguous_words(book: Book) -> Iterator[EntryFault]:
    """Words listed as ambiguous that an entry has for itself, or whose readings the book has not."""
    for word, ambiguous in book.ambiguous_words.items():
        if word != as_word(word):
            fault = Fault("", f"is looked up as {as_word(word)!r}: write it so", code="bad-format")
            yield fault_in("ambiguous_words", word, fault)
        for kind, readings in ambiguous.readings.items():
            of_kinds = ("transfers", "products") if kind == "transfers" else (kind,)
            known = [name for of in of_kinds for name in book.catalogue[of]]
            for index, name in enumerate(readings):
                if name not in known:
                    fault = unknown_name(f"/readings/{kind}/{index}", name, kind, known)
                    yield fault_in("ambiguous_words", word, fault)
            taken = next((book.aliases[of].get(word) or (word in known and word) for of in of_kinds), None)
            if taken:
                message = f"{word!r} is {taken} alone in {kind}"
                yield fault_in("ambiguous_words", word, Fault(f"/readings/{kind}", message, code="ambiguous"))


def _clashing_fibres(book: Book) -> list[EntryFault]:
    """Spellings that mean two fibres must be listed as ambiguous, never picked for the asker."""
    reasons = []
    seen: dict[str, str] = {}
    ambiguous = {code.lower() for code in book.ambiguous_fibres}
    for code, fibre in book.catalogue["fibres"].items():
        spellings = {"/name": fibre.name, **{f"/aliases/{i}": alias for i, alias in enumerate(fibre.aliases)}}
        for pointer, spelling in ((pointer, spelling.lower()) for pointer, spelling in spellings.items()):
            if seen.get(spelling, code) != code or spelling in ambiguous:
                reasons.append(
                    fault_in("fibres", code, Fault(pointer, f"{spelling!r} means another fibre too", code="ambiguous"))
                )
            seen[spelling] = code
    return reasons
