"""What several pages of the desk ask of the API."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from accord_service.api.v1.get_catalogue_kind import get_catalogue_kind
from accord_service.api.v1.get_shop import get_shop
from accord_service.api.v1.get_shop_status import get_shop_status
from accord_service.api.v1.put_shop import put_shop
from accord_service.http.problems import (
    AlreadyThere,
    ChangedMeanwhile,
    FaultyDocument,
    HouseRulesDoNotFit,
    HouseRulesRefused,
    KeyUsedBefore,
    NotYours,
    Problem,
    RoleNotAllowed,
    ShopDoesNotFit,
    StillUnderWay,
    StoreUnavailable,
    TooManyHeavy,
)
from accord_service.pages.forms import ETAG, Form, seen_in
from accord_service.pages.visit import Visit

Document = Mapping[str, Any]
# What a form is shown again for, with what was typed; any other problem is a page of its own.
REFUSALS = (
    AlreadyThere,
    ChangedMeanwhile,
    FaultyDocument,
    HouseRulesRefused,
    KeyUsedBefore,
    NotYours,
    RoleNotAllowed,
    ShopDoesNotFit,
    StillUnderWay,
    StoreUnavailable,
    TooManyHeavy,
)


def titles(visit: Visit, kind: str) -> dict[str, str]:
    """What each entry of a kind of the book is, by its name."""
    lines = visit.entries(get_catalogue_kind, path={"kind": kind})
    # A fibre has a name.
    return {line["id"]: str(line["entry"].get("title") or line["entry"].get("name") or line["id"]) for line in lines}


def status_of(visit: Visit) -> tuple[Document | None, Problem | None]:
    """What is computed of the shop; or why nothing can be, since the book moved on."""
    try:
        return visit.ask(get_shop_status).document, None
    except (HouseRulesDoNotFit, ShopDoesNotFit) as problem:
        return None, problem


def replace_shop(
    visit: Visit,
    form: Form,
    piece: Callable[[Document], Any],
    alter: Callable[[Document], dict[str, Any]],
) -> None:
    """Write the shop with one piece altered.

    What changed elsewhere in the shop since the form was made is kept; what changed in the ``piece`` that it shows is
    nobody's to undo unseen. A form that is sent twice finds its work done. Raises ChangedMeanwhile, FaultyDocument.
    """
    shop = visit.ask(get_shop)
    etag, altered = form.value(ETAG), alter(shop.document)
    if altered == shop.document:
        return
    if shop.etag != etag and piece(shop.document) == seen_in(form):
        etag = shop.etag
    elif shop.etag != etag:
        raise ChangedMeanwhile("Somebody changed what this form shows since you opened it.")
    visit.ask(put_shop, document=altered, if_match=etag)
