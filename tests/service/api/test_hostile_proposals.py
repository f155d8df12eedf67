"""Proposals by somebody who means harm: each is refused with its place, in plain words, and for little work.

The work: at most one load of the changed book, and no rule tried in the engine. A refusal is as long as it is whatever
was sent, and repeats none of it whole.
"""

from __future__ import annotations

import copy
import json
from dataclasses import dataclass
from typing import Any

import pytest
from flask.testing import FlaskClient

from accord_rules.governance import changes
from accord_rules.revision.book import Book
from accord_service.steps import effects

RULE, LIMIT = "wrongly-mirrored", "dye.polyester_share_full"
SOURCE: dict[str, Any] = {
    "title": "A new source",
    "kind": "from-memory",
    "text": "What the stewards remember.",
    "speaks_of": ["press"],
}
MESSAGE_MOST = 800  # characters of one fault
ANSWER_MOST_BYTES = 64_000
LOADS_MOST = 1


@dataclass
class Work:
    """What was done for a request."""

    loads: int = 0
    trials: int = 0


@pytest.fixture
def work(monkeypatch: pytest.MonkeyPatch) -> Work:
    counted = Work()
    load = changes.from_documents

    def load_counted(*arguments: Any, **more: Any) -> Book:
        counted.loads += 1
        return load(*arguments, **more)

    def try_counted(*_: Any, **__: Any) -> None:
        counted.trials += 1

    monkeypatch.setattr(changes, "from_documents", load_counted)
    monkeypatch.setattr(effects, "try_rules", try_counted)
    return counted


@dataclass(frozen=True)
class Hostile:
    """Changes that must not come through. ``at``: the pointer below /changes of a fault that has to be told.

    ``sent`` goes in place of the JSON string "@@", for what a JSON writer would not write.
    """

    note: str
    at: str
    status: int = 422
    source: Any = None
    id: str = "new-source"
    rule: Any = None
    limit: Any = None
    changes: Any = None
    sent: str = ""


def source(**fields: Any) -> dict[str, Any]:
    return {**SOURCE, **fields}


IDS = {
    "a path": "../../x",
    "a path of Windows": "..\\x",
    "an address": "a/b",
    "a query": "x?revision=1",
    "a percent sign": "%2e%2e",
    "a space": "a b",
    "a direction turned": "x\u202ey",
    "nothing to be seen": "con\u200bsole",
    "a letter that looks like another": "d\u0443e",
    "capitals": "New-Source",
    "a full-width letter": "ａbc",
    "an accent of its own": "e\u0301",
    "a hyphen first": "-x",
    "a dot last": "x.",
    "two dots": "a..b",
    "markup": "<b>",
    "a line end": "x\n",
    "none": "",
    "81 characters": "a" * 81,
}
TEXTS = {
    "turns the direction": "safe \u202eelbmalf ton\u202c",
    "isolates": "a\u2066b\u2069",
    "holds a character that nobody sees": "a\u200bb",
    "holds a line end of no keyboard": "a\u2028b",
    "holds a control character": "a\x07b",
    "holds a control character of C1": "a\x85b",
    "is a megabyte": "x" * 200_000,
}
WHEN = {
    "calls": "(lambda: 1)()",
    "reaches for a class": "item.__class__.__mro__",
    "formats": "item.textile == f'{1}'",
    "assigns": "(a := 1)",
    "counts high": "item.polyester_share < 9**9**9**9",
    "has a number without end": "item.polyester_share < " + "9" * 1900,
    "is no number": "item.polyester_share < nan",
    "is deep": "not " * 400 + "item.textile",
    "has brackets": "(" * 900 + "item.textile" + ")" * 900,
    "compares on and on": "0" + " < 1" * 480,
    "names on and on": "a." * 900 + "b",
    "has more ways to hold than anybody reads": " and ".join(["(item.textile or art.mirrored)"] * 40),
    "is long": "item.textile or " * 200 + "item.textile",
    "has a letter that looks like another": "it\u0435m.textile",
    "has a comment": "item.textile # or not",
    "backtracks": "a" * 1000 + "!" + "a" * 900,
    "names a word that is long": "transfer.kind == '" + "x" * 1900 + "'",
}
HOSTILE = (
    *(Hostile(f"an id with {note}", "/0/id", id=id_, source=SOURCE) for note, id_ in IDS.items()),
    *(Hostile(f"a title that {note}", "/0/value", source=source(title=text)) for note, text in TEXTS.items()),
    *(Hostile(f"a condition that {note}", "/0/value/when", rule={"when": text}) for note, text in WHEN.items()),
    Hostile("a field with a turned name", "/0/value", source=source(**{"ti\u202etle": "x"})),
    Hostile("deep nesting", "/0/value/a", source=source(a=[[[[[[[[[[[[[[1]]]]]]]]]]]]]])),
    Hostile("deeper nesting", "", 400, source=source(a="@@"), sent="[" * 5000 + "]" * 5000),
    Hostile("a list of 5,000", "/0/value", source=source(speaks_of=["press"] * 5_000)),
    Hostile("a null inside", "/0/value/title", source=source(title=None)),
    Hostile("an example flood", "/0/value/silent", rule={"silent": [{"quantity": 2}] * 1500}),
    Hostile("examples about nothing", "/0/value/silent/0", rule={"silent": [{"surprise": 1}] * 40}),
    Hostile("a key twice", "/0/value/note", 400, source=source(note="@@"), sent='"a", "note": "b"'),
    Hostile("one entry twice", "/1", changes=[{"kind": "sources", "id": "x", "value": SOURCE}] * 2),
    Hostile("set and taken out", "/1", changes=[
        {"kind": "sources", "id": "x", "value": SOURCE}, {"kind": "sources", "id": "x", "value": None}]),
    Hostile("201 changes", "", changes=[{"kind": "sources", "id": f"s{n}", "value": SOURCE} for n in range(201)]),
    Hostile("no changes", "", changes=[]),
    Hostile("a kind that is none", "/0/kind", changes=[{"kind": "__class__", "id": "x", "value": SOURCE}]),
    Hostile("NaN", "/0/value/value", 400, limit="@@", sent="NaN"),
    Hostile("Infinity", "/0/value/value", 400, limit="@@", sent="-Infinity"),
    Hostile("a number beyond all floats", "/0/value/value", 400, limit="@@", sent="1e999"),
    Hostile("a number beyond all bands", "/0/value", limit="@@", sent="1e308"),
    Hostile("a number that is nearly none", "/0", limit="@@", sent="5e-324"),
    Hostile("negative zero", "/0", limit="@@", sent="-0.0"),
    Hostile("a number below its band", "/0/value", limit=-1),
    Hostile("a whole number that doubles lose", "/0/value/value", 400, limit="@@", sent="9007199254740993"),
    Hostile("half a character", "/0/value/note", 400, source=source(note="@@"), sent='"\\ud800"'),
)  # fmt: skip


@pytest.mark.parametrize("hostile", HOSTILE, ids=lambda hostile: hostile.note)
def test_what_means_harm_is_refused_in_plain_words_and_for_little_work(
    client: FlaskClient, collective: Any, book: Book, work: Work, hostile: Hostile
) -> None:
    operator = dict(collective.headers("quay-side", "operator"))
    before = client.get("/v1/proposals", headers=operator).json
    body = {"base": base(book), "changes": changes_of(hostile, book), "reason": "Why not.", "evidence": "None."}
    sent = json.dumps(body).replace('"@@"', hostile.sent).encode()
    answer = client.post("/v1/proposals", data=sent, content_type="application/json", headers=operator)
    assert answer.status_code == hostile.status, answer.text
    assert answer.mimetype == "application/problem+json"
    errors = answer.json["errors"]
    assert any(error["pointer"].startswith(f"/changes{hostile.at}") for error in errors) or hostile.note == (
        "deeper nesting"
    ), errors
    assert all(len(error["message"]) <= MESSAGE_MOST for error in errors)
    assert len(answer.data) <= ANSWER_MOST_BYTES
    assert work.loads <= LOADS_MOST
    assert work.trials == 0
    assert client.get("/v1/proposals", headers=operator).json == before


def base(book: Book) -> dict[str, Any]:
    return {"revision": book.revision, "digest": book.digest}


def changes_of(hostile: Hostile, book: Book) -> Any:
    if hostile.changes is not None:
        return hostile.changes
    if hostile.rule is not None:
        rule = copy.deepcopy(dict(book.documents["rules"][RULE]))
        return [{"kind": "rules", "id": RULE, "value": {**rule, **hostile.rule}}]
    if hostile.limit is not None:
        return [{"kind": "limits", "id": LIMIT, "value": {**book.documents["limits"][LIMIT], "value": hostile.limit}}]
    return [{"kind": "sources", "id": hostile.id, "value": hostile.source}]


@pytest.mark.parametrize(("note", "text"), list(TEXTS.items())[:6])
@pytest.mark.parametrize("field", ["reason", "evidence"])
def test_reasons_read_as_they_are(
    client: FlaskClient, collective: Any, book: Book, field: str, note: str, text: str
) -> None:
    body = {
        "base": base(book),
        "changes": [{"kind": "sources", "id": "x", "value": SOURCE}],
        "reason": "Why not.",
        "evidence": "None.",
    }
    operator = dict(collective.headers("quay-side", "operator"))
    answer = client.post("/v1/proposals?validate_only=true", json={**body, field: text}, headers=operator)
    assert (answer.status_code, [error["pointer"] for error in answer.json["errors"]]) == (422, [f"/{field}"]), note
    assert client.post("/v1/proposals?validate_only=true", json=body, headers=operator).status_code == 200


def test_an_entry_by_a_name_of_before_can_still_be_taken_out() -> None:
    change = [{"kind": "sources", "id": "../../x", "value": None}]
    assert changes.changes_document(changes.read_changes(change)) == change


@pytest.mark.parametrize("id_", [f"house.{id_}" for id_ in IDS.values()])
def test_a_shops_own_rule_has_a_plain_id(client: FlaskClient, collective: Any, id_: str) -> None:
    owner = dict(collective.headers("quay-side", "owner"))
    answer = client.put(
        "/v1/shop/house-rules?validate_only=true", json={"rules": {id_: {}}}, headers=owner | {"If-Match": "*"}
    )
    assert answer.status_code == 422
    assert "bad-format" in {error["code"] for error in answer.json["errors"]}
