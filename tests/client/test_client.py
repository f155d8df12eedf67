"""The client against a real service. What counts as a plain job or a hopeless one is common practice of the trade."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import islice
from types import MappingProxyType
from typing import Any

import pytest

from accord_client import Client, InvalidOrder, NotAuthorised, NotFound, NotJson, ProblemError
from accord_rules.derive import FACTS
from accord_rules.load.loader import load_book
from accord_rules.revision.catalogue import SUBSTRATE_FAMILIES


def test_a_plain_job_is_workable(accord: Client, possible: dict[str, Any]) -> None:
    verdict = accord.validate(possible)
    assert verdict.workable
    assert verdict.reference == "HL-7"
    assert verdict.on.press == verdict.judged_on == "bench"
    assert verdict.on.settings
    assert verdict.on.settings[0]["temperature"].endswith("°C")
    assert verdict.document["verdict"] == verdict.verdict


def test_a_hopeless_job_is_an_answer_with_reasons(accord: Client, hopeless: dict[str, Any]) -> None:
    verdict = accord.validate(hopeless)
    assert verdict.verdict == "rejected"
    assert not verdict.workable
    assert (verdict.on.settings, verdict.on.sequence) == (None, None), "nothing to print"
    assert set(verdict.on.blocked_by) == {finding.rule for finding in verdict.at("blocks")}
    assert {finding.observed for finding in verdict.findings} == {None}
    assert all(finding.observed for finding in accord.validate(hopeless, include=("observed",)).findings)
    assert verdict.remedies_complete
    blocking = verdict.at("blocks")
    assert blocking
    assert all(finding.because and finding.document["because"] == finding.because for finding in blocking)
    assert accord.rule(blocking[0].rule).level == "blocks"


@pytest.mark.parametrize("press", [{}, {"press": "bench"}, {"press": {"type": "clamshell"}}])
def test_every_plan_put_back_is_workable(accord: Client, possible: dict[str, Any], press: dict[str, Any]) -> None:
    del possible["press"]
    document = possible | {"prefer": ["durability"]} | press
    document["decorations"] = [{"placement": "front", "size": {"width": "200 mm", "height": "200 mm"}}]
    recommendation = accord.recommend(document)
    assert recommendation.plans
    assert recommendation.complete
    for plan in recommendation.plans:
        assert plan.order["press"] == press.get("press", "bench")
        verdict = accord.validate(plan.order)
        assert verdict.workable
        assert (verdict.verdict, verdict.id) == (plan.verdict, plan.verdict_id)


def test_fewer_plans_are_the_best_ones_and_carry_no_curve_unasked(accord: Client, possible: dict[str, Any]) -> None:
    del possible["press"]
    del possible["decorations"][0]["transfer"]
    every = accord.recommend(possible).plans
    assert accord.recommend(possible, plans=1).plans == every[:1] != ()
    assert {"curve" in plan.document["decorations"][0]["explained"]["heat"] for plan in every} == {False}
    (drawn,) = accord.recommend(possible, plans=1, include=("curve", "observed")).plans
    assert drawn.document["decorations"][0]["explained"]["heat"]["curve"]["times_s"][0] == 0


def test_a_hopeless_request_names_what_was_ruled_out(accord: Client, hopeless: dict[str, Any]) -> None:
    recommendation = accord.recommend(hopeless)
    assert recommendation.plans == ()
    assert recommendation.complete
    assert recommendation.ruled_out_left_out == 0
    assert recommendation.ruled_out[0].press is None, "dye does not take to cotton on any press"
    assert recommendation.ruled_out[0].findings[0].level == "blocks"


def test_an_envelope_names_presses_transfers_and_ranges(accord: Client, possible: dict[str, Any]) -> None:
    for decoration in possible["decorations"]:
        decoration.pop("settings", None)
    envelope = accord.envelope(possible)
    assert envelope.presses == tuple(on["press"] for on in envelope.on)
    (decoration,) = envelope.on[0]["decorations"]
    assert decoration["transfer"] in envelope.transfers[0]
    assert decoration["temperature"][0]["least"]
    assert envelope.document["on"] == list(envelope.on)


def test_the_index_says_what_can_be_asked(accord: Client) -> None:
    index = accord.index()
    assert index["api_version"] == "1"
    assert {"method": "POST", "path": "/v1/validate", "operation_id": "validateOrder"} in index["operations"]


def test_an_envelope_of_nothing_says_why(accord: Client, hopeless: dict[str, Any]) -> None:
    envelope = accord.envelope(hopeless)
    assert envelope.presses == envelope.on == ()
    assert envelope.ruled_out[0].findings[0].level == "blocks"


def test_orders_may_be_any_mapping(accord: Client, possible: dict[str, Any]) -> None:
    frozen: Mapping[str, Any] = MappingProxyType({**possible, "item": MappingProxyType(possible["item"])})
    assert accord.validate(frozen) == accord.validate(possible)


def test_a_bare_number_is_refused_with_place_and_units(accord: Client, possible: dict[str, Any]) -> None:
    possible["decorations"][0]["settings"] = {"temperature": 180}
    with pytest.raises(InvalidOrder) as refused:
        accord.validate(possible)
    assert refused.value.status == 422
    (fault,) = refused.value.errors
    assert (fault.pointer, fault.place, fault.part) == ("/decorations/0/settings/temperature",) * 2 + ("body",)
    assert (fault.name, fault.code) == (None, "wrong-type")
    assert "180 °F" in fault.allowed
    assert refused.value.request_id


@pytest.mark.parametrize("number", [float("nan"), float("inf")])
def test_what_json_cannot_hold_is_never_sent(accord: Client, possible: dict[str, Any], number: float) -> None:
    with pytest.raises(NotJson, match="JSON compliant"):
        accord.validate(possible | {"quantity": number})


def test_what_is_no_data_is_never_sent(accord: Client, possible: dict[str, Any]) -> None:
    with pytest.raises(NotJson, match="an order can't hold a set"):
        accord.validate(possible | {"evidence": {"sample-test"}})


def test_an_unknown_token_is_not_authorised(service: str) -> None:
    with Client(service, "nobody's-token") as stranger, pytest.raises(NotAuthorised) as refused:
        stranger.shop()
    assert refused.value.status == 401


def test_lists_come_whole_and_once(accord: Client) -> None:
    # The book itself says what is in it; it has more rules than fit on a page of 50.
    book = load_book()
    assert len(book.documents["rules"]) > 50
    assert [source.id for source in accord.sources()] == sorted(book.documents["sources"])
    assert [limit.id for limit in accord.limits()] == sorted(book.documents["limits"])
    assert [rule.id for rule in accord.rules()] == sorted(book.documents["rules"])
    kinds = list(accord.kinds())
    assert {kind.kind for kind in kinds} >= {"blanks", "transfers", "fibres"}
    for kind in kinds:
        ids = [entry.id for entry in accord.catalogue(kind.kind)]
        assert len(ids) == kind.count
        assert ids == sorted(book.documents[kind.kind])


def test_facts_are_told_with_what_they_read_and_who_reads_them(accord: Client) -> None:
    facts = {fact.id: fact for fact in accord.facts()}
    assert sorted(facts) == sorted(FACTS)
    fact = accord.fact("item.polyester_share")
    assert (fact.type, fact.scope, fact.unsaid) == ("number", "order", None)
    assert fact.measure is not None
    assert fact.measure["unit"] == "%"
    assert "item.fibres" in fact.reads["facts"]
    assert {"id": "dye-on-too-little-polyester", "level": "blocks"} in fact.read_by["rules"]
    assert facts[fact.id] == fact
    assert facts["item.family"].words == tuple(sorted(SUBSTRATE_FAMILIES))
    with pytest.raises(NotFound, match=r"did you mean item\.textile"):
        accord.fact("item.textil")


def test_steps_are_listed_and_told(accord: Client) -> None:
    documents = load_book().documents["steps"]
    assert [line.id for line in accord.steps()] == sorted(documents)
    cool = list(accord.steps("cool"))
    assert {line.id for line in cool} == {name for name, step in documents.items() if step["stage"] == "cool"}
    step = accord.step("slowly")
    assert (step.stage, step.entry, step.rules) == ("cool", documents["slowly"], ("cool-brittle-goods-slowly",))
    with pytest.raises(NotFound):
        accord.step("no-such-step")


def test_the_book_is_searched_by_peoples_words(accord: Client) -> None:
    results = accord.search("dtf on nylon", kind="rules", limit=3)
    assert results.query == "dtf on nylon"
    assert [hit.kind for hit in results.entries] == ["rules"] * 3
    assert all("nylon" in f"{hit.title} {hit.excerpt}".lower() and hit.level for hit in results.entries)
    assert accord.search("sublmation").instead == ({"word": "sublmation", "taken": "sublimation"},)
    assert accord.search("xqzzv").entries == ()


def test_the_sourcing_is_counted_and_a_rule_says_what_it_rests_on(accord: Client) -> None:
    book = load_book()
    sourcing = accord.sourcing()
    assert {room.id: room.total for room in sourcing.rooms}["limits"] == len(book.limits)
    assert sourcing.safety_limits[0].kind == sourcing.kinds[-1] == "choice"
    rule = accord.rule("cord-in-childs-hood")
    assert {(row.market, row.kind) for row in rule.market_rows if row.market in ("us", "uk")} == {
        ("us", "published"),
        ("uk", "secondary"),
    }
    assert rule.source_kinds["cords-uk"] == "secondary"


def test_rules_of_a_level_are_of_that_level(accord: Client) -> None:
    blocking = list(accord.rules(level="blocks"))
    assert blocking
    assert {rule.level for rule in blocking} == {"blocks"}
    assert len(blocking) < len(list(accord.rules()))


def test_a_wrong_level_is_a_problem_that_lists_the_levels(accord: Client) -> None:
    with pytest.raises(ProblemError) as refused:
        list(accord.rules(level="forbids"))
    assert type(refused.value) is ProblemError
    (fault,) = refused.value.errors
    assert (fault.part, fault.name, fault.pointer, fault.place) == ("query", "level", None, "level")
    assert set(fault.allowed) == {"blocks", "requires", "cautions", "notes"}


def test_entries_by_name(accord: Client) -> None:
    assert accord.entry("blanks", "tee-heavy-white").entry["fibres"] == {"CO": 100}
    limit = next(accord.limits())
    assert accord.limit(limit.id).entry == limit.entry
    source = next(accord.sources())
    assert accord.source(source.id).entry["title"] == source.entry["title"]


@pytest.mark.parametrize("name", ["no-such-rule", "a/b", "ü?x=1#y", "%2e%2e"])
def test_unknown_names_are_not_found(accord: Client, name: str) -> None:
    with pytest.raises(NotFound):
        accord.rule(name)


@pytest.mark.parametrize("name", ["", ".", ".."])
def test_steps_of_a_path_are_no_names(accord: Client, name: str) -> None:
    with pytest.raises(ValueError, match="no name"):
        accord.rule(name)


def test_lists_are_fetched_as_they_are_taken(accord: Client) -> None:
    assert len(list(islice(accord.rules(), 3))) == 3


def test_the_shop_is_the_tokens(accord: Client) -> None:
    own = accord.shop_status()
    assert own.shop_id == accord.shop().document["id"] == "harbour-lane"
    assert own.role == "counter"
    assert own.units["temperature"] == "°C"


def test_health(accord: Client) -> None:
    health = accord.health()
    assert health.ready
    assert health.document["checks"]["book"]["ok"] is True
