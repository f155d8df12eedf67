"""Requests made from the description, sound and unsound: the service must keep to it and never fail."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
import schemathesis
from flask import Flask
from hypothesis import HealthCheck, given, settings
from jsonschema import Draft202012Validator
from schemathesis import GenerationMode
from schemathesis.core.parameters import ParameterLocation
from schemathesis.specs.openapi.checks import negative_data_rejection, positive_data_acceptance
from tests.tiers import of_this_run

from accord_service.api import table
from accord_service.api.endpoint import Endpoint
from accord_service.api.lines import MEDIA_TYPE
from accord_service.api.v1 import ENDPOINTS

# What a request that keeps to the schema may still be told: it names something that is not there, or holds a character
# that no name has. A schema can't say the first, since book, shops and keys change without it. A write may have to wait
# for another version (412), or find its name taken (409).
FAIR = {
    "POST": {200, 201, 404, 409, 422},
    "GET": {200, 400, 404},
    "PUT": {200, 404, 409, 412, 422},
    "DELETE": {200, 404, 409, 422},  # it takes no body, but an Idempotency-Key that came with another write is 422
}
# A rule or another entry of the book may hold anything, also a number that can't be held exactly.
_FREELY = ("post_proposals", "put_proposal", "put_house_rules", "post_house_rules", "put_house_rule")
FREE = {name: {400} for name in _FREELY}
# The only shop there is made the proposal, and does not approve its own.
FREE |= {"post_proposal_approve": {403}}
# Of all the texts that there are few begin with a row of headers.
FREE |= {"post_validate_batch": {400}}
# An If-Match that no answer ever gave is told 412, as RFC 9110 section 13.1.1 has it for one that does not match.
REJECTED = ["4xx"]
SETTINGS = settings(
    max_examples=of_this_run(2, 4, 300),  # each way, for each endpoint
    deadline=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
    database=None,
)


@schemathesis.serializer(MEDIA_TYPE, table.MEDIA_TYPE)
def as_lines(context: Any, value: Any) -> bytes:
    return (value if isinstance(value, str) else json.dumps(value)).encode("utf-8", "surrogatepass")


@pytest.fixture(scope="module")
def api(app: Flask) -> Any:
    config = schemathesis.Config.from_dict({"checks": {"negative_data_rejection": {"expected-statuses": REJECTED}}})
    return schemathesis.openapi.from_wsgi("/v1/openapi.json", app, config=config)


def arrives_unsound(case: Any, description: Any) -> bool:
    """Whether what was made unsound is still so once it is sent.

    The key is always added, which mends a header that lacks it; and a parameter without a value is not sent at all.
    """
    broken = {where for where, part in case.meta.components.items() if part.mode is GenerationMode.NEGATIVE}
    if case.media_type in (MEDIA_TYPE, table.MEDIA_TYPE):
        # What is wrong with one of many lines is told in its place, and the key is added.
        broken -= {ParameterLocation.BODY, ParameterLocation.HEADER}
    if broken - {ParameterLocation.QUERY, ParameterLocation.HEADER}:
        return True
    parameters = description["paths"][case.operation.path][case.operation.method.lower()]["parameters"]
    headers = {parameter["name"] for parameter in parameters if parameter["in"] == "header"}
    if ParameterLocation.HEADER in broken and headers:
        return True
    schemas = {parameter["name"]: parameter["schema"] for parameter in parameters if parameter["in"] == "query"}
    return ParameterLocation.QUERY in broken and not all(
        name in schemas and fits(value, schemas[name]) for name, value in (case.query or {}).items()
    )


def fits(value: Any, schema: Any) -> bool:
    """Whether a query parameter, as text, is what its schema says."""
    kinds = {"integer": int, "boolean": lambda text: {"true": True, "false": False}[text]}
    try:
        return Draft202012Validator(schema).is_valid(kinds.get(schema.get("type"), str)(value))
    except (KeyError, TypeError, ValueError):
        return False


@pytest.mark.parametrize("mode", list(GenerationMode), ids=lambda mode: mode.value)
@pytest.mark.parametrize("endpoint", ENDPOINTS, ids=lambda endpoint: endpoint.name)
def test_the_service_keeps_to_its_description(
    api: Any, description: Any, key_for: Callable[[Endpoint], dict[str, str]], endpoint: Endpoint, mode: GenerationMode
) -> None:
    operation = api[endpoint.path][endpoint.method]

    @SETTINGS
    @given(case=operation.as_strategy(generation_mode=mode))
    def check(case: Any) -> None:
        excluded = [positive_data_acceptance]
        if mode is GenerationMode.NEGATIVE and not arrives_unsound(case, description):
            excluded.append(negative_data_rejection)
        # It would say that it takes gzip, which it can't read where it asks an application without a connection.
        headers = key_for(endpoint) | {"Accept-Encoding": "identity"}
        answer = case.call_and_validate(headers=headers, excluded_checks=excluded)
        if mode is GenerationMode.POSITIVE:
            assert answer.status_code in FAIR[endpoint.method] | FREE.get(endpoint.name, set())

    check()
