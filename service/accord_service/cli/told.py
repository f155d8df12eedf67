"""What is told of the book and of orders, whoever answers: rows and pages for people, and who can be asked."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from accord_rules.documents.spelling import as_word, nearest, ordered
from accord_service.cli.failure import Failure
from accord_service.cli.orders import Refused

if TYPE_CHECKING:
    from accord_rules.revision.sourcing import SourcedRow

Document = Mapping[str, Any]
FAULTY = "The document has faults"
_NEAREST_TOLD = 3
NO_FACT = "There is no fact {!r}."
NO_LIMIT = "The book has no limit {!r}."


class Unknown(LookupError):
    """A name that the book does not have."""


def no_such(why: str, name: str, known: Iterable[str], lister: str) -> Failure:
    """What to fail with for such a name: those that are spelt like it, else the nearest and the command that lists
    all."""
    words = tuple(known)
    if close := nearest(name, words):
        return Failure(f"{why} Did you mean {', '.join(close)}?")
    return Failure(f"{why} The nearest are {', '.join(ordered(name, words)[:_NEAREST_TOLD])}; {lister} lists them all.")


def speaking_of(word: str | None, thing: str, texts: Mapping[str, str], known: Iterable[str], lister: str) -> set[str]:
    """The names of those in whose text a word stands; of all where there is no word. Raises Failure where none is.

    ``thing``: what each of them is; ``known``: all the names that the word may be a slip of.
    """
    if word is None:
        return {*texts}
    wanted = as_word(word)
    found = {name for name, text in texts.items() if wanted in as_word(f"{name} {text}")}
    if not found:
        raise no_such(f"No {thing} speaks of {word!r}.", word, known, lister)
    return found


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


def word_row(kind: str, id_: str, entry: Document) -> WordRow:
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
