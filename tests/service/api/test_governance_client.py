"""Every method of ``Client.governance`` against the service itself, without a socket between them."""

from __future__ import annotations

import inspect
from collections.abc import Iterator, Mapping
from contextlib import closing
from typing import Any
from urllib.parse import quote

from flask.testing import FlaskClient
from tests.service.effect_workers import work_out
from werkzeug.test import TestResponse

from accord_client.documents import Editable
from accord_client.governance import Governance
from accord_service.store import Store


class Asker:
    """Asks the application; keeps which addresses it was asked for."""

    def __init__(self, client: FlaskClient, headers: dict[str, str]) -> None:
        self._client, self._headers = client, headers

    def read(self, address: str, silence_s: float | None = None) -> dict[str, Any]:
        return self._answer("GET", address, None, {})

    def write(self, method: str, address: str, body: Any, headers: Mapping[str, str]) -> dict[str, Any]:
        return self._answer(method, address, body, headers)

    def editable(self, address: str) -> Editable:
        return self._editable("GET", address, None, {})

    def replace(self, address: str, body: Any, headers: Mapping[str, str]) -> Editable:
        return self._editable("PUT", address, body, headers)

    def pages(self, address: str) -> Iterator[Any]:
        following: str | None = address
        while following is not None:
            page = self.read(following)
            yield from page["entries"]
            following = page["next"]

    def _answer(self, method: str, address: str, body: Any, headers: Mapping[str, str]) -> dict[str, Any]:
        document: dict[str, Any] = self._ask(method, address, body, headers).json
        return document

    def _editable(self, method: str, address: str, body: Any, headers: Mapping[str, str]) -> Editable:
        answer = self._ask(method, address, body, headers)
        return Editable(answer.json, answer.headers["ETag"])

    def _ask(self, method: str, address: str, body: Any, headers: Mapping[str, str]) -> TestResponse:
        answer = self._client.open(address, method=method, json=body, headers=self._headers | dict(headers))
        assert answer.status_code in (200, 201, 202), answer.text
        return answer


def test_each_method_asks_what_the_service_answers(changing: Any, order: dict[str, Any]) -> None:
    client: FlaskClient = changing.first

    def of(headers: dict[str, str]) -> Governance:
        return Governance(Asker(client, headers), lambda name: quote(name, safe=""))

    with closing(Store.at(changing.collective.server.url, timeout_s=5.0)) as store:
        other_shops = store.keys.issue("mill-loft", "steward", holder="A steward", who="test").token
    owner, steward = of(changing.headers("quay-side", "owner")), of({"Authorization": f"Bearer {other_shops}"})
    assert owner.record(order, validate_only=True)["record_id"] is None
    record = owner.record(order, idempotency_key="QS-7")
    id_ = record["record_id"]
    assert owner.record(order, idempotency_key="QS-7") == record == owner.read_record(id_)
    assert owner.record(order | {"reference": "QS & 8"})["record_id"] != id_
    assert [line["reference"] for line in owner.records()] == ["QS & 8", "QS-7"]
    assert [line["reference"] for line in owner.records("QS & 8")] == ["QS & 8"]
    assert owner.replay(id_, revision=1)["same"]
    ticket = owner.ticket(id_)
    assert ticket == owner.ticket(id_, ticket["press"])
    assert ticket["plan"]["press"] == ticket["press"] in {press["press"] for press in ticket["presses"]}
    assert owner.report_outcome(id_, {"result": "good"}, validate_only=True)["outcome_id"] is None
    outcome = owner.report_outcome(id_, {"result": "good"})
    assert owner.outcome(id_, outcome["outcome_id"]) == next(owner.outcomes(id_))
    assert outcome == owner.outcome(id_, "o1")
    assert owner.withdraw_outcome(id_, "o1", validate_only=True)["withdrawn_at"]
    assert owner.outcome(id_, "o1") == outcome
    assert owner.withdraw_outcome(id_, "o1") == owner.outcome(id_, "o1") != outcome
    assert [cell["good"] for cell in owner.outcome_counts()] == [0]
    assert list(owner.outcome_counts(poor=True)) == []
    assert owner.delete_reference(id_, validate_only=True)["reference"] is None
    assert owner.read_record(id_)["reference"] == "QS-7"
    assert owner.delete_reference(id_) == owner.read_record(id_)
    (line,) = owner.revisions()
    assert owner.revision(1) == line
    assert owner.revision(1, documents=True)["documents"]
    assert owner.changes(1)["changes"] == []
    base = {"revision": line["revision"], "digest": line["digest"]}
    source = {
        "title": "A new source",
        "kind": "from-memory",
        "text": "What the stewards remember.",
        "speaks_of": ["press"],
    }
    changes = [{"kind": "sources", "id": "remembered", "value": source}]
    assert owner.propose(base, changes, "Missing.", "None.", validate_only=True)["proposal_id"] is None
    draft = owner.propose(base, changes, "Missing.", "None.")
    read = owner.proposal(draft["proposal_id"])
    edited = owner.edit(draft["proposal_id"], {**read.document, "reason": "Still missing."}, read.etag)
    assert edited == owner.proposal(draft["proposal_id"])
    assert next(owner.proposals("draft")) == {**owner.status(draft["proposal_id"]), **edited.document}
    (added,) = owner.proposal_changes(draft["proposal_id"])["changes"]
    assert (added["value"], added["was"], added["direction"]) == (source, None, None)
    assert owner.open(draft["proposal_id"], validate_only=True)["state"] == "working"
    assert owner.open(draft["proposal_id"]) == owner.effect(draft["proposal_id"])
    assert owner.cancel_effect(draft["proposal_id"])["state"] == "cancelled"
    assert owner.open(draft["proposal_id"])["state"] == "working"
    work_out(changing.collective.server.url)
    effect, seen = owner.wait_for_effect(draft["proposal_id"]), owner.status(draft["proposal_id"])
    assert effect["replay_digest"] == seen["digests"]["replay_digest"]
    assert steward.approve(seen, validate_only=True)["state"] == "approved"
    steward.approve(seen)
    assert steward.publish(draft["proposal_id"])["revision"] == 2
    assert owner.changes(2)["changes"] == [{**added, "before": "none"}]
    (came,) = owner.history("sources", added["id"])
    assert (came["revision"], came["what"]) == (2, "added")
    back = owner.revert(1, "Not needed after all.")
    (taken_out,) = owner.proposal_changes(back["proposal_id"])["changes"]
    assert (taken_out["value"], taken_out["was"]) == (None, source)
    assert steward.decline(back["proposal_id"], "Still needed.", validate_only=True)["state"] == "declined"
    assert owner.withdraw(back["proposal_id"], "Needed after all.")["state"] == "withdrawn"
    assert [item["event"] for item in steward.news(0)["items"] if item["subject_id"] == "2"] == ["revision.published"]
    assert steward.news()["items"] == []
    head = steward.audit_head()
    assert [entry["seq"] for entry in steward.audit()][-1] == head["seq"]
    assert (steward.check_audit()["whole"], steward.check_audit(head["anchor"])["whole"]) == (True, True)


def test_no_method_is_left_out() -> None:
    methods = {name for name, _ in inspect.getmembers(Governance, inspect.isfunction) if not name.startswith("_")}
    source = inspect.getsource(test_each_method_asks_what_the_service_answers)
    assert {name for name in methods if f".{name}(" not in source} == set()
