"""What a shop's samples on record come to: what each says, and whether orders can lean on it at all."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from accord_rules.derive.case import Case
from accord_rules.derive.press import press_in_words
from accord_rules.derive.sample import FAILURE_WORDS, in_words
from accord_rules.documents.answers import STRING
from accord_rules.documents.reading import Flag, required
from accord_rules.documents.writing import Documented
from accord_rules.orders.order import Decoration, Item, Order
from accord_rules.orders.shop import Sample, Shop
from accord_rules.revision.book import Book
from accord_rules.revision.sentences import in_a_sentence


@dataclass(frozen=True, slots=True)
class SampleToldOf(Documented):
    """One sample on record, and what orders make of it."""

    id: str = required(STRING, "the shop's own name for it")
    counts: bool = required(Flag(), "whether it speaks for, or against, the orders that repeat it")
    text: str = required(STRING, "what was pressed and what came of it, in a sentence")
    why_not: str = required(STRING, "why it does not count, in a sentence; empty where it does")


def report(written: Shop, fitting: Shop, book: Book) -> Iterator[SampleToldOf]:
    """One entry a sample, the last pressed first. ``fitting``: the shop as this revision of the book knows it."""
    known = {sample.id for sample in fitting.samples}
    for sample in sorted(written.samples, key=lambda sample: sample.pressed_on, reverse=True):
        why_not = _why_not(sample, fitting, book) if sample.id in known else _UNKNOWN
        yield SampleToldOf(sample.id, not why_not, _text(sample, written, book), why_not)


_UNKNOWN = "This revision of the book does not know the piece or the transfer, or your shop has no such press any more."
_UNWASHED = "It was not washed, and on cloth a sample shows how a print holds only after a wash."


def _why_not(sample: Sample, shop: Shop, book: Book) -> str:
    unwashed = sample.washes < book.limit_values["sample.washes_least"]
    return _UNWASHED if unwashed and not sample.failures and _is_cloth(sample, shop, book) else ""


def _is_cloth(sample: Sample, shop: Shop, book: Book) -> bool:
    piece = Item(blank=sample.piece.blank, substrate=sample.piece.substrate)
    return bool(Case(book, shop, Order(piece, (Decoration(),)))["item.textile"])


def _text(sample: Sample, shop: Shop, book: Book) -> str:
    said = in_words(sample, shop.units)
    press = shop.press(sample.press)
    usual = None if press is None else book.catalogue["press_types"].get(press.type)
    on = sample.press if usual is None else press_in_words(sample.press, usual)
    came_out = ", ".join(FAILURE_WORDS[failure] for failure in sample.failures) or "it came out well"
    what = f"{_piece(sample, book)}, with {in_a_sentence(_transfer(sample, book))} on the {on}"
    return f"{said[:1].upper()}{said[1:]}. {what}: {came_out}."


def _piece(sample: Sample, book: Book) -> str:
    kind, name = (
        ("blanks", sample.piece.blank) if sample.piece.blank is not None else ("substrates", sample.piece.substrate)
    )
    entry = book.catalogue[kind].get(name or "")
    return str(name) if entry is None else str(entry.title)


def _transfer(sample: Sample, book: Book) -> str:
    entry = book.transfer(sample.transfer)
    return sample.transfer if entry is None else str(entry.title)
