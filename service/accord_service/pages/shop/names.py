"""The shop's own names for things of the book and for its presses."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from flask import Response, request

from accord_rules.documents.reading import escape
from accord_service.api.v1.get_shop import get_shop
from accord_service.api.v1.put_shop import put_shop
from accord_service.http.problems import ChangedMeanwhile
from accord_service.pages.forms import ETAG, Form, Moved, moved_since, seen_in, seen_text
from accord_service.pages.shop.asking import REFUSALS, replace_shop, titles
from accord_service.pages.shop.rooms import led_to, shown
from accord_service.pages.visit import Visit, page

Document = Mapping[str, Any]
WORD, MEANT = "word", "meant"
# What may be named: the field of the shop's document, its heading, and the kinds of the book that stand there.
_FIELDS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("presses", "Presses of the shop", ()),
    ("blanks", "Blanks", ("blanks",)),
    ("transfers", "Transfers", ("products", "transfers")),
    ("consumables", "Sheets, pads and tapes", ("consumables",)),
    ("press_types", "Types of press", ("press_types",)),
)


@page("/shop/names")
def names_page(visit: Visit) -> Response:
    """Every name of the shop's own with what it stands for, and a form for one more."""
    told = visit.ask(get_shop)
    return _shown(visit, told.document, told.etag, Form())


@page("/shop/names", methods=("POST",), roles=("owner",))
def change_names(visit: Visit) -> Response:
    """Add a name, or take one away (``remove`` says which: field and word)."""
    form, there = Form.sent(), visit.ask(get_shop)
    field, word, name = _wanted(form)
    if not word:
        return _shown(visit, there.document, form.value(ETAG), form.wrong(WORD, "Type the word that your orders say."))
    if not field or not (name or form.value("remove")):
        return _shown(visit, there.document, form.value(ETAG), form.wrong(MEANT, "Choose what it stands for."))
    try:
        replace_shop(visit, form, names_of, lambda shop: _with_name(shop, field, word, name))
    except ChangedMeanwhile as problem:
        moved = moved_since(seen_in(form), names_of(there.document))
        return _shown(visit, there.document, there.etag, form.refused(problem, ()), moved)
    except REFUSALS as problem:
        refused = form.refused(problem, (WORD,), lambda pointer: _in_form(pointer, field, word))
        return _shown(visit, there.document, form.value(ETAG), refused)
    return led_to("/shop/names?removed=yes" if name is None else "/shop/names?added=yes")


def names_of(shop: Document) -> Any:
    """The part of a shop that this page shows."""
    return shop.get("names", {})


def _wanted(form: Form) -> tuple[str, str, str | None]:
    """The field, the word, and what it is to stand for: None where it is to go."""
    if form.value("remove"):
        field, _, word = form.value("remove").partition("/")
        return field, word, None
    field, _, name = form.value(MEANT).partition("/")
    return field, form.text(WORD), name


def _with_name(shop: Document, field: str, word: str, name: str | None) -> dict[str, Any]:
    own = {kind: dict(words) for kind, words in names_of(shop).items()}
    words = {other: meant for other, meant in own.get(field, {}).items() if other != word}
    own[field] = words if name is None else words | {word: name}
    left = {kind: words for kind, words in own.items() if words}
    rest = {key: value for key, value in shop.items() if key != "names"}
    return rest | ({"names": left} if left else {})


def _in_form(pointer: str, field: str, word: str) -> str:
    return WORD if pointer in (f"/names/{field}/{escape(word)}", f"/names/{field}") else pointer


def _shown(visit: Visit, shop: Document, etag: str, form: Form, moved: tuple[Moved, ...] = ()) -> Response:
    known = {field: dict(_known(visit, shop, field, kinds)) for field, _, kinds in _FIELDS}
    own = names_of(shop)
    groups = [
        (field, heading, [(word, name, known[field].get(name, name)) for word, name in own.get(field, {}).items()])
        for field, heading, _ in _FIELDS
        if own.get(field)
    ]
    return shown(
        "names",
        form.status,
        groups=groups,
        choices=[
            (heading, [(f"{field}/{name}", title) for name, title in sorted(known[field].items(), key=lambda p: p[1])])
            for field, heading, _ in _FIELDS
        ],
        form=form,
        etag=etag,
        seen=seen_text(names_of(shop)) if moved or form.status == 200 else form.value("seen"),
        moved=moved,
        told={"added": "The name is added.", "removed": "The name is taken away."}.get(next(iter(request.args), "")),
        may=visit.may(put_shop),
    )


def _known(visit: Visit, shop: Document, field: str, kinds: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    """What a name of this field may stand for, and what that is."""
    if field == "presses":
        yield from ((press["id"], press["id"]) for press in shop["presses"])
    for kind in kinds:
        yield from titles(visit, kind).items()
