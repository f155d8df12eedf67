"""The API's description (OpenAPI 3.1), made from the declared endpoints and the readers behind their schemas."""

from __future__ import annotations

import inspect
import logging
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from marshmallow import fields

from accord_rules.documents.reading import DocumentError, Many, readers_of
from accord_rules.verdict import LEVELS
from accord_service.api import examples
from accord_service.api.answers import ApiIndex
from accord_service.api.endpoint import BASIS_HEADER, Asked, Endpoint, Example, shown
from accord_service.api.room import Room, Snapshot
from accord_service.api.v1 import ENDPOINTS
from accord_service.described.get_index import API_VERSION, PATH, get_index, index
from accord_service.http import wire
from accord_service.http.problems import MEDIA_TYPE, PROBLEMS, ProblemDetails, StoreUnavailable
from accord_service.http.writing import IDEMPOTENCY_KEY, IF_MATCH, Answer
from accord_service.store import StoreError

logger = logging.getLogger(__name__)
_ABOUT = f"""The shared settings authority for heat presses of a maker collective.

Quantities are strings with a unit ("375 °F", "45 s", "280 mm"); a bare number where a unit is needed is refused.
Unknown fields of a request are refused by name; answers may get new ones, which readers have to accept. Words that
stand under x-extensible-enum may be joined by others: take a verdict that you do not know as one that is not workable,
and a level that you do not know as one that blocks. What will go says so by the headers Deprecation and Sunset.
A refused order is a 200 with its verdict; 4xx is for requests that can't be read.
Findings have one of the levels {", ".join(LEVELS)}. Errors are problem details (RFC 9457)."""
_TAGS = {
    "Service": "What this is, and where everything is.",
    "Orders": "Ask before a blank is spoiled.",
    "Book": "The shared settings: what answers are made from.",
    "Changes": "How the book changes: revisions, and proposals on their way into it.",
    "Records": "Orders kept with their answers, asked again, and what became of the pieces.",
    "Shop": "The caller's own: presses, stock, house rules.",
    "Administration": "Shops, keys and the audit.",
}


@dataclass(frozen=True, slots=True)
class Link:
    """The request that an answer leads to (OpenAPI 3.1, link object): names in its address, and its body, as places in
    the answer (JSON Pointers)."""

    operation: str
    path: Mapping[str, str]
    body: str | None = None
    about: str = ""

    def document(self) -> dict[str, Any]:
        places = {name: f"$response.body#{pointer}" for name, pointer in self.path.items()}
        body = {} if self.body is None else {"requestBody": f"$response.body#{self.body}"}
        return {"operationId": self.operation, "parameters": places, **body, "description": self.about}


# The headers of an endpoint that will go.
_GOING = {
    "Deprecation": "since when it should not be used any more: @ and seconds since 1970, UTC (RFC 9745)",
    "Sunset": "when it goes, where that is decided (RFC 8594)",
    "Link": "what to ask instead (rel=successor-version)",
}
_ITS_OWN = {"proposal": "/id"}
_ITS_RECORD = {"record_id": "/record_id"}
LINKS: Mapping[str, Mapping[str, Link]] = MappingProxyType(
    {
        "post_records": {
            "report": Link("post_record_outcomes", _ITS_RECORD, about="once a piece is pressed"),
            "delete": Link("delete_record_reference", _ITS_RECORD, about="the reference alone"),
        },
        "post_keys": {"revoke": Link("delete_key", {"key": "/id"}, about="for good")},
        "post_proposals": {
            "edit": Link("put_proposal", _ITS_OWN, about="with the ETag of a read of it in If-Match"),
            "open": Link("post_proposal_open", _ITS_OWN, about="to put it to the stewards"),
            "decline": Link("post_proposal_decline", _ITS_OWN, about="by a steward"),
            "withdraw": Link("post_proposal_withdraw", _ITS_OWN, about="by its author"),
        },
        "post_proposal_open": {
            "approve": Link("post_proposal_approve", _ITS_OWN, "/digests", "by a steward of another shop"),
        },
        "post_proposal_approve": {"publish": Link("post_proposal_publish", _ITS_OWN, about="once it is approved")},
    }
)


def description(room: Room) -> dict[str, Any]:
    """The whole document. Its example answers are what this application really answers, by the book of now."""
    with room.taken() as snapshot:
        digest = f"{snapshot.book.revision} {snapshot.book.digest}"
        if room.described is None or room.described[0] != digest:
            try:
                room.described = (digest, _described(room, snapshot))
            except StoreError as error:
                # Some examples are answered from the store. While it is away, the description made last will do.
                if room.described is None:
                    raise StoreUnavailable(f"The examples can't be asked for: {error}.") from None
        return room.described[1]


def _described(room: Room, snapshot: Snapshot) -> dict[str, Any]:
    plugin = MarshmallowPlugin()
    spec = APISpec(
        "Platen Accord",
        API_VERSION,
        "3.1.0",
        info={"description": _ABOUT},
        plugins=[plugin],
        tags=[{"name": name, "description": about} for name, about in _TAGS.items()],
        security=[{"key": []}],
    )
    assert plugin.converter is not None
    plugin.converter.add_attribute_function(_as_its_reader_says)  # type: ignore[no-untyped-call]
    spec.components.security_scheme("key", {"type": "http", "scheme": "bearer", "description": "the shop's key"})
    for cls in _documents():
        spec.components.schema(cls.__name__, schema=wire.schema_of(cls))
    spec.path(PATH, operations={"get": _index_operation(room)})
    for endpoint in ENDPOINTS:
        spec.path(endpoint.path, operations={endpoint.method.lower(): _operation(endpoint, room, snapshot)})
    document: dict[str, Any] = spec.to_dict()
    abouts = {cls.__name__: wire.about(cls) for cls in _documents()}
    closed = {cls.__name__ for cls in _sent()}
    for name, schema in document["components"]["schemas"].items():
        schema["description"] = abouts[name]
        if name not in closed:
            del schema["additionalProperties"]
            _let_words_grow(schema)
    return document


def _let_words_grow(schema: Any) -> None:
    """Name the words of an answer as those there are so far: a validator or a generated client made from ``enum`` would
    refuse one that is added later."""
    if isinstance(schema, dict):
        if "enum" in schema:
            schema["x-extensible-enum"] = schema.pop("enum")
        for each in schema.values():
            _let_words_grow(each)
    elif isinstance(schema, list):
        for each in schema:
            _let_words_grow(each)


def _documents() -> Iterator[type]:
    """Every dataclass that is read from a request or written into an answer, the inner ones first."""
    answered = (ApiIndex, *(each.answers for each in ENDPOINTS), ProblemDetails)
    yield from dict.fromkeys((*_sent(), *(cls for root in answered for cls in wire.dataclasses_in(root))))


def _sent() -> Iterator[type]:
    """Every dataclass of a request. They are closed; whoever reads an answer takes fields that are new to them."""
    for endpoint in ENDPOINTS:
        if endpoint.takes is not None:
            yield from wire.dataclasses_in(endpoint.takes)


def _as_its_reader_says(self: Any, field: fields.Field[Any], ret: dict[str, Any]) -> dict[str, Any]:
    """apispec's hook: a field made from a reader is described by that reader, and by what its dataclass adds."""
    assert isinstance(field, wire.Read)
    schema = field.reader.json_schema()
    about = "; ".join(filter(None, (field.metadata["about"], schema.get("description"))))
    return schema | ({"description": about} if about else {})


def _index_operation(room: Room) -> dict[str, Any]:
    """The one operation that is asked without a key."""
    summary, _, more = inspect.cleandoc(get_index.__doc__ or "").partition("\n")
    example = {"summary": "This service", "value": index(room).document()}
    content = {"schema": wire.schema_of(ApiIndex), "examples": {"this-service": example}}
    return {
        "operationId": get_index.__name__,
        "tags": ["Service"],
        "summary": summary.rstrip("."),
        "description": more.strip(),
        "security": [],
        "parameters": [],
        "responses": {
            "200": {
                "description": "The answer",
                "content": {"application/json": content},
                "headers": {"ETag": {"description": "strong", "schema": {"type": "string"}}},
            },
            "304": {"description": "The caller has it already (If-None-Match)"},
            "500": _problem(500),
        },
    }


def _operation(endpoint: Endpoint, room: Room, snapshot: Snapshot) -> dict[str, Any]:
    summary, _, more = inspect.cleandoc(endpoint.run.__doc__ or "").partition("\n")
    operation: dict[str, Any] = {
        "operationId": endpoint.name,
        "tags": [endpoint.tag],
        "summary": summary.rstrip("."),
        "description": f"{more.strip() or summary}\n\nRoles: {', '.join(endpoint.roles)}.",
        "parameters": [
            *_path_parameters(endpoint, snapshot),
            *_query_parameters(endpoint),
            *_header_parameters(endpoint),
        ],
        "responses": _responses(endpoint, room, snapshot),
    }
    if endpoint.deprecation is not None:
        operation["deprecated"] = True
    if endpoint.takes is not None:
        content = {"schema": wire.schema_of(endpoint.takes), "examples": _request_examples(endpoint, snapshot)}
        operation["requestBody"] = {"required": True, "content": {"application/json": content}}
    return operation


def _path_parameters(endpoint: Endpoint, snapshot: Snapshot) -> list[dict[str, Any]]:
    names = endpoint.examples[0].path(snapshot.book)
    return [
        {
            "name": name,
            "in": "path",
            "required": True,
            "description": about,
            "schema": {"type": "string", "minLength": 1},
            "example": names[name],
        }
        for name, about in endpoint.parameters.items()
    ]


def _query_parameters(endpoint: Endpoint) -> list[dict[str, Any]]:
    declared = wire.schema_of(endpoint.query, in_query=True).fields
    return [
        {
            "name": name,
            "in": "query",
            "required": False,
            "description": declared[name].metadata["about"],
            "schema": reader.json_schema(),
        }
        | ({"style": "form", "explode": False} if isinstance(reader, Many) else {})
        for name, (reader, _) in readers_of(endpoint.query).items()
    ]


def _header_parameters(endpoint: Endpoint) -> list[dict[str, Any]]:
    headers: list[tuple[str, bool, str, dict[str, Any]]] = []
    if endpoint.writes:
        about = (
            "a random word of the caller's own for this write, bare or in double quotes: sent again with it within 24"
            " hours, with the same address, query, body and If-Match, the write is done once and answered the same;"
            " with another request it is refused (422), and while the first is under way, too (409)"
        )
        headers.append((IDEMPOTENCY_KEY, False, about, {"type": "string", "pattern": "^[!-~]{1,200}$"}))
    if endpoint.replaces:
        about = "the ETag, quotes and all, that a read of what is replaced gave; several, or * for whatever is there"
        headers.append((IF_MATCH, True, about, {"type": "string", "examples": ['"3-0a1b2c3d"']}))
    return [
        {"name": name, "in": "header", "required": required, "description": about, "schema": schema}
        for name, required, about, schema in headers
    ]


def _responses(endpoint: Endpoint, room: Room, snapshot: Snapshot) -> dict[str, Any]:
    answers = dict(_answers_to_examples(endpoint, room, snapshot))
    content = {"schema": wire.schema_of(endpoint.answers), "examples": answers}
    good: dict[str, Any] = {"description": "The answer", "content": {"application/json": content}}
    good["headers"] = {BASIS_HEADER: {"description": 'live, or "held; age=" and seconds', "schema": {"type": "string"}}}
    if endpoint.deprecation is not None:
        good["headers"] |= {
            name: {"description": about, "schema": {"type": "string"}} for name, about in _GOING.items()
        }
    if endpoint.name in LINKS:
        good["links"] = {name: link.document() for name, link in LINKS[endpoint.name].items()}
    responses: dict[str, Any] = {str(endpoint.success): good}
    if endpoint.writes and endpoint.success != 200:
        responses["200"] = {**good, "description": "It could be done (validate_only)", "headers": {**good["headers"]}}
    if endpoint.method == "GET" or endpoint.replaces:
        good["headers"]["ETag"] = {"description": "strong; none with validate_only", "schema": {"type": "string"}}
    if endpoint.success == 201:
        about = "where what was made can be read, relative to the service"
        good["headers"]["Location"] = {"description": about, "schema": {"type": "string"}}
    if endpoint.method == "GET":
        responses["304"] = {"description": "The caller has it already (If-None-Match)"}
    for status in sorted(endpoint.problem_statuses):
        responses[str(status)] = _problem(status)
    return responses


def _problem(status: int) -> dict[str, Any]:
    titles = ", or: ".join(each.title for each in PROBLEMS.values() if each.status == status)
    return {"description": titles, "content": {MEDIA_TYPE: {"schema": wire.schema_of(ProblemDetails)}}}


def _request_examples(endpoint: Endpoint, snapshot: Snapshot) -> dict[str, Any]:
    return {
        _word(each): {"summary": each.title, "value": shown(each.body, snapshot.book)}
        for each in endpoint.examples
        if each.body is not None
    }


def _answers_to_examples(endpoint: Endpoint, room: Room, snapshot: Snapshot) -> Iterator[tuple[str, Mapping[str, Any]]]:
    for example in endpoint.examples:
        if example.answer is not None:
            yield _word(example), {"summary": example.title, "value": shown(example.answer, snapshot.book)}
            continue
        try:
            answer = endpoint.run(asked_by(example, endpoint, room, snapshot))
        except DocumentError as error:
            # The book has moved on from the example; the description must not fail for it.
            details = {"example": example.title, "faults": str(error)}
            logger.warning("an example is no order of this book", extra={"details": details})
            continue
        assert isinstance(answer, Answer), f"{endpoint.name} writes: its examples need their answers"
        yield _word(example), {"summary": example.title, "value": answer.document}


def asked_by(example: Example, endpoint: Endpoint, room: Room, snapshot: Snapshot) -> Asked:
    """An example as a request of the example shop."""
    document = {} if example.body is None else shown(example.body, snapshot.book)
    body = None if endpoint.takes is None or example.body is None else wire.load(endpoint.takes, document)
    path = example.path(snapshot.book)
    return Asked(
        room=room,
        snapshot=snapshot,
        caller=examples.CALLER,
        path=path,
        query=endpoint.query(),
        body=body,
        document=document,
    )


def _word(example: Example) -> str:
    return "-".join("".join(c if c.isalnum() else " " for c in example.title.lower()).split())
