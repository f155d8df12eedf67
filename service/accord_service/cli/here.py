"""The authority in this process as whoever answers: over the shipped book, a folder, or the bundle that was pulled."""

from __future__ import annotations

import time
import tomllib
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from functools import cache, partial
from importlib.resources.abc import Traversable
from pathlib import Path

import click

from accord_rules.authority import Authority
from accord_rules.derive.glossary import Glossary
from accord_rules.documents.files import BookError, entry_of, shipped_folder
from accord_rules.documents.reading import DocumentError, read
from accord_rules.load.loader import load_folder
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import KINDS, SOURCE_KINDS
from accord_rules.revision.names import unknown_in
from accord_rules.revision.rule import Rule
from accord_rules.revision.sourcing import facts_of, limits_sourced, rooms_of, rows_sourced, safety_limits_of
from accord_rules.revision.step import Step
from accord_service import offline
from accord_service.cli.failure import Failure
from accord_service.cli.orders import Refused
from accord_service.cli.sorting import by_words, in_order
from accord_service.cli.told import (
    FAULTY,
    NAMED_KINDS,
    NO_FACT,
    NO_LIMIT,
    Answerer,
    Document,
    KindRow,
    LimitPage,
    RestsOn,
    RulePage,
    RuleRow,
    SafetyLimit,
    Sourcing,
    StepPage,
    StepRow,
    Unknown,
    WordRow,
    word_row,
)
from accord_service.http.wire import about
from accord_service.run.times import newest_day
from accord_service.steps.bundles import BundledAuthority, BundleRefused
from accord_service.steps.shops import aged, faults_of
from accord_service.worker import trials


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
        return in_order(StepRow(step.id, step.stage, step.rank, step.text.text) for step in wanted)

    def migration(self) -> list[Document]:
        return by_words(self._authority.book.documents["migration"].values())

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
            raise Unknown(NO_FACT.format(name))
        return {"revision": book.revision, "digest": book.digest, **fact.document()}

    def facts(self) -> list[Document]:
        return [fact.document() for fact in Glossary(self._authority.book).values()]

    def words(self) -> list[WordRow]:
        documents = self._authority.book.documents
        return [
            word_row(kind, name, entry_of(documents, kind, name)) for kind in NAMED_KINDS for name in documents[kind]
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
            raise Unknown(NO_LIMIT.format(name))
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

    def envelope(self, order: Document) -> Document:
        return self._judged(lambda: self._bundled.envelope(order))


def _rests_on(book: Book, entry: Rule | Step) -> RestsOn:
    """The limits and the sources that a rule or step names, as the book writes them."""
    written = book.documents
    return RestsOn(
        {limit: written["limits"][limit] for limit in entry.limits},
        {limit.id: limit.kind for limit in limits_sourced(entry.limits, book.limits, book.sources)},
        {source: written["sources"][source] for source in entry.sources},
    )


def bundled(token: str | None) -> Iterator[Answerer]:
    day = offline.today()
    holding = offline.held(offline.usual_folder(), day, token)
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
        yield Bundled(bundled, offline.introduced(holding, day))


def here(shop_file: Path | None, book_folder: Path | None) -> Iterator[Answerer]:
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
    document = book.example_shop_document
    stock = {**document["stock"], "products": list(book.catalogue["products"])}
    presses = [{"id": press_type, "type": press_type} for press_type in book.catalogue["press_types"]]
    return read(Shop, {**document, "stock": stock, "presses": presses})
