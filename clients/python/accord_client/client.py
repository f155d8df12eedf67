"""The client: one session with one service."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Collection, Generator, Iterable, Iterator, Mapping
from types import TracebackType
from typing import Any, Self, TypeVar
from urllib.parse import quote, urlencode

from accord_client import lines
from accord_client.address import base_address, bearer
from accord_client.administration import Administration
from accord_client.documents import (
    Editable,
    Entry,
    Envelope,
    Fact,
    Health,
    Kind,
    Recommendation,
    Rule,
    RuleLine,
    SearchResults,
    ShopStatus,
    Sourcing,
    Step,
    StepLine,
    Verdict,
)
from accord_client.exceptions import BadAnswer, NotJson
from accord_client.governance import Governance
from accord_client.lines import AnsweredOrder
from accord_client.offline import Offline, StandIn, answered
from accord_client.retry import Retry
from accord_client.session import Session

T = TypeVar("T")


class Client:
    """Asks one service on behalf of one shop.

    ``token`` is the shop's key; it alone says whose presses and stock are meant. ``timeout`` is in seconds: how long
    to wait for the connection, and how long the service may stay silent after that. ``retries`` is how often a
    question is asked again when the connection fails or the service is busy (see ``retry``); what is here only
    asks, so asking twice does no harm. ``sleep`` waits between tries.

    ``administration`` looks after shops, keys and house rules, ``governance`` after the book and its records; their
    writes are safe to repeat as well. ``offline`` answers ``validate``, ``validate_all``, ``recommend`` and
    ``envelope`` where the service can't be reached; such answers have the ``basis`` "bundle". One that another token
    pulled answers nothing (OtherToken).

    Raises UnsafeAddress if the token would go over plain http to another machine (``allow_insecure`` permits it, for
    a network that is trusted), and ValueError for an address or token that can't be used.

    One client is for one thread: it keeps one session, whose connections and cookies are not guarded. Making one a
    thread is cheap.
    """

    def __init__(
        self,
        base_url: str,
        token: str,
        timeout: tuple[float, float] = (3.05, 10.0),
        retries: int = 2,
        *,
        allow_insecure: bool = False,
        offline: Offline | None = None,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._base = base_address(base_url, allow_insecure=allow_insecure)
        self._stand_in = None if offline is None else StandIn(offline, token)
        self._retry = Retry(retries, sleep)
        self._session = Session(bearer(token), timeout, self._retry)
        self._asker = _Asker(self._base, self._session)
        self.administration = Administration(self._asker, _segment)
        self.governance = Governance(self._asker, _segment, sleep)

    def __repr__(self) -> str:
        return f"Client({self._base!r})"

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the connections."""
        self._session.close()

    # -- orders ------------------------------------------------------------------------------------------------------

    def validate(self, order: Mapping[str, Any], *, include: Collection[str] = ()) -> Verdict:
        """Ask whether an order can be done. A rejected order is an answer, not an exception.

        The service keeps nothing of it; ``governance.record`` has it kept. ``include`` may ask for ``observed``: what
        each finding found. Raises InvalidOrder if the service can't read the order, and NotJson if it is no
        JSON data.
        """
        return answered(
            lambda: Verdict.read(self._post("/v1/validate", order, include=include)),
            self._stand_in,
            lambda offline: offline.validate(order, observed="observed" in include),
            Verdict.read,
        )

    def validate_all(
        self, orders: Iterable[Mapping[str, Any]], *, first_line: int = 1, revision: int | None = None
    ) -> Iterator[AnsweredOrder]:
        """Ask of any number of orders whether they can be done; answers come in their order, as they are worked out.

        The orders are taken as they are needed, some 256 KiB of them at a time, and all are answered from one revision
        of the book. One that the service can't read is answered with its ``problem``, and the others are not held up.
        Where the service is away, ``offline`` answers from the first line without an answer on, if it has the same
        revision; else whoever has the answers so far goes on with ``first_line`` and ``revision``. Raises NotJson, what
        asking for one order raises for reasons that are not the order's, and what ``orders`` itself raises, as it is:
        the orders before it are answered first, and a note with the exception says where to go on.
        """
        return lines.answered(orders, self._send_lines, _json, self._retry, first_line, revision, self._stand_in)

    def recommend(
        self, order: Mapping[str, Any], *, plans: int | None = None, include: Collection[str] = ()
    ) -> Recommendation:
        """Ask how an order can be done: transfer, press and settings may be left open, ``prefer`` may rank wishes.

        ``plans``: how many at most; the service's own most when left out. ``include`` may ask for ``curve``, to draw
        each plan's heat, and for ``observed``. Raises as ``validate`` does.
        """
        most = "" if plans is None else str(plans)
        return answered(
            lambda: Recommendation.read(self._post("/v1/recommend", order, plans=most, include=include)),
            self._stand_in,
            lambda offline: offline.recommend(
                order, most=plans, curve="curve" in include, observed="observed" in include
            ),
            Recommendation.read,
        )

    def envelope(self, order: Mapping[str, Any]) -> Envelope:
        """Ask what is still allowed for each thing an order leaves open: temperatures, dwells, presses, sizes ...

        Raises as ``validate`` does.
        """
        return answered(
            lambda: Envelope.read(self._post("/v1/envelope", order)),
            self._stand_in,
            lambda offline: offline.envelope(order),
            Envelope.read,
        )

    # -- the book ----------------------------------------------------------------------------------------------------

    def kinds(self) -> tuple[Kind, ...]:
        """The kinds of entry in the catalogue."""
        return tuple(self._pages("/v1/catalogue", Kind.read))

    def catalogue(self, kind: str) -> Iterator[Entry]:
        """Every entry of one kind ("blanks", "transfers" ...), fetched page by page as they are taken."""
        return self._pages(f"/v1/catalogue/{_segment(kind)}", Entry.read)

    def entry(self, kind: str, id: str) -> Entry:
        """One entry of the catalogue. Raises NotFound."""
        return Entry.read(self._asker.read(f"/v1/catalogue/{_segment(kind)}/{_segment(id)}"))

    def rules(self, topic: str | None = None, level: str | None = None) -> Iterator[RuleLine]:
        """Every rule, or those of one topic or level, fetched page by page as they are taken."""
        wanted = {name: value for name, value in (("topic", topic), ("level", level)) if value is not None}
        return self._pages("/v1/rules" + ("?" + urlencode(wanted) if wanted else ""), RuleLine.read)

    def rule(self, id: str) -> Rule:
        """One rule, with its condition, sentences and examples. Raises NotFound."""
        return Rule.read(self._asker.read(f"/v1/rules/{_segment(id)}"))

    def steps(self, stage: str | None = None) -> Iterator[StepLine]:
        """Every step that plans may have, or those of one stage, fetched page by page."""
        return self._pages("/v1/steps" + ("?" + urlencode({"stage": stage}) if stage else ""), StepLine.read)

    def step(self, id: str) -> Step:
        """One step, with its condition, sentence and examples. Raises NotFound."""
        return Step.read(self._asker.read(f"/v1/steps/{_segment(id)}"))

    def search(self, words: str, *, kind: str | None = None, limit: int = 20) -> SearchResults:
        """The entries of the book that some words of the trade are about, best first; of one kind if wished."""
        wanted = {"q": words, "limit": str(limit), **({} if kind is None else {"kind": kind})}
        return SearchResults.read(self._asker.read("/v1/search?" + urlencode(wanted)))

    def facts(self) -> Iterator[Fact]:
        """Every fact that rules may speak of, fetched page by page as they are taken."""
        return self._pages("/v1/facts?limit=200", Fact.read)

    def fact(self, id: str) -> Fact:
        """One fact: what it is, whence it comes, who looks at it. Raises NotFound, which names the nearest ones."""
        return Fact.read(self._asker.read(f"/v1/facts/{_segment(id)}"))

    def limits(self) -> Iterator[Entry]:
        """Every limit that rules compare with, fetched page by page as they are taken."""
        return self._pages("/v1/limits", Entry.read)

    def limit(self, id: str) -> Entry:
        """One limit. Raises NotFound."""
        return Entry.read(self._asker.read(f"/v1/limits/{_segment(id)}"))

    def sources(self) -> Iterator[Entry]:
        """Everything the book's numbers rest on, fetched page by page as they are taken."""
        return self._pages("/v1/sources", Entry.read)

    def source(self, id: str) -> Entry:
        """One source. Raises NotFound."""
        return Entry.read(self._asker.read(f"/v1/sources/{_segment(id)}"))

    def sourcing(self) -> Sourcing:
        """How many numbers of each room rest on which kind of source; safety limits, the worst-sourced first."""
        return Sourcing.read(self._asker.read("/v1/sourcing"))

    # -- the service -------------------------------------------------------------------------------------------------

    def shop(self) -> Editable:
        """The shop this token belongs to, as its owner wrote it; ``administration.replace_own_shop`` sends it back.

        Raises NotAuthorised for a token that belongs to no shop.
        """
        return self._asker.editable("/v1/shop")

    def shop_status(self) -> ShopStatus:
        """What the shop's probe readings come to, the units it reads, and what this token may do."""
        return ShopStatus.read(self._asker.read("/v1/shop/status"))

    def bundle(self, etag: str = "") -> tuple[bytes, str] | None:
        """All that the shop's orders are judged by, as one signed file, and its ETag; None where the one of ``etag``
        still holds. ``accord bundle pull`` checks and keeps it."""
        return self._session.raw(self._base + "/v1/bundle", etag)

    def index(self) -> Mapping[str, Any]:
        """Which version of the API and of the program this is, what it can do, and where everything is."""
        return self._asker.read("/v1")

    def health(self) -> Health:
        """Whether the service may be relied on. "Not ready" is an answer; only silence is an exception."""
        return Health.read(self._session.ask("GET", self._base + "/readyz", also_answers=(503,)))

    # -- inside ------------------------------------------------------------------------------------------------------

    def _post(
        self, address: str, order: Mapping[str, Any], *, include: Collection[str] = (), **wanted: str
    ) -> dict[str, Any]:
        query = urlencode({name: value for name, value in (wanted | {"include": ",".join(include)}).items() if value})
        return self._session.ask("POST", self._base + address + (f"?{query}" if query else ""), _json(order))

    def _send_lines(
        self, body: bytes, first_line: int, revision: int | None
    ) -> Generator[Mapping[str, Any], None, None]:
        wanted = {"first_line": first_line} | ({} if revision is None else {"revision": revision})
        return self._session.lines(f"{self._base}/v1/validate/batch?{urlencode(wanted)}", body)

    def _pages(self, address: str, read: Callable[[Any], T]) -> Iterator[T]:
        return map(read, self._asker.pages(address))


class _Asker:
    """What ``administration`` and ``governance`` ask through; see ``governance.Asker``."""

    def __init__(self, base: str, session: Session) -> None:
        self._base = base
        self._session = session

    def read(self, address: str, silence_s: float | None = None) -> dict[str, Any]:
        return self._session.ask("GET", self._base + address, silence_s=silence_s)

    def write(
        self, method: str, address: str, body: Mapping[str, Any] | None, headers: Mapping[str, str]
    ) -> dict[str, Any]:
        sent = None if body is None else _json(body)
        return self._session.ask(method, self._base + address, sent, headers=headers, also_answers=(201, 202))

    def editable(self, address: str) -> Editable:
        return self._session.editable("GET", self._base + address)

    def replace(self, address: str, body: Mapping[str, Any], headers: Mapping[str, str]) -> Editable:
        return self._session.editable("PUT", self._base + address, _json(body), headers=headers)

    def pages(self, address: str) -> Iterator[Any]:
        following: str | None = address
        while following is not None:
            page = self.read(following)
            yield from _list(page, "entries")
            following = _next(page, following)


def _json(document: Mapping[str, Any]) -> bytes:
    """Raises NotJson."""
    try:
        return json.dumps(document, ensure_ascii=False, allow_nan=False, default=_mapping).encode()
    except (TypeError, ValueError, RecursionError) as error:
        raise NotJson(f"this can't be sent as JSON: {error}") from error


def _segment(name: str) -> str:
    """A name as one step of a path."""
    if name in ("", ".", ".."):
        raise ValueError(f"{name!r} is no name of an entry")
    return quote(name, safe="")


def _list(document: Mapping[str, Any], name: str) -> list[Any]:
    values = document.get(name)
    if not isinstance(values, list):
        raise BadAnswer(f"the answer has no {name} as promised")
    return values


def _next(page: Mapping[str, Any], now: str) -> str | None:
    """The next page's address: always a path on the same service, so the token goes nowhere else."""
    following = page.get("next")
    if following is None:
        return None
    if not isinstance(following, str) or not following.startswith("/v1/") or following == now:
        raise BadAnswer(f"the next page is said to be at {following!r:.80}, which can't be")
    return following


def _mapping(value: Any) -> dict[str, Any]:
    """Mappings other than dict, nested in an order."""
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"an order can't hold a {type(value).__name__}")
