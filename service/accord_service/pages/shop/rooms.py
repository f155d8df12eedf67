"""The rooms of the desk, and how their pages are written."""

from __future__ import annotations

from typing import Any

from flask import Response, make_response, redirect, render_template

from accord_service.pages.forms import Form
from accord_service.pages.visit import PEOPLE

ADDRESS = "/shop"
# Address, words, and whose each is.
ROOMS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    (ADDRESS, "Presses", PEOPLE),
    ("/shop/stock", "Stock", PEOPLE),
    ("/shop/names", "Names", PEOPLE),
    ("/shop/house", "House rules", ("counter", "operator", "owner")),
    ("/shop/keys", "Keys", ("owner",)),
)


def shown(template: str, status: int = 200, /, **values: Any) -> Response:
    """A page of the desk. ``template``: its name in templates/shop, without the ending."""
    return make_response(render_template(f"shop/{template}.html", ROOMS=ROOMS, **values), status)


def led_to(address: str) -> Response:
    """Whoever changed something is led to where it can be seen; a page that is loaded again writes nothing again."""
    return make_response(redirect(address, 303))


def is_check(form: Form) -> bool:
    """Whether the form only asks what would come of it; nothing is written then."""
    return form.value("do") == "check"


def answered(form: Form) -> int:
    """The status of a form's page. Whoever asks whether something would be taken is answered, also where it is not."""
    return 200 if is_check(form) else form.status
