"""The API's description as a page to read and try, made from the OpenAPI document alone."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from flask import Response, render_template
from markupsafe import Markup, escape

from accord_service.api.endpoint import tagged
from accord_service.api.room import room
from accord_service.described.get_index import OPERATION_ID
from accord_service.described.openapi import kept
from accord_service.http.problems import MEDIA_TYPE
from accord_service.http.writing import Answer

EXAMPLE_LINES_MOST = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One field of a shape. ``shape`` names the component to read on with, if there is one."""

    name: str
    type: str
    shape: str
    required: bool
    allowed: tuple[str, ...]
    about: str


@dataclass(frozen=True, slots=True)
class Shown:
    """An example, ready to be read; ``answer`` is empty where none is given. ``media_type``: of its body; ``left_out``:
    lines of the answer that are not shown."""

    word: str
    title: str
    media_type: str
    body: str
    answer: str
    left_out: int


@dataclass(frozen=True, slots=True)
class Status:
    """A status that an operation answers with, and its headers; ``problems``: types of problem with their titles."""

    code: str
    about: str
    problems: tuple[tuple[str, str], ...]
    headers: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Operation:
    """One endpoint."""

    id: str
    method: str
    path: str
    tag: str
    summary: str
    about: str
    parameters: tuple[Mapping[str, Any], ...]
    media_type: str
    takes: str
    answers: str
    examples: tuple[Shown, ...]
    statuses: tuple[Status, ...]
    choices: tuple[Row, ...]


def docs() -> Response:
    """The whole API on one page."""
    return tagged(Response(kept(room(), "page", _page), mimetype="text/html"), Answer({}))


def _page(document: Mapping[str, Any]) -> bytes:
    shapes = {
        name: (schema.get("description", ""), tuple(_rows(schema)))
        for name, schema in sorted(document["components"]["schemas"].items())
    }
    operations = tuple(_operations(document))
    common = _common([operation for operation in operations if operation.id != OPERATION_ID])
    return render_template(
        "docs.html",
        info=document["info"],
        tags=document["tags"],
        operations=operations,
        everywhere=_everywhere(document),
        common=common,
        common_headers=_common_headers(operations),
        headers=document["components"]["headers"],
        shapes=shapes,
        marked=marked,
        in_line=in_line,
    ).encode()


def marked(text: str) -> Markup:
    """A description as HTML paragraphs."""
    return Markup("\n").join(Markup("<p>{}</p>").format(in_line(paragraph)) for paragraph in text.split("\n\n"))


def in_line(text: str) -> Markup:
    """A text as HTML, with what stands between double backticks as code."""
    plain_and_code = enumerate(text.split("``"))
    return Markup("").join(
        Markup("<code>{}</code>").format(part) if i % 2 else escape(part) for i, part in plain_and_code
    )


def _everywhere(document: Mapping[str, Any]) -> tuple[Mapping[str, Any], ...]:
    """The parameters that every operation takes alike: told once, not in each section."""
    first, *others = (operation for methods in document["paths"].values() for operation in methods.values())
    return tuple(
        parameter
        for parameter in first["parameters"]
        if all(parameter in operation["parameters"] for operation in others)
    )


def _common(operations: Sequence[Operation]) -> tuple[Status, ...]:
    """The statuses that each of these may answer with, problems and all: told once, not in each section."""
    first, *others = operations
    return tuple(status for status in first.statuses if all(status in operation.statuses for operation in others))


def _common_headers(operations: Sequence[Operation]) -> tuple[str, ...]:
    """The headers of every answer of each of these, told once."""
    statuses = [status for operation in operations for status in operation.statuses]
    return tuple(name for name in statuses[0].headers if all(name in status.headers for status in statuses))


def _operations(document: Mapping[str, Any]) -> Iterator[Operation]:
    everywhere = _everywhere(document)
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            good = next(response for status, response in operation["responses"].items() if status.startswith("2"))
            ((_, answer),) = good["content"].items()
            bodies: Mapping[str, Any] = operation.get("requestBody", {}).get("content", {"": {}})
            (media_type, body), *_ = bodies.items()
            yield Operation(
                id=operation["operationId"],
                method=method.upper(),
                path=path,
                tag=operation["tags"][0],
                summary=operation["summary"],
                about=operation["description"],
                parameters=tuple(parameter for parameter in operation["parameters"] if parameter not in everywhere),
                media_type=media_type,
                takes=_shape(body.get("schema", {})),
                answers=_shape(answer["schema"]),
                examples=tuple(_examples(bodies, answer)),
                statuses=tuple(_statuses(document, operation)),
                choices=tuple(_choices(document, body.get("schema", {}))),
            )


def _choices(document: Mapping[str, Any], schema: Mapping[str, Any]) -> Iterator[Row]:
    """The fields at the top of a body that take one of a closed list of words, or yes and no."""
    for row in _rows(document["components"]["schemas"].get(_shape(schema), {})):
        if row.allowed:
            yield row
        elif row.type == "boolean":
            yield replace(row, allowed=("true", "false"))


def _statuses(document: Mapping[str, Any], operation: Mapping[str, Any]) -> Iterator[Status]:
    examples = document["components"]["examples"]
    for code, response in operation["responses"].items():
        component = document["components"]["responses"][_shape(response)] if "$ref" in response else response
        slugs = component.get("content", {}).get(MEDIA_TYPE, {}).get("examples", {})
        problems = tuple((slug, examples[slug]["summary"]) for slug in slugs)
        yield Status(code, component["description"], problems, tuple(component["headers"]))


def _examples(bodies: Mapping[str, Any], answer: Mapping[str, Any]) -> Iterator[Shown]:
    """Those of every media type that is taken, the first one's first; of an operation without a body its answers."""
    answers = answer.get("examples", {})
    shown = {
        word: (example, media_type)
        for media_type, body in bodies.items()
        for word, example in body.get("examples", {}).items()
    }
    for word, (example, media_type) in (shown or {word: (example, "") for word, example in answers.items()}).items():
        request = _pretty(example["value"]) if word in shown else ""
        answer_text = _pretty(answers[word]["value"]) if word in answers else ""
        shown_lines, left_out = _cut(answer_text)
        yield Shown(word, example["summary"], media_type, request, shown_lines, left_out)


def _cut(text: str) -> tuple[str, int]:
    """The first lines of an answer, and how many more there are: all of it is in the description."""
    lines = text.splitlines()
    return "\n".join(lines[:EXAMPLE_LINES_MOST]), max(0, len(lines) - EXAMPLE_LINES_MOST)


def _pretty(value: Any) -> str:
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False, indent=2)


def _rows(schema: Mapping[str, Any]) -> Iterator[Row]:
    required = schema.get("required", ())
    for name, field in schema.get("properties", {}).items():
        allowed = _allowed(field)
        yield Row(
            name=name,
            type=_type(field),
            shape=_shape(field),
            required=name in required,
            allowed=allowed,
            about=_about(field),
        )


def _allowed(field: Mapping[str, Any]) -> tuple[str, ...]:
    """The words that a field takes: straight, in a list or a table, or in one of its choices."""
    words = field.get("enum", field.get("x-extensible-enum"))
    if words is not None:
        return tuple(str(word) for word in words if word is not None)
    inner = [field.get("items"), field.get("additionalProperties"), *field.get("oneOf", ()), *field.get("anyOf", ())]
    return tuple(dict.fromkeys(word for part in inner if isinstance(part, Mapping) for word in _allowed(part)))


def _about(field: Mapping[str, Any]) -> str:
    """What a field holds; for lists and tables, also what each value of theirs does."""
    inner = [field.get("items"), field.get("additionalProperties")]
    inner_abouts = [_about(field_inside) for field_inside in inner if isinstance(field_inside, Mapping)]
    example = "".join(f'such as "{value}"' for value in field.get("examples", ())[:1])
    bounds = " to ".join(str(field[key]) for key in ("minimum", "maximum") if key in field)
    growing = "more words may come" if "x-extensible-enum" in field else ""
    return "; ".join(filter(None, (field.get("description", ""), example, bounds, growing, *inner_abouts)))


def _type(field: Mapping[str, Any]) -> str:
    if "$ref" in field:
        return "object"
    if "items" in field:
        return f"list of {_type(field['items'])}"
    for choice in ("anyOf", "oneOf"):
        if choice in field:
            return " or ".join(dict.fromkeys(map(_type, field[choice])))
    kind = field.get("type", "any value")
    return kind if isinstance(kind, str) else " or ".join(kind)


def _shape(field: Mapping[str, Any]) -> str:
    """The component a field refers to, straight or inside a list, a table, a choice or the lines of a text."""
    if "$ref" in field:
        return str(field["$ref"]).rpartition("/")[2]
    inside = (field.get(name) for name in ("items", "additionalProperties", "contentSchema"))
    inner = [*inside, *field.get("oneOf", ()), *field.get("anyOf", ())]
    return next(filter(None, (_shape(schema) for schema in inner if isinstance(schema, Mapping))), "")
