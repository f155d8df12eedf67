"""Requests made from the description, sound and unsound: the service must keep to it and never fail."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
import schemathesis
from flask import Flask
from hypothesis import HealthCheck, given, settings
from schemathesis import GenerationMode
from schemathesis.specs.openapi.checks import positive_data_acceptance

from accord_service.api.v1 import ENDPOINTS
from accord_service.endpoint import Endpoint

# What a request that keeps to the schema may still be told: it names something that is not there, or holds a character
# that no name has. A schema can't say the first, since book, shops and keys change without it. A write may have to wait
# for another version (412), or find its name taken (409).
FAIR = {
    "POST": {200, 201, 404, 409, 422},
    "GET": {200, 400, 404},
    "PUT": {200, 404, 409, 412, 422},
    "DELETE": {200, 404, 409},
}


# A rule or another entry of the book may hold anything, also a number that can't be held exactly.
FREE = {"post_proposals": {400}, "put_proposal": {400}, "put_house_rules": {400}}
# An If-Match that no answer ever gave is told 412, as RFC 9110 section 13.1.1 has it for one that does not match.
REJECTED = ["4xx", "5xx"]


@pytest.fixture(scope="module")
def api(app: Flask) -> Any:
    config = schemathesis.Config.from_dict({"checks": {"negative_data_rejection": {"expected-statuses": REJECTED}}})
    return schemathesis.openapi.from_wsgi("/v1/openapi.json", app, config=config)


@pytest.mark.parametrize("mode", list(GenerationMode), ids=lambda mode: mode.value)
@pytest.mark.parametrize("endpoint", ENDPOINTS, ids=lambda endpoint: endpoint.name)
def test_the_service_keeps_to_its_description(
    api: Any, key_for: Callable[[Endpoint], dict[str, str]], endpoint: Endpoint, mode: GenerationMode
) -> None:
    operation = api[endpoint.path][endpoint.method]

    @settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck), database=None)
    @given(case=operation.as_strategy(generation_mode=mode))
    def check(case: Any) -> None:
        answer = case.call_and_validate(headers=key_for(endpoint), excluded_checks=[positive_data_acceptance])
        if mode is GenerationMode.POSITIVE:
            assert answer.status_code in FAIR[endpoint.method] | FREE.get(endpoint.name, set())

    check()
