"""Where a request ends, held to gunicorn's own parser (RFC 9112) over random bodies cut at random places."""

from __future__ import annotations

from typing import Any

import pytest
from gunicorn import http
from gunicorn.config import Config
from hypothesis import given
from hypothesis import strategies as st

from accord_service.serving.framing import ChunkedBody, CountedBody, header_end

LIMIT = 1000
HEADER = b"POST / HTTP/1.1\r\nTransfer-Encoding: chunked\r\n\r\n"
NEXT = b"GET /next HTTP/1.1\r\n\r\n"
EXTENSIONS = st.sampled_from([b"", b";a", b" ; a=b", b';a="\t;x"'])
TRAILERS = st.sampled_from([b"", b"X-A: b\r\n", b"X-A: b\r\nX-B: c\r\n"])
# Bytes that chunk framing is made of, so that what is drawn comes near to it.
NEARLY = st.lists(st.sampled_from([b"0", b"1", b"a", b"F", b"\r\n", b"\r", b"\n", b";", b" ", b"+", b"x", b"g"])).map(
    b"".join
)


@st.composite
def chunked_bodies(draw: st.DrawFn) -> tuple[bytes, bytes]:
    """The data and its chunks."""
    chunks = draw(st.lists(st.binary(min_size=1, max_size=40), max_size=5))
    written = [b"%x%b\r\n%b\r\n" % (len(chunk), draw(EXTENSIONS), chunk) for chunk in chunks]
    return b"".join(chunks), b"".join(written) + b"0\r\n" + draw(TRAILERS) + b"\r\n"


def read_by_gunicorn(body: bytes) -> tuple[bytes, bytes]:
    """What gunicorn takes for the body's data, and what it leaves for the next request."""
    parsed: Any = next(http.get_parser(Config(), iter([HEADER + body]), None))
    return parsed.body.read(), parsed.unreader.take_buffered()


@given(chunked_bodies(), st.data())
def test_a_chunked_body_ends_where_gunicorn_ends_it_however_it_arrives(
    body: tuple[bytes, bytes], data: st.DataObject
) -> None:
    sent, written = body
    assert read_by_gunicorn(written + NEXT) == (sent, NEXT)
    framing, received = ChunkedBody(LIMIT), bytearray()
    while len(received) < len(written) - 1:
        piece = data.draw(st.integers(1, len(written) - 1 - len(received)))
        received += written[len(received) : len(received) + piece]
        assert framing.end(received) is None
    received += written[-1:] + NEXT
    assert framing.end(received) == len(written)
    assert not framing.is_cut


@given(NEARLY)
def test_what_gunicorn_refuses_is_never_taken_for_a_whole_body_with_a_request_behind_it(body: bytes) -> None:
    """Either the end is gunicorn's, or all that came is handed over as cut, or more is waited for."""
    framing = ChunkedBody(LIMIT)
    end = framing.end(bytearray(body))
    if end is not None and not framing.is_cut:
        try:
            _, rest = read_by_gunicorn(body)
        except http.errors.ParseException:
            return  # gunicorn refuses it once it is handed over, and the connection ends
        assert end == len(body) - len(rest)


@pytest.mark.parametrize("line", [b"", b"+2", b"0x2", b"1_0", b" 2", b"zz", b"-1", b"2 2"])
def test_a_size_that_is_no_number_ends_the_body_at_once(line: bytes) -> None:
    framing = ChunkedBody(LIMIT)
    received = bytearray(line + b"\r\nab\r\n0\r\n\r\n" + NEXT)
    assert framing.end(received) == len(received)
    assert framing.is_cut


@pytest.mark.parametrize("chunk", [1, 7, 5000, 100_000])
def test_a_body_without_end_is_cut_soon_after_the_limit_with_enough_to_see_that_it_is_over(chunk: int) -> None:
    framing, received = ChunkedBody(LIMIT), bytearray()
    piece = b"%x\r\n%b\r\n" % (chunk, b"x" * chunk)
    end = None
    while end is None:
        received += piece
        end = framing.end(received)
        assert len(received) < 50 * LIMIT + len(piece)
    assert framing.is_cut
    parsed: Any = next(http.get_parser(Config(), iter([HEADER + bytes(received[:end])]), None))
    assert parsed.body.read(LIMIT + 1) == b"x" * (LIMIT + 1)


def test_padding_around_a_few_bytes_of_data_is_cut() -> None:
    framing, received = ChunkedBody(LIMIT), bytearray()
    while framing.end(received) is None:
        received += b"1;" + b"a" * 500 + b"\r\nx\r\n"
        assert len(received) < 100 * LIMIT
    assert framing.is_cut


def test_a_counted_body_over_the_limit_is_not_waited_for() -> None:
    assert CountedBody(LIMIT, LIMIT).end(bytearray(LIMIT - 1)) is None
    assert CountedBody(LIMIT, LIMIT).end(bytearray(LIMIT + 9)) == LIMIT
    over = CountedBody(LIMIT + 1, LIMIT)
    assert (over.end(bytearray()), over.is_cut, over.most_bytes) == (0, True, 0)


@given(st.data())
def test_a_header_ends_at_its_empty_line_however_it_arrives(data: st.DataObject) -> None:
    whole = b"POST / HTTP/1.1\r\nHost: a\r\nX: \rb\r\n\r\n"
    received, searched = bytearray(), 0
    while len(received) < len(whole) - 1:
        piece = data.draw(st.integers(1, len(whole) - 1 - len(received)))
        received += whole[len(received) : len(received) + piece]
        assert header_end(received, searched) is None
        searched = len(received)
    received += whole[-1:] + NEXT
    assert header_end(received, searched) == len(whole)


@pytest.mark.parametrize("lines", [b"GET / HTTP/1.1\n", b"GET / HTTP/1.1\r\nHost: a\n", b"GET / HTTP/1.1\r\n\nHost: a"])
def test_a_line_feed_alone_ends_the_waiting(lines: bytes) -> None:
    received = bytearray()
    for searched, byte in enumerate(lines):
        received.append(byte)
        if (end := header_end(received, searched)) is not None:
            break
    assert end == len(received) == lines.replace(b"\r\n", b"  ").index(b"\n") + 1
