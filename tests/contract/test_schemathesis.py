"""Requests made from the description, sound and unsound: the service must keep to it and never fail."""

from __future__ import annotations

from typing import Any

import pytest
import schemathesis
from flask import Flask
from hypothesis import HealthCheck, given, settings
from schemathesis import GenerationMode
from schemathesis.specs.openapi.checks import positive_data_acceptance

from accord_service.api.v1 import ENDPOINTS
from accord_service.endpoint import Endpoint

# What a request that keeps to the schema may still be told: it names something the book does not have, or holds a
# character that no name has. A schema can't say the first, since the book changes without it.
FAIR = {"POST": {200, 422}, "GET": {200, 400, 404}}


@pytest.fixture(scope="module")
def api(app: Flask) -> Any:
    return schemathesis.openapi.from_wsgi("/v1/openapi.json", app)


@pytest.mark.parametrize("mode", list(GenerationMode), ids=lambda mode: mode.value)
@pytest.mark.parametrize("endpoint", ENDPOINTS, ids=lambda endpoint: endpoint.name)
def test_the_service_keeps_to_its_description(
    api: Any, key: dict[str, str], endpoint: Endpoint, mode: GenerationMode
) -> None:
    operation = api[endpoint.path][endpoint.method]

    @settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck), database=None)
    @given(case=operation.as_strategy(generation_mode=mode))
    def check(case: Any) -> None:
        answer = case.call_and_validate(headers=key, excluded_checks=[positive_data_acceptance])
        if mode is GenerationMode.POSITIVE:
            assert answer.status_code in FAIR[endpoint.method]

    check()
