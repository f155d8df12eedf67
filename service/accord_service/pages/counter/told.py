"""What the API answered about an order, as the counter shows it: nothing is worked out here, only put into lines."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any
from urllib.parse import urlencode

from accord_rules.advise.instead import told_settings
from accord_rules.documents import typed
from accord_rules.documents.counted import counted
from accord_rules.documents.reading import Fault, Many, Name
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import Limit
from accord_service.pages.counter.fields import UNITS_BESIDE, Field, fields_named, label_of, place_of
from accord_service.pages.counter.query import (
    NotInAQueryError,
    Pairs,
    TypedOrder,
    changed,
    name_of,
    names_at,
    pairs_of,
    place,
    pointer_of,
    with_text,
)
from accord_service.tables.fields import PRINTS

COUNTER = "/counter"
_SIGNS: Mapping[str, str] = MappingProxyType(
    {"accepted": "✓", "conditional": "!", "undetermined": "?", "rejected": "✗", "unread": "✎", "empty": "…"}
)
_BUTTONS_MOST = 14
_FAULT_WORDS_MOST = 6
_SETTINGS: Mapping[str, str] = MappingProxyType(
    {
        "temperature": "Temperature",
        "time": "Time",
        "pressure": "Pressure",
        "peel": "Peel",
        "cover": "Cover",
        "pad": "Pad",
        "tape": "Tape",
        "pre_press": "Pre-press",
        "second_press": "Second press",
    }
)
_IDLE = ("none", "0 s")
# How messages begin that go on from the name of the field.
_SAID_OF_IT = ("is ", "has ", "must ", "sums ")
Document = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Line:
    """The answer in one line. ``word``: the API's verdict, "unread" or "empty"; ``lead`` says it, ``rest`` what of."""

    word: str
    lead: str
    rest: str

    @property
    def sign(self) -> str:
        return sign_of(self.word)


@dataclass(frozen=True, slots=True)
class Button:
    """A link that says one more thing of the order, or says it otherwise."""

    label: str
    href: str


@dataclass(frozen=True, slots=True)
class Question:
    """Something to ask before the verdict is known: buttons where the answers are few, else fields to fill in."""

    text: str
    buttons: tuple[Button, ...]
    fields: tuple[Field, ...]
    hidden: Pairs


@dataclass(frozen=True, slots=True)
class Said:
    """One finding, condition or assumption, and where it belongs. ``rule``: whose say it is; empty where none's.

    ``numbers``: what it was held against: the limit, its title, and its value in the shop's units.
    ``field``: the name of the field that would say it. ``button``: says it as it was assumed.
    """

    text: str
    more: str = ""
    rule: str = ""
    where: str = ""
    numbers: tuple[tuple[str, str, str], ...] = ()
    field: str = ""
    button: Button | None = None


@dataclass(frozen=True, slots=True)
class Way:
    """A remedy: what to change, the verdict then, and the link that does it; None where no address can say it."""

    text: str
    verdict: str
    sign: str
    href: str | None


@dataclass(frozen=True, slots=True)
class OnPress:
    """One press: whether it will do, with which settings, print by print in the order of pressing, or why not.

    ``href``: the order on this press, where none is named yet and another was judged; None where that is no question.
    """

    title: str
    verdict: str
    sign: str
    prints: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    why: str
    href: str | None = None


@dataclass(frozen=True, slots=True)
class Misread:
    """What can't be read of what was typed, at its field, with the words that may stand there."""

    field: str
    label: str
    text: str
    buttons: tuple[Button, ...]

    @property
    def between(self) -> str:
        """What stands between the field's name and the text: nothing but a space where that goes on from it."""
        return "" if not self.label else " " if self.text.startswith(_SAID_OF_IT) else ": "


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """The verdict part of the counter. ``said``: what was order, field by field; ``href``: its address.

    ``is_workable``: it can be done, so that there are ranges to ask for.
    """

    line: Line
    href: str
    said: tuple[tuple[str, str], ...] = ()
    misread: tuple[Misread, ...] = ()
    unsaid: str = ""
    dangerous: tuple[Said, ...] = ()
    conditions: tuple[Said, ...] = ()
    blocks: tuple[Said, ...] = ()
    cautions: tuple[Said, ...] = ()
    notes: tuple[Said, ...] = ()
    questions: tuple[Question, ...] = ()
    ways: tuple[Way, ...] = ()
    ways_complete: bool = True
    presses: tuple[OnPress, ...] = ()
    samples: tuple[str, ...] = ()
    assumed: tuple[Said, ...] = ()
    basis: str = ""
    verdict_id: str = ""
    revision: int = 0

    @property
    def is_workable(self) -> bool:
        return self.line.word in ("accepted", "conditional")

    @property
    def presses_that_do(self) -> tuple[OnPress, ...]:
        """Those to look at first: where it can be done on one, those on which it must not be are another matter."""
        return tuple(press for press in self.presses if press.verdict != "rejected" or not self.is_workable)

    @property
    def presses_that_do_not(self) -> tuple[OnPress, ...]:
        return tuple(press for press in self.presses if press not in self.presses_that_do)


def sign_of(verdict: str) -> str:
    """The sign that stands beside a verdict's word; one that is not known here stands against the order."""
    return _SIGNS.get(verdict, "✗")


def address_of(pairs: Pairs) -> str:
    """The counter's address with an order in it."""
    return f"{COUNTER}?{urlencode(pairs)}" if pairs else COUNTER


def link_to(document: Document) -> str | None:
    """The counter's address of an order; None where no address can say it."""
    try:
        return address_of(pairs_of(document))
    except NotInAQueryError:
        return None


def canonical(order: TypedOrder) -> Pairs:
    """The pairs that say the same, always in one order."""
    if order.faults:
        return order.pairs
    try:
        return pairs_of(order.document)
    except NotInAQueryError:
        return order.pairs


def said_of(order: TypedOrder) -> tuple[tuple[str, str], ...]:
    """What an order says, field by field: what the field is called, and what stands in it."""
    texts: dict[str, list[str]] = {}
    for name, text in canonical(order):
        if name != PRINTS:
            texts.setdefault(name, []).append(text)
    return tuple((label_of(pointer_of(name), order.print_count), ", ".join(said)) for name, said in texts.items())


def nothing_told(order: TypedOrder) -> Told:
    """Before anything is said."""
    rest = "say what the piece is, the transfer and its size; the answer comes while you type."
    return Told(line=Line("empty", "Nothing asked yet:", rest), href=address_of(canonical(order)))


def misread(order: TypedOrder, faults: Sequence[Fault], book: Book) -> Told:
    """Something can't be read, so nothing was judged."""
    told = tuple(_misread(order, fault, book) for fault in faults)
    first = "".join((told[0].label, told[0].between, told[0].text))
    more = f" (and {counted(len(told) - 1, 'field')} more)" if len(told) > 1 else ""
    return Told(line=Line("unread", "Cannot be read yet:", first + more), href=address_of(order.pairs), misread=told)


def _misread(order: TypedOrder, fault: Fault, book: Book) -> Misread:
    name = name_of(fault.pointer)
    is_share = name == "item.fibres" and fault.pointer != "/item/fibres"
    # A list is more than the one word of it that can't be read.
    is_one = bool(name) and not isinstance(place(name), Many) and not is_share
    words = tuple(_nearest_words(name, fault)) if is_one else ()
    buttons = tuple(
        Button(_title_of(word, name, book), address_of(with_text(order.pairs, name, word))) for word in words
    )
    text = fault.message_with_hints if not buttons else fault.sentence
    if fault.code == "ambiguous" and buttons:
        text = f"“{dict(order.pairs)[name]}” can mean several things: say which."
    return Misread(name, label_of(fault.pointer, order.print_count) if fault.pointer else "", text, buttons)


def _nearest_words(name: str, fault: Fault) -> Iterator[str]:
    """The words that may stand there; of a number without its unit, the same with those beside the field."""
    dimension = typed.dimension_of(place(name))
    if dimension is None:
        # Of several meanings each has to be there.
        yield from fault.allowed if fault.code == "ambiguous" else fault.nearest[:_FAULT_WORDS_MOST]
        return
    yield from (word for word in fault.allowed if word.rpartition(" ")[2] in UNITS_BESIDE[dimension.name])


def _title_of(word: str, name: str, book: Book) -> str:
    """What the book calls a name that may stand in a field; another word as it is."""
    reader = place(name)
    kinds = (reader.name_of or "").split("|") if isinstance(reader, Name) else []
    entries = (book.catalogue[kind].get(word) for kind in kinds if kind in book.catalogue)
    return next((str(entry.title) for entry in entries if entry is not None), word)


def told(verdict: Document, order: TypedOrder, book: Book, shop: Shop) -> Told:
    """An answer of POST /v1/validate."""
    prints = order.print_count
    levels = {
        level: [f for f in verdict["findings"] if f["level"] == level] for level in ("blocks", "cautions", "notes")
    }
    dangerous = [one for one in verdict["assumed"] if one["could_hurt"]]
    # Why not is said once: a press is told where it has its own reason.
    blocks = [finding["because"] for finding in levels["blocks"]]
    said_already = blocks if verdict["verdict"] == "rejected" else ()
    harmless = [one for one in verdict["assumed"] if not one["could_hurt"]]
    return Told(
        line=_line(verdict),
        href=address_of(canonical(order)),
        said=said_of(order),
        unsaid=verdict["unsaid"] or "",
        dangerous=tuple(_assumed(one, order) for one in dangerous),
        conditions=tuple(_conditions(verdict, prints, book.limits)),
        blocks=tuple(_found(finding, prints, book.limits) for finding in levels["blocks"]),
        cautions=tuple(_found(finding, prints, book.limits) for finding in levels["cautions"]),
        notes=tuple(_found(finding, prints, book.limits) for finding in levels["notes"]),
        questions=tuple(_question(need, order, book, shop) for need in verdict["needs"]),
        ways=tuple(_way(remedy, order) for remedy in verdict["remedies"]),
        ways_complete=verdict["remedies_complete"],
        presses=tuple(
            _on_press(press, order, verdict["judged_on"], _revised(verdict, press, book))
            for press in _best_first(verdict)
            if press["because"] not in said_already
        ),
        samples=tuple(sample["text"] for sample in verdict["samples"]),
        assumed=tuple(_assumed(one, order) for one in harmless),
        basis=verdict["basis"],
        verdict_id=verdict["id"],
        revision=verdict["revision"],
    )


def _line(verdict: Document) -> Line:
    word = verdict["verdict"]
    if word in ("accepted", "conditional"):
        return _workable_line(verdict)
    if word == "undetermined":
        needs = verdict["needs"]
        more = f" (and {counted(len(needs) - 1, 'question')} more)" if len(needs) > 1 else ""
        return Line(word, "Not known yet:", f"{needs[0]['question']}{more}" if needs else "")
    # Also a word that this page does not know: nobody presses on it.
    blocks = [finding for finding in verdict["findings"] if finding["level"] == "blocks"]
    more = f" (and {counted(len(blocks) - 1, 'reason')} more)" if len(blocks) > 1 else ""
    return Line(word, "Must not be done like this:", f"{blocks[0]['title']}{more}" if blocks else word)


def _workable_line(verdict: Document) -> Line:
    """Where it can be done, and what has to be done there: what holds on other presses is none of this one's."""
    word, presses = verdict["verdict"], verdict["presses"]
    best = next(press for press in presses if press["press"] == verdict["judged_on"])
    # A condition that no finding asks for is which press to take, and that is said already.
    fixes = {finding["fix"] for finding in verdict["findings"] if finding["level"] == "requires"}
    conditions = [condition for condition in verdict["conditions"] if condition in fixes]
    on = f"on {best['press_title']}"
    if conditions:
        more = f" (and {counted(len(conditions) - 1, 'thing')} more)" if len(conditions) > 1 else ""
        return Line(word, "Can be done", f"{on}, if this is done: {conditions[0]}{more}")
    alike = sum(press["verdict"] == best["verdict"] for press in presses) - 1
    where = on + (f" and on {counted(alike, 'other press', 'other presses')}" if alike else "")
    if word == "conditional":
        return Line(word, "Can be done", f"{where}, but not so on every press: with these settings the rest differ.")
    return Line(word, "Can be done", f"{where}.")


def _best_first(verdict: Document) -> Iterator[Document]:
    order = {"accepted": 0, "conditional": 1, "undetermined": 2}
    judged_on = verdict["judged_on"]
    yield from sorted(verdict["presses"], key=lambda on: (on["press"] != judged_on, order.get(on["verdict"], 3)))


def _found(finding: Document, prints: int, limits: Mapping[str, Limit]) -> Said:
    presses = finding["presses"]
    where = ", ".join(
        filter(None, (place_of(finding["pointer"], prints), "on " + " and ".join(presses) if presses else ""))
    )
    numbers = tuple((name, _title(name, limits), value) for name, value in finding["limit"].items())
    return Said(finding["because"], finding["fix"], finding["rule"], where, numbers)


def _title(name: str, limits: Mapping[str, Limit]) -> str:
    return limits[name].title if name in limits else name


def _conditions(verdict: Document, prints: int, limits: Mapping[str, Limit]) -> Iterator[Said]:
    """What must be done, each with why and by which rule, where a finding says it."""
    if verdict["verdict"] not in ("accepted", "conditional"):
        requires = [finding for finding in verdict["findings"] if finding["level"] == "requires"]
        yield from (_found(finding, prints, limits) for finding in requires)
        return
    by_fix = {finding["fix"]: finding for finding in verdict["findings"] if finding["level"] == "requires"}
    for condition in verdict["conditions"]:
        finding = by_fix.get(condition)
        if finding is None:
            yield Said(condition)
        else:
            said = _found(finding, prints, limits)
            yield Said(condition, said.text, said.rule, said.where, said.numbers)


def _assumed(one: Document, order: TypedOrder) -> Said:
    pointer = one["pointer"]
    href = link_to(changed(order.document, pointer, one["value"]))
    shown, why = str(one["shown"]), str(one["why"])
    # "none unless said" says what is taken to hold by itself.
    text = f"{label_of(pointer, order.print_count)}: {why if why.startswith(f'{shown} ') else shown}"
    button = None if href is None else Button("It is so", href)
    return Said(text, "" if why.startswith(f"{shown} ") else why, field=name_of(pointer), button=button)


def _question(need: Document, order: TypedOrder, book: Book, shop: Shop) -> Question:
    pointer, name = need["pointer"], name_of(need["pointer"])
    names = names_at(pointer)
    answers = [*need["allowed"], *([[]] if _may_be_empty(name) else [])]
    if need["type"] == "flag" and not need["allowed"]:
        answers = [True, False]
    buttons: tuple[Button, ...] = ()
    if len(answers) <= _BUTTONS_MOST:
        hrefs = [(answer, link_to(changed(order.document, pointer, _as_answer(answer, need)))) for answer in answers]
        buttons = tuple(Button(_answer_label(answer), href) for answer, href in hrefs if href is not None)
    is_open = not need["allowed"] and need["type"] != "flag"
    fields = fields_named(names, order, book, shop) if is_open or len(answers) > _BUTTONS_MOST else ()
    hidden = tuple(pair for pair in order.pairs if pair[0] not in names)
    return Question(need["question"], buttons, fields, hidden)


def _may_be_empty(name: str) -> bool:
    reader = place(name) if name else None
    return isinstance(reader, Many) and reader.least == 0


def _as_answer(answer: Any, need: Document) -> Any:
    return [answer] if need["type"] == "list" and not isinstance(answer, list) else answer


def _answer_label(answer: Any) -> str:
    match answer:
        case bool():
            return "Yes" if answer else "No"
        case []:
            return "Nothing of this"
        case Mapping():
            return ", ".join(f"{key} {value}" for key, value in answer.items())
        case _:
            return str(answer)


def _way(remedy: Document, order: TypedOrder) -> Way:
    document: Any = order.document
    for change in remedy["changes"]:
        document = changed(document, change["pointer"], change["to"])
    verdict = remedy["verdict"]
    return Way(remedy["text"], verdict, sign_of(verdict), link_to(document))


def _revised(verdict: Document, press: Document, book: Book) -> frozenset[tuple[str, str]]:
    """Of which settings of this press conditions tell another figure: each decoration's pointer with the label."""
    return frozenset(
        (finding["pointer"], _SETTINGS[setting])
        for finding in verdict["findings"]
        if finding["level"] == "requires"
        and press["press"] in (finding["presses"] or (press["press"],))
        and (rule := book.rules.get(finding["rule"])) is not None
        for setting in told_settings(rule)
    )


def _on_press(press: Document, order: TypedOrder, judged_on: str, revised: Collection[tuple[str, str]]) -> OnPress:
    parts = []
    if press["settings"] is not None:
        for index in press["sequence"] or range(len(press["settings"])):
            head = f"Print {index + 1}" if order.print_count > 1 else ""
            said = settings_said(press["settings"][index], press["titles"], press["pressings"][index])
            at = f"/decorations/{index}/settings"
            rows = tuple(
                (label, f"{value}, not enough by itself: see what must be done" if (at, label) in revised else value)
                for label, value in said
            )
            parts.append((head, rows))
    is_other = "press" not in order.document and press["press"] != judged_on and press["verdict"] != "rejected"
    return OnPress(
        title=press["press_title"],
        verdict=press["verdict"],
        sign=sign_of(press["verdict"]),
        prints=tuple(parts),
        why=press["because"] or "",
        href=link_to(changed(order.document, "/press", press["press"])) if is_other else None,
    )


def settings_said(settings: Document, titles: Document, done: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """What to set, as words and values; what is not used is left out.

    ``done``: the pressings that are done. Where main is not, the others take over what they do not say themselves.
    """
    own = {name: settings.get("pressings", {}).get(name, {}) for name in done if name != "main"}
    main = {key: value for key, value in settings.items() if key not in ("pressings", "second_press")}
    rows = list(_rows(settings, titles)) if "main" in done else []
    for name, pressing in own.items():
        said = pressing if "main" in done else main | pressing
        rows += [(f"{name.capitalize()} pressing: {label.lower()}", value) for label, value in _rows(said, titles)]
    return tuple(rows)


def _rows(settings: Document, titles: Document) -> Iterator[tuple[str, str]]:
    for key, label in _SETTINGS.items():
        value = settings.get(key)
        if value is not None and value not in _IDLE:
            at = " on the display" if key == "temperature" and settings.get("read_at", "display") == "display" else ""
            at = " at the surface" if key == "temperature" and not at else at
            yield label, f"{titles.get(value, value)}{at}"
