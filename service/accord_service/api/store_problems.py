"""The store's errors as the problems that the API answers with."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager

from accord_service.http.problems import (
    AllPiecesReported,
    AlreadyThere,
    ChangedMeanwhile,
    KeyUsedBefore,
    NotFound,
    SomebodyWasFaster,
    StillUnderWay,
    StoreUnavailable,
)
from accord_service.steps.proposals import Overtaken
from accord_service.store import AllReported, Conflict, KeyReused, NotThere, StillRunning, StoreAway, StoreBroken

logger = logging.getLogger(__name__)


@contextmanager
def store_problems(*, replaces: bool) -> Iterator[None]:
    """Raise the problem instead. ``replaces``: whether what runs here replaces what the caller has seen."""
    try:
        yield
    except StoreAway as error:
        raise StoreUnavailable(_capitalised(error), headers={"Retry-After": "1"}) from None
    except StoreBroken as error:
        logger.error("the store can't be used: %s", error)
        raise StoreUnavailable("The store can't be used; whoever runs the service must look at it.") from None
    except KeyReused:
        raise KeyUsedBefore() from None
    except StillRunning:
        raise StillUnderWay(headers={"Retry-After": "1"}) from None
    except NotThere as error:
        raise NotFound(_capitalised(error)) from None
    except Overtaken as error:
        raise SomebodyWasFaster(error.sentence) from None
    except AllReported as error:
        raise AllPiecesReported(quantity=error.expected, reported=error.actual) from None
    except Conflict as error:
        if replaces:
            raise ChangedMeanwhile(f"You saw version {error.expected}; it is at version {error.actual} now.") from None
        raise AlreadyThere() from None


def _capitalised(error: Exception) -> str:
    text = str(error)
    return f"{text[:1].upper()}{text[1:]}"
