"""The limit on a body whose length is not declared, to the byte (chunked transfer, RFC 9112 section 7.1)."""

from __future__ import annotations

import io
import json
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

LIMIT = 256 * 1024


class Endless(io.RawIOBase):
    """A stream that never ends and counts what was taken."""

    def __init__(self) -> None:
        self.taken = 0

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        size = len(buffer)
        buffer[:] = b" " * size
        self.taken += size
        return size


def validate(client: FlaskClient, key: dict[str, str], stream: Any) -> int:
    """The status, with the stream as gunicorn gives a chunked one: no length, and an end of its own."""
    return client.post(
        "/v1/validate",
        headers=key,
        content_type="application/json",
        environ_overrides={
            "HTTP_TRANSFER_ENCODING": "chunked",
            "wsgi.input": stream,
            "wsgi.input_terminated": True,
        },
    ).status_code


@pytest.mark.parametrize(("size", "status"), [(LIMIT - 1, 200), (LIMIT, 200), (LIMIT + 1, 413), (LIMIT + 2, 413)])
def test_a_body_one_byte_over_the_limit_is_refused_and_not_cut(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any], size: int, status: int
) -> None:
    """What is over the limit here is white space: cut off there, the order would be read as if it were whole."""
    assert validate(client, key, io.BytesIO(json.dumps(order).encode().ljust(size))) == status


def test_no_more_than_one_byte_over_the_limit_is_read(app: Flask, client: FlaskClient, key: dict[str, str]) -> None:
    endless = Endless()
    assert app.extensions["accord"].config.body_limit == LIMIT
    assert validate(client, key, endless) == 413
    assert endless.taken == LIMIT + 1
