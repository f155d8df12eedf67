"""How pressed pieces came out: counts, what they say about the share that holds, and the proposal a poor share drafts.

With g good of n pieces and every share equally likely beforehand, the share that comes out good is distributed as
Beta(g + 1, n - g + 1); the interval leaves 5 % on either side (the uniform prior is Bayes's and Laplace's choice;
A. Gelman et al., "Bayesian Data Analysis", section 2.1, from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from accord_rules.documents.answers import INTEGER, Figure, Nullable
from accord_rules.documents.counted import counted
from accord_rules.documents.reading import Name, Whole, required
from accord_rules.documents.writing import Documented
from accord_rules.governance.changes import EntryChange
from accord_rules.revision.book import Book

CREDIBILITY = 0.90
TOPIC = "outcomes"
SOURCE = "outcomes-reported"
SHOPS_TOLD = 10
WATCHED = (
    "Its rule is only watched: it is counted wherever it would find something, shown in no answer, and turns no verdict"
    " until stewards enforce it."
)
_SOURCE_TITLE = "Outcomes reported by the collective's shops"
_SOURCE_TEXT = "Counts of pieces that came out good and of those that failed, by transfer, substrate and type of press."


@dataclass(frozen=True, slots=True, order=True)
class Cell:
    """What outcomes are counted by: a transfer family or product, a substrate, a type of press."""

    transfer: str = required(Name(name_of="transfers|products"))
    substrate: str = required(Name(name_of="substrates"))
    press_type: str = required(Name(name_of="press_types"))


@dataclass(frozen=True, slots=True)
class OutcomeCounts:
    """Pieces that came out good, and pieces that failed."""

    good: int = required(Whole(0, 100_000_000))
    failed: int = required(Whole(0, 100_000_000))

    def __add__(self, other: OutcomeCounts) -> OutcomeCounts:
        return OutcomeCounts(self.good + other.good, self.failed + other.failed)


@dataclass(frozen=True, slots=True)
class ShopCounts:
    """What one shop reported of a cell: pieces that came out good, pieces that failed, and of how many recorded orders
    they were, each of which had a verdict of its own."""

    good: int = 0
    failed: int = 0
    orders: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class OutcomeSummary(Documented):
    """Counts, and the share of good pieces (0 to 1): the interval's ends and the likeliest value, g of n."""

    good: int = required(INTEGER, "pieces that came out good")
    failed: int = required(INTEGER, "pieces that failed")
    low: float = required(Figure(4), "lower end of the credible interval of the good share")
    likely: float | None = required(Nullable(Figure(4)), "good pieces of all; null where nothing was reported")
    high: float = required(Figure(4), "upper end of the credible interval")
    credibility: float = required(Figure(), "how sure the interval is, 0 to 1", default=CREDIBILITY)

    @property
    def count(self) -> int:
        """Pieces reported."""
        return self.good + self.failed


def summary(counts: OutcomeCounts) -> OutcomeSummary:
    """The equal-tailed 90 % credible interval of the share that comes out good. Raises ValueError below 0."""
    if counts.good < 0 or counts.failed < 0:
        raise ValueError("counts of pieces cannot be below 0")
    from scipy.special import betaincinv  # its import takes half a second of each start

    tail = (1 - CREDIBILITY) / 2
    # Quantiles of the beta distribution.
    low, high = (float(betaincinv(counts.good + 1, counts.failed + 1, share)) for share in (tail, 1 - tail))
    total = counts.good + counts.failed
    likely = counts.good / total if total else None
    return OutcomeSummary(good=counts.good, failed=counts.failed, low=low, likely=likely, high=high)


@dataclass(frozen=True, slots=True)
class PoorBelow:
    """When outcomes are poor: at least ``count`` pieces, and even the interval's upper end below ``share``. A proposal
    is drafted where so many ``shops`` say so, of ``orders`` recorded orders together.

    A choice of this project: at 20 pieces and 0.8, about four failures in ten draft a proposal; and what one shop or
    one job has seen may be that shop's press or that job's cloth.
    """

    share: float = 0.8
    count: int = 20
    shops: int = 2
    orders: int = 3


def poor(summary: OutcomeSummary, limits: PoorBelow = PoorBelow()) -> bool:
    """Whether so many failed that chance does not explain it."""
    return summary.count >= limits.count and summary.high < limits.share


def widely_seen(shops: Mapping[str, ShopCounts], limits: PoorBelow = PoorBelow()) -> bool:
    """Whether several shops, each by its own pieces, say that the share is poor, and of several recorded orders.

    Whoever reports good pieces alone backs no poor share, so no shop can lend another's failures its name.
    """
    poor_ones = [own for own in shops.values() if own.good < limits.share * (own.good + own.failed)]
    return len(poor_ones) >= limits.shops and sum(own.orders for own in poor_ones) >= limits.orders


@dataclass(frozen=True, slots=True)
class Draft:
    """A proposal that nobody has made yet: the changes, why, and on what evidence."""

    changes: tuple[EntryChange, ...]
    reason: str
    evidence: str


def draft_proposal(
    cell: Cell,
    summary: OutcomeSummary,
    shops: Mapping[str, ShopCounts],
    book: Book,
    limits: PoorBelow = PoorBelow(),
) -> Draft:
    """A watched caution for the cell, with the figures, shop by shop; a steward decides what the book should say.

    The draft has no changes where such a rule is in the book already. Raises KeyError for a cell the book lacks.
    """
    names = _titles(cell, book)
    pieces = counted(summary.count, "piece")
    reason = (
        f"{summary.failed} of {pieces} failed with {names['transfer']} on {names['substrate']} "
        f"({names['press_type']}): the share that comes out good is below {summary.high:.0%}, "
        f"where {limits.share:.0%} is expected."
    )
    proposed = f"{reason} {WATCHED}"
    evidence = (
        f"Reported outcomes: {summary.good} good, {summary.failed} failed. With nothing known beforehand the share of "
        f"good pieces lies between {summary.low:.1%} and {summary.high:.1%} with {CREDIBILITY:.0%} credibility. "
        f"{_by_shop(shops)}"
    )
    rule_id = rule_name(cell, book)
    if rule_id in book.rules:
        return Draft((), proposed, evidence)
    rule = EntryChange("rules", rule_id, _rule(cell, reason, names, book), "none")
    source = EntryChange("sources", SOURCE, _source(), "none")
    return Draft((rule,) if SOURCE in book.sources else (source, rule), proposed, evidence)


def _by_shop(shops: Mapping[str, ShopCounts]) -> str:
    """The figures shop by shop, the most failures first."""
    ranked = sorted(shops.items(), key=lambda entry: (-entry[1].failed, entry[0]))
    told = [
        f"{shop} reported {own.good} good and {own.failed} failed, of {counted(own.orders, 'recorded order')}."
        for shop, own in ranked[:SHOPS_TOLD]
    ]
    rest = len(ranked) - SHOPS_TOLD
    return " ".join([*told, f"{counted(rest, 'more shop')} reported."] if rest > 0 else told)


def _source() -> dict[str, Any]:
    """What such rules rest on; a rule about how something is pressed."""
    return {"title": _SOURCE_TITLE, "kind": "computed", "text": _SOURCE_TEXT, "speaks_of": ["pressing"]}


def rule_name(cell: Cell, book: Book) -> str:
    """The id of the watched rule of a cell; a product's outcomes are its family's. KeyError for what the book lacks."""
    return f"outcomes-{_family(cell, book)}-{cell.substrate}-{cell.press_type}"


def _family(cell: Cell, book: Book) -> str:
    transfer = book.transfer(cell.transfer)
    if transfer is None:
        raise KeyError(cell.transfer)
    return transfer.family


def _titles(cell: Cell, book: Book) -> Mapping[str, str]:
    return {
        "transfer": book.catalogue["transfers"][_family(cell, book)].title,
        "substrate": book.catalogue["substrates"][cell.substrate].title,
        "press_type": book.catalogue["press_types"][cell.press_type].title,
    }


def _rule(cell: Cell, reason: str, names: Mapping[str, str], book: Book) -> dict[str, Any]:
    family = _family(cell, book)
    facts = {"transfer.family": family, "item.substrate": cell.substrate, "press.type": cell.press_type}
    others = {
        "transfer.family": next(name for name in book.catalogue["transfers"] if name != family),
        "item.substrate": next(name for name in book.catalogue["substrates"] if name != cell.substrate),
        "press.type": next(name for name in book.catalogue["press_types"] if name != cell.press_type),
    }
    order = {
        "item": {"substrate": cell.substrate, "fibres": ""},
        "decoration": {"transfer": family},
        "press": {"type": cell.press_type},
    }
    return {
        "status": "watch",
        "topic": TOPIC,
        "level": "cautions",
        "title": f"{names['transfer']}: poor results reported"[:120],
        "about": "decoration",
        "when": " and ".join(f"{name} == '{word}'" for name, word in facts.items()),
        "because": reason,
        "fix": "Press one piece first, and wash it before the others are pressed.",
        "sources": [SOURCE],
        "fires": [order, {"facts": facts}],
        "silent": [{"facts": facts | {name: word}} for name, word in others.items()],
    }
