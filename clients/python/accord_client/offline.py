"""Going on without a line: whoever answers then is given to the client, which asks them where the service can't be."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from typing import Any, Protocol, TypeVar

from accord_client.exceptions import ConnectionFailed, InvalidOrder, ServiceFault, TimedOut

T = TypeVar("T")
logger = logging.getLogger(__name__)
# Statuses of a service, or of what stands before it, that can't answer now.
_AWAY = (502, 503, 504)


class Offline(Protocol):
    """Answers orders without a service, as ``accord_service.steps.bundles.BundledAuthority`` does from a bundle.

    What it raises for an order that can't be read has ``faults``. LookupError: it has nothing to answer from.
    """

    def validate(self, order: Mapping[str, Any]) -> Mapping[str, Any]:
        """The verdict's document."""

    def recommend(self, order: Mapping[str, Any]) -> Mapping[str, Any]:
        """The recommendation's document."""


def answered(
    ask: Callable[[], T],
    offline: Offline | None,
    ask_offline: Callable[[Offline], Mapping[str, Any]],
    read: Callable[[Any], T],
) -> T:
    """What the service answers, or where it is away whoever answers then. Raises as ``ask`` does.

    A refusal of the service is its answer, and nobody else is asked.
    """
    try:
        return ask()
    except (ConnectionFailed, TimedOut, ServiceFault) as error:
        if offline is None or (isinstance(error, ServiceFault) and error.status not in _AWAY):
            raise
        try:
            document = _document(ask_offline, offline)
        except LookupError:
            raise error from None
        logger.warning("answered from a bundle: %s", error)
        return read(document)


def _document(ask: Callable[[Offline], Mapping[str, Any]], offline: Offline) -> Mapping[str, Any]:
    try:
        return ask(offline)
    except ValueError as error:
        faults = getattr(error, "faults", ())
        if not faults:
            raise
        errors = [{"in": "body", **fault.document()} for fault in faults]
        problem = {"title": "The document has faults", "detail": str(error), "errors": errors}
        raise InvalidOrder(422, problem) from error
