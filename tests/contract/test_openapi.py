"""The description and the service say the same: every answer below is held to the schema that OpenAPI promises."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from typing import Any

import pytest
from flask import Flask
from jsonschema import Draft202012Validator

from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import KINDS
from accord_service.api.endpoint import Endpoint
from accord_service.api.v1 import ENDPOINTS
from accord_service.http.paging import PageQuery
from accord_service.http.problems import PROBLEMS, FormNotOurs, RangeNotThere, WrongMethod
from accord_service.http.roles import ROLES

JSON = "application/json"
PROBLEM = "application/problem+json"


def faults(description: Any, schema: Mapping[str, Any], document: Any) -> list[str]:
    """What ``document`` breaks of a schema of the description (JSON Schema 2020-12, which OpenAPI 3.1 uses).

    The description leaves answers open for fields and words to come; here they are held to those that there are.
    """
    return [f"{error.json_path}: {error.message}" for error in validator(description, schema).iter_errors(document)]


# Made once for a schema of a description, since some two thousand answers are held to a few dozen. The description is
# kept, so that no other can come to have its id.
VALIDATORS: dict[tuple[int, str], tuple[Any, Draft202012Validator]] = {}


def validator(description: Any, schema: Mapping[str, Any]) -> Draft202012Validator:
    name = id(description), json.dumps(schema, sort_keys=True)
    if name not in VALIDATORS:
        shapes = schemas_of(description).items()
        exact = {shape_id: {**told_so_far(shape), "additionalProperties": False} for shape_id, shape in shapes}
        VALIDATORS[name] = description, Draft202012Validator({**schema, "components": {"schemas": exact}})
    return VALIDATORS[name][1]


def told_so_far(schema: Any) -> Any:
    """A schema whose words are all there may be."""
    if isinstance(schema, list):
        return [told_so_far(part) for part in schema]
    if not isinstance(schema, dict):
        return schema
    return {"enum" if name == "x-extensible-enum" else name: told_so_far(part) for name, part in schema.items()}


def schemas_of(description: Any) -> dict[str, Any]:
    return dict(description["components"]["schemas"])


def operation(description: Any, endpoint: Endpoint) -> Any:
    return description["paths"][endpoint.path][endpoint.method.lower()]


def answer_schema(description: Any, endpoint: Endpoint, status: int = 0, media: str = JSON) -> Any:
    """The schema of a good answer, or of a problem's status."""
    return response(description, endpoint, status or endpoint.success)["content"][media]["schema"]


def response(description: Any, endpoint: Endpoint, status: int) -> Any:
    """The described response of a status; those of problems are shared."""
    described = operation(description, endpoint)["responses"][str(status)]
    return place(description, described["$ref"]) if "$ref" in described else described


def place(description: Any, reference: str) -> Any:
    """What a reference into the description leads to."""
    target = description
    for step in reference.removeprefix("#/").split("/"):
        target = target[step]
    return target


def endpoint_named(name: str) -> Endpoint:
    return next(endpoint for endpoint in ENDPOINTS if endpoint.operation_id == name)


def test_it_is_openapi_3_1_and_names_every_endpoint(description: Any) -> None:
    assert description["openapi"] == "3.1.0"
    operations = {(path, method.upper()) for path, methods in description["paths"].items() for method in methods}
    assert operations == {("/v1", "GET"), *((endpoint.path, endpoint.method) for endpoint in ENDPOINTS)}


def test_it_names_every_route_under_v1(app: Flask, description: Any) -> None:
    routes = {re.sub("<(.*?)>", r"{\1}", rule.rule) for rule in app.url_map.iter_rules() if rule.rule.startswith("/v1")}
    assert routes == {*description["paths"], "/v1/openapi.json"}


def test_its_schemas_are_schemas_and_its_references_lead_somewhere(description: Any) -> None:
    schemas = description["components"]["schemas"]
    for schema in schemas.values():
        Draft202012Validator.check_schema(schema)
    references = set(re.findall(r"#/components/[\w./-]+", repr(description)))
    assert len(references) > 100
    assert all(place(description, reference) for reference in references)
    assert {cls.__name__ for cls in KINDS.values()} | {"Order", "Verdict", "Recommendation", "ProblemDetails"} <= set(
        schemas
    )


def test_requests_are_closed_answers_open_and_both_described(description: Any) -> None:
    """Unknown fields of a request are refused by name; whoever reads answers has to take fields that are new."""
    schemas = schemas_of(description)
    closed = {name for name, schema in schemas.items() if schema.get("additionalProperties") is False}
    assert {"Order", "Decoration", "Shop", "HouseRules", "EntryChange"} <= closed
    assert closed.isdisjoint(
        {"Verdict", "Finding", "Recommendation", "Plan", "Envelope", "ShownProposal", "ProblemDetails"}
    )
    assert {name for name, schema in schemas.items() if not schema["description"]} == set()


def test_words_of_answers_may_grow_and_words_of_requests_are_all_there_are(description: Any) -> None:
    schemas = schemas_of(description)
    for name, field in (
        ("Verdict", "verdict"),
        ("Finding", "level"),
        ("AuditEntry", "event"),
        ("ShownProposal", "state"),
    ):
        field_schema = schemas[name]["properties"][field]
        assert len(field_schema["x-extensible-enum"]) >= 4, name
        assert "enum" not in field_schema, name
    assert schemas["KeyRequest"]["properties"]["role"]["enum"] == list(ROLES)
    closed = {name for name, schema in schemas.items() if schema.get("additionalProperties") is False}
    assert "gzip" in schemas["ApiIndex"]["properties"]["features"]["items"]["x-extensible-enum"]
    marked = {name for name, schema in schemas.items() if "x-extensible-enum" in repr(schema)}
    plain = {name for name, schema in schemas.items() if "'enum'" in repr(schema)}
    assert marked.isdisjoint(closed)
    assert plain <= closed
    assert marked


def described_parts(description: Any) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Every part of the description that has to say what it is, with a name to tell it by."""
    parts = description["components"]
    for name, shape in parts["schemas"].items():
        yield from ((f"{name}.{field}", schema) for field, schema in shape["properties"].items())
    for kind in ("schemas", "headers", "responses", "examples", "securitySchemes"):
        yield from ((f"{kind} {name}", part) for name, part in parts[kind].items())
    yield from ((f"tag {tag['name']}", tag) for tag in description["tags"])
    yield from ((f"server {server['url']}", server) for server in description["servers"])
    for path, methods in description["paths"].items():
        for method, described in methods.items():
            name = f"{method} {path}"
            yield name, described
            yield from ((f"{name} {parameter['name']}", parameter) for parameter in described["parameters"])
            yield from (
                (f"{name} {status}", part) for status, part in described["responses"].items() if "$ref" not in part
            )


def test_every_part_says_what_it_is(description: Any) -> None:
    parts = list(described_parts(description))
    assert len(parts) > 1000
    assert [name for name, part in parts if not part.get("description")] == []


def opened(schema: Any, place: str = "") -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Every schema within one."""
    if isinstance(schema, Mapping):
        yield place, schema
        for step, inner in schema.items():
            if step not in ("examples", "description"):
                yield from opened(inner, f"{place}/{step}")
    elif isinstance(schema, list):
        for index, inner in enumerate(schema):
            yield from opened(inner, f"{place}/{index}")


def is_opaque(schema: Mapping[str, Any]) -> bool:
    """Whether it takes any object, and says nothing of its fields."""
    says_more = {"properties", "anyOf", "oneOf", "$ref"} & set(schema)
    return "object" in schema.get("type", ()) and not says_more and not schema.get("additionalProperties")


def test_an_object_that_is_not_opened_says_why(description: Any) -> None:
    schemas = [part for shape in schemas_of(description).values() for part in opened(shape["properties"])]
    opaque = {place: schema for place, schema in schemas if is_opaque(schema)}
    assert opaque
    # openapi-typescript 7 takes an object without additionalProperties for one that has no fields.
    assert [place for place, schema in opaque.items() if schema.get("additionalProperties") != {}] == []
    assert [
        place
        for place, schema in opaque.items()
        if not re.search("not opened here: [a-z]", schema.get("description", ""))
    ] == []


VERBS = {"GET": {"read", "list", "replay", "search"}, "PUT": {"replace"}, "DELETE": {"delete", "revoke"}}


def test_operations_are_named_by_verbs(description: Any) -> None:
    """A generated client's methods are called so: replaceShop, not put_shop_entry."""
    names = [described["operationId"] for methods in description["paths"].values() for described in methods.values()]
    assert len(set(names)) == len(names) == len(ENDPOINTS) + 1
    for endpoint in ENDPOINTS:
        verb, noun = re.fullmatch("([a-z]+)([A-Z][A-Za-z]+)", endpoint.operation_id).groups()  # type: ignore[union-attr]
        assert operation(description, endpoint)["operationId"] == verb + noun
        assert verb in VERBS.get(endpoint.method, {verb} - set.union(*VERBS.values())), endpoint.operation_id
        assert (verb == "list") == issubclass(endpoint.query, PageQuery), endpoint.operation_id


def problem_examples(described: Any) -> dict[str, Any]:
    return dict(described.get("content", {}).get(PROBLEM, {}).get("examples", {}))


def test_problems_are_listed_by_type_with_their_status(description: Any) -> None:
    """Each is an example, named as its page is, and told once."""
    for endpoint in ENDPOINTS:
        shown_problems = {
            (int(status), slug, example["$ref"])
            for status in operation(description, endpoint)["responses"]
            for slug, example in problem_examples(response(description, endpoint, int(status))).items()
        }
        assert shown_problems == {
            (problem.status, problem.slug, f"#/components/examples/{problem.slug}") for problem in endpoint.problems
        }
    listed = {problem for endpoint in ENDPOINTS for problem in endpoint.problems}
    assert set(PROBLEMS.values()) - listed == {WrongMethod, RangeNotThere, FormNotOurs}, (
        "no operation answers that: addresses, files and people's pages do"
    )
    schema = {"$ref": "#/components/schemas/ProblemDetails"}
    shown = description["components"]["examples"]
    assert {slug: (example["value"]["type"], example["value"]["status"]) for slug, example in shown.items()} == {
        slug: (f"/problems/{slug}", problem.status) for slug, problem in PROBLEMS.items()
    }
    assert {slug: broken for slug in shown if (broken := faults(description, schema, shown[slug]["value"]))} == {}


# What HTTP itself, and the connection, add to every answer.
OF_HTTP = {"Date", "Content-Encoding", "Content-Length", "Content-Type", "X-Content-Type-Options"}


OPEN_ORDER: dict[str, Any] = {"item": {}, "decorations": [{}]}
ONCE = {"json": OPEN_ORDER, "headers": {"Idempotency-Key": "headers-1"}}


@pytest.mark.parametrize(
    ("name", "address", "sent"),
    [
        ("validateOrder", "/v1/validate", {"json": OPEN_ORDER}),
        ("validateOrder", "/v1/validate", {"json": {}}),
        ("listRules", "/v1/rules", {}),
        ("listRules", "/v1/rules?revision=1", {"headers": {"Accept-Encoding": "gzip"}}),
        ("listRules", "/v1/rules", {"headers": {"If-None-Match": "*"}}),
        ("listRules", "/v1/rules", {"headers": {"Authorization": ""}}),
        ("recordOrder", "/v1/records?validate_only=true", {"json": OPEN_ORDER}),
        ("recordOrder", "/v1/records", ONCE),
        pytest.param("recordOrder", "/v1/records", ONCE, id="the same once more"),
    ],
)
def test_an_answers_headers_are_described(
    app: Flask, description: Any, key: dict[str, str], name: str, address: str, sent: dict[str, Any]
) -> None:
    endpoint = endpoint_named(name)
    headers = key | sent.get("headers", {})
    answer = app.test_client().open(address, method=endpoint.method, **{**sent, "headers": headers})
    described = response(description, endpoint, answer.status_code)["headers"]
    assert set(dict(answer.headers)) - OF_HTTP <= set(described)
    assert all(place(description, header["$ref"])["schema"] for header in described.values())


def test_every_instant_of_a_document_says_that_it_is_one(description: Any) -> None:
    """``read_at`` is a place: where a temperature is read."""
    instants = [
        (name, field, schema)
        for name, shape in schemas_of(description).items()
        for field, schema in shape.get("properties", {}).items()
        if field.endswith("_at") and field != "read_at"
    ]
    assert len(instants) > 10
    assert [(name, field) for name, field, schema in instants if schema.get("format") != "date-time"] == []


def test_a_name_in_an_address_is_no_parameter_of_the_query_and_ids_say_of_what(description: Any) -> None:
    in_addresses = {}
    for endpoint in ENDPOINTS:
        names = set(re.findall(r"{(\w+)}", endpoint.path))
        in_query = {
            parameter["name"]
            for parameter in operation(description, endpoint)["parameters"]
            if parameter["in"] == "query"
        }
        assert not names & in_query, endpoint.name
        in_addresses[endpoint.path] = names
    assert set().union(*in_addresses.values()) == {
        "kind", "name", "revision", "proposal_id", "record_id", "outcome_id", "press_id", "shop_id", "key_id",
        "rule_id", "limit_id", "version", "reading_id"
    }  # fmt: skip
    schemas = schemas_of(description)
    for name in ("Key", "IssuedKey", "ProposalStatus", "ShownProposal", "RecordLine", "OutcomeReport", "Flip"):
        assert not {"id", "order", "shop"} & set(schemas[name]["properties"]), name
    for name in ("RevisionLine", "RevisionChanges", "Published", "RecordLine"):
        properties = schemas[name]["properties"]
        assert {"revision", "number"} & set(properties) == {"revision"}, name


def links(description: Any) -> Iterator[tuple[Any, Any]]:
    """Every link of a good answer, with the schema of the answer it stands at."""
    for endpoint in ENDPOINTS:
        good = operation(description, endpoint)["responses"][str(endpoint.success)]
        for link in good.get("links", {}).values():
            yield link, answer_schema(description, endpoint)


def bodies_linked_to(description: Any) -> set[str]:
    """The operations whose body is a place in another's answer."""
    return {link["operationId"] for link, _ in links(description) if "requestBody" in link}


def test_links_lead_from_places_of_the_answer_to_operations(description: Any) -> None:
    """OpenAPI 3.1, link object: parameters by name, values as runtime expressions into the answer."""
    linked = list(links(description))
    assert bodies_linked_to(description) == {"approveProposal"}
    for link, schema in linked:
        target = endpoint_named(link["operationId"])
        assert set(link["parameters"]) == set(target.parameters)
        fields = description["components"]["schemas"][schema["$ref"].rpartition("/")[2]]["properties"]
        for expression in (*link["parameters"].values(), *([link["requestBody"]] if "requestBody" in link else [])):
            assert expression.removeprefix("$response.body#/") in fields, expression


def test_every_operation_is_told_in_words_with_examples(description: Any) -> None:
    for endpoint in ENDPOINTS:
        described = operation(description, endpoint)
        assert described["summary"]
        assert described["description"]
        assert endpoint.examples, endpoint.name
        (answered,) = described["responses"][str(endpoint.success)]["content"].values()
        assert len(answered["examples"]) == len(endpoint.examples)
        if endpoint.takes is not None:
            sent, *_ = described["requestBody"]["content"].values()
            bodies = len(sent["examples"])
            assert bodies == len(endpoint.examples) or endpoint.operation_id in bodies_linked_to(description)


def test_shown_requests_and_answers_keep_to_their_schemas(description: Any) -> None:
    seen = 0
    for endpoint in ENDPOINTS:
        described = operation(description, endpoint)
        for holder in (described.get("requestBody"), described["responses"][str(endpoint.success)]):
            for schema, document in documents_shown(holder):
                assert faults(description, schema, document) == []
                seen += 1
    assert seen > len(ENDPOINTS)


def documents_shown(holder: Any) -> Iterator[tuple[Any, Any]]:
    """Each document of a body or an answer that is shown, with its schema; of a text of lines each line."""
    for media_type, content in (holder or {"content": {}})["content"].items():
        for example in content["examples"].values():
            if media_type == JSON:
                yield content["schema"], example["value"]
            elif media_type == "text/csv":  # tests/service/api/test_table.py reads it
                assert content["schema"]["type"] == "string"
            else:
                assert content["schema"]["type"] == "string"
                for line in example["value"].splitlines():
                    yield content["schema"]["contentSchema"], json.loads(line)


def test_the_check_itself_sees_a_broken_answer(description: Any) -> None:
    schema = answer_schema(description, endpoint_named("validateOrder"))
    example = next(iter(operation(description, endpoint_named("validateOrder"))["responses"]["200"]["content"][JSON]
                        ["examples"].values()))["value"]  # fmt: skip
    assert faults(description, schema, example | {"verdict": "maybe"})
    assert faults(description, schema, example | {"surprise": 1})
    assert faults(description, schema, {name: value for name, value in example.items() if name != "id"})


ORDERS: dict[str, dict[str, Any]] = {
    "everything left open": {"item": {}, "decorations": [{}]},
    "a remedy is needed": {"item": {"blank": "tee-heavy-white"}, "decorations": [{"transfer": "dye-sublimation"}]},
    "no press named": {
        "item": {"blank": "cushion-polyester-white"},
        "decorations": [{"transfer": "dye-sublimation", "placement": "front",
                         "size": {"width": "20 cm", "height": "20 cm"}}],
    },
    "several decorations": {
        "item": {"substrate": "knit", "fibres": {"CO": 50, "PES": 50}, "colour": "navy", "care": {"iron": 1}},
        "decorations": [{"transfer": "cut-film", "placement": "front"},
                        {"transfer": "powder-film", "placement": "back"},
                        {"transfer": "foil-over-adhesive", "placement": "front", "over": 0}],
        "press": "bench",
        "reference": "FY-1",
    },
    "for a small child": {
        "item": {"blank": "tee-kids-white"},
        "use": {"age_from": 0, "age_to": 2, "kinds": ["sleepwear"]},
        "decorations": [{"transfer": "hot-fix-stones"}],
    },
}  # fmt: skip


@pytest.mark.parametrize("note", ORDERS)
@pytest.mark.parametrize("name", ["validateOrder", "recommendPlans"])
def test_real_answers_keep_to_their_schemas(
    app: Flask, description: Any, key: dict[str, str], name: str, note: str
) -> None:
    endpoint = endpoint_named(name)
    answer = app.test_client().post(endpoint.path, json=ORDERS[note], headers=key)
    assert answer.status_code == 200, answer.text
    assert faults(description, answer_schema(description, endpoint), answer.json) == []


def reads(settings: Book) -> Iterator[tuple[str, str]]:
    """Every read of every entry of the book, with the endpoint that answers it."""
    for kind in KINDS:
        yield "listEntries", f"/v1/catalogue/{kind}?limit=200"
        yield from (("readEntry", f"/v1/catalogue/{kind}/{name}") for name in settings.catalogue[kind])
    yield from (("readLimit", f"/v1/limits/{name}") for name in settings.limits)
    yield from (("readSource", f"/v1/sources/{name}") for name in settings.sources)
    yield from (("readRule", f"/v1/rules/{name}") for name in settings.rules)
    yield from (("readStep", f"/v1/steps/{name}") for name in settings.steps)
    yield from (("readFact", f"/v1/facts/{name}") for name in settings.vocabulary.facts)
    lists = ("limits", "sources", "rules", "steps", "facts")
    yield from ((f"list{name.title()}", f"/v1/{name}?limit=200") for name in lists)
    yield from (("listKinds", "/v1/catalogue"), ("readSourcing", "/v1/sourcing"), ("readOwnShop", "/v1/shop"))


def test_every_read_keeps_to_its_schema(app: Flask, book: Book, description: Any, key: dict[str, str]) -> None:
    client, broken = app.test_client(), {}
    for name, address in reads(book):
        answer = client.get(address, headers=key)
        assert answer.status_code == 200, address
        broken_here = faults(description, answer_schema(description, endpoint_named(name)), answer.json)
        if broken_here:
            broken[address] = broken_here
    assert broken == {}


@pytest.mark.parametrize(
    ("name", "address", "sent", "status"),
    [
        ("validateOrder", "/v1/validate", {"json": {"item": {"zzz": 1}}}, 422),
        ("validateOrder", "/v1/validate", {"data": b"{", "content_type": JSON}, 400),
        ("recommendPlans", "/v1/recommend", {"data": b"{}", "content_type": "text/plain"}, 415),
        ("recommendPlans", "/v1/recommend", {"data": b" " * 300_000, "content_type": JSON}, 413),
        ("listRules", "/v1/rules?level=x", {}, 400),
        ("readRule", "/v1/rules/no-such-rule", {}, 404),
        ("listSteps", "/v1/steps?stage=x", {}, 400),
        ("readStep", "/v1/steps/no-such-step", {}, 404),
    ],
)
def test_problems_keep_to_their_schema(
    app: Flask, description: Any, key: dict[str, str], name: str, address: str, sent: dict[str, Any], status: int
) -> None:
    endpoint = endpoint_named(name)
    answer = app.test_client().open(address, method=endpoint.method, headers=key, **sent)
    assert answer.status_code == status
    assert faults(description, answer_schema(description, endpoint, status, PROBLEM), answer.json) == []
