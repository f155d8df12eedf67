"""RFC 8259 leaves double keys, huge numbers and lone surrogates to the reader (sections 4, 6, 8.2); here none pass."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from accord_service.http import strict_json


def faults(body: bytes) -> list[tuple[str, str]]:
    with pytest.raises(strict_json.JsonError) as caught:
        strict_json.read(body)
    return [(fault.pointer, fault.message) for fault in caught.value.faults]


@pytest.mark.parametrize(
    ("body", "pointer", "complaint"),
    [
        (b"", "", "the body is empty"),
        (b" \n\t", "", "the body is empty"),
        (b"{", "", "line 1, column 2"),
        (b'{"a": 1,\n "b": }', "", "line 2, column 7"),
        (b"{'a': 1}", "", "line 1, column 2"),
        (b'{"a": 1} {"b": 2}', "", "Extra data at line 1, column 10"),
        (b'{"a": 01}', "", "line 1, column 8"),
        (b'{"a": +1}', "", "line 1, column 7"),
        (b'{"a": 1,}', "", "line 1"),
        (b'{"a": "\x01"}', "", "line 1, column 8"),
        (b"\xef\xbb\xbf{}", "", "line 1, column 1"),
        (b'{"a": "\xff"}', "", "byte 7 is not UTF-8"),
        (b'{"a": "\xed\xa0\x80"}', "", "byte 7 is not UTF-8"),
        ('{"a": 1}'.encode("utf-16"), "", "not UTF-8"),
        (b"[1]", "", "the top level must be an object"),
        (b'"text"', "", "the top level must be an object"),
        (b"null", "", "the top level must be an object"),
        (b'{"a": NaN}', "/a", "NaN is not a JSON value"),
        (b'{"a": [0, -Infinity]}', "/a/1", "-Infinity is not a JSON value"),
        (b'{"a": 1e400}', "/a", "too large"),
        (b'{"a": 9007199254740993}', "/a", "beyond 9007199254740992"),
        (b'{"a": -9007199254740993}', "/a", "beyond 9007199254740992"),
        (b'{"a": ' + b"9" * 100_000 + b"}", "/a", "beyond 9007199254740992"),
        (b'{"a": 1, "a": 1}', "/a", "more than once"),
        (b'{"x": [{"a/b": 1, "c": 2, "a/b": 3}]}', "/x/0/a~1b", "more than once"),
        (b'{"a": "\\ud800"}', "/a", "half a surrogate pair"),
        (b'{"\\udc00": 1}', "/\N{REPLACEMENT CHARACTER}", "half a surrogate pair"),
    ],
)
def test_refused_with_its_place(body: bytes, pointer: str, complaint: str) -> None:
    ((where, message),) = faults(body)
    assert where == pointer
    assert complaint in message


def test_every_fault_is_named_at_once() -> None:
    body = b'{"a": NaN, "b": {"c": 1, "c": {"d": 1e999}}, "a": 2}'
    assert [where for where, _ in faults(body)] == ["/a", "/b/c", "/b/c/d"]


@pytest.mark.parametrize("bracket", [b"[", b'{"a":', b'[{"a":'])
def test_deep_nesting_is_refused_before_it_is_parsed(bracket: bytes) -> None:
    ((where, message),) = faults(bracket * 100_000)
    assert where == ""
    assert message.startswith("nested deeper than 32 levels at line 1")


def test_brackets_inside_strings_do_not_nest() -> None:
    text = "[" * 100 + '\\"{' * 100
    assert strict_json.read(json.dumps({"a": text}).encode()) == {"a": text}


def test_the_deepest_allowed_is_read() -> None:
    deepest = b'{"a":' + b"[" * 31 + b"]" * 31 + b"}"
    assert strict_json.read(deepest)["a"] is not None
    assert faults(b'{"a":' + b"[" * 32 + b"]" * 32 + b"}")


def test_the_largest_whole_number_is_read_exactly() -> None:
    assert strict_json.read(b'{"a": 9007199254740992}') == {"a": 2**53}


JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53), 2**53)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=12,
)


@given(st.dictionaries(st.text(), JSON, max_size=5), st.booleans())
def test_reads_what_a_json_library_writes(document: dict[str, Any], ascii_only: bool) -> None:
    assert strict_json.read(json.dumps(document, ensure_ascii=ascii_only).encode()) == document


@given(st.binary(max_size=60) | st.text('{}[]",:0123456789eE.+-\\udnaNIfity ', max_size=60).map(str.encode))
def test_any_bytes_are_read_or_refused(body: bytes) -> None:
    """Nothing else is raised, whatever the bytes."""
    try:
        document = strict_json.read(body)
    except strict_json.JsonError:
        return
    assert isinstance(document, dict)
