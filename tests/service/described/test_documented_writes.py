"""Every documented write, sent as the served description has it to a fresh service of the demo's collective.

What the description cannot know, the name of what was made a moment ago, is taken from the answer by the description's
own links (OpenAPI 3.1, link object); If-Match from the answer to a read, as RFC 9110 section 13.1.1 has it.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from tests.service.effect_workers import work_out
from werkzeug.test import TestResponse

from accord_service.app import create_app

DEMO = Path(__file__).parents[3] / "demo"
OWNER, COUNTER, OPERATOR = (("harbour-lane", role) for role in ("owner", "counter", "operator"))
FIRST, SECOND, ADMIN = ("mill-steps", "steward"), ("quay-yard", "steward"), ("kiln-corner", "admin")
SECOND_ADMIN = ("collective", "admin")


@pytest.fixture(scope="module")
def demo(open_collective: Any) -> Any:
    shops = [file.read_text(encoding="utf-8") for file in sorted((DEMO / "shops").glob("*.toml"))]
    keys = tomllib.loads((DEMO / "keys.toml").read_text(encoding="utf-8"))["key"]
    return open_collective(shops, [*((key["shop"], key["role"]) for key in keys), SECOND_ADMIN])


@pytest.fixture(scope="module")
def app(demo: Any) -> Iterator[Flask]:
    app = create_app(demo.config)
    yield app
    app.extensions["accord"].close()


class Reader:
    """Reads the description and does what it shows; keeps which operations were done."""

    def __init__(self, app: Flask, demo: Any) -> None:
        self._client, self._demo = app.test_client(), demo
        self.description: Any = {}
        self.done: set[str] = set()
        self.read_anew()

    def read_anew(self) -> None:
        self.description = self._client.get("/v1/openapi.json").json

    def operations(self) -> dict[str, tuple[str, str, Any]]:
        """Operation id to (method, path, operation)."""
        return {
            operation["operationId"]: (method.upper(), path, operation)
            for path, methods in self.description["paths"].items()
            for method, operation in methods.items()
        }

    def examples(self, name: str) -> list[Any]:
        _, _, operation = self.operations()[name]
        content, *_ = operation["requestBody"]["content"].values()
        return [example["value"] for example in content["examples"].values()]

    def do(self, name: str, who: tuple[str, str], **names: str) -> Any:
        """Send the first example of an operation as it stands; the answer has to be the documented good one."""
        _, _, operation = self.operations()[name]
        return self.send(name, who, self.examples(name)[0] if "requestBody" in operation else None, names)

    def follow(self, name: str, link: str, answer: Any, who: tuple[str, str], body: Any = None) -> Any:
        """Do what a link of an operation's answer says; ``body`` where the link brings none."""
        good = next(
            response
            for status, response in self.operations()[name][2]["responses"].items()
            if status.startswith("2") and "links" in response
        )
        described = good["links"][link]
        names = {part: _place(answer, expression) for part, expression in described["parameters"].items()}
        sent = _place(answer, described["requestBody"]) if "requestBody" in described else body
        return self.send(described["operationId"], who, sent, names)

    def send(self, name: str, who: tuple[str, str], body: Any, names: dict[str, str]) -> Any:
        method, path, operation = self.operations()[name]
        for parameter in operation["parameters"]:
            if parameter["in"] == "path":
                value = names.get(parameter["name"], parameter["example"])
                path = path.replace(f"{{{parameter['name']}}}", value)
        headers = self._demo.headers(*who)
        if any(parameter["name"] == "If-Match" for parameter in operation["parameters"]):
            headers["If-Match"] = self._client.get(path, headers=headers).headers["ETag"]
        sent = {"data": body, "content_type": "application/x-ndjson"} if isinstance(body, str) else {"json": body}
        answer: TestResponse = self._client.open(path, method=method, headers=headers, **sent)
        documented = {status for status in operation["responses"] if status.startswith("2")}
        assert str(answer.status_code) in documented, (name, answer.text)
        assert documented == {"200"} or answer.status_code != 200, "done, not only tried"
        self.done.add(name)
        return answer.json


def _place(answer: Any, expression: str) -> Any:
    """The value of a runtime expression into an answer's body (OpenAPI 3.1)."""
    target = answer
    for part in expression.removeprefix("$response.body#/").split("/"):
        target = target[part]
    return target


def put_to_the_stewards(reader: Reader, demo: Any, draft: Any) -> Any:
    """Have its effect worked out, look at it, and give the proposal's status."""
    working = reader.follow("draftProposal", "open", draft, OWNER)
    work_out(demo.server.url)
    assert reader.follow("openProposal", "effect", working, OWNER)["state"] == "done"
    return reader.send("readProposalStatus", OWNER, None, {"proposal_id": draft["proposal_id"]})


# contract/test_laws.py sends the documented bodies of what is made, the tests of api all writes.
@pytest.mark.long
def test_every_documented_write_does_what_it_says(app: Flask, demo: Any) -> None:
    reader = Reader(app, demo)
    writes = {name for name, (method, _, _) in reader.operations().items() if method != "GET"}

    reader.do("addShop", ADMIN)
    reader.do("replaceShop", ADMIN)
    reader.do("replaceOwnShop", OWNER)
    reader.do("replacePress", OWNER)
    entered = reader.do("enterReading", OPERATOR)
    assert reader.follow("enterReading", "confirm", entered, OWNER)["counts"]
    reader.follow("enterReading", "delete", entered, OWNER)
    reader.do("replaceHouseRules", OWNER)
    reader.do("replaceHouseLimit", OWNER)
    added = reader.do("addHouseRule", OWNER)
    reader.follow("addHouseRule", "edit", added, OWNER, {**added, "rule": {**added["rule"], "title": "Looked at anew"}})
    reader.follow("addHouseRule", "delete", added, OWNER)
    issued = reader.do("issueKey", OWNER)
    reader.follow("issueKey", "revoke", issued, OWNER)
    waiting = reader.send("issueKey", ADMIN, reader.examples("issueKey")[1], {})
    assert not reader.follow("issueKey", "confirm", waiting, SECOND_ADMIN)["waits"]

    for name in ("validateOrder", "validateOrders", "recommendPlans", "boundOrder"):
        for body in reader.examples(name):
            reader.send(name, COUNTER, body, {})
    record = reader.do("recordOrder", COUNTER)
    report = reader.follow("recordOrder", "report", record, COUNTER, reader.examples("reportOutcome")[0])
    assert reader.follow("reportOutcome", "withdraw", report, COUNTER)["withdrawn_at"]
    reader.follow("recordOrder", "delete", record, OWNER)

    withdrawn = reader.do("draftProposal", OWNER)
    reader.follow("draftProposal", "withdraw", withdrawn, OWNER, reader.examples("withdrawProposal")[0])
    declined = reader.do("draftProposal", OWNER)
    reader.follow("draftProposal", "decline", declined, FIRST, reader.examples("declineProposal")[0])
    draft = reader.do("draftProposal", OWNER)
    working = reader.follow("draftProposal", "open", draft, OWNER)
    assert reader.follow("openProposal", "cancel", working, OWNER)["state"] == "cancelled"
    reader.follow("readProposalStatus", "approve", put_to_the_stewards(reader, demo, draft), FIRST)
    reader.follow("draftProposal", "edit", draft, OWNER, reader.examples("replaceProposal")[0])
    seen = put_to_the_stewards(reader, demo, draft)
    approved = reader.follow("readProposalStatus", "approve", seen, FIRST)
    published = reader.follow("approveProposal", "publish", approved, SECOND)
    assert published["revision"] == 2
    reader.do("revertRevision", OWNER)

    assert reader.done - {"readProposalEffect", "readProposalStatus"} == writes


def test_the_documented_proposal_fits_the_book_of_now(app: Flask, demo: Any, wait_for: Callable[..., None]) -> None:
    """The base it names is the head, on which it was made; so the example goes on working as the book moves."""
    reader = Reader(app, demo)
    numbers = app.test_client().get("/v1/revisions", headers=demo.headers(*OWNER)).json["entries"]
    newest = {"revision": numbers[0]["revision"], "digest": numbers[0]["digest"]}

    def up_to_date() -> bool:
        reader.read_anew()
        return [example["base"] for example in reader.examples("draftProposal")] == [newest]

    wait_for(up_to_date, seconds=5.0)
    assert reader.do("draftProposal", OWNER)["state"] == "draft"
