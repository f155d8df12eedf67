"""Drafting a change of any entry of the book by a form: what it says, or that it is withdrawn."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from flask import Response, make_response, redirect, render_template

from accord_rules.documents.files import entry_of as whole_entry_of
from accord_rules.revision.catalogue import KINDS
from accord_service.api.v1.get_catalogue_kind import get_catalogue_kind
from accord_service.api.v1.get_revision import get_revision
from accord_service.api.v1.get_revisions import get_revisions
from accord_service.api.v1.post_proposals import post_proposals
from accord_service.http.problems import NotFound, Problem
from accord_service.http.roles import MAY
from accord_service.pages.desk.entry_form import entry_of, groups_of, values_of
from accord_service.pages.forms import Form
from accord_service.pages.numbers import whole
from accord_service.pages.visit import Visit, page

Document = Mapping[str, Any]
_PROPOSERS = MAY["post_proposals"]
_WHY = ("reason", "evidence")
_OF_ENTRY = re.compile(r"/changes(/0(/value)?)?(?=/|$)")
# The kinds that a form can say, in the order of how often they change, and what one and several are called.
FORMS: Mapping[str, tuple[str, str]] = {
    "products": ("product", "Products"),
    "transfers": ("family of transfers", "Families of transfers"),
    "blanks": ("blank", "Blanks"),
    "substrates": ("substrate", "Substrates"),
    "consumables": ("consumable", "Sheets, pads and tapes"),
    "press_types": ("type of press", "Types of press"),
    "markets": ("market", "Markets"),
}


@page("/desk/draft/<kind>", roles=_PROPOSERS)
def desk_entries(visit: Visit, kind: str) -> str:
    """The entries of a kind, to choose one from."""
    _known(kind)
    entries = visit.entries(get_catalogue_kind, path={"kind": kind})
    titles = [(entry["id"], str(entry["entry"].get("title", entry["id"]))) for entry in entries]
    return render_template("desk/entries.html", kind=kind, kinds=FORMS, entries=titles)


@page("/desk/draft/<kind>/<name>", roles=_PROPOSERS)
def desk_entry(visit: Visit, kind: str, name: str) -> Response:
    """One entry as a form."""
    _known(kind)
    documents, base = _book(visit)
    entry = _entry(documents, kind, name)
    values = values_of(groups_of(KINDS[kind], entry, entry), entry)
    return _shown(documents, kind, name, base, Form.of(values))


@page("/desk/draft/<kind>/<name>", methods=("POST",), roles=_PROPOSERS)
def desk_draft_entry(visit: Visit, kind: str, name: str) -> Response:
    """Draft the entry as it was typed, or that it is withdrawn (``do`` is ``withdraw``)."""
    _known(kind)
    form = Form.sent()
    documents, now = _book(visit)
    entry = _entry(documents, kind, name)
    value = None if form.value("do") == "withdraw" else entry_of(form, KINDS[kind], entry)
    if value == entry:
        return _shown(documents, kind, name, now, form.wrong("reason", "Nothing is changed yet: type what should be."))
    revision = form.value("revision")
    number = whole(revision)
    proposed = {
        "base": {"revision": revision if number is None else number, "digest": form.value("digest")},
        "changes": [
            {"kind": kind, "id": name, "value": value},
            *(_named_without(documents, kind, name) if value is None else ()),
        ],
        **{field: form.text(field) for field in _WHY},
    }
    try:
        made = visit.ask(post_proposals, document=proposed)
    except Problem as problem:
        fields = (*_WHY, *(field.name for group in groups_of(KINDS[kind], entry, entry) for field in group.fields))
        refused = form.refused(problem, fields, _in_entry)
        return _shown(documents, kind, name, now, refused)
    return make_response(redirect(f"/desk/proposals/{made.document['proposal_id']}", 303))


def _in_entry(pointer: str) -> str:
    """A place of the proposal as the form of its first change has it; the entry as a whole is no place."""
    return _OF_ENTRY.sub("", pointer, count=1).strip("/")


def _named_without(documents: Document, kind: str, name: str) -> Iterator[dict[str, Any]]:
    """The changes that take a withdrawn entry out of where it is only one of several: what words can mean, which no
    form says, and what blanks may do instead. A word that is left with one meaning has not to be asked about."""
    of_kind = "transfers" if kind == "products" else kind
    for word, ambiguous in documents["ambiguous_words"].items():
        named = ambiguous["readings"].get(of_kind, ())
        if name in named:
            left = [other for other in named if other != name]
            readings = {of: names for of, names in ambiguous["readings"].items() if of != of_kind}
            readings |= {of_kind: left} if len(left) > 1 else {}
            value = {**ambiguous, "readings": readings} if readings else None
            yield {"kind": "ambiguous_words", "id": word, "value": value}
    for blank, entry in documents["blanks"].items() if kind == "blanks" else ():
        if blank != name and name in entry.get("alternatives", ()):
            alternatives = [other for other in entry["alternatives"] if other != name]
            yield {"kind": "blanks", "id": blank, "value": {**entry, "alternatives": alternatives}}


def _known(kind: str) -> None:
    """Raises NotFound for a kind that no form says."""
    if kind not in FORMS:
        raise NotFound.in_book("kind", "kind of entry with a form", kind, FORMS)


def _book(visit: Visit) -> tuple[Document, Document]:
    """The present book as its files write it, and what a change of it starts from."""
    head = visit.ask(get_revisions, query={"limit": "1"}).document["head"]
    told = visit.ask(get_revision, path={"revision": str(head)}, query={"documents": "true"}).document
    return told["documents"], {"revision": told["revision"], "digest": told["digest"]}


def _entry(documents: Document, kind: str, name: str) -> Document:
    if name not in documents[kind]:
        raise NotFound(f"The present book has no {FORMS[kind][0]} {name:.60}. It may have been withdrawn, or renamed.")
    entry: Document = documents[kind][name]
    return entry


def _shown(documents: Document, kind: str, name: str, base: Document, form: Form) -> Response:
    entry = _entry(documents, kind, name)
    groups = groups_of(KINDS[kind], entry, whole_entry_of(documents, kind, name))
    return make_response(
        render_template(
            "desk/entry.html",
            kind=kind,
            kinds=FORMS,
            name=name,
            title=str(entry.get("title", name)),
            groups=groups,
            open_groups={group.name for group in groups if any(form.fault(field.name) for field in group.fields)},
            form=form,
            base=base if form.status == 200 else {key: form.value(key) or base[key] for key in ("revision", "digest")},
        ),
        form.status,
    )
