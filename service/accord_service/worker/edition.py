"""One revision of the book, loaded and ready to answer for any shop."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager

from accord_rules.authority import Authority
from accord_rules.derive import FACT_TYPES
from accord_rules.governance.house import NO_HOUSE_RULES, HouseAuthority, HouseRules, read_house
from accord_rules.infer.engine import try_out
from accord_rules.infer.ledger import Ledger
from accord_rules.load.examples import example_facts
from accord_rules.load.loader import from_documents
from accord_rules.revision.book import Book
from accord_rules.revision.rule import Rule
from accord_service.store import HouseRecord, RevisionHead, RevisionRecord
from accord_service.worker.kept import KeptAnswers
from accord_service.worker.lending import Shelf
from accord_service.worker.trials import trier

logger = logging.getLogger(__name__)
HOUSES_MOST = 16  # about 2 MB each
TRIAL_S = 20  # of work
# Of how many rules one is asked in the test of a revision that passed it whole before: when one is published, all
# workers move at once, and have to be through within the two seconds that are promised.
SAMPLED = 16


class Edition:
    """Made by ``load``. ``failed`` says why the authority's own test failed; empty when it passed.

    Give up whatever was lent by ``authority_for`` before ``close``. ``kept``: answers that it gave.
    """

    def __init__(self, head: RevisionHead, authority: Authority, one_in: int = 1) -> None:
        self.head = head
        self.authority = authority
        self.failed = _self_test(authority, one_in)
        self.kept = KeptAnswers()
        self._houses: Shelf[tuple[str, int], HouseAuthority] = Shelf(HOUSES_MOST, HouseAuthority.close)

    @classmethod
    def load(
        cls, record: RevisionRecord, ledger: Ledger, vetted: Book | None = None, *, superseded: bool = False
    ) -> Edition:
        """Load a revision, after its rules were tried out in a process whose crash costs nothing.

        ``ledger``: where its networks and those of shops' house rules are counted, however soon they are dropped.
        ``vetted``: a book that is loaded already; its rules need no trial. ``superseded``: one that holds no more, and
        may lack what books have had to say since.
        Raises BookError with the loader's reasons, or EngineError with the trial's.
        """
        book = loaded(record, superseded=superseded)
        passed_before = record.tried_by == trier()
        if not passed_before:
            try_rules(book, vetted=vetted)
        return cls(record.head, Authority(book, ledger=ledger), SAMPLED if passed_before else 1)

    @property
    def book(self) -> Book:
        """The book that its authority answers from."""
        return self.authority.book

    @contextmanager
    def authority_for(self, house: HouseRecord) -> Iterator[Authority]:
        """The authority under a shop's house rules, for as long as the block runs.

        Raises HouseError where they do not fit this revision: a shop that wanted to be stricter is not answered as if
        it had wanted nothing.
        """
        rules = read_house(house.document)
        if rules == NO_HOUSE_RULES:
            yield self.authority
            return
        with self._houses.lend((house.shop, house.version), lambda: HouseAuthority(self.authority, rules)) as authority:
            yield authority

    def close(self) -> None:
        """Close the authority, and those of house rules as soon as nobody uses them."""
        self._houses.clear()
        self.authority.close()


def loaded(record: RevisionRecord, *, superseded: bool = False) -> Book:
    """The book of a revision. Its examples are tried unless that was done before (``trier``). Raises BookError."""
    tried = record.documents if record.tried_by == trier() else None
    return from_documents(record.documents, record.number, tried=tried, superseded=superseded)


def try_rules(book: Book, only: HouseRules | None = None, vetted: Book | None = None) -> None:
    """Load the rules and answer the book's own examples in a throw-away process. Raises EngineError.

    ``only``: try just the rules that a shop adds. ``vetted``: leave out those that another book, tried before, has too.
    """
    rules = {
        name: rule
        for name, rule in book.rules.items()
        if (not only or name in only.rules) and not _was_tried(rule, vetted)
    }
    if not rules:
        return
    samples = [
        (example_facts(rule, example, book), book.limit_values)
        for rule in rules.values()
        for example in (*rule.fires, *rule.silent)
        if "facts" in example
    ]
    try_out({name: rule.condition for name, rule in rules.items()}, FACT_TYPES, samples, TRIAL_S)


def _was_tried(rule: Rule, vetted: Book | None) -> bool:
    """Whether the engine has seen the very same condition."""
    before = None if vetted is None else vetted.rules.get(rule.id)
    return before is not None and (before.when, before.scope) == (rule.when, rule.scope)


def tried_by(book: Book) -> str:
    """``trier`` where a book whose examples and rules were tried passes the whole of its own test; else empty."""
    authority = Authority(book)
    try:
        return "" if _self_test(authority, 1) else trier()
    finally:
        authority.close()


def _self_test(authority: Authority, one_in: int) -> str:
    """A red test stops answers, not the process."""
    try:
        authority.self_test(one_in)
    except Exception as error:  # whatever it is, /readyz must be able to say it
        logger.exception("the self-test failed")
        return f"{type(error).__name__}: {error}"
    return ""
