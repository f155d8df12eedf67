"""Bundles: all that one shop's orders are judged by, as one signed file, and the judging by it without a service.

In a bundle are a revision of the whole book, the shop with presses, stock, names and samples, its house rules, and
test vectors: orders with the answers that the service gave. Whoever reads a bundle asks itself these first, and says
nothing if it answers otherwise. The service signs the text of the content with the key that seals its audit, so that
nothing has to be put in order before it can be checked. Readers pin the key: they took it along once, and a bundle
that another key signed is none.

A bundle is of a day (UTC), so that it has the same bytes all day unless something changed, and expires after some.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from accord_rules.authority import Authority, code_digest
from accord_rules.documents.answers import INTEGER, STRING, Free
from accord_rules.documents.canonical import canonical
from accord_rules.documents.files import DOCUMENT_KINDS, BookError
from accord_rules.documents.reading import Date, DocumentError, Fault, Many, Name, Object, Whole, read, required
from accord_rules.documents.writing import Documented
from accord_rules.governance.house import NO_HOUSE_RULES, HouseAuthority, HouseError, HouseRules, read_house
from accord_rules.load.loader import from_documents
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.names import unknown_in
from accord_rules.verdict import PLANS_MOST
from accord_service.http.problems import ShopDoesNotFit
from accord_service.steps.shops import KnownShop, no_house
from accord_service.store import HouseRecord, SealError, Seals, ShopRecord

PURPOSE = "accord-bundle-1"
VECTORS_MOST = 6
_COUNT_MOST = 1_000_000_000
# Each of a reader's own answers says so in its basis.
BASIS = "bundle"
Document = Mapping[str, Any]


class BundleRefused(Exception):
    """A bundle that nobody may answer from. ``why`` is a word of REFUSED, for programs; the message is for people."""

    def __init__(self, why: str, message: str) -> None:
        self.why = why
        super().__init__(message)


REFUSED: Mapping[str, str] = {
    "unreadable": "it is no bundle, or only a part of one",
    "unsigned": "it has no signature",
    "another-key": "another key signed it than the one that is pinned",
    "altered": "its content is not what was signed",
    "another-shop": "it is another shop's",
    "older": "it is older than the one that is held",
    "expired": "it has expired",
    "to-come": "it is of a day that is still to come: the clock of this machine is wrong, or the service's was",
    "another-code": "another version of the program made it: update whichever is older",
    "fails": "this program does not give the answers that the service gave",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class SignedBundle(Documented):
    """A bundle as it travels: the text of its content, and the signature over that text."""

    accord_bundle: int = required(INTEGER, "the form of the file: 1")
    seal_key_id: str = required(STRING, "first digits of the SHA-256 of the public key")
    public_key: str = required(STRING, "that key, Ed25519 as base64url: to be compared with the one that is pinned")
    signature: str = required(STRING, f'over "{PURPOSE}", a line feed and the text of the content, base64url')
    content: str = required(STRING, "JSON: the shop, the revision, its house rules, the whole book, and test vectors")


@dataclass(frozen=True, slots=True)
class Number:
    """Which bundle is the newer one: none of these ever goes back."""

    revision: int
    shop: int
    house_rules: int
    day: str

    def is_behind(self, other: Number) -> bool:
        """Whether anything in it is older than in the other."""
        counts = zip(self._counts, other._counts, strict=True)
        return self.day < other.day or any(mine < others for mine, others in counts)

    @property
    def _counts(self) -> tuple[int, int, int]:
        return self.revision, self.shop, self.house_rules


@dataclass(frozen=True, slots=True)
class Bundle:
    """A bundle that was checked for signature, shop and day. Nothing answers from it before ``opened``."""

    number: Number
    expires_on: date
    shop: KnownShop
    revision: int
    code: str
    documents: Document
    vectors: Sequence[_Vector]

    def age_days(self, today: date) -> int:
        """Days since it was made."""
        return max(0, (today - date.fromisoformat(self.number.day)).days)


def sign(shop: KnownShop, book: Book, authority: Authority, seals: Seals, today: date, days: int) -> SignedBundle:
    """The bundle of a shop for a day. ``authority``: under the shop's house rules.

    Raises ShopDoesNotFit, StoreBroken.
    """
    fitting = shop.at(book, today)
    vectors = [{"order": order, "answer": _answer(authority, order, fitting)} for order in _orders_of(book, fitting)]
    content = canonical(
        {
            "shop_id": shop.record.id,
            "revision": book.revision,
            "shop_version": shop.record.version,
            "house_rules_version": shop.house.version,
            "made_on": today.isoformat(),
            "expires_on": expires_on(today, days).isoformat(),
            "code_digest": code_digest(),
            "digest": book.digest,
            "shop": shop.record.document,
            "house_rules": shop.house.document,
            "book": book.documents,
            "vectors": vectors,
        }
    ).decode()
    return SignedBundle(
        accord_bundle=1,
        seal_key_id=seals.key_id,
        public_key=seals.public_key(seals.key_id),
        signature=seals.sign(PURPOSE, content.encode()),
        content=content,
    )


def expires_on(made_on: date, days: int) -> date:
    """The last day on which a bundle of a day holds."""
    return made_on + timedelta(days=days)


def _orders_of(book: Book, shop: Shop) -> Iterator[Document]:
    """Orders that ask much of the rules: some blanks of the book, each with another transfer, on the shop's presses."""
    blanks, transfers = sorted(book.catalogue["blanks"]), sorted(book.catalogue["transfers"])
    for index in range(min(VECTORS_MOST, len(blanks))):
        yield {
            "item": {"blank": blanks[index * len(blanks) // VECTORS_MOST]},
            "decorations": [{"transfer": transfers[index * len(transfers) // VECTORS_MOST]}],
            "press": shop.presses[index % len(shop.presses)].id,
        }


def check(data: bytes, key: str, shop_id: str, today: date, held: Number | None = None) -> Bundle:
    """The bundle in a file, whose signature, shop, number and days hold. Raises BundleRefused.

    ``key``: the public key that is pinned, base64url; ``shop_id``: whose bundle it has to be, any shop's if empty;
    ``held``: the number of the one that it would replace.
    """
    signed = _signed(data)
    if not signed.signature:
        raise _refused("unsigned")
    if signed.public_key != key:
        raise _refused("another-key", f" (pinned {key}, signed by {signed.public_key})")
    try:
        Seals.verify(key, PURPOSE, signed.content.encode(), signed.signature)
    except SealError:
        raise _refused("altered") from None
    bundle = _content(signed.content)
    if shop_id and bundle.shop.record.id != shop_id:
        raise _refused("another-shop", f" ({bundle.shop.record.id})")
    if held is not None and bundle.number.is_behind(held):
        raise _refused("older")
    if today > bundle.expires_on:
        raise _refused("expired", f" on {bundle.expires_on.isoformat()}: pull a new one")
    # A day's grace: where the reader is, it may still be yesterday.
    if date.fromisoformat(bundle.number.day) > today + timedelta(days=1):
        raise _refused("to-come", f" (made on {bundle.number.day})")
    return bundle


def key_of(data: bytes) -> str:
    """The public key that a bundle says it was signed with, for whoever pins it now. Raises BundleRefused."""
    return _signed(data).public_key


def _refused(why: str, more: str = "") -> BundleRefused:
    return BundleRefused(why, f"The bundle can't be used: {REFUSED[why]}{more}.")


def _signed(data: bytes) -> SignedBundle:
    try:
        document = json.loads(data.decode())  # UTF-8 alone: what is kept is kept as text
        return SignedBundle(**{name: document[name] for name in SignedBundle.__dataclass_fields__})
    except (ValueError, KeyError, TypeError):
        raise _refused("unreadable") from None


@dataclass(frozen=True, slots=True)
class _Vector:
    order: Document = required(Free())
    answer: Document = required(Free())


@dataclass(frozen=True, slots=True)
class _Content:
    """What the text of a bundle's content is; what is in the documents is read by those whose they are."""

    shop_id: str = required(Name())
    revision: int = required(Whole(0, _COUNT_MOST))
    shop_version: int = required(Whole(0, _COUNT_MOST))
    house_rules_version: int = required(Whole(0, _COUNT_MOST))
    made_on: str = required(Date())
    expires_on: str = required(Date())
    code_digest: str = required(STRING)
    digest: str = required(STRING)
    shop: Document = required(Free())
    house_rules: Document = required(Free())
    book: Document = required(Free())
    vectors: tuple[_Vector, ...] = required(Many(Object(_Vector), VECTORS_MOST))


def _content(text: str) -> Bundle:
    try:
        content = read(_Content, json.loads(text))
    except ValueError:  # no JSON, or no such document
        raise _refused("unreadable") from None
    shop_id, house = content.shop_id, no_house(content.shop_id)
    if content.house_rules_version:
        house = HouseRecord(shop_id, content.house_rules_version, content.house_rules, 0.0)
    return Bundle(
        number=Number(content.revision, content.shop_version, content.house_rules_version, content.made_on),
        expires_on=date.fromisoformat(content.expires_on),
        shop=KnownShop(ShopRecord(shop_id, content.shop_version, content.shop, 0.0), house),
        revision=content.revision,
        code=content.code_digest,
        documents=content.book,
        vectors=content.vectors,
    )


def nobody(token: str) -> bool:
    """Of a bundle that nobody pulled: whose token it is makes no difference."""
    return False


class BundledAuthority:
    """Answers as the service did on the day of the bundle, by ``basis`` "bundle". Close it, or use it in a ``with``.

    ``answers_for``: whether it is for the holder of a token, which whoever asks on behalf of one has to ask first.
    """

    def __init__(
        self, authority: Authority, house: Authority, shop: Shop, answers_for: Callable[[str], bool] = nobody
    ) -> None:
        self._authority, self._house = authority, house
        self.shop = shop
        self.answers_for = answers_for

    def __enter__(self) -> BundledAuthority:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the authority."""
        if self._house is not self._authority:
            self._house.close()
        self._authority.close()

    @property
    def authority(self) -> Authority:
        """The authority, under the shop's house rules."""
        return self._house

    @property
    def revision(self) -> int:
        """The revision of its book."""
        return self._house.book.revision

    def validate(self, order: Document, *, observed: bool = False) -> dict[str, Any]:
        """The verdict's document. Raises DocumentError with every fault of the order."""
        return _answer(self._house, order, self.shop, observed=observed) | {"basis": BASIS}

    def recommend(
        self, order: Document, *, most: int | None = None, curve: bool = False, observed: bool = False
    ) -> dict[str, Any]:
        """The recommendation's document. How pieces came out elsewhere is not in a bundle, so it moves no plan.

        ``most``: how many plans, as a service takes it. Raises DocumentError with every fault of the order.
        """
        if most is not None and not 1 <= most <= PLANS_MOST:
            raise DocumentError([Fault("/plans", f"must be from 1 to {PLANS_MOST}", code="out-of-range")])
        asked = _order(order, self._house.book, self.shop)
        recommendation = self._house.recommend(
            asked, self.shop, most=most or PLANS_MOST, curve=curve, observed=observed
        )
        return dict(recommendation.document()) | {"basis": BASIS}

    def envelope(self, order: Document) -> dict[str, Any]:
        """The envelope's document. Raises DocumentError with every fault of the order."""
        envelope = self._house.envelope(_order(order, self._house.book, self.shop), self.shop)
        return dict(envelope.document()) | {"basis": BASIS}


def opened(bundle: Bundle, today: date, answers_for: Callable[[str], bool] = nobody) -> BundledAuthority:
    """What answers from a bundle, once it gave the answers of its vectors, for whom ``answers_for`` says.

    Raises BundleRefused.

    The days that a reading of a press is old count on from the bundle's, as they do in the service.
    """
    if bundle.code != code_digest():
        raise _refused("another-code")
    if lacking := sorted(DOCUMENT_KINDS - bundle.documents.keys()):
        raise _refused("fails", f" (its book has no {lacking[0]})")
    try:
        # The same code tried its examples before it published them.
        book = from_documents(bundle.documents, bundle.revision, tried=bundle.documents)
        rules = read_house(bundle.shop.house.document)
        shop = bundle.shop.at(book, today)
        of_day = bundle.shop.at(book, date.fromisoformat(bundle.number.day))
    except (BookError, DocumentError, HouseError, ShopDoesNotFit) as error:
        raise BundleRefused("fails", f"The bundle can't be used: {error}") from None
    authority = Authority(book)
    bundled = BundledAuthority(authority, _under(authority, rules), shop, answers_for)
    for vector in bundle.vectors:
        if canonical(_answer(bundled.authority, vector.order, of_day)) != canonical(vector.answer):
            bundled.close()
            raise _refused("fails")
    return bundled


def _under(authority: Authority, rules: HouseRules) -> Authority:
    return authority if rules == NO_HOUSE_RULES else HouseAuthority(authority, rules)


def _order(document: Document, book: Book, shop: Shop) -> Order:
    try:
        return read(Order, document)
    except DocumentError as error:
        raise DocumentError((*error.faults, *unknown_in(document, book, shop))) from None


def _answer(authority: Authority, order: Document, shop: Shop, *, observed: bool = False) -> dict[str, Any]:
    return dict(authority.validate(_order(order, authority.book, shop), shop, observed=observed).document())
