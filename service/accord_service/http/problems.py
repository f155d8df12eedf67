"""Everything a request can be refused for, and its answer (RFC 9457 problem details).

    Problem
    ├── UnreadableRequest   400  what came is no HTTP request that can be read in one way
    ├── MalformedJson       400  the body is not one JSON object that every reader reads alike
    ├── ColumnsNotClear     400  the header of a table names what can't be read as an order
    ├── BadQuery            400  a query parameter is unknown or out of bounds
    ├── BadHeader           400  a header that the write needs can't be read
    ├── NotAuthenticated    401  no key, or one that is not known
    ├── RoleNotAllowed      403  the key's role may not do this
    ├── OriginNotListed     403  a storefront's key, from a page that it is not for
    ├── FormNotOurs         403  a form that no page of ours made for this session
    ├── NotYours            403  the role could, but not with this proposal
    ├── NoShop              403  the key belongs to no shop, and one is needed
    ├── NotFound            404  no such page, or nothing of that name
    ├── WrongMethod         405  the page exists, but not for this method
    ├── RequestTooSlow      408  the header or the body did not arrive in time
    ├── AlreadyThere        409  what was to be made exists, or somebody else wrote first
    ├── BaseMoved           409  the proposal's base is no longer the head
    ├── DigestsDiffer       409  the approval is of something else than the proposal is now
    ├── StepsOutOfOrder     409  the proposal is not at this point of its life
    ├── StillUnderWay       409  the same write, by its Idempotency-Key, is under way
    ├── SomebodyWasFaster   409  another revision, or another step, was written in the same moment
    ├── AllPiecesReported   409  as many pieces are reported for a decoration as the order has
    ├── RecordRejected      409  the recorded order is rejected, so its pieces do not count
    ├── ShopDoesNotFit      409  the book has nothing that the shop could press with
    ├── HouseRulesDoNotFit  409  the book does not have what the shop's house rules name
    ├── ChangedMeanwhile    412  If-Match names another version than the newest
    ├── BodyTooLarge        413  the body is over the limit
    ├── AddressTooLong      414  the request line is over what is read
    ├── WrongMediaType      415  the body is declared as something else than it must be
    ├── RangeNotThere       416  the part asked for lies beyond the end
    ├── ExpectationRefused  417  Expect names something else than 100-continue
    ├── FaultyDocument      422  the JSON is sound, but not a document of this kind
    ├── HouseRulesRefused   422  house rules that would loosen something, or can't be read
    ├── KeyUsedBefore       422  an Idempotency-Key came with another request before
    ├── IfMatchNeeded       428  a replacement has to say which version it replaces
    ├── TooManyRequests     429  the key has asked as often as it may
    ├── HeaderTooLarge      431  the header never ends, or holds too much
    ├── InternalError       500  our fault
    ├── CodingNotUnderstood 501  the body came in a transfer coding that is not undone here
    ├── NotReady            503  the service has not passed its own test, or has no book yet
    ├── StoreUnavailable    503  nothing can be written, or read anew, just now
    ├── TooManyHeavy        503  no place is left for one more question that takes long
    └── VersionNotServed    505  the request is in another version of HTTP than 1.1 or 1.0

A refused order is none of these: it is a 200 with the verdict "rejected".
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, ClassVar

from flask import Response

from accord_rules.documents.answers import INTEGER, STRING, STRING_OR_NULL, STRINGS, listed
from accord_rules.documents.reading import ALLOWED_MOST, CODES, Choice, Fault, Object, optional, required, unescape
from accord_rules.documents.spelling import did_you_mean
from accord_rules.documents.writing import Documented
from accord_rules.governance.house import Refusal

MEDIA_TYPE = "application/problem+json"
PLACES = ("body", "query", "header", "path", "column")
MOST_ERRORS = 50
LONGEST_MESSAGE = 300  # characters, as the next
_LONGEST_POINTER = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultDetails(Documented):
    """One thing wrong with the request."""

    where: str = required(Choice(PLACES), "which part of the request", name="in")
    pointer: str | None = required(
        STRING_OR_NULL, "in the body: JSON Pointer (RFC 6901) to the place, empty for all of it; elsewhere null"
    )
    name: str | None = required(
        STRING_OR_NULL,
        "of the query parameter, the header, the name in the path, or a table's column, empty for all of them; null in"
        " the body",
    )
    code: str = required(
        Choice(tuple(CODES)), f"what is wrong, for programs; more may come: {'; '.join(map(': '.join, CODES.items()))}"
    )
    message: str = required(STRING, "what is wrong, for people")
    allowed: tuple[str, ...] = required(STRINGS, "what would be allowed, where that can be listed: nearest first")
    allowed_left_out: int = required(INTEGER, "how many more would be allowed")

    @classmethod
    def of(cls, fault: Fault, where: str) -> FaultDetails:
        """A fault, cut to a length that can be sent."""
        return cls(
            where=where,
            pointer=cut(fault.pointer, _LONGEST_POINTER) if where == "body" else None,
            name=None if where == "body" else cut(_name(fault), _LONGEST_POINTER),
            code=fault.code,
            message=cut(fault.sentence, LONGEST_MESSAGE),
            allowed=fault.nearest[:ALLOWED_MOST],
            allowed_left_out=max(0, len(fault.allowed) - ALLOWED_MOST),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ProblemDetails(Documented):
    """Problem details (RFC 9457)."""

    type: str = required(STRING, "address of the page about this type of problem")
    title: str = required(STRING, "the type of problem, in a few words")
    status: int = required(INTEGER, "the HTTP status")
    detail: str = required(STRING, "this problem, in a sentence")
    errors: tuple[FaultDetails, ...] = required(listed(Object(FaultDetails)), "every fault found")
    request_id: str = required(STRING, "give this to whoever runs the service")
    refusals: tuple[Refusal, ...] | None = optional(
        listed(Object(Refusal)), about="house rules that were refused, each with a witness"
    )
    errors_left_out: int | None = optional(INTEGER, about="how many faults more there are")


class Problem(Exception):
    """A request that can't be answered. ``meaning`` and ``remedy`` are its page at ``/problems/<slug>``.

    ``where``, one of PLACES, is where its faults are. Outside the body a fault's pointer is of one step: a name.
    """

    slug: ClassVar[str]
    status: ClassVar[int]
    title: ClassVar[str]
    meaning: ClassVar[str]
    remedy: ClassVar[str]
    where: ClassVar[str] = "body"
    refusals: tuple[Refusal, ...] = ()

    def __init__(
        self, detail: str = "", faults: Iterable[Fault] = (), headers: Mapping[str, str] = MappingProxyType({})
    ) -> None:
        self.faults = tuple(faults)
        self.detail = _sentence(detail or _told(self.faults, self.where) or self.title)
        self.headers = headers
        super().__init__(self.detail)


class UnreadableRequest(Problem):
    slug = "unreadable-request"
    status = 400
    title = "This is no HTTP request that can be read"
    meaning = (
        "The request line, a header or the framing of the body breaks HTTP/1.1 (RFC 9112), or could be read in two"
        " ways. Nothing was read or written, and the connection ends here."
    )
    remedy = "Ask on a new connection, with a program that speaks HTTP/1.1. The detail quotes what could not be read."
    where = "header"


class MalformedJson(Problem):
    slug = "malformed-json"
    status = 400
    title = "The body is not acceptable JSON"
    meaning = (
        "The body could not be read as one JSON object in UTF-8, or two programs could read it in two ways: a key"
        " given twice, NaN or Infinity, a number too large to be held exactly, half a surrogate pair, or nesting"
        " deeper than 32 levels."
    )
    remedy = "Write the body with a JSON library rather than by hand. Each error names the place."


class ColumnsNotClear(Problem):
    slug = "columns-not-clear"
    status = 400
    title = "The columns of the table are not clear"
    meaning = (
        "A table (text/csv) begins with a row of headers in the words that an order's fields go by. One of these is"
        " nearly such a word, can mean two things, or is there twice; or none is known, or none says what the piece or"
        " the transfer is; or the row can't be read. No row was answered."
    )
    remedy = (
        "Each error names the column by its header, and what it can be called. A field's own name always does, and so"
        " does its dotted path (item.blank, decorations.0.size.width (in)). A column that no order has needs no remedy:"
        " it is left out, and the last line of an answer names it."
    )
    where = "column"


class BadQuery(Problem):
    slug = "bad-query"
    status = 400
    title = "The query string has faults"
    meaning = "A query parameter is not known here, is given twice, or is out of bounds."
    remedy = "Each error names the parameter, with the values that would do."
    where = "query"


class BadHeader(Problem):
    slug = "bad-header"
    status = 400
    title = "A header can't be read"
    meaning = (
        "Idempotency-Key is neither a word of 1 to 200 visible ASCII characters nor such a string in double quotes; or"
        " If-Match is neither * nor a list of ETags in double quotes."
    )
    remedy = (
        "For Idempotency-Key make up a random word for each write, such as a UUID, and send it again only with the very"
        " same write. For If-Match send the ETag of what you read, quotes and all."
    )
    where = "header"


class NotAuthenticated(Problem):
    slug = "not-authenticated"
    status = 401
    title = "A shop's key is needed"
    meaning = (
        "The request carries no key, or one that this service does not know (it may have been revoked), or one that has"
        " expired, or a steward's or an admin's that no second admin has confirmed yet."
    )
    remedy = "Send the key of your shop in the header: Authorization: Bearer <key>."


class RoleNotAllowed(Problem):
    slug = "role-not-allowed"
    status = 403
    title = "This key's role may not do that"
    meaning = (
        "The key is known, but its role (storefront, counter, operator, owner, steward or admin) does not cover this."
    )
    remedy = "Ask somebody whose role does; the detail names the roles."


class OriginNotListed(Problem):
    slug = "origin-not-listed"
    status = 403
    title = "This key is for other pages"
    meaning = (
        "A storefront's key stands in pages that anybody can read, and is for pages of the origins that were named when"
        " it was issued: a browser says in the header Origin where a page is from, and this one is none of them."
    )
    remedy = "Issue a storefront's key for this page's origin. A shop's own server asks with a counter's key."


class FormNotOurs(Problem):
    slug = "form-not-ours"
    status = 403
    title = "This form did not come from a page of this service"
    meaning = (
        "A form that changes something brings along a word that only pages made for this sign-in know. It was missing,"
        " or another's, or the browser said that another site sent the form. Nothing was changed."
    )
    remedy = "Open the page again and send the form from there; sign in first if you have signed in anew since."


class NotYours(Problem):
    slug = "not-yours"
    status = 403
    title = "This step is somebody else's"
    meaning = (
        "Only its author edits or withdraws a proposal; its effect is worked out for its author or a steward. It is"
        " approved by another person, a steward of another shop"
        " whose key held before the draft, and declined by a steward who is not its author. A key is confirmed by"
        " another admin than issued it, and a report withdrawn by who made it. A probe reading is"
        " taken back by the owner, or by who entered it while it waits."
    )
    remedy = "Ask whoever the detail names."


class NoShop(Problem):
    slug = "no-shop"
    status = 403
    title = "A key of a shop is needed"
    meaning = (
        "The key is known but belongs to no shop, as keys of the collective do; this is about the caller's own shop."
    )
    remedy = "Ask with a key of the shop that is meant. A steward's or an admin's key may belong to one, too."


class NotFound(Problem):
    slug = "not-found"
    status = 404
    title = "There is nothing here"
    meaning = "No page has this address, or there is nothing of this name that your key may see."
    remedy = "The lists of the book hold every name: /v1/catalogue, limits, sources, rules, steps and facts."
    where = "path"

    @classmethod
    def in_book(cls, parameter: str, kind: str, name: str, known: Collection[str]) -> NotFound:
        """The book has no ``kind`` of this name, which the address gives as ``parameter``."""
        message = f"the book has no {kind} {name!r}"
        fault = Fault(f"/{parameter}", message, tuple(sorted(known)), code="not-in-book", refused=name)
        return cls(f"The book has no {kind} {name!r}{did_you_mean(name, known)}.", [fault])

    @classmethod
    def other_word(cls, parameter: str, word: str, names: tuple[str, ...]) -> NotFound:
        """The book has what the address gives as ``parameter`` under the names that the word stands for."""
        message = f"{word!r} is a word for {' or '.join(names)}: ask by that name"
        return cls(f"{message[0].upper()}{message[1:]}.", [Fault(f"/{parameter}", message, names, code="not-in-book")])


class WrongMethod(Problem):
    slug = "wrong-method"
    status = 405
    title = "This address does not answer to that method"
    meaning = "The address exists, but for other methods."
    remedy = "The Allow header and the detail list the methods it answers to."


class RequestTooSlow(Problem):
    slug = "request-too-slow"
    status = 408
    title = "The request did not arrive in time"
    meaning = (
        "The header, or the body, was begun but not finished in the time there is for it. Nothing was read or written,"
        " and the connection ends here."
    )
    remedy = "Ask again on a new connection, and send the request in one go. The detail names the time."


class AlreadyThere(Problem):
    slug = "already-there"
    status = 409
    title = "That exists already, or somebody else wrote first"
    meaning = "What was to be made has a name that is taken, or something it rests on changed in the same moment."
    remedy = "Read what there is now, then decide whether the write is still wanted."


class BaseMoved(Problem):
    slug = "base-moved"
    status = 409
    title = "The book has moved on since"
    meaning = (
        "The proposal starts from a revision that is no longer the head, so its effect and its approvals speak of"
        " another book. It is void."
    )
    remedy = "Look at the new head, and propose the change again if it is still wanted."


class DigestsDiffer(Problem):
    slug = "digests-differ"
    status = 409
    title = "The approval is of something else"
    meaning = (
        "An approval names the digests of the changes, the base and the effect that were looked at. At least one of"
        " them is not the proposal's own any more: it was edited, or its effect was worked out anew."
    )
    remedy = "Read the proposal and its effect as they are now, and approve that if you agree with it."


class StepsOutOfOrder(Problem):
    slug = "steps-out-of-order"
    status = 409
    title = "The proposal is not at this point of its life"
    meaning = (
        "draft, open, approved, published: a step was left out, taken already (by the same shop, too), or lacks"
        " approvals, perhaps because the key of one was revoked; or the proposal was declined or withdrawn, or its book"
        " was tried by another version of the program, so that it has to be opened once more."
    )
    remedy = "GET the proposal: its state, its approvals and the approvals it needs say what comes next."


class StillUnderWay(Problem):
    slug = "still-under-way"
    status = 409
    title = "The same write is still under way"
    meaning = "A request with this Idempotency-Key is being carried out. Nothing was written by this one."
    remedy = "Ask again after the seconds in Retry-After: then it is answered as the first one was."


class SomebodyWasFaster(Problem):
    slug = "somebody-was-faster"
    status = 409
    title = "Somebody else wrote first"
    meaning = (
        "Two did something that excludes the other in the same moment, such as publishing two proposals. The other one"
        " won; of this one nothing was written."
    )
    remedy = "Read what there is now, then decide whether the step is still wanted."


class AllPiecesReported(Problem):
    slug = "all-pieces-reported"
    status = 409
    title = "Every piece of this decoration is reported already"
    meaning = (
        "Each report is on one piece, and as many are kept for this decoration of the record, by all keys of the shop"
        " together, as the order's quantity says (one where it says none)."
    )
    remedy = "Read the reports there are. If more pieces were pressed, record an order that says so."

    def __init__(self, quantity: int, reported: int) -> None:
        pieces = "1 piece, and 1 is" if quantity == 1 else f"{quantity} pieces, and {reported} are"
        message = f"the order is for {pieces} reported for this decoration"
        super().__init__(faults=[Fault("/decoration", message, code="out-of-range")])


class RecordRejected(Problem):
    slug = "record-rejected"
    status = 409
    title = "The recorded order is rejected"
    meaning = (
        "Outcomes are counted for what the book allows: they move plans up and down and may draft a proposal. How a"
        " piece came out that was pressed although its order is rejected, or otherwise than its order says, tells"
        " nothing about that."
    )
    remedy = "Record the order as the piece was pressed, and report on that record if it is not rejected as well."


class ShopDoesNotFit(Problem):
    slug = "shop-does-not-fit"
    status = 409
    title = "The shop and the book do not fit together"
    meaning = "This revision of the book has none of the shop's types of press, or can't read the shop's document."
    remedy = "The shop's owner has to write it anew (PUT /v1/shop), or ask as of another revision."


class HouseRulesDoNotFit(Problem):
    slug = "house-rules-do-not-fit"
    status = 409
    title = "The shop's house rules and the book do not fit together"
    meaning = (
        "The shop's house rules name something that this revision of the book does not have. The shop wanted to be"
        " stricter than the book, so it is not answered as if it had wanted nothing."
    )
    remedy = "The shop's owner has to write them anew (PUT /v1/shop/house-rules). The detail says what is amiss."


class ChangedMeanwhile(Problem):
    slug = "changed-meanwhile"
    status = 412
    title = "It has changed since it was read"
    meaning = (
        "If-Match names none of the ETags that a read would have now, so a write would undo somebody else's change."
        " Nothing was written. ETags are compared whole, and a weak one (W/) equals none."
    )
    remedy = "Read it again, lay your change on what is there now, and send that with its ETag."


class BodyTooLarge(Problem):
    slug = "body-too-large"
    status = 413
    title = "The body is too large"
    meaning = "The body is over the service's limit. No honest order comes near it."
    remedy = "Send one order a request. The detail names the limit."


class AddressTooLong(Problem):
    slug = "address-too-long"
    status = 414
    title = "The address is too long"
    meaning = (
        "The request line, which holds the address with its query, is over what is read. The connection ends here."
    )
    remedy = "Ask for less in one address: documents go into the body. The detail names the limit."


class WrongMediaType(Problem):
    slug = "wrong-media-type"
    status = 415
    title = "The body is declared as something else than it must be"
    meaning = (
        "The Content-Type is missing, or is not application/json in UTF-8 (application/x-ndjson or text/csv where"
        " orders come line by line), or the body is compressed."
    )
    remedy = "Send the header Content-Type with the type that the problem names, and the body as it is."


class RangeNotThere(Problem):
    slug = "range-not-there"
    status = 416
    title = "There is no such part of it"
    meaning = "The header Range asks for bytes that lie beyond the end of the file."
    remedy = "Ask without Range, or for bytes that the file has; Content-Range says how many that are."


class ExpectationRefused(Problem):
    slug = "expectation-refused"
    status = 417
    title = "That can't be expected here"
    meaning = "The header Expect names something else than 100-continue. The connection ends here."
    remedy = "Ask without Expect, or with Expect: 100-continue."


class FaultyDocument(Problem):
    slug = "faulty-document"
    status = 422
    title = "The document has faults"
    meaning = (
        "The JSON is sound, but it is not a document of this kind: a field that is not known, a quantity without its"
        " unit, a value out of bounds, or a name that the book does not have."
    )
    remedy = "Each error names the field by JSON Pointer, what is wrong, and what would be allowed."


class HouseRulesRefused(Problem):
    slug = "house-rules-refused"
    status = 422
    title = "These house rules can't be taken"
    meaning = (
        "A shop may be stricter than the book, never looser. Something here would loosen it, does not fit the book, or"
        " does not hold on its own examples."
    )
    remedy = (
        "Each refusal names the place and the reason, and where it can, an order as witness that would slip through."
        " What is wrong in the shared book itself is a matter for a proposal."
    )

    def __init__(self, refusals: Iterable[Refusal]) -> None:
        self.refusals = tuple(refusals)
        super().__init__(faults=[refusal.fault for refusal in self.refusals])


class KeyUsedBefore(Problem):
    slug = "key-used-before"
    status = 422
    title = "This Idempotency-Key came with another request before"
    meaning = (
        "An Idempotency-Key stands for one write of whoever holds the bearer key, and its repetitions, for 24 hours."
        " This one was sent with another method, address, query, body or If-Match before."
    )
    remedy = "Make up a new key for each write."


class IfMatchNeeded(Problem):
    slug = "if-match-needed"
    status = 428
    title = "Which version is to be replaced?"
    meaning = "This write replaces something that others may be writing too, so it has to name the version it has seen."
    remedy = "Read it, and send the ETag of that answer in the header If-Match; * stands for whatever is there now."
    where = "header"


class TooManyRequests(Problem):
    slug = "too-many-requests"
    status = 429
    title = "This key has asked too often"
    meaning = (
        "A key may ask so many times a minute, by its role and over all workers, so that no program that runs wild"
        " takes the service from the others. Nothing was read or written."
    )
    remedy = (
        "Ask again after the seconds in Retry-After. Every answer says in RateLimit how many are left (r) and for how"
        " many seconds (t). Whoever runs the service can raise it."
    )


class HeaderTooLarge(Problem):
    slug = "header-too-large"
    status = 431
    title = "The header is too large"
    meaning = "The header is over the service's limit, or a field of it, or their number. The connection ends here."
    remedy = "Send the headers that the description asks for and no more. The detail names the limit."


class InternalError(Problem):
    slug = "internal-error"
    status = 500
    title = "The service failed"
    meaning = "Something went wrong that is not the fault of the request. It has been logged."
    remedy = "Try again; if it stays, give the request id to whoever runs the service. Press nothing on a guess."


class CodingNotUnderstood(Problem):
    slug = "coding-not-understood"
    status = 501
    title = "The body came in a transfer coding that is not understood"
    meaning = (
        "Transfer-Encoding names something else than chunked, such as gzip. Nothing here undoes it, so its bytes would"
        " be taken for the body. Nothing was read or written, and the connection ends here."
    )
    remedy = "Send the body as it is, with Content-Length or with Transfer-Encoding: chunked alone."


class NotReady(Problem):
    slug = "not-ready"
    status = 503
    title = "The service is not ready to answer"
    meaning = (
        "The rules have not passed their own test, so no answer would be safe to rely on; or no book could be read from"
        " the store since the start."
    )
    remedy = "/readyz says what failed. Whoever runs the service must look at it."


class StoreUnavailable(Problem):
    slug = "store-unavailable"
    status = 503
    title = "Nothing can be written just now"
    meaning = (
        "The store does not answer. Orders are still judged, from what is held in memory; writes, and reads that have"
        " to be fresh, are not possible. A write that ends so was done whole or not at all."
    )
    remedy = (
        "Try again after the seconds in Retry-After. With the same Idempotency-Key or If-Match as the first time,"
        " nothing is done twice."
    )


class TooManyHeavy(Problem):
    slug = "too-many-heavy-questions"
    status = 503
    title = "Too many questions that take long are waiting"
    meaning = (
        "A recommendation, an envelope, a recorded order asked again, an order of many prints on many presses, a whole"
        " book or the description may take a second of computing; a draft, a reversion or house rules load a book. So"
        " that nobody else waits, one key has so many places for either, and all keys together so many, and they are"
        " taken. Nothing was read or written. Orders of few prints are validated as ever."
    )
    remedy = "Ask again after the seconds in Retry-After. Ask one such question after the other, not all at once."


class VersionNotServed(Problem):
    slug = "version-not-served"
    status = 505
    title = "This version of HTTP is not served"
    meaning = "The request line names another version of HTTP than 1.1 or 1.0. The connection ends here."
    remedy = "Ask in HTTP/1.1; a proxy in front may speak others."


def _sentence(text: str) -> str:
    """The text with one full stop, its question mark, or cut off as it is."""
    return text if text.endswith(("…", "?")) else f"{text.rstrip('. ')}."


def _told(faults: tuple[Fault, ...], where: str) -> str:
    """The faults in a sentence, for whoever reads no further than the detail."""
    if not faults:
        return ""
    place = (faults[0].pointer if where == "body" else _name(faults[0])) or "the document"
    first = cut(f"{place}: {faults[0].sentence}", LONGEST_MESSAGE)
    return first if len(faults) == 1 else f"{len(faults)} faults, the first at {first}"


PROBLEMS: Mapping[str, type[Problem]] = MappingProxyType(
    {problem.slug: problem for problem in Problem.__subclasses__()}
)
# The first of each status stands for it where nothing says more.
BY_STATUS: Mapping[int, type[Problem]] = MappingProxyType(
    {problem.status: problem for problem in reversed(tuple(PROBLEMS.values()))}
)


def of_status(status: int) -> type[Problem]:
    """The type that a status stands for; of one that has none, that of the first of its class, as clients take it too
    (RFC 9110 section 15)."""
    return BY_STATUS.get(status) or BY_STATUS[status // 100 * 100]


def document(problem: Problem, request_id: str) -> dict[str, Any]:
    """The problem as JSON data; a hundred faults are no more help than fifty."""
    return ProblemDetails(
        type=f"/problems/{problem.slug}",
        title=problem.title,
        status=problem.status,
        detail=problem.detail,
        errors=tuple(FaultDetails.of(fault, problem.where) for fault in problem.faults[:MOST_ERRORS]),
        request_id=request_id,
        refusals=problem.refusals[:MOST_ERRORS] or None,
        errors_left_out=max(0, len(problem.faults) - MOST_ERRORS) or None,
    ).document()


def _name(fault: Fault) -> str:
    """What a pointer of one step names."""
    return unescape(fault.pointer.removeprefix("/"))


def cut(text: str, most: int) -> str:
    """The text, or its beginning: ``most`` characters."""
    return text if len(text) <= most else text[: most - 1] + "…"


def response(problem: Problem, request_id: str) -> Response:
    return _written(document(problem, request_id), problem.headers)


def _written(answer: dict[str, Any], headers: Mapping[str, str]) -> Response:
    # A pointer may hold anything that somebody used as a key, even what has no UTF-8.
    body = json.dumps(answer, ensure_ascii=False).encode("utf-8", "replace")
    written = Response(body, status=answer["status"], mimetype=MEDIA_TYPE)
    written.headers.extend(dict(headers))
    written.headers["Cache-Control"] = "no-store"
    return written
