"""Going on without a line: whoever answers then is given to the client, which asks them where the service can't be."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol, TypeVar

from accord_client.exceptions import AccordError, ConnectionFailed, InvalidOrder, OtherToken, ServiceFault, TimedOut

T = TypeVar("T")
logger = logging.getLogger(__name__)
# Statuses of a service, or of what stands before it, that can't answer now.
_AWAY = (502, 503, 504)


class Offline(Protocol):
    """Answers orders without a service, as ``accord_service.steps.bundles.BundledAuthority`` does from a bundle.

    ``revision`` is its book's. What it raises for an order that can't be read has ``faults``. LookupError: it has
    nothing to answer from. ``answers_for``: whether the holder of a token may be answered from it.
    """

    @property
    def revision(self) -> int: ...

    def answers_for(self, token: str, /) -> bool: ...

    def validate(self, order: Mapping[str, Any], *, observed: bool = False) -> Mapping[str, Any]:
        """The verdict's document; ``observed``: with what each finding found."""

    def recommend(
        self, order: Mapping[str, Any], *, most: int | None = None, curve: bool = False, observed: bool = False
    ) -> Mapping[str, Any]:
        """The recommendation's document: ``most`` plans at most, with the ``curve`` of each plan's heat."""

    def envelope(self, order: Mapping[str, Any]) -> Mapping[str, Any]:
        """The envelope's document."""


@dataclass(frozen=True, slots=True)
class StandIn:
    """Who answers where the service is away, and the token that the service is asked with."""

    offline: Offline
    token: str = field(repr=False)

    def begin(self) -> Offline:
        """Who answers. Raises OtherToken where that is not for this token, LookupError where there is nothing."""
        if not self.offline.answers_for(self.token):
            raise OtherToken(
                "the bundle was pulled with another key than this client's: pull it with this one (accord bundle pull)"
            )
        return self.offline


def answered(
    ask: Callable[[], T],
    stand_in: StandIn | None,
    ask_offline: Callable[[Offline], Mapping[str, Any]],
    read: Callable[[Any], T],
) -> T:
    """What the service answers, or where it is away whoever answers then. Raises as ``ask`` does, and OtherToken.

    A refusal of the service is its answer, and nobody else is asked.
    """
    try:
        return ask()
    except (ConnectionFailed, TimedOut, ServiceFault) as error:
        if stand_in is None or not is_away(error):
            raise
        try:
            document = document_of(ask_offline, stand_in.begin())
        except LookupError:
            raise error from None
        logger.warning("answered from a bundle: %s", error)
        return read(document)


def is_away(error: AccordError) -> bool:
    """Whether what was raised says that the service can't answer now, and not what it thinks of the question."""
    return isinstance(error, (ConnectionFailed, TimedOut)) or (
        isinstance(error, ServiceFault) and error.status in _AWAY
    )


def document_of(ask: Callable[[Offline], Mapping[str, Any]], offline: Offline) -> Mapping[str, Any]:
    """What it answers. Raises InvalidOrder as the service would have been told to, LookupError."""
    try:
        return ask(offline)
    except ValueError as error:
        faults = getattr(error, "faults", ())
        if not faults:
            raise
        errors = [{"in": "body", **fault.document()} for fault in faults]
        problem = {"title": "The document has faults", "detail": str(error), "errors": errors}
        raise InvalidOrder(422, problem) from error
