"""The keys of the shop: whose they are, one more, and an end to one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Response

from accord_service.api.v1.delete_key import delete_key
from accord_service.api.v1.get_key import get_key
from accord_service.api.v1.get_keys import get_keys
from accord_service.api.v1.post_keys import post_keys
from accord_service.http.problems import Problem
from accord_service.http.roles import SHOP_ROLES, STOREFRONT
from accord_service.pages.forms import Form
from accord_service.pages.shop.asking import REFUSALS
from accord_service.pages.shop.rooms import led_to, shown
from accord_service.pages.visit import Visit, page

Document = Mapping[str, Any]
_OWNER = ("owner",)
_FIELDS = ("holder", "role", "origins", "expires_at")


@page("/shop/keys", roles=_OWNER)
def keys_page(visit: Visit) -> Response:
    """Every key of the shop, and a form for one more."""
    return _shown(visit, Form.of({"role": "counter"}))


@page("/shop/keys", methods=("POST",), roles=_OWNER)
def issue_key(visit: Visit) -> Response:
    """Issue a key; its token is shown on this answer and never again."""
    form = Form.sent()
    document: dict[str, Any] = {
        "shop_id": visit.caller.shop_id,
        "role": form.text("role"),
        "holder": form.text("holder"),
    }
    if form.text("expires_at"):
        document["expires_at"] = f"{form.text('expires_at')}T00:00:00Z"
    if form.text("origins"):
        document["origins"] = form.text("origins").replace(",", " ").split()
    try:
        told = visit.ask(post_keys, document=document).document
    except REFUSALS as problem:
        return _shown(visit, form.refused(problem, _FIELDS, lambda pointer: pointer.removeprefix("/")))
    return _shown(visit, Form.of({"role": "counter"}), issued=told)


@page("/shop/keys/<key_id>/revoke", roles=_OWNER)
def revoke_page(visit: Visit, key_id: str) -> Response:
    """Ask once more before a key is revoked."""
    return _asked_once_more(visit, key_id, None)


@page("/shop/keys/<key_id>/revoke", methods=("POST",), roles=_OWNER)
def revoke_key(visit: Visit, key_id: str) -> Response:
    """Revoke a key, for good."""
    try:
        visit.ask(delete_key, path={"key_id": key_id})
    except REFUSALS as problem:
        return _asked_once_more(visit, key_id, problem)
    return led_to("/" if key_id == visit.caller.key_id else "/shop/keys")


def _asked_once_more(visit: Visit, key_id: str, refused: Problem | None) -> Response:
    key = visit.ask(get_key, path={"key_id": key_id}).document
    return shown("revoke", 200 if refused is None else refused.status, key=key, refused=refused)


def _shown(visit: Visit, form: Form, issued: Document | None = None) -> Response:
    keys = sorted(visit.entries(get_keys), key=lambda key: (key["revoked_at"] is not None, key["role"], key["key_id"]))
    return shown(
        "keys",
        form.status,
        keys=[key for key in keys if key["revoked_at"] is None],
        revoked=[key for key in keys if key["revoked_at"] is not None],
        roles=[role for role in SHOP_ROLES if role != STOREFRONT] + [STOREFRONT],
        own_roles=SHOP_ROLES,
        form=form,
        issued=issued,
    )
