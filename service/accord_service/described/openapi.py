"""The API's description (OpenAPI 3.1), made from the declared endpoints and the readers behind their schemas."""

from __future__ import annotations

import dataclasses
import inspect
import io
import logging
import threading
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from itertools import groupby
from typing import Any

from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from marshmallow import fields

from accord_rules.documents.reading import DocumentError, Many, readers_of
from accord_rules.verdict import LEVELS
from accord_service.api import examples, lines, table
from accord_service.api.answers import ApiIndex
from accord_service.api.endpoint import HEAVY_RETRY_S, Call, Endpoint, Example, dump, shown
from accord_service.api.room import Room, Snapshot
from accord_service.api.tags import TAGS
from accord_service.api.v1 import ENDPOINTS
from accord_service.described import headers
from accord_service.described.get_index import API_VERSION, OPERATION_ID, PATH, get_index, index
from accord_service.described.links import LINKS
from accord_service.http import wire
from accord_service.http.problems import (
    MEDIA_TYPE,
    PROBLEMS,
    HeaderTooLarge,
    InternalError,
    Problem,
    ProblemDetails,
    RequestTooSlow,
    StoreUnavailable,
    TooManyHeavy,
    UnreadableRequest,
)
from accord_service.http.roles import COLLECTIVE
from accord_service.http.writing import Answer
from accord_service.store import StoreError
from accord_service.worker.admission import QUESTIONS, admit_heavy, asker

logger = logging.getLogger(__name__)
_ABOUT = f"""The shared settings authority for heat presses of a maker collective.

Quantities are strings with a unit ("375 °F", "45 s", "280 mm"); a bare number where a unit is needed is refused.
Unknown fields of a request are refused by name; answers may get new ones, which readers have to accept. Words that
stand under x-extensible-enum may be joined by others: take a verdict that you do not know as one that is not workable,
and a level that you do not know as one that blocks. What will go says so by the headers Deprecation and Sunset.
A refused order is a 200 with its verdict; 4xx is for requests that can't be read.
Lists come in pages: ask the address in next until it is null. The pages of a list of the book are of one revision, that
of the first page, which next names.
Findings have one of the levels {", ".join(LEVELS)}. Errors are problem details (RFC 9457)."""
_OF_INDEX = (UnreadableRequest, RequestTooSlow, HeaderTooLarge, InternalError)
# The document is read from the service that it describes.
_SERVERS = [{"url": "/", "description": "the service that gives this description"}]


_EXAMPLE_REQUEST = "order-1043-try-2"

# Schemas get names of their own while one document is made; two made at once would take them for repeated ones.
_DESCRIBING = threading.Lock()
# Whoever asks needs no key, so that all who do share the places of one.
_DESCRIBER = asker(COLLECTIVE, "description")


def kept(room: Room, what: str, make: Callable[[dict[str, Any]], bytes]) -> bytes:
    """``what`` is made of the description, as bytes: once a book, and in the lane of heavy questions, since making it
    takes a second or two that quick ones would wait. ``what``: one of a few words, never a caller's.

    Raises TooManyHeavy, HandedOn, NotReady, StoreUnavailable.
    """
    with room.taken() as snapshot:
        digest = _digest(snapshot)
    held = room.described_as.get(what)
    if held is not None and held[0] == digest:
        return held[1]
    if not admit_heavy(_DESCRIBER, QUESTIONS):
        raise TooManyHeavy("The description is being made.", headers={"Retry-After": HEAVY_RETRY_S})
    content = make(description(room))
    if room.described is not None:
        room.described_as[what] = (room.described[0], content)
    return content


def description(room: Room) -> dict[str, Any]:
    """The whole document. Its example answers are what this application really answers, by the book of now."""
    with room.taken() as snapshot, _DESCRIBING:
        digest = _digest(snapshot)
        if room.described is None or room.described[0] != digest:
            try:
                room.described = (digest, _described(room, snapshot))
            except StoreError as error:
                # Some examples are answered from the store. While it is away, the description made last will do.
                if room.described is None:
                    raise StoreUnavailable(f"The examples can't be asked for: {error}.") from None
        return room.described[1]


def _digest(snapshot: Snapshot) -> str:
    return f"{snapshot.book.revision} {snapshot.book.digest}"


def _described(room: Room, snapshot: Snapshot) -> dict[str, Any]:
    plugin = MarshmallowPlugin()
    spec = APISpec(
        "Platen Accord",
        API_VERSION,
        "3.1.0",
        info={"description": _ABOUT},
        plugins=[plugin],
        tags=[{"name": name, "description": about} for name, about in TAGS.items()],
        servers=_SERVERS,
        security=[{"key": []}],
    )
    assert plugin.converter is not None
    plugin.converter.add_attribute_function(_as_its_reader_says)  # type: ignore[no-untyped-call]
    spec.components.security_scheme("key", {"type": "http", "scheme": "bearer", "description": "the shop's key"})
    for cls in _documents():
        spec.components.schema(cls.__name__, schema=wire.schema_of(cls))
    for name, header in headers.components():
        spec.components.header(name, header)
    for problem in PROBLEMS.values():
        spec.components.example(problem.slug, _problem_example(problem))
    for problems in dict.fromkeys(of_status for group in _problem_groups() for of_status in _by_status(group)):
        spec.components.response(_word_for(problems), _problem(problems))
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
        for inner in schema.values():
            _let_words_grow(inner)
    elif isinstance(schema, list):
        for inner in schema:
            _let_words_grow(inner)


def _documents() -> Iterator[type]:
    """Every dataclass that is read from a request or written into an answer, the inner ones first."""
    answered = (ApiIndex, *(endpoint.answers for endpoint in ENDPOINTS), lines.LinesEnd, ProblemDetails)
    yield from wire.named_once((*_sent(), *(cls for root in answered for cls in wire.dataclasses_in(root))))


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
        "operationId": OPERATION_ID,
        "tags": ["Service"],
        "summary": summary.rstrip("."),
        "description": more.strip(),
        "security": [],
        "parameters": [headers.if_none_match(), headers.request_id()],
        "responses": {
            "200": {
                "description": wire.about(ApiIndex),
                "content": {"application/json": content},
                "headers": headers.of_index(),
            },
            "304": _unchanged(headers.of_index()),
            **_problems(_OF_INDEX),
        },
    }


def _operation(endpoint: Endpoint, room: Room, snapshot: Snapshot) -> dict[str, Any]:
    summary, _, more = inspect.cleandoc(endpoint.run.__doc__ or "").partition("\n")
    operation: dict[str, Any] = {
        "operationId": endpoint.operation_id,
        "tags": [endpoint.tag],
        "summary": summary.rstrip("."),
        "description": "\n\n".join(filter(None, (more.strip(), f"Roles: {', '.join(endpoint.roles)}."))),
        "parameters": [
            *_path_parameters(endpoint, snapshot),
            *_query_parameters(endpoint),
            *headers.parameters(endpoint),
        ],
        "responses": _responses(endpoint, room, snapshot),
    }
    if endpoint.deprecation is not None:
        operation["deprecated"] = True
    if endpoint.takes is not None:
        content = {**_schema(endpoint, endpoint.takes), "examples": _request_examples(endpoint, snapshot)}
        taken = {_media_type(endpoint): content} | ({table.MEDIA_TYPE: _table()} if endpoint.lines else {})
        operation["requestBody"] = {"required": True, "content": taken}
    return operation


def _table() -> dict[str, Any]:
    """A table is a text that no schema tells more of; what its columns are is in the description."""
    return {
        "schema": {"type": "string", "description": "a table in UTF-8 (RFC 4180): headers, then an order a row"},
        "examples": {"a-table": {"summary": "Two orders of a spreadsheet", "value": examples.ORDER_TABLE}},
    }


def _media_type(endpoint: Endpoint) -> str:
    return lines.MEDIA_TYPE if endpoint.lines else "application/json"


def _schema(endpoint: Endpoint, *classes: type) -> dict[str, Any]:
    """The schema of what is sent or answered. A document a line is a text for OpenAPI 3.1, which has no word for such;
    what a line holds stands beside it (JSON Schema, section 8.5)."""
    if not endpoint.lines:
        (cls,) = classes
        return {"schema": wire.schema_of(cls)}
    kinds = [{"$ref": f"#/components/schemas/{cls.__name__}"} for cls in classes]
    held = kinds[0] if len(kinds) == 1 else {"anyOf": kinds}
    about = f"a JSON document a line (NDJSON): {' or '.join(cls.__name__ for cls in classes)}"
    return {
        "schema": {
            "type": "string",
            "description": about,
            "contentMediaType": "application/json",
            "contentSchema": held,
        }
    }


def _path_parameters(endpoint: Endpoint, snapshot: Snapshot) -> list[dict[str, Any]]:
    names = endpoint.examples[0].path(snapshot.book)
    return [
        {
            "name": name,
            "in": "path",
            "required": True,
            "description": about,
            "schema": {"type": "string", "minLength": 1}
            | ({"enum": [*endpoint.choices[name]]} if name in endpoint.choices else {}),
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


def _responses(endpoint: Endpoint, room: Room, snapshot: Snapshot) -> dict[str, Any]:
    answers = dict(_answers_to_examples(endpoint, room, snapshot))
    told = (endpoint.answers, lines.LinesEnd) if endpoint.lines else (endpoint.answers,)
    content = {_media_type(endpoint): {**_schema(endpoint, *told), "examples": answers}}
    links = {name: link.document() for name, link in LINKS.get(endpoint.operation_id, {}).items()}
    good = {"description": wire.about(endpoint.answers), "content": content} | ({"links": links} if links else {})
    responses = {str(endpoint.success): {**good, "headers": headers.of_good(endpoint)}}
    if endpoint.writes and endpoint.success != 200:
        about = "what would be written, by validate_only: nothing was"
        responses["200"] = {"description": about, "content": content, "headers": headers.of_good(endpoint, trial=True)}
    if endpoint.method == "GET":
        responses["304"] = _unchanged(headers.of_good(endpoint))
    return {**responses, **_problems(endpoint.problems)}


def _unchanged(headers_: dict[str, Any]) -> dict[str, Any]:
    return {"description": "the caller has it already (If-None-Match)", "headers": headers_}


def _problems(problems: tuple[type[Problem], ...]) -> dict[str, Any]:
    """References to the responses that tell of problems, by status."""
    responses = "#/components/responses"
    return {
        str(of_status[0].status): {"$ref": f"{responses}/{_word_for(of_status)}"} for of_status in _by_status(problems)
    }


def _problem_groups() -> Iterator[tuple[type[Problem], ...]]:
    """The problems of each operation."""
    yield _OF_INDEX
    yield from (endpoint.problems for endpoint in ENDPOINTS)


def _by_status(problems: tuple[type[Problem], ...]) -> Iterator[tuple[type[Problem], ...]]:
    """Problems that come sorted by status, those of one status together."""
    for _, of_status in groupby(problems, key=lambda problem: problem.status):
        yield tuple(of_status)


def _word_for(problems: tuple[type[Problem], ...]) -> str:
    """The name of the response that tells of one of these."""
    return ".".join(problem.slug for problem in problems)


def _problem(problems: tuple[type[Problem], ...]) -> dict[str, Any]:
    """The response that tells of one of these, which have one status; each type is named by its example."""
    examples = {problem.slug: {"$ref": f"#/components/examples/{problem.slug}"} for problem in problems}
    return {
        "description": ", or: ".join(problem.title for problem in problems),
        "content": {MEDIA_TYPE: {"schema": wire.schema_of(ProblemDetails), "examples": examples}},
        "headers": headers.of_problems(problems),
    }


def _problem_example(problem: type[Problem]) -> dict[str, Any]:
    """One type of problem, with nothing in it that is of one request alone."""
    details = ProblemDetails(
        type=f"/problems/{problem.slug}",
        title=problem.title,
        status=problem.status,
        detail=problem.title,
        errors=(),
        request_id=_EXAMPLE_REQUEST,
    )
    return {"summary": problem.title, "description": problem.meaning, "value": details.document()}


def _request_examples(endpoint: Endpoint, snapshot: Snapshot) -> dict[str, Any]:
    return {
        _word(example): {"summary": example.title, "value": _sent_example(endpoint, shown(example.body, snapshot.book))}
        for example in endpoint.examples
        if example.body is not None
    }


def _sent_example(endpoint: Endpoint, body: Mapping[str, Any]) -> Any:
    """A body as it is sent; of an endpoint that takes lines its text."""
    return b"".join(dump(line) + b"\n" for line in body["lines"]).decode() if endpoint.lines else body


def _answered_lines(endpoint: Endpoint, example: Example, room: Room, snapshot: Snapshot) -> str:
    """The answer to an example of an endpoint that takes lines."""
    call = call_of(dataclasses.replace(example, body=None), endpoint, room, snapshot)
    body = _sent_example(endpoint, shown(example.body or {}, snapshot.book))
    source = lines.Lines(io.BytesIO(body.encode()), room.config.body_limit, number=1)
    answers = lines.answers(source, partial(endpoint.answer_line, call), snapshot.book.revision, _EXAMPLE_REQUEST)
    return b"".join(answers).decode()


def _answers_to_examples(endpoint: Endpoint, room: Room, snapshot: Snapshot) -> Iterator[tuple[str, Mapping[str, Any]]]:
    for example in endpoint.examples:
        if example.answer is not None:
            yield _word(example), {"summary": example.title, "value": shown(example.answer, snapshot.book)}
            continue
        if endpoint.lines:
            yield (
                _word(example),
                {"summary": example.title, "value": _answered_lines(endpoint, example, room, snapshot)},
            )
            continue
        try:
            answer = endpoint.run(call_of(example, endpoint, room, snapshot))
        except DocumentError as error:
            # The book has moved on from the example; the description must not fail for it.
            details = {"example": example.title, "faults": str(error)}
            logger.warning("an example is no order of this book", extra={"details": details})
            continue
        assert isinstance(answer, Answer), f"{endpoint.name} writes: its examples need their answers"
        yield _word(example), {"summary": example.title, "value": answer.document}


def call_of(example: Example, endpoint: Endpoint, room: Room, snapshot: Snapshot) -> Call:
    """An example as a request of the example shop."""
    document = {} if example.body is None else shown(example.body, snapshot.book)
    body = None if endpoint.takes is None or example.body is None else wire.load(endpoint.takes, document)
    path = example.path(snapshot.book)
    return Call(
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
