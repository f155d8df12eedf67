"""The authority: validates orders and recommends how to do them, over one revision of the book."""

from __future__ import annotations

import hashlib
import threading
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property, lru_cache, partial
from importlib.resources import files
from importlib.resources.abc import Traversable
from itertools import islice
from typing import Any

from accord_rules.advise import plans
from accord_rules.advise.envelope import PRESSINGS_MOST, Bench, ground, on_press, possible_ones
from accord_rules.advise.moves import Rejected
from accord_rules.advise.remedies import Remedied, Tried, remedies
from accord_rules.advise.wording import order_settings
from accord_rules.derive.case import Case
from accord_rules.derive.covers import named
from accord_rules.derive.press import press_in_words
from accord_rules.documents.canonical import canonical, digest
from accord_rules.documents.writing import plain
from accord_rules.infer.inference import Counts
from accord_rules.infer.ledger import Ledger
from accord_rules.load.examples import example_order
from accord_rules.orders.order import Order
from accord_rules.orders.shop import NO_OWN_NAMES, Shop
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import CONSUMABLE_KINDS
from accord_rules.revision.names import resolve
from accord_rules.revision.rule import SHOP
from accord_rules.verdict import (
    PLANS_MOST,
    VERDICTS,
    WORKABLE,
    Basis,
    Envelope,
    Finding,
    Plan,
    PressVerdict,
    Recommendation,
    Verdict,
)
from accord_rules.weigh.scales import (
    WEIGHINGS_MOST,
    Doubt,
    OnPress,
    Scales,
    Weighed,
    WorkUsedUp,
    findings,
    in_order,
    needs,
    turns_on,
    unsaid,
    with_last_word,
    worded,
)

# Weighings of an envelope, and of those what finding its ways may take: the rest is for its ranges. Four prints
# on one press take some 5,000 (measured). The ranges of a press are given whole or not at all.
ENVELOPE_WEIGHINGS_MOST = WEIGHINGS_MOST
SEARCH_WEIGHINGS_MOST = WEIGHINGS_MOST // 2

_NAMED_MOST = 3  # presses named in a sentence


class SelfTestError(RuntimeError):
    """The authority does not answer a question whose answer is known."""


@cache
def code_digest() -> str:
    """SHA-256 over this package's Python sources: a verdict's id changes when the derivations do."""
    sums = hashlib.sha256()
    for name, content in sorted(_sources(files("accord_rules"), "")):
        sums.update(f"{name}\0{len(content)}\0".encode() + content)
    return "sha256:" + sums.hexdigest()


def _sources(folder: Traversable, prefix: str) -> list[tuple[str, bytes]]:
    sources = []
    for entry in folder.iterdir():
        if entry.is_dir() and entry.name not in ("__pycache__", "book"):
            sources += _sources(entry, f"{prefix}{entry.name}/")
        elif entry.name.endswith(".py"):
            sources.append((prefix + entry.name, entry.read_bytes()))
    return sources


# A shop with forty presses, each with all the probe readings there may be, takes some 0.4 MB.
@lru_cache(maxsize=64)
def house_digest(shop: Shop) -> str:
    """SHA-256 over what is the shop's own and turns answers: presses, stock, what it has standing, units.

    Not its names: answers are of the order that they were read into.
    """
    return digest(plain(replace(shop, names=NO_OWN_NAMES)))


@dataclass(frozen=True)
class Judged:
    """An order on each press that may take it. ``general`` is what holds whatever the press.

    What follows from that is worked out once, when it is first wanted.
    """

    whole: Case
    of_order: Weighed
    general: Weighed
    decorations: tuple[Case, ...]
    on_presses: tuple[OnPress, ...]
    shared: Judged | None = None  # what the shared book alone says, where a shop's own rules were asked

    @cached_property
    def best(self) -> OnPress:
        return min(self.on_presses, key=lambda on_press: (self.general + on_press.weighed).badness)

    @cached_property
    def own(self) -> Weighed:
        """What the rules that were asked say."""
        return self.general + self.best.weighed

    @cached_property
    def weighed(self) -> Weighed:
        """The same, with all that the shared book alone says where that comes to a firmer verdict."""
        return _with_shared(self.own, self.shared.weighed if self.shared is not None else None)

    @cached_property
    def verdict(self) -> str:
        """The verdict of the answer: settings typed for no press are not accepted for the kindest one alone."""
        verdict = self.weighed.verdict
        return "conditional" if verdict == "accepted" and self.at_odds else verdict

    @cached_property
    def at_odds(self) -> Mapping[str, Weighed]:
        """Where settings were typed and no press was named: the presses on which they come to a worse verdict than on
        the best, by what hangs on the settings or on how the press heats."""
        order, verdict = self.whole.order, self.weighed.verdict
        typed = any(decoration.settings is not None for decoration in order.decorations)
        if order.press is not None or not typed or verdict not in WORKABLE:
            return {}
        worse = ((name, weighed) for name, weighed in self.by_press.items() if weighed.verdict != verdict)
        return {
            name: weighed for name, weighed in worse if weighed.verdict != "rejected" or turns_on(weighed.at("blocks"))
        }

    @cached_property
    def by_press(self) -> Mapping[str, Weighed]:
        """What is said of the whole order on each press, as if it named that press."""
        shared = self.shared.by_press if self.shared is not None else {}
        return {
            on_press.press.id: _with_shared(self.general + on_press.weighed, shared.get(on_press.press.id))
            for on_press in self.on_presses
        }

    @cached_property
    def places(self) -> Mapping[str, frozenset[tuple[str, str]]]:
        """By press what holds there, rule and place, whoever's rules say so."""
        shared = self.shared.places if self.shared is not None else {}
        own = {on_press.press.id: self.general + on_press.weighed for on_press in self.on_presses}
        return {
            press: frozenset((fired.rule.id, fired.pointer) for fired in weighed.fired) | shared.get(press, frozenset())
            for press, weighed in own.items()
        }

    def located(self, findings: Iterable[Finding]) -> Iterator[Finding]:
        """The findings, each with the presses it holds on where those are not all that were judged."""
        places = self.places
        for finding in findings:
            there = tuple(press for press, finds in places.items() if (finding.rule, finding.pointer) in finds)
            yield finding if len(there) == len(places) else replace(finding, presses=there)


def _with_shared(own: Weighed, shared: Weighed | None) -> Weighed:
    return own + shared if shared is not None and shared.firmer_than(own) else own


class Authority:
    """Answers for one revision of the book. Safe to share between threads; close it when it is no longer used."""

    def __init__(self, book: Book, slots: int = 4, shared: Scales | None = None, ledger: Ledger | None = None) -> None:
        """``shared`` and ``ledger``: see ``Scales``."""
        self.book = book
        self._scales = Scales(book, slots, shared, ledger=ledger)
        self._counting = threading.Lock()
        self._watched: Counter[str] = Counter()

    @property
    def scales(self) -> Scales:
        """The compiled rules, for another authority to share."""
        return self._scales

    @property
    def counts(self) -> Counts:
        """Questions put to the rules, and how many the judge had to settle."""
        return self._scales.counts

    @property
    def watched(self) -> Mapping[str, int]:
        """Each watched rule, and for how many validated orders it held."""
        with self._counting:
            return {name: self._watched[name] for name in self._scales.watched()}

    def close(self) -> None:
        self._scales.close()

    def basis(self, shop: Shop) -> Basis:
        return Basis(self.book.revision, self.book.digest, self._house_digest(shop), "live")

    # What a shop's house rules change, see governance.house.

    def _house_digest(self, shop: Shop) -> str:
        return house_digest(shop)

    def _stocked(self, shop: Shop) -> Shop:
        """The shop with what it lets be used."""
        return shop.in_use()

    def _findings(self, judged: Judged, *, observed: bool) -> tuple[Finding, ...]:
        return findings(judged.weighed.fired, self.book, observed=observed)

    def _worth_telling(self, finding: Finding) -> bool:
        """Whether it matters for an order that is rejected: it rejects it, or keeps people safe."""
        return finding.level == "blocks" or self.book.keeps_people_safe(self.book.rules[finding.rule])

    # -- the shop itself ---------------------------------------------------------------------------------------------

    def of_shop(self, shop: Shop) -> tuple[Finding, ...]:
        """What holds of the shop's presses whatever is pressed on them, each place ``/presses/{i}`` of the shop."""
        quiet, _ = example_order({}, self.book)
        decoration = Case(self.book, self._stocked(shop), quiet).decoration_case(0)
        fired = (
            (index, match)
            for index, press in enumerate(shop.presses)
            for match in self._scales.weigh_press(decoration.pressing_case(press)).fired
        )
        told = in_order(
            (replace(worded(match, self.book), pointer=f"{match.pointer}/{index}") for index, match in fired),
            self.book.rules,
        )
        return with_last_word(told, self.book.rules)

    # -- validate ----------------------------------------------------------------------------------------------------

    def validate(self, order: Order, shop: Shop, *, observed: bool = False) -> Verdict:
        """Say whether the order can be done, and count the watched rules that hold for it. Raises
        reading.DocumentError where the book cannot read it.

        ``observed``: whether findings tell what was found, fact by fact.
        """
        verdict, watched = self.validated(order, shop, observed=observed)
        self.count_watched(watched)
        return verdict

    def validated(self, order: Order, shop: Shop, *, observed: bool = False) -> tuple[Verdict, frozenset[str]]:
        """The same with the watched rules that hold, for whoever counts them by ``count_watched``."""
        judged = self.judged(resolve(order, self.book, shop), shop)
        watched = self._watch(judged)
        return self._verdict(judged, shop, self._remedies(judged, shop), observed=observed), watched

    def count_watched(self, watched: frozenset[str]) -> None:
        """Count that these watched rules held for an order that was answered."""
        if watched:
            with self._counting:
                self._watched.update(watched)

    def watch(self, order: Order, shop: Shop) -> frozenset[str]:
        """The watched rules that hold for an order, without counting them. Raises as ``validate`` does."""
        return self._watch(self.judged(resolve(order, self.book, shop), shop))

    def _watch(self, judged: Judged) -> frozenset[str]:
        return self._scales.watch([judged.whole, *judged.decorations, *judged.best.cases])

    def judge(self, order: Order, shop: Shop) -> Weighed:
        """What the rules say, without the words: for searches and comparisons over many orders."""
        return self.judge_resolved(resolve(order, self.book, shop), shop)

    def judge_resolved(self, order: Order, shop: Shop) -> Weighed:
        """The same for an order that ``resolve`` has read."""
        return self.judged(order, shop).weighed

    def judged(self, order: Order, shop: Shop) -> Judged:
        """What the rules say of an order that ``resolve`` has read, press by press."""
        whole = self._scales.case(self._stocked(shop), order)
        return self._judge_case(whole, self._scales.weigh(whole), shop)

    def _judge_case(self, whole: Case, of_order: Weighed, shop: Shop) -> Judged:
        """Judge what ``whole`` asks; ``shop`` is as it is before its house rules."""
        decorations = tuple(map(whole.decoration_case, range(len(whole.order.decorations))))
        general = sum(map(self._scales.weigh, decorations), of_order)
        presses = plans.presses_of(whole.order, whole.shop)
        on_presses = tuple(self._scales.on_press(decorations, press) for press in presses)
        judged = Judged(whole, of_order, general, decorations, on_presses)
        doubts = tuple(self._doubts(judged))
        return replace(judged, general=general + Weighed(doubts=doubts)) if doubts else judged

    def _doubts(self, judged: Judged) -> Iterator[Doubt]:
        """Whether the verdict hangs on which is right: the fibres that the order says, or those of the blank named."""
        whole = judged.whole
        mixtures = whole["item.fibres_said_words"]
        if not mixtures:
            return
        by_blank = Case(self.book, whole.shop, replace(whole.order, item=replace(whole.order.item, fibres=None)))
        said, named = judged.own, self._judge_case(by_blank, self._scales.weigh(by_blank), whole.shop).own
        if said.verdict != named.verdict:
            question = _WHICH_FIBRES.format(mixtures=mixtures, said=said.verdict, named=named.verdict)
            yield Doubt("/item/fibres", question, tuple(sorted(_deciding(said) ^ _deciding(named))))

    def _verdict(self, judged: Judged, shop: Shop, remedied: Remedied, *, observed: bool) -> Verdict:
        best, weighed = judged.best, judged.weighed
        located = tuple(judged.located(self._findings(judged, observed=observed)))
        if weighed.verdict == "rejected":
            located = tuple(filter(self._worth_telling, located))
        # What holds by one of two readings alone is in the question.
        doubted = frozenset(rule for doubt in weighed.doubts for rule in doubt.rules)
        located = tuple(finding for finding in located if finding.rule not in doubted)
        located = with_last_word(located, self.book.rules)
        by_press = judged.by_press
        assumed = self._scales.assumptions(*_with_and_without(judged.whole, judged.decorations, best))
        return Verdict(
            id=self._id(judged.whole.order, shop),
            verdict=judged.verdict,
            unsaid=unsaid(assumed),
            basis=self.basis(shop),
            judged_on=best.press.id,
            presses=tuple(
                self._press_verdict(on_press, by_press[on_press.press.id], shop) for on_press in judged.on_presses
            ),
            findings=located,
            conditions=tuple(dict.fromkeys([*_which_press(judged), *_fixes(located)])),
            samples=self._scales.leaned_on(best.cases) if weighed.verdict != "rejected" else (),
            needs=needs(weighed, self.book),
            assumed=assumed,
            remedies=remedied.remedies,
            remedies_complete=remedied.complete,
            reference=judged.whole.order.reference,
        )

    def _press_verdict(self, on_press: OnPress, weighed: Weighed, shop: Shop) -> PressVerdict:
        """Whatever a tool makes of an answer, it finds no settings to print where the work may not be done, or where
        that is not known yet."""
        workable = weighed.verdict in WORKABLE
        fired = () if weighed.doubts else weighed.at("blocks")
        blocks = findings(fired, self.book)
        settings = tuple(_settings(case, shop) for case in on_press.cases) if workable else None
        return PressVerdict(
            press=on_press.press.id,
            press_title=press_in_words(on_press.press.id, self.book.catalogue["press_types"][on_press.press.type]),
            verdict=weighed.verdict,
            settings=settings,
            titles=dict(_titles(settings or (), self.book)),
            pressings=tuple(_pressings(case) for case in on_press.cases) if workable else None,
            sequence=on_press.sequence.order if workable else None,
            blocked_by=tuple(sorted({match.rule.id for match in fired})),
            because=blocks[0].because if blocks else None,
        )

    def _id(self, order: Order, shop: Shop) -> str:
        """Content address of (code, revision, house, order); the shop's own reference and wishes are no part of it."""
        question = plain(replace(order, reference=None, prefer=None))
        parts = [code_digest(), self.book.revision, self.book.digest, self._house_digest(shop), question]
        return "vd_" + hashlib.sha256(canonical(parts)).hexdigest()[:40]

    def _remedies(self, judged: Judged, shop: Shop) -> Remedied:
        if judged.weighed.verdict != "rejected":
            return Remedied()
        first = judged.whole
        ways = tuple((judged.general + on_press.weighed).at("blocks") for on_press in judged.on_presses)
        rejected = Rejected(first.order, first, judged.decorations, judged.best, ways)
        return remedies(
            rejected,
            partial(self._tried, judged, shop),
            lambda order: self.judged(order, shop).verdict,
            self._scales.allowance(),
        )

    def _tried(self, judged: Judged, shop: Shop, order: Order) -> Tried:
        """What the judge says of a changed order, no further than it takes to know its verdict. Most come to nothing;
        what is offered is confirmed by engine and judge."""
        with self._scales.trying():
            return self._trial(judged, shop, order)

    def _trial(self, judged: Judged, shop: Shop, order: Order) -> Tried:
        first = judged.whole
        # The same piece for the same use on the same evidence: what is known of the order holds, whatever the transfer
        # or press.
        same = order.item is first.order.item and order.evidence is first.order.evidence
        whole = first.with_order(order) if same else Case(self.book, self._stocked(shop), order)
        of_order = judged.of_order if same else self._scales.weigh(whole)
        decorations = [whole.decoration_case(index) for index in range(len(order.decorations))]
        general = sum(map(self._scales.weigh, decorations), of_order)
        if general.at("blocks"):
            return Tried(general, None, (general.at("blocks"),))
        on_presses: list[OnPress] = []
        for press in plans.presses_of(order, whole.shop):
            on_presses.append(self._scales.on_press(decorations, press))
            if (general + on_presses[-1].weighed).verdict == "accepted":
                break
        best = min(on_presses, key=lambda on_press: (general + on_press.weighed).badness)
        return Tried(general + best.weighed, best, tuple(on_press.weighed.at("blocks") for on_press in on_presses))

    # -- recommend ---------------------------------------------------------------------------------------------------

    def recommend(
        self,
        order: Order,
        shop: Shop,
        experiences: plans.Experiences = plans.NO_EXPERIENCE,
        *,
        most: int = PLANS_MOST,
        observed: bool = False,
        curve: bool = False,
    ) -> Recommendation:
        """Say how the order can be done, the best ``most`` ways first. Raises DocumentError as ``validate`` does.

        ``experiences`` with pieces pressed before move plans up or down and are named in the reasons; they take none
        away and bring none in. ``observed``: see ``validate``; ``curve``: whether plans give their heat to draw.
        """
        resolved = resolve(order, self.book, shop)
        searched = plans.search(self._scales, resolved, self._stocked(shop))
        ruled_out, left_out = plans.ruled_out(searched, self.book, observed=observed)
        return Recommendation(
            basis=self.basis(shop),
            plans=self._plans(searched, shop, experiences, most, curve=curve),
            ruled_out=ruled_out,
            ruled_out_left_out=left_out,
            needs=needs(searched.open + self._doubted(searched, shop), self.book),
            complete=searched.complete,
            reference=order.reference,
        )

    def _doubted(self, search: plans.Search, shop: Shop) -> Weighed:
        """What the first way hangs on that the order says in two ways, or where there is none the order itself."""
        if not search.whole["item.fibres_said_words"]:
            return Weighed()
        of_order = self._scales.weigh(search.whole)
        first = next((search.whole.with_order(plans.planned_order(way)) for way in search.possible), search.whole)
        return Weighed(doubts=self._judge_case(first, of_order, shop).weighed.doubts)

    def _plans(
        self,
        search: plans.Search,
        shop: Shop,
        experiences: plans.Experiences,
        most: int,
        *,
        curve: bool,
    ) -> tuple[Plan, ...]:
        """The candidates that put back as an order still can be done, best first."""
        most = min(most, max(1, plans.PRINTS_TOLD_MOST // len(search.whole.order.decorations)))
        # Experiences rank all there may be, so that fewer plans are the best of them.
        tried_most = PLANS_MOST if experiences else most
        planned: list[tuple[plans.Candidate, Judged, str]] = []
        # They differ in decorations and press alone, so that what is known of the piece holds for all.
        of_order = self._scales.weigh(search.whole)
        for candidate in search.possible:
            order = plans.planned_order(candidate)
            judged = self._judge_case(search.whole.with_order(order), of_order, shop)
            if judged.weighed.verdict in WORKABLE:
                planned.append((candidate, judged, self._id(order, shop)))
            if len(planned) == tried_most:
                break
        if experiences:
            planned.sort(key=lambda entry: plans.rank_key(entry[0], experiences))
        return tuple(
            plans.plan(
                candidate,
                judged.weighed,
                rank,
                verdict_id,
                self._unsaid(judged),
                self._scales.leaned_on(judged.best.cases),
                experiences,
                curve=curve,
            )
            for rank, (candidate, judged, verdict_id) in enumerate(planned[:most], start=1)
        )

    def _unsaid(self, judged: Judged) -> str | None:
        """What is taken to hold of an order as it was judged, and could hurt somebody."""
        return unsaid(self._scales.assumptions(*_with_and_without(judged.whole, judged.decorations, judged.best)))

    # -- envelope ----------------------------------------------------------------------------------------------------

    def envelope(self, order: Order, shop: Shop, *, observed: bool = False) -> Envelope:
        """Say what is still allowed for each thing the order leaves open. As ``validate`` does."""
        resolved = resolve(order, self.book, shop)
        whole = Case(self.book, self._stocked(shop), resolved)
        of_order = self._scales.weigh(whole)

        may_go_on = self._scales.allowance(ENVELOPE_WEIGHINGS_MOST)

        def judge(changed: Order) -> Weighed:
            if changed.item is not resolved.item:
                return self.judge_resolved(changed, shop)
            return self._judge_case(whole.with_order(changed), of_order, shop).weighed

        def within(changed: Order) -> Weighed:
            if not may_go_on():
                raise WorkUsedUp
            return judge(changed)

        searched = plans.search(self._scales, resolved, whole.shop, SEARCH_WEIGHINGS_MOST)
        possible = possible_ones(searched.possible, judge)
        best = {candidate.on_press.press.id: candidate for candidate in reversed(possible)}
        presses = [press.id for press in plans.presses_of(resolved, whole.shop) if press.id in best]
        # The best way comes first, and so does the press it is on.
        shown = list(dict.fromkeys(candidate.on_press.press.id for candidate in possible))
        shown = shown[: max(1, PRESSINGS_MOST // len(resolved.decorations))]
        ruled_out, left_out = plans.ruled_out(searched, self.book, observed=observed)
        greys, on, ended = None, [], False
        try:
            greys = ground(whole, within)
            for press in presses:
                if press in shown:
                    on.append(on_press(best[press], Bench(self._scales, whole, of_order, best[press], within)))
        except WorkUsedUp:
            ended = True
        return Envelope(
            basis=self.basis(shop),
            presses=tuple(presses),
            transfers=tuple(
                tuple(dict.fromkeys(candidate.transfers[index] for candidate in possible))
                for index in range(len(resolved.decorations))
            ),
            on=tuple(on),
            ground=greys,
            ruled_out=ruled_out,
            ruled_out_left_out=left_out,
            needs=needs(searched.open, self.book),
            complete=searched.complete and not ended and set(shown) == set(presses),
            reference=order.reference,
        )

    # -- self-test ---------------------------------------------------------------------------------------------------

    def self_test(self, one_in: int = 1) -> None:
        """Ask what is known beforehand: the book's own first rule examples, through the whole path.

        Of one rule in ``one_in``.

        Raises SelfTestError naming the rules whose firing example no longer leads to their finding, and where the
        engine failed or said other than the judge on any of them, although the judge's answer is right then.
        """
        before = self.counts
        failed = []
        for rule in islice(self.book.rules.values(), None, None, one_in):
            example = next(example for example in rule.fires if "facts" not in example)
            order, shop = example_order(example, self.book)
            # What a watched rule holds for hangs on the settings that the others leave: only that it is asked counts.
            if rule.id not in self._held(order, shop, told_of_shop=rule.about == SHOP) and rule.enforced:
                failed.append(rule.id)
        errors = self.counts.engine_errors - before.engine_errors
        disagreements = self.counts.disagreements - before.disagreements
        if failed:
            raise SelfTestError(f"rules that do not fire on their own example: {', '.join(failed)}")
        if errors or disagreements:
            raise SelfTestError(
                "on the rules' own examples the engine must say what the judge says:"
                f" {disagreements} disagreements, {errors} failures of the engine"
            )

    def _held(self, order: Order, shop: Shop, *, told_of_shop: bool) -> frozenset[str]:
        """The rules that hold for an order, or for the press it describes."""
        if told_of_shop:
            own = replace(shop, presses=plans.presses_of(order, shop))
            return frozenset(finding.rule for finding in self.of_shop(own))
        judged = self.judged(order, shop)
        self._watch(judged)
        return frozenset(fired.rule.id for fired in judged.weighed.fired)


_WHICH_FIBRES = (
    "Which fibres does the sewn-in label say? {mixtures}: by the first it is {said}, by the second {named}. Say what"
    " the label says, and leave the blank out if the piece is another one."
)


def _deciding(weighed: Weighed) -> frozenset[str]:
    """The rules that hold and can turn a verdict."""
    return frozenset(fired.rule.id for level in ("blocks", "requires") for fired in weighed.at(level))


def _fixes(findings: Iterable[Finding]) -> Iterator[str]:
    return (finding.fix for finding in findings if finding.level == "requires")


def _which_press(judged: Judged) -> Iterator[str]:
    """On which press settings hold that were typed for none, and what they come to on the others."""
    if not judged.at_odds:
        return
    best = [name for name, weighed in judged.by_press.items() if weighed.verdict == judged.weighed.verdict]
    yield f"Press it on {_some(best, 'or')}. {_elsewhere(judged.at_odds)}"


def _elsewhere(at_odds: Mapping[str, Weighed]) -> str:
    by_verdict = {
        verdict: [name for name, weighed in at_odds.items() if weighed.verdict == verdict] for verdict in VERDICTS
    }
    clauses = [f"{verdict} on {_some(names, 'and')}" for verdict, names in by_verdict.items() if names]
    return f"With these settings it is {', '.join(clauses)}."


def _some(names: Sequence[str], last: str) -> str:
    shown = [*names[:_NAMED_MOST], *([f"{len(names) - _NAMED_MOST} more"] if len(names) > _NAMED_MOST else [])]
    return f" {last} ".join(filter(None, (", ".join(shown[:-1]), shown[-1])))


def _with_and_without(whole: Case, decorations: Sequence[Case], best: OnPress) -> tuple[Sequence[Case], Iterator[Case]]:
    """The cases of an answer, and the same ones with nothing assumed."""
    return [whole, *decorations, *best.cases], _unassumed(whole, decorations, best)


def _unassumed(whole: Case, decorations: Sequence[Case], best: OnPress) -> Iterator[Case]:
    """Each made when it is asked about, when what is known of the wider ones can be taken over."""
    bare = whole.unassumed()
    yield bare
    plain_decorations = []
    for decoration in decorations:
        plain_decorations.append(decoration.unassumed(bare))
        yield plain_decorations[-1]
    for plain_decoration, case in zip(plain_decorations, best.cases, strict=True):
        yield case.unassumed(plain_decoration)


def _settings(case: Case, shop: Shop) -> Mapping[str, Any]:
    return order_settings(case.chosen, shop.units) if case.chosen is not None else {}


def _pressings(case: Case) -> tuple[str, ...]:
    """The pressings that are done for a decoration, in the order they come."""
    return tuple(closing.name for closing in case["process.closings"]) if case.chosen is not None else ()


def _titles(settings: Iterable[Mapping[str, Any]], book: Book) -> Iterator[tuple[str, str]]:
    """What settings name of the book, and how people say it."""
    consumables = book.catalogue["consumables"]
    for of_decoration in settings:
        for said in (of_decoration, *of_decoration.get("pressings", {}).values()):
            for name in map(said.get, CONSUMABLE_KINDS):
                if name in consumables:
                    yield name, named(consumables[name])
