"""Everything that can go wrong between a caller and the service.

    AccordError
    ├── UnsafeAddress         the token would travel where others can read it (also a ValueError)
    ├── NotJson               what was to be sent is no JSON data (also a ValueError)
    ├── ConnectionFailed      no connection, or it broke before the whole answer had come
    ├── TimedOut              the service stayed silent for too long
    ├── BadAnswer             something answered, but not with what the service promises
    ├── OtherToken            the service is away, and the bundle was pulled with another token
    ├── EffectNotDone         a proposal's effect was not worked out: it failed, was stopped, or is void
    └── ProblemError          the service refused, and said why (RFC 9457): status, problem, errors
        ├── InvalidOrder      400, 413, 415, 422 to an order: each of ``errors`` names a field and what is allowed
        ├── NotAuthorised     401, 403: no key, an unknown key, or a role that may not do this
        ├── NotFound          404: the book has no entry of this name
        ├── TooManyRequests   429: ``retry_after_s`` says when to come back, if the service said so
        └── ServiceFault      5xx: not the caller's fault; press nothing on a guess

A rejected order is none of these: it is a verdict.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with the request: what, and what would be allowed, nearest first.

    ``part`` is body, query, header or path. In the body ``pointer`` is a JSON Pointer, empty for all of it; elsewhere
    ``name`` is the parameter's or the header's. ``code`` is a word for programs: more may come. ``allowed_left_out``:
    how many more would be allowed.
    """

    pointer: str | None
    message: str
    allowed: tuple[str, ...] = ()
    code: str = ""
    part: str = "body"
    name: str | None = None
    allowed_left_out: int = 0

    @property
    def place(self) -> str:
        """Where it is, in the body or elsewhere."""
        return self.name or self.pointer or ""

    def __str__(self) -> str:
        more = f" (allowed: {', '.join(self.allowed)})" if self.allowed else ""
        return f"{self.place or 'the document'}: {self.message}{more}"


class AccordError(Exception):
    """Anything that keeps this client from giving an answer."""


class UnsafeAddress(AccordError, ValueError):
    """A plain http address that is not this machine's own: whoever is on the way could read the token."""


class NotJson(AccordError, ValueError):
    """A document that JSON can't hold, such as one with NaN or a set in it. It was not sent."""


class ConnectionFailed(AccordError):
    """No connection to the service, or it broke before the whole answer had come."""


class TimedOut(AccordError):
    """The service did not answer in time."""


class BadAnswer(AccordError):
    """An answer that this client cannot vouch for. It is never passed on as if it were a verdict."""


class OtherToken(AccordError):
    """The service is away, and the bundle that was to answer was pulled with another token."""


class EffectNotDone(AccordError):
    """A proposal's effect that ended otherwise than done. ``effect`` is what the service says of it."""

    def __init__(self, effect: Mapping[str, Any]) -> None:
        self.effect = effect
        super().__init__(f"the effect is {effect.get('state')}: {effect.get('ended_because') or 'no reason given'}")


class ProblemError(AccordError):
    """The service refused. ``problem`` is its whole document, ``errors`` the faults it found in the request."""

    def __init__(self, status: int, problem: Mapping[str, Any], retry_after_s: float | None = None) -> None:
        self.status = status
        self.problem = problem
        self.errors = tuple(_faults(problem.get("errors")))
        self.retry_after_s = retry_after_s
        super().__init__(f"{status}: {problem.get('detail') or problem.get('title') or 'no reason given'}")

    @property
    def title(self) -> str:
        return str(self.problem.get("title", ""))

    @property
    def request_id(self) -> str:
        """What to tell whoever runs the service."""
        return str(self.problem.get("request_id", ""))


class InvalidOrder(ProblemError):
    """The order is not one the service can read."""


class NotAuthorised(ProblemError):
    """The key is missing, unknown, or of a role that may not do this."""


class NotFound(ProblemError):
    """There is nothing of this name."""


class TooManyRequests(ProblemError):
    """Asked too often."""


class ServiceFault(ProblemError):
    """The service, or what stands before it, failed."""


_BY_STATUS = {401: NotAuthorised, 403: NotAuthorised, 404: NotFound, 429: TooManyRequests}
_OF_AN_ORDER = (400, 413, 415, 422)


def problem_error(
    status: int, problem: Mapping[str, Any], *, to_an_order: bool, retry_after_s: float | None = None
) -> ProblemError:
    """The exception for a status and its problem document."""
    kind = ServiceFault if status >= 500 else _BY_STATUS.get(status, ProblemError)
    if to_an_order and status in _OF_AN_ORDER:
        kind = InvalidOrder
    return kind(status, problem, retry_after_s)


def _faults(errors: Any) -> list[Fault]:
    """What of ``errors`` can be read: a gateway's own problem document may hold anything there."""
    if not isinstance(errors, list):
        return []
    return [
        Fault(
            pointer=_text(error.get("pointer")),
            message=str(error.get("message", "")),
            allowed=tuple(map(str, error.get("allowed") or ())),
            code=str(error.get("code", "")),
            part=str(error.get("in", "body")),
            name=_text(error.get("name")),
            allowed_left_out=_count(error.get("allowed_left_out")),
        )
        for error in errors
        if isinstance(error, dict)
    ]


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) else None


def _count(value: Any) -> int:
    return value if isinstance(value, int) else 0
