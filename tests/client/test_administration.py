"""What owners and admins do through the client, against a real service: what was read is changed and sent back."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from accord_client import Client, InvalidOrder, ProblemError
from accord_service.api import examples


@pytest.fixture
def owner(service: str, collective: Any) -> Iterator[Client]:
    with Client(service, collective.tokens["harbour-lane", "owner"]) as client:
        yield client


@pytest.fixture
def admin(service: str, collective: Any) -> Iterator[Client]:
    with Client(service, collective.tokens["collective", "admin"]) as client:
        yield client


def test_an_owner_replaces_the_own_shop_as_it_was_read(owner: Client) -> None:
    before = owner.shop()
    written = owner.administration.replace_own_shop({**before.document, "unit_system": "us-customary"}, before.etag)
    assert written == owner.shop()
    assert owner.shop_status().units["temperature"] == "°F"
    with pytest.raises(ProblemError) as stale:
        owner.administration.replace_own_shop(before.document, before.etag)
    assert stale.value.status == 412
    assert owner.administration.replace_own_shop(before.document, written.etag).document == before.document


def test_an_owner_replaces_one_press(owner: Client) -> None:
    place = owner.shop().document["presses"][0]["id"]
    press = owner.administration.press(place)
    trial = owner.administration.replace_press(
        {**press.document, "display_most": "230 °C"}, press.etag, validate_only=True
    )
    assert (trial.document["display_most"], trial.etag) == ("230 °C", "")
    assert owner.administration.replace_press(press.document, press.etag) == press == owner.administration.press(place)


def test_an_admin_replaces_a_shop_and_a_trial_changes_nothing(admin: Client) -> None:
    before = admin.administration.shop("harbour-lane")
    renamed = {**before.document, "name": "Harbour Lane Press Room"}
    admin.administration.replace_shop(renamed, before.etag, validate_only=True)
    assert admin.administration.shop("harbour-lane") == before
    after = admin.administration.replace_shop(renamed, before.etag)
    assert after == admin.administration.shop("harbour-lane")
    assert "Harbour Lane Press Room" in {shop["name"] for shop in admin.administration.shops()}
    admin.administration.replace_shop(before.document, after.etag)


def test_a_key_that_was_issued_can_be_read(admin: Client) -> None:
    issued = admin.administration.issue_key("harbour-lane", "counter", holder="Nia Calder")
    assert admin.administration.key(issued["key_id"]) == {name: issued[name] for name in issued if name != "token"}


def test_a_stewards_key_waits_for_a_second_admin(admin: Client) -> None:
    """The admin who issued it is not a second one."""
    issued = admin.administration.issue_key("harbour-lane", "steward", holder="Tomas Reddy")
    assert issued["waits"]
    with pytest.raises(ProblemError) as refused:
        admin.administration.confirm_key(issued["key_id"])
    assert refused.value.status == 403
    assert "another admin has to confirm it" in str(refused.value)
    admin.administration.revoke_key(issued["key_id"])


def test_an_operators_reading_waits_until_the_owner_confirms_it(owner: Client, service: str, collective: Any) -> None:
    taken = {**examples.READING_TAKEN, "despite": ["old", "far-below-display"]}
    far_off = {**taken, "surface": ["120 °C"]}
    with Client(service, collective.tokens["harbour-lane", "operator"]) as operator:
        with pytest.raises(InvalidOrder) as refused:
            operator.administration.enter_reading("bench", {**far_off, "despite": ["old"]})
        assert [(fault.pointer, fault.allowed) for fault in refused.value.errors] == [
            ("/surface", ("far-below-display",))
        ]
        made = operator.administration.enter_reading("bench", far_off)
        assert not made["counts"]
        assert operator.administration.reading("bench", made["reading_id"]) == made
        assert operator.administration.withdraw_reading("bench", made["reading_id"]) == made
        made = operator.administration.enter_reading("bench", taken)
    assert owner.shop_status().readings_waiting == (made,)
    assert owner.administration.confirm_reading("bench", made["reading_id"])["counts"]
    assert owner.shop_status().readings_waiting == ()
    assert [one["counts"] for one in owner.administration.readings("bench")] == [True]
    owner.administration.withdraw_reading("bench", made["reading_id"])
    assert list(owner.administration.readings("bench")) == []


def test_house_rules_are_written_piece_by_piece_and_read_back(owner: Client) -> None:
    house = owner.administration
    rule = examples.HOUSE_RULE["rule"]
    assert house.add_house_rule("house.look-twice", rule) == {"id": "house.look-twice", "rule": rule}
    read = house.house_rule("house.look-twice")
    wish = {**rule, "title": "Cloth is looked at thrice"}
    done = house.replace_house_rule("house.look-twice", wish, read.etag)
    assert done == house.house_rule("house.look-twice")
    limit = house.house_limit("press.parts_most")
    assert limit.document["value"] is None
    after = house.replace_house_limit("press.parts_most", 2, limit.etag)
    assert house.house_rules().document["limits"] == {"press.parts_most": 2}
    house.replace_house_limit("press.parts_most", None, after.etag)
    with pytest.raises(ProblemError) as stale:
        house.remove_house_rule("house.look-twice", read.etag)
    assert stale.value.status == 412
    assert house.remove_house_rule("house.look-twice", done.etag)["rules"] == {}
    newest, *_ = house.house_rules_versions()
    version = house.house_rules_version(newest["version"])
    assert version["changes"] == [{"pointer": "/rules/house.look-twice", "before": wish, "after": None}]
    before = house.house_rules_version(newest["version"] - 2)
    assert before["house_rules"]["limits"] == {"press.parts_most": 2}


def test_an_owner_reads_what_the_shop_was(owner: Client) -> None:
    before = owner.shop()
    written = owner.administration.replace_own_shop({**before.document, "name": "Harbour"}, before.etag)
    newest, *_ = owner.administration.shop_versions()
    version = owner.administration.shop_version(newest["version"])
    assert version["shop"] == written.document
    told = {"pointer": "/name", "before": before.document["name"], "after": "Harbour"}
    assert (version["changes"], version["changed_by"]["role"]) == ([told], "owner")
    owner.administration.replace_own_shop(before.document, written.etag)


def test_house_rules_may_tighten_and_never_loosen(owner: Client) -> None:
    rules = owner.administration.house_rules()
    with pytest.raises(ProblemError) as refused:
        owner.administration.replace_house_rules({"limits": {"fumes.pvc_most": "195 °C"}}, rules.etag)
    assert refused.value.status == 422
    after = owner.administration.replace_house_rules({"limits": {"fumes.pvc_most": "185 °C"}}, rules.etag)
    assert after == owner.administration.house_rules()
    assert after.document["limits"] == {"fumes.pvc_most": "185 °C"}
    owner.administration.replace_house_rules(rules.document, after.etag)
