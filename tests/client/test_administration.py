"""What owners and admins do through the client, against a real service: shops and house rules, replaced by version."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from tests.client.conftest import SHOP

from accord_client import Client, ProblemError


@pytest.fixture
def owner(service: str, collective: Any) -> Iterator[Client]:
    with Client(service, collective.tokens["harbour-lane", "owner"]) as client:
        yield client


@pytest.fixture
def admin(service: str, collective: Any) -> Iterator[Client]:
    with Client(service, collective.tokens["collective", "admin"]) as client:
        yield client


def test_an_owner_replaces_the_own_shop_at_the_version_it_has(owner: Client, admin: Client) -> None:
    version = admin.administration.shop("harbour-lane")["version"]
    shop = tomllib.loads(SHOP) | {"unit_system": "us-customary"}
    owner.administration.replace_own_shop(version, shop)
    assert owner.shop().document["units"]["temperature"] == "°F"
    with pytest.raises(ProblemError) as stale:
        owner.administration.replace_own_shop(version, tomllib.loads(SHOP))
    assert stale.value.status == 412
    owner.administration.replace_own_shop(version + 1, tomllib.loads(SHOP))


def test_an_admin_replaces_a_shop_and_a_trial_changes_nothing(admin: Client) -> None:
    before = admin.administration.shop("harbour-lane")
    renamed = tomllib.loads(SHOP) | {"name": "Harbour Lane Press Room"}
    admin.administration.replace_shop(before["version"], renamed, validate_only=True)
    assert admin.administration.shop("harbour-lane") == before
    admin.administration.replace_shop(before["version"], renamed)
    after = admin.administration.shop("harbour-lane")
    assert after["version"] == before["version"] + 1
    assert "harbour-lane" in {each["id"] for each in admin.administration.shops()}
    admin.administration.replace_shop(after["version"], tomllib.loads(SHOP))


def test_house_rules_may_tighten_and_never_loosen(owner: Client) -> None:
    rules = owner.administration.house_rules()
    with pytest.raises(ProblemError) as refused:
        owner.administration.replace_house_rules(rules["version"], {"limits": {"fumes.pvc_most": "195 °C"}})
    assert refused.value.status == 422
    owner.administration.replace_house_rules(rules["version"], {"limits": {"fumes.pvc_most": "185 °C"}})
    after = owner.administration.house_rules()
    assert after["version"] == rules["version"] + 1
    owner.administration.replace_house_rules(after["version"], {})
