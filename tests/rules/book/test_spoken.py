"""What the book says to people: short, in the shop's units, in words of the trade and not in ids.

35 words a sentence: our own choice; common practice, no source. Every rule, step, remedy and assumption is written out
for the orders that make the rules fire, for a shop that reads °C, mm and bar, and for one that reads °F, in and psi.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

import pytest
from cases import firing_orders
from tests.tiers import LONG, NIGHTLY

from accord_rules.advise.plans import presses_of
from accord_rules.authority import Authority
from accord_rules.orders import order as orders
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.rule import SHOP
from accord_rules.verdict import Finding
from accord_rules.weigh.scales import worded

WORDS_MOST = 35
SYSTEMS = ("metric-bar", "us-customary")
# Words of the trade that orders happen to use as they are.
SPOKEN = {
    *("all-round", "down-filled", "dye-receptive", "flame-resistant", "flame-retardant", "food-contact", "food-face"),
    *("hand-held", "high-visibility", "left-chest", "large-format", "swing-away", "water-repellent", "raised-nap"),
    *("buoyancy-aid", "dry-cleaning"),
}
# Units of the other kind of shop.
FOREIGN = {
    "metric-bar": re.compile(r"°F|\bpsi\b|\bkPa\b|[0-9] in\b|oz/yd|L\*"),
    "us-customary": re.compile(r"°C|\bbar\b|\bkPa\b|[0-9] mm\b|g/m²|[0-9] K\b|L\*"),
}
# Said about units.
OF_BOTH = {"rule cloth-weight-unlikely"}
# Names of goods say their size as they are sold.
SOLD_AS = re.compile(r"[0-9]+ x [0-9]+ mm|[0-9]+ mm(?= is | leaves |\)|,| \(|:)|, [0-9]+ mm")


def sentences(text: str) -> list[str]:
    return re.split(r"(?<=[.?!])\s+(?=[A-Z0-9])", text)


def examples(book: Book, system: str) -> Iterator[tuple[str, Order, Shop]]:
    """The orders that make each rule fire, in a shop of these units. README's command takes the first one of each rule,
    as any day does in the second system: the sentences are the same, and the orders differ in what makes it fire."""
    heard = set()
    for name, order, shop in firing_orders(book):
        if NIGHTLY or (LONG and system == SYSTEMS[0]) or name not in heard:
            heard.add(name)
            yield name, order, replace(shop, unit_system=system)


@dataclass(frozen=True)
class Spoken:
    """All that is said in a system of units: by what says it, and what each answer finds."""

    system: str
    said: dict[str, set[str]]
    answers: list[tuple[Finding, ...]]


@pytest.fixture(scope="module", params=SYSTEMS)
def spoken(request: pytest.FixtureRequest, book: Book, authority: Authority) -> Spoken:
    said: dict[str, set[str]] = {}
    answers: list[tuple[Finding, ...]] = []
    for name, order, shop in examples(book, request.param):
        if book.rules[name].about == SHOP:
            findings = authority.of_shop(replace(shop, presses=presses_of(order, shop)))
        else:
            findings = tuple(worded(match, book) for match in authority.judged(order, shop).weighed.fired)
        for finding in findings:
            said.setdefault(f"rule {finding.rule}", set()).update({finding.because, finding.fix} - {""})
        verdict = authority.validate(order, shop)
        answers.append(verdict.findings)
        said.setdefault("remedies", set()).update(remedy.text for remedy in verdict.remedies)
        said.setdefault("assumptions", set()).update(assumption.why for assumption in verdict.assumed)
        said.setdefault("unsaid", set()).update({verdict.unsaid} - {None})
        said.setdefault("conditions", set()).update(verdict.conditions)
        for plan in authority.recommend(order, shop, most=1).plans:
            for decoration in plan.decorations:
                for step in decoration.steps:
                    said.setdefault(f"step {step.id}", set()).add(step.text)
    return Spoken(request.param, said, answers)


def test_every_rule_and_nearly_every_step_was_heard(spoken: Spoken, book: Book) -> None:
    said = spoken.said
    assert {f"rule {name}" for name, rule in book.rules.items() if rule.enforced} <= said.keys()
    assert len({name for name in book.steps if f"step {name}" in said}) > 0.8 * len(book.steps)
    assert all(said[by] for by in ("remedies", "unsaid", "assumptions"))


def test_no_sentence_is_longer_than_a_tired_reader_takes_in(spoken: Spoken) -> None:
    said = spoken.said
    long = {
        (by, sentence)
        for by, texts in said.items()
        for text in texts
        for sentence in sentences(text)
        if len(sentence.split()) > WORDS_MOST
    }
    assert long == set()


def test_every_sentence_begins_and_ends_as_one(spoken: Spoken) -> None:
    said = spoken.said
    wrong = {
        (by, text)
        for by, texts in said.items()
        if by != "assumptions"
        for text in texts
        if not re.match(r"[A-Z0-9“]", text)
        or not text.endswith((".", "!", "?"))
        or re.search(r"[a-z]{3}\. [a-z]", text)
    }
    assert wrong == set()


def test_units_are_the_shops_own(spoken: Spoken) -> None:
    """A gauge in bar says nothing in kPa; lightness has no unit that people know."""
    system, said = spoken.system, spoken.said
    foreign = {
        (by, text)
        for by, texts in said.items()
        for text in texts
        if FOREIGN[system].search(SOLD_AS.sub("", text))
        and by not in OF_BOTH
        and not text.endswith("put the unit right.")
    }
    assert foreign == set()


def test_nothing_is_called_by_its_id(spoken: Spoken, book: Book) -> None:
    said = spoken.said
    ids = {name for entries in book.catalogue.values() for name in entries if "-" in name} | set(book.rules)
    ids |= {word for words in (orders.PRINTERS, orders.EVIDENCE, orders.PREPARATIONS) for word in words if "-" in word}
    named = {
        (by, word)
        for by, texts in said.items()
        for text in texts
        for word in re.findall(r"[a-z0-9]+(?:[-_][a-z0-9]+)+", text)
        if word in ids - SPOKEN or "_" in word
    }
    assert named == set()


def test_who_has_the_last_word_is_said_once_an_answer(spoken: Spoken, book: Book) -> None:
    heard = 0
    for told in spoken.answers:
        ends = [finding for finding in told if re.search(r"(local|Local) (law|code)\b.* decide\.$", finding.fix)]
        deferring = [finding for finding in told if book.rules[finding.rule].defers_to is not None]
        heard += len(ends)
        assert len(ends) == bool(deferring), told
    assert heard > 20


def test_no_text_says_that_there_is_no_law(book: Book) -> None:
    """What this book's market rows have nothing on may be law all the same."""
    texts = {
        f"{kind}/{name}": str(entry) for kind in book.documents for name, entry in dict(book.documents[kind]).items()
    }
    claims = re.compile(r"(?<!book knows )\bno (?:local )?law\b|law is silent|law (?:asks|says) nothing", re.IGNORECASE)
    assert [name for name, text in texts.items() if claims.search(text)] == []
