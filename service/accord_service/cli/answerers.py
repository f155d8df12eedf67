"""Who answers: a service over HTTP, the bundle that was pulled from one (``--local``), or the shipped book
(``--shipped``)."""

from __future__ import annotations

import time
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache, partial, wraps
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, Protocol, TypeVar

import click
from click.core import ParameterSource

import accord_client
from accord_rules.authority import Authority
from accord_rules.derive.glossary import Glossary
from accord_rules.documents.files import BookError, entry_of, shipped_folder
from accord_rules.documents.reading import DocumentError, Fault, read
from accord_rules.documents.spelling import nearest, ordered
from accord_rules.load.loader import load_folder
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import KINDS, MIGRATION_DYES, MIGRATION_SHADES, MIGRATION_SHARES, SOURCE_KINDS
from accord_rules.revision.names import unknown_in
from accord_rules.revision.rule import Rule
from accord_rules.revision.sourcing import (
    SourcedRow,
    facts_of,
    limits_sourced,
    rooms_of,
    rows_sourced,
    safety_limits_of,
)
from accord_rules.revision.step import Step
from accord_rules.verdict import STAGES
from accord_service import offline
from accord_service.cli.failure import Failure
from accord_service.cli.orders import Refused
from accord_service.http.wire import about
from accord_service.run.times import newest_day
from accord_service.steps.bundles import BundledAuthority, BundleRefused
from accord_service.steps.shops import aged, faults_of
from accord_service.worker import trials

T = TypeVar("T")
Command = Callable[..., Any]
Document = Mapping[str, Any]
FAULTY = "The document has faults"
_NEAREST_TOLD = 3
_NO_FACT = "There is no fact {!r}."
_NO_LIMIT = "The book has no limit {!r}."
# A change of the book is checked with the whole of it before it is answered, and orders wait their turn.
_CONNECT_S, _SILENCE_S, _CHANGE_SILENCE_S = 3.05, 10.0, 60.0


class Unknown(LookupError):
    """A name that the book does not have."""


def no_such(why: str, name: str, known: Iterable[str], lister: str) -> Failure:
    """What to fail with for such a name: those that are spelt like it, else the nearest and the command that lists
    all."""
    words = tuple(known)
    if close := nearest(name, words):
        return Failure(f"{why} Did you mean {', '.join(close)}?")
    return Failure(f"{why} The nearest are {', '.join(ordered(name, words)[:_NEAREST_TOLD])}; {lister} lists them all.")


# Kinds of entry that orders name, in the order in which people look for them.
NAMED_KINDS = (
    "transfers",
    "products",
    "blanks",
    "substrates",
    "fibres",
    "coatings",
    "finishes",
    "press_types",
    "consumables",
    "markets",
)


@dataclass(frozen=True, slots=True)
class WordRow:
    """An entry that orders name: what it is, and the other words for it that they may use."""

    kind: str
    id: str
    title: str
    words: tuple[str, ...]


def _word_row(kind: str, id_: str, entry: Document) -> WordRow:
    # A fibre has names on labels in place of a title, here and in the United States.
    labels = [entry[key] for key in ("name", "us_name") if key in entry]
    words = dict.fromkeys([*labels, *entry.get("aliases", ())])
    return WordRow(kind, id_, entry.get("title") or entry["name"], tuple(words))


@dataclass(frozen=True, slots=True)
class RestsOn:
    """What a rule or step rests on, as the book writes it; ``kinds``: of the source of each limit."""

    limits: Mapping[str, Document]
    kinds: Mapping[str, str]
    sources: Mapping[str, Document]


@dataclass(frozen=True, slots=True)
class RulePage:
    """A rule with everything it rests on, as the book writes it."""

    id: str
    revision: int
    rule: Document
    rests_on: RestsOn
    market_rows: Sequence[SourcedRow]


@dataclass(frozen=True, slots=True)
class RuleRow:
    id: str
    topic: str
    level: str
    title: str


@dataclass(frozen=True, slots=True)
class StepPage:
    """A step with everything it rests on, as the book writes it; ``rules`` ask for it."""

    id: str
    revision: int
    step: Document
    rests_on: RestsOn
    rules: Sequence[str]


@dataclass(frozen=True, slots=True)
class StepRow:
    id: str
    stage: str
    rank: int
    text: str


@dataclass(frozen=True, slots=True)
class LimitPage:
    """A limit with everything that reads it and that it rests on, as the book writes it; ``kind``: of its source."""

    id: str
    revision: int
    limit: Document
    kind: str
    rules: Sequence[str]
    steps: Sequence[str]
    sources: Mapping[str, Document]


@dataclass(frozen=True, slots=True)
class KindRow:
    """A kind of entry in the catalogue."""

    kind: str
    description: str
    count: int


@dataclass(frozen=True, slots=True)
class SafetyLimit:
    """A limit that keeps people safe, with its value as people write it, and what it rests on."""

    id: str
    title: str
    value: str
    kind: str
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Sourcing:
    """How many numbers of each room of the book rest on which kind of source; the worst-sourced safety limits first."""

    kinds: Sequence[str]
    rooms: Mapping[str, Mapping[str, int]]
    safety_limits: Sequence[SafetyLimit]


class Answerer(Protocol):
    """Answers questions about orders and rules. ``introduction`` says who it is."""

    introduction: str

    def validate(self, order: Document) -> Document:
        """The verdict's document. Raises Refused."""

    def validate_all(self, orders: Iterable[Document], revision: int | None) -> Iterator[Document | Refused]:
        """The verdict's document of each, or why there is none, all of one revision: this one if it is named.

        Raises Failure where nobody answers any more.
        """

    def recommend(self, order: Document, *, curve: bool = False) -> Document:
        """The recommendation's document; ``curve``: with what it takes to draw the heat. Raises Refused."""

    def rule(self, name: str) -> RulePage:
        """Raises Unknown."""

    def rules(self, topic: str | None, level: str | None) -> list[RuleRow]:
        """Every rule, or those of a topic or level."""

    def step(self, name: str) -> StepPage:
        """Raises Unknown."""

    def steps(self, stage: str | None) -> list[StepRow]:
        """Every step in a plan's order, or those of a stage."""

    def migration(self) -> list[Document]:
        """The cells of the table of dye migration, as the book writes them, in the order of its words."""

    def sourcing(self) -> Sourcing:
        """How well the book's numbers are sourced."""

    def fact(self, name: str) -> Document:
        """One fact as the service's document has it. Raises Unknown."""

    def facts(self) -> list[Document]:
        """Every fact, without the revision it is told of."""

    def words(self) -> list[WordRow]:
        """Everything that orders name, with the other words for it, by kind."""

    def entries(self, kind: str) -> dict[str, Document]:
        """The entries of a kind as the book writes them, by name."""

    def kinds(self) -> list[KindRow]:
        """The kinds of entry in the catalogue."""

    def entry(self, kind: str, name: str) -> Document:
        """One entry, whole: of a product also what it has from its family. Raises Unknown."""

    def limits(self) -> dict[str, Document]:
        """Every limit as the book writes it, by name."""

    def limit(self, name: str) -> LimitPage:
        """Raises Unknown."""

    def envelope(self, order: Document) -> Document:
        """What is still allowed for what the order leaves open. Raises Refused."""


class Service:
    """A service that is asked over HTTP."""

    def __init__(self, client: accord_client.Client, url: str) -> None:
        self._client = client
        self.introduction = f"Answers from {url}."

    def validate(self, order: Document) -> Document:
        return _answer_of(lambda: self._client.validate(order)).document

    def validate_all(self, orders: Iterable[Document], revision: int | None) -> Iterator[Document | Refused]:
        answers = self._client.validate_all(orders, revision=revision)
        try:
            while (answered := _answer_of(lambda: next(answers, None))) is not None:
                yield _refused(answered.problem) if answered.verdict is None else answered.verdict.document
        except Refused as refused:  # the whole question, such as for a revision that is no more
            reasons = "; ".join(fault.sentence for fault in refused.faults) or refused.detail
            raise Failure(f"The service refused: {refused.title}: {reasons}") from None

    def recommend(self, order: Document, *, curve: bool = False) -> Document:
        return _answer_of(lambda: self._client.recommend(order, include=("curve",) if curve else ())).document

    def rule(self, name: str) -> RulePage:
        return _answer_of(lambda: self._rule_page(name))

    def _rule_page(self, name: str) -> RulePage:
        try:
            rule = self._client.rule(name)
        except (accord_client.NotFound, ValueError):
            raise Unknown(f"The book has no rule {name!r}.") from None
        rows = [SourcedRow(row.market, row.matter, row.kind, row.sources) for row in rule.market_rows]
        return RulePage(rule.id, rule.document["revision"], rule.entry, self._rests_on(rule), rows)

    def _rests_on(self, entry: accord_client.Rule | accord_client.Step) -> RestsOn:
        """The limits and the sources that a rule or step names."""
        limits = [self._client.limit(limit) for limit in entry.limits]
        return RestsOn(
            {limit.id: limit.entry for limit in limits},
            {limit.id: limit.document["kind"] for limit in limits},
            {source: self._client.source(source).entry for source in entry.sources},
        )

    def rules(self, topic: str | None, level: str | None) -> list[RuleRow]:
        lines = _answer_of(lambda: list(self._client.rules(topic, level)))
        return [RuleRow(line.id, line.topic, line.level, line.title) for line in lines]

    def step(self, name: str) -> StepPage:
        return _answer_of(lambda: self._step_page(name))

    def _step_page(self, name: str) -> StepPage:
        try:
            step = self._client.step(name)
        except (accord_client.NotFound, ValueError):
            raise Unknown(f"The book has no step {name!r}.") from None
        return StepPage(step.id, step.document["revision"], step.entry, self._rests_on(step), step.rules)

    def steps(self, stage: str | None) -> list[StepRow]:
        lines = _answer_of(lambda: list(self._client.steps(stage)))
        return _in_order(StepRow(line.id, line.stage, line.rank, line.text) for line in lines)

    def migration(self) -> list[Document]:
        return _by_words(_answer_of(lambda: [line.entry for line in self._client.catalogue("migration")]))

    def sourcing(self) -> Sourcing:
        told = _answer_of(self._client.sourcing)
        limits = [SafetyLimit(n.limit, n.title, n.value, n.kind, n.sources) for n in told.safety_limits]
        return Sourcing(told.kinds, {room.id: room.counts for room in told.rooms}, limits)

    def fact(self, name: str) -> Document:
        return _answer_of(lambda: self._fact(name))

    def _fact(self, name: str) -> Document:
        try:
            return self._client.fact(name).document
        except (accord_client.NotFound, ValueError):
            raise Unknown(_NO_FACT.format(name)) from None

    def facts(self) -> list[Document]:
        return [fact.document for fact in _answer_of(lambda: list(self._client.facts()))]

    def words(self) -> list[WordRow]:
        client = self._client
        return _answer_of(
            lambda: [_word_row(kind, entry.id, entry.entry) for kind in NAMED_KINDS for entry in client.catalogue(kind)]
        )

    def entries(self, kind: str) -> dict[str, Document]:
        return _answer_of(lambda: {line.id: line.entry for line in self._client.catalogue(kind)})

    def kinds(self) -> list[KindRow]:
        return [KindRow(row.kind, row.description, row.count) for row in _answer_of(self._client.kinds)]

    def entry(self, kind: str, name: str) -> Document:
        return _answer_of(lambda: self._found(lambda: self._client.entry(kind, name).entry, f"{kind} has no {name!r}."))

    def limits(self) -> dict[str, Document]:
        return _answer_of(lambda: {line.id: line.entry for line in self._client.limits()})

    def limit(self, name: str) -> LimitPage:
        return _answer_of(lambda: self._found(lambda: self._limit_page(name), _NO_LIMIT.format(name)))

    def _limit_page(self, name: str) -> LimitPage:
        told = self._client.limit(name)
        of = told.document
        sources = {source: self._client.source(source).entry for source in told.entry["sources"]}
        return LimitPage(told.id, of["revision"], told.entry, of["kind"], of["rules"], of["steps"], sources)

    def envelope(self, order: Document) -> Document:
        return _answer_of(lambda: self._client.envelope(order)).document

    @staticmethod
    def _found(ask: Callable[[], T], why: str) -> T:
        """The answer. Raises Unknown, saying ``why``, where there is nothing of the name."""
        try:
            return ask()
        except (accord_client.NotFound, ValueError):
            raise Unknown(why) from None


def _refused(problem: accord_client.ProblemError | None) -> Refused:
    """A problem that an order was answered with."""
    errors = problem.errors if problem is not None else ()
    faults = tuple(Fault(fault.place, fault.message, fault.allowed, code=fault.code) for fault in errors)
    title = problem.title if problem is not None else ""
    return Refused(title or FAULTY, faults, "" if faults else str(problem))


def _answer_of(ask: Callable[[], T]) -> T:
    """The answer, with the client's exceptions as this command's own."""
    try:
        return ask()
    except accord_client.InvalidOrder as error:
        raise _refused(error) from None
    except accord_client.NotAuthorised as error:
        # Known, but not for this (403): the detail says which role it needs, and which this key has.
        why = "This key may not do that" if error.status == 403 else "The service does not take this key"
        raise Failure(f"{why} ({error}).") from None
    except accord_client.ProblemError as error:
        request_id = f" Request id {error.request_id}." if error.request_id else ""
        faults_told = "".join(f"\n  {fault}" for fault in error.errors)
        raise Failure(f"The service refused: {str(error).removesuffix('.')}.{request_id}{faults_told}") from None
    except accord_client.AccordError as error:
        raise Failure(f"No answer: {error}.") from None


class Here:
    """The authority in this process, over the shipped book or a folder."""

    def __init__(self, authority: Authority, shop: Shop, introduction: str) -> None:
        self._authority = authority
        self._shop = shop
        self.introduction = introduction

    def validate(self, order: Document) -> Document:
        return self._judged(lambda: self._authority.validate(self._order(order), self._shop).document())

    def validate_all(self, orders: Iterable[Document], revision: int | None) -> Iterator[Document | Refused]:
        held = self._authority.book.revision
        if revision not in (None, held):
            raise Failure(f"The book here is revision {held}, not {revision}: answers of two revisions do not add up.")
        for order in orders:
            try:
                yield self.validate(order)
            except Refused as refused:
                yield refused

    def recommend(self, order: Document, *, curve: bool = False) -> Document:
        return self._judged(lambda: self._authority.recommend(self._order(order), self._shop, curve=curve).document())

    def rule(self, name: str) -> RulePage:
        book = self._authority.book
        if name not in book.rules:
            raise Unknown(f"The book has no rule {name!r}.")
        rule = book.rules[name]
        rows = tuple(rows_sourced(facts_of(rule), book.catalogue["markets"], book.sources))
        return RulePage(name, book.revision, book.documents["rules"][name], _rests_on(book, rule), rows)

    def rules(self, topic: str | None, level: str | None) -> list[RuleRow]:
        every = self._authority.book.rules.values()
        topics = sorted({rule.topic for rule in every})
        if topic is not None and topic not in topics:
            raise Failure(f"There is no topic {topic!r}; the book has {', '.join(topics)}.")
        wanted = [r for r in every if topic in (None, r.topic) and level in (None, r.level)]
        return [RuleRow(r.id, r.topic, r.level, r.title) for r in sorted(wanted, key=lambda r: r.id)]

    def step(self, name: str) -> StepPage:
        book = self._authority.book
        if name not in book.steps:
            raise Unknown(f"The book has no step {name!r}.")
        rules = sorted(rule.id for rule in book.rules.values() if rule.step == name)
        return StepPage(name, book.revision, book.documents["steps"][name], _rests_on(book, book.steps[name]), rules)

    def steps(self, stage: str | None) -> list[StepRow]:
        wanted = (step for step in self._authority.book.steps.values() if stage in (None, step.stage))
        return _in_order(StepRow(step.id, step.stage, step.rank, step.text.text) for step in wanted)

    def migration(self) -> list[Document]:
        return _by_words(self._authority.book.documents["migration"].values())

    def sourcing(self) -> Sourcing:
        book = self._authority.book
        limits = [
            SafetyLimit(of.id, book.limits[of.id].title, book.limits[of.id].amount, of.kind, of.sources)
            for of in safety_limits_of(book.limits, book.sources)
        ]
        rooms = {room.id: room.counts for room in rooms_of(book.documents, book.sources)}
        return Sourcing(SOURCE_KINDS, rooms, limits)

    def fact(self, name: str) -> Document:
        book = self._authority.book
        fact = Glossary(book).get(name)
        if fact is None:
            raise Unknown(_NO_FACT.format(name))
        return {"revision": book.revision, "digest": book.digest, **fact.document()}

    def facts(self) -> list[Document]:
        return [fact.document() for fact in Glossary(self._authority.book).values()]

    def words(self) -> list[WordRow]:
        documents = self._authority.book.documents
        return [
            _word_row(kind, name, entry_of(documents, kind, name)) for kind in NAMED_KINDS for name in documents[kind]
        ]

    def entries(self, kind: str) -> dict[str, Document]:
        return dict(self._authority.book.documents[kind])

    def kinds(self) -> list[KindRow]:
        documents = self._authority.book.documents
        return [KindRow(kind, about(of), len(documents[kind])) for kind, of in sorted(KINDS.items())]

    def entry(self, kind: str, name: str) -> Document:
        documents = self._authority.book.documents
        if name not in documents[kind]:
            raise Unknown(f"{kind} has no {name!r}.")
        return entry_of(documents, kind, name)

    def limits(self) -> dict[str, Document]:
        return dict(self._authority.book.documents["limits"])

    def limit(self, name: str) -> LimitPage:
        book = self._authority.book
        if name not in book.limits:
            raise Unknown(_NO_LIMIT.format(name))
        (sourced,) = limits_sourced((name,), book.limits, book.sources)
        limit = book.documents["limits"][name]
        return LimitPage(
            name,
            book.revision,
            limit,
            sourced.kind,
            sorted(rule.id for rule in book.rules.values() if name in rule.limits),
            sorted(step.id for step in book.steps.values() if name in step.limits),
            {source: book.documents["sources"][source] for source in limit["sources"]},
        )

    def envelope(self, order: Document) -> Document:
        return self._judged(lambda: self._authority.envelope(self._order(order), self._shop).document())

    def _order(self, document: Document) -> Order:
        try:
            return read(Order, document)
        except DocumentError as error:
            unknown = unknown_in(document, self._authority.book, self._shop)
            raise DocumentError((*error.faults, *unknown)) from None

    @staticmethod
    def _judged(judge: Callable[[], Document]) -> Document:
        try:
            return judge()
        except DocumentError as error:
            raise Refused(FAULTY, error.faults) from None


class Bundled(Here):
    """A bundle that was pulled, in this process."""

    def __init__(self, bundled: BundledAuthority, introduction: str) -> None:
        super().__init__(bundled.authority, bundled.shop, introduction)
        self._bundled = bundled

    def validate(self, order: Document) -> Document:
        return self._judged(lambda: self._bundled.validate(order))

    def recommend(self, order: Document, *, curve: bool = False) -> Document:
        return self._judged(lambda: self._bundled.recommend(order, curve=curve))


def _in_order(rows: Iterable[StepRow]) -> list[StepRow]:
    """As plans have them; stages that this command does not know come last."""
    stages = {stage: place for place, stage in enumerate(STAGES)}
    return sorted(rows, key=lambda row: (stages.get(row.stage, len(stages)), row.rank, row.id))


def _by_words(cells: Iterable[Document]) -> list[Document]:
    """In the order of the table's words; those that this command does not know come last."""
    words = {"dye": MIGRATION_DYES, "share": MIGRATION_SHARES, "shade": MIGRATION_SHADES}

    def place(cell: Document) -> list[int]:
        return [known.index(cell[key]) if cell[key] in known else len(known) for key, known in words.items()]

    return sorted(cells, key=place)


def _rests_on(book: Book, entry: Rule | Step) -> RestsOn:
    """The limits and the sources that a rule or step names, as the book writes them."""
    written = book.documents
    return RestsOn(
        {limit: written["limits"][limit] for limit in entry.limits},
        {limit.id: limit.kind for limit in limits_sourced(entry.limits, book.limits, book.sources)},
        {source: written["sources"][source] for source in entry.sources},
    )


# -- options -------------------------------------------------------------------------------------------------------

_URL = click.option("--url", envvar="ACCORD_URL", show_envvar=True, help="Address of the service to ask.")
_TOKEN = click.option("--token", envvar="ACCORD_TOKEN", show_envvar=True, help="Your key.")
_INSECURE = click.option("--allow-insecure", is_flag=True, help="Send your key over plain http to another machine.")
_OPTIONS = (
    _URL,
    _TOKEN,
    click.option("--local", is_flag=True, help="Answer in this process from the bundle that was pulled."),
    click.option("--shipped", is_flag=True, help="Answer in this process from the shipped book, for an example shop."),
    click.option(
        "--shop",
        "shop_file",
        type=click.Path(exists=True, dir_okay=False, path_type=Path),
        help="With --shipped: the shop's TOML file; an example shop with one press of each type when left out.",
    ),
    click.option(
        "--book",
        "book_folder",
        type=click.Path(exists=True, file_okay=False, path_type=Path),
        help="With --shipped: a folder with another book than the shipped one, such as one being edited.",
    ),
    _INSECURE,
)


def answered(command: Command) -> Command:
    """The options that say who answers. The command gets them as keywords, to be passed to ``answerer``."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


@contextmanager
def answerer(
    url: str | None,
    token: str | None,
    local: bool,
    shipped: bool,
    shop_file: Path | None,
    book_folder: Path | None,
    allow_insecure: bool,
) -> Iterator[Answerer]:
    """Whoever the options name, closed afterwards. Raises UsageError where they make no sense, Failure otherwise."""
    if local and shipped:
        raise click.UsageError("--local answers from your shop's bundle, --shipped from the shipped book: choose one.")
    if (local or shipped) and _on_the_command_line("url"):
        raise click.UsageError(f"{'--local' if local else '--shipped'} asks no service: leave out --url.")
    if shipped:
        yield from _here(shop_file, book_folder)
        return
    if shop_file or book_folder:
        raise click.UsageError("--shop and --book go with --shipped; a service and a bundle know shop and book.")
    if local:
        yield from _bundled()
        return
    if not url or not token:
        raise click.UsageError(
            "Say who is to answer: --url and --token (or ACCORD_URL and ACCORD_TOKEN) for a service, --local for the"
            " bundle of one that was pulled, or --shipped for the book that comes along and an example shop."
        )
    with _WhileAway() as while_away, _client(url, token, allow_insecure, while_away) as client:
        yield Service(client, url)


class ServiceCall(Protocol):
    """Puts one question or change to the service, with what it refuses as this command's own failures."""

    def __call__(self, ask: Callable[[accord_client.Client], T], /) -> T: ...


def administered(command: Command) -> Command:
    """The options of commands that only a service can answer. Its first argument is a ``ServiceCall``."""

    @wraps(command)
    def run(url: str | None, token: str | None, allow_insecure: bool, **options: Any) -> Any:
        with put_to(url, token, allow_insecure) as put:
            return command(put, **options)

    return service_named(run)


def service_named(command: Command) -> Command:
    """The options that name a service. The command gets them as keywords, to be passed to ``put_to``."""
    for option in (_INSECURE, _TOKEN, _URL):
        command = option(command)
    return command


@contextmanager
def put_to(url: str | None, token: str | None, allow_insecure: bool) -> Iterator[ServiceCall]:
    """A ``ServiceCall`` to the service that the options name. Raises UsageError."""
    with _client(url, token, allow_insecure, silence_s=_CHANGE_SILENCE_S) as client:
        yield _put_to(client)


def _put_to(client: accord_client.Client) -> ServiceCall:
    def put(ask: Callable[[accord_client.Client], T], /) -> T:
        try:
            return _answer_of(lambda: ask(client))
        except Refused as refused:
            reasons = "\n".join(f"  {fault}" for fault in refused.faults)
            raise Failure(f"{refused.title}:\n{reasons or refused.detail}") from None

    return put


@contextmanager
def _client(
    url: str | None,
    token: str | None,
    allow_insecure: bool,
    while_away: _WhileAway | None = None,
    silence_s: float = _SILENCE_S,
) -> Iterator[accord_client.Client]:
    if not url or not token:
        raise click.UsageError("Say which service: --url and --token, or ACCORD_URL and ACCORD_TOKEN.")
    try:
        timeout = (_CONNECT_S, silence_s)
        client = accord_client.Client(url, token, timeout, allow_insecure=allow_insecure, offline=while_away)
    except accord_client.UnsafeAddress as error:
        raise click.UsageError(f"{error}. On a network you trust, --allow-insecure permits it.") from None
    except ValueError as error:
        raise click.UsageError(f"{error}.") from None
    with client:
        yield client


class _WhileAway:
    """Answers from the bundle on this machine where the service can't be reached, and says so once."""

    def __init__(self) -> None:
        self._bundled: BundledAuthority | None = None

    def __enter__(self) -> _WhileAway:
        return self

    def __exit__(self, *error: object) -> None:
        if self._bundled is not None:
            self._bundled.close()

    def validate(self, order: Document) -> Document:
        return self._opened().validate(order)

    def recommend(self, order: Document) -> Document:
        return self._opened().recommend(order)

    def _opened(self) -> BundledAuthority:
        if self._bundled is None:
            day = offline.today()
            holding = offline.held(offline.usual_folder(), day)
            if holding.state == offline.ABSENT:
                raise LookupError("no bundle was pulled")
            try:
                self._bundled = holding.open(day)
            except BundleRefused as refused:
                raise Failure(f"The service can't be reached. {refused}") from None
            click.echo(f"The service can't be reached. {_introduction(holding, day)}", err=True)
        return self._bundled


def _introduction(holding: offline.Holding, day: date) -> str:
    """Who answers, and how old their book is."""
    told = f"Answers without a service. {offline.told(holding, day)}"
    if holding.state != offline.STALE:
        return told
    return f"{told} It was not pulled for a day or more, and the book may have moved on."


def _bundled() -> Iterator[Answerer]:
    day = offline.today()
    holding = offline.held(offline.usual_folder(), day)
    if holding.state == offline.ABSENT:
        raise click.UsageError(
            "--local answers from the bundle of your shop, and none was pulled to this machine: accord bundle pull."
            " For the book that comes along, and an example shop, say --shipped."
        )
    try:
        bundled = holding.open(day)
    except BundleRefused as refused:
        raise Failure(str(refused)) from None
    with bundled:
        yield Bundled(bundled, _introduction(holding, day))


def _on_the_command_line(option: str) -> bool:
    return click.get_current_context().get_parameter_source(option) is ParameterSource.COMMANDLINE


def _here(shop_file: Path | None, book_folder: Path | None) -> Iterator[Answerer]:
    book = _book(book_folder)
    shop = _shop(shop_file, book) if shop_file else example_shop(book)
    authority = Authority(book)
    which = f"the book in {book_folder}" if book_folder else "the shipped book"
    whose = f"{shop.name} ({shop_file})" if shop_file else "the example shop with one press of each type"
    try:
        yield Here(authority, shop, f"Answered without a service: {which}, {whose}.")
    finally:
        authority.close()


def _book(folder: Path | None) -> Book:
    try:
        return _loaded(folder) if folder else _shipped()
    except BookError as error:
        raise Failure("The book cannot be used:\n" + "\n".join(f"  {reason}" for reason in error.reasons)) from None


@cache
def _shipped() -> Book:
    return _loaded(shipped_folder())


def _loaded(folder: Traversable) -> Book:
    """A book whose examples are tried once a machine. Raises BookError."""
    book = load_folder(folder, partial(trials.passed, trials.EXAMPLES))
    trials.remember(trials.EXAMPLES, book.documents)
    return book


def _shop(file: Path, book: Book) -> Shop:
    try:
        shop = read(Shop, tomllib.loads(file.read_text(encoding="utf-8")))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise Failure(f"{file}: {error}") from None
    except DocumentError as error:
        raise Failure("\n".join(f"{file}: {fault}" for fault in error.faults)) from None
    faults = faults_of(book, shop, newest_day(time.time()))
    if faults:
        raise Failure("\n".join(f"{file}: {fault}" for fault in faults))
    return aged(shop, datetime.now(UTC).date())


def example_shop(book: Book) -> Shop:
    """The book's example shop with every product in stock and one press of each type."""
    document = book.documents["base_example"]["shop"]
    stock = {**document["stock"], "products": list(book.catalogue["products"])}
    presses = [{"id": press_type, "type": press_type} for press_type in book.catalogue["press_types"]]
    return read(Shop, {**document, "stock": stock, "presses": presses})
