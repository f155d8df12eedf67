"""One request and its answer, as bytes, in the shapes that gunicorn takes for a socket."""

from __future__ import annotations

import io
import re
from collections import deque
from collections.abc import Iterator
from typing import Any

from gunicorn import http

from accord_service.serving.framing import BodyFraming, ChunkedBody, CountedBody
from accord_service.serving.passage import Passage

# RFC 9110 section 7.2 and RFC 3986 section 3.2.2: a registered name, which an IPv4 address is by form and which may be
# empty, or an address in brackets; then a port, which may be empty too.
_HOST = re.compile(
    r"(?:\[[0-9A-Za-z:.\-_~!$&'()*+,;=]+\]|(?:[0-9A-Za-z\-._~!$&'()*+,;=]|%[0-9A-Fa-f]{2})*)(?::[0-9]*)?",
    re.ASCII,
)
_HOST_SINCE = (1, 1)


class AnswerBuffer:
    """Collects an answer: all that gunicorn does with a socket it writes to."""

    def __init__(self) -> None:
        self._parts: list[bytes] = []

    def sendall(self, data: bytes) -> None:
        """Collect the next bytes."""
        self._parts.append(bytes(data))

    def gettimeout(self) -> float:
        """As of a socket that does not block."""
        return 0.0

    def shutdown(self, how: int) -> None:
        """gunicorn closes the connection of an answer that broke off; this one was not sent yet and is made anew."""
        raise OSError("there is no socket")

    def close(self) -> None:
        """Nothing to close."""

    def clear(self) -> None:
        """Forget what was collected: the answer is made anew."""
        self._parts.clear()

    def content(self) -> bytes:
        """The bytes collected so far."""
        return b"".join(self._parts)


class BrokenBody(OSError):
    """A body that passes through and is not framed as HTTP has it; its cause is what gunicorn raised."""


class PassingBody:
    """The body of a request whose bytes pass through, in the pieces that they come in."""

    def __init__(self, reader: Any) -> None:
        self._pieces = _data_of(reader)
        self._left = b""

    def read(self, size: int) -> bytes:
        """What there is of it, at most ``size`` bytes; none at the end. Waits for the client, and no longer than until
        something has come.

        Raises ClientGone, BrokenBody.
        """
        try:
            data = self._left or next(self._pieces, b"")
        except http.errors.ParseException as error:
            raise BrokenBody(str(error) or type(error).__name__) from error
        self._left = data[size:]
        return data[:size]


def _data_of(reader: Any) -> Iterator[bytes]:
    if isinstance(reader, http.body.ChunkedReader):
        yield from filter(None, reader.parser)
        return
    left = reader.length
    while left:
        data = reader.unreader.read()
        if not data:
            raise http.errors.NoMoreData()
        yield data[:left]
        left -= len(data[:left])


class Exchange:
    """One request, from its parsed header on; ``sock``, ``client`` and ``server`` are what gunicorn expects.

    ``passage``: where its bytes pass through while it is answered (``pass_through``), else None.

    Raises what gunicorn raises for a header it refuses.
    """

    def __init__(self, config: Any, header: bytes, client: Any, server: Any, body_limit: int) -> None:
        self.sock: AnswerBuffer | Passage = AnswerBuffer()
        self.passage: Passage | None = None
        self.client, self.server = client, server
        self.size = len(header)
        self._body, self._body_limit = b"", body_limit
        self._pieces: deque[bytes] = deque([header])
        # An iterable instead of a socket: where the pieces end, the connection ends for gunicorn.
        self.request: Any = next(http.get_parser(config, self._received(), client))
        _refuse_hosts(self.request)
        _refuse_codings(self.request)
        self.framing = _framing_of(self.request, body_limit)
        # The reactor says "100 Continue" itself, and only while it waits for the body.
        self.expects_continue: bool = self.request._expected_100_continue
        self.request._expected_100_continue = False

    def pass_through(self, passage: Passage) -> None:
        """Have body and answer pass through instead of being held. Where the body ends only its reader knows, so the
        connection ends with it."""
        self.passage = self.sock = passage
        self.request.force_close()
        self.request.body = PassingBody(self.request.body.reader)

    def give_body(self, body: bytes) -> None:
        """All of the body that is going to come, as it was sent."""
        self._body = body
        self.size += len(body)
        if self.framing.is_cut:
            # Where the next request would start is not known.
            self.request.force_close()

    def decode_body(self) -> None:
        """Put the body's data before the application. Raises what gunicorn raises for chunks it refuses.

        Of a body over the limit the application gets one byte more than the limit, so that it can say so. A body that
        passes through is there already.
        """
        if self.passage is not None:
            return
        if isinstance(self.framing, ChunkedBody):
            self._pieces.append(self._body)
            try:
                self._body = self.request.body.read(self._body_limit + 1)
            except http.errors.NoMoreData:
                raise http.errors.InvalidChunkSize(b"no last chunk") from None
        self.request.body = io.BytesIO(self._body)

    def begin_anew(self) -> None:
        """Put the same request before the application again, as if nothing had been answered."""
        if isinstance(self.sock, AnswerBuffer):
            self.sock.clear()
            self.request.body = io.BytesIO(self._body)

    def answer(self) -> bytes:
        """What of the answer is left to send."""
        return self.sock.rest() if isinstance(self.sock, Passage) else self.sock.content()

    def _received(self) -> Iterator[bytes]:
        """The connection's bytes as gunicorn reads them: all there are, or as they come."""
        while self._pieces:
            yield self._pieces.popleft()
        if self.passage is not None:
            yield from self.passage


def _refuse_hosts(request: Any) -> None:
    """Refuse a request for no host, for several, or for one that none is called by (RFC 9112 section 3.2), which
    gunicorn lets pass. Raises InvalidHeader (400)."""
    hosts = [value.strip(" \t") for name, value in request.headers if name == "HOST"]
    if not hosts and request.version >= _HOST_SINCE:
        raise http.errors.InvalidHeader("Host, which is missing")
    if len(hosts) > 1:
        raise http.errors.InvalidHeader("Host, which is there more than once")
    if hosts and not _HOST.fullmatch(hosts[0]):
        raise http.errors.InvalidHeader("Host, which names no host")


def _refuse_codings(request: Any) -> None:
    """Refuse a body in a transfer coding that nobody here undoes: gunicorn lets gzip, deflate, compress and identity
    pass in front of chunked and gives their bytes to the application as they are. Raises UnsupportedTransferCoding
    (501, RFC 9112 section 6.1; identity is none since RFC 7230)."""
    for name, value in request.headers:
        if name == "TRANSFER-ENCODING" and value.strip(" \t").lower() != "chunked":
            raise http.errors.UnsupportedTransferCoding(value)


def _framing_of(request: Any, body_limit: int) -> BodyFraming:
    reader = request.body.reader
    if isinstance(reader, http.body.ChunkedReader):
        return ChunkedBody(body_limit)
    return CountedBody(reader.length, body_limit)
