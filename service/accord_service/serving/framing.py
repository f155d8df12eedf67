"""Where a request ends in the bytes received so far.

This decides only when a request is handed over; what its bytes mean is gunicorn's alone to say. Framing that is
doubtful counts as ended, so that gunicorn refuses it (RFC 9112 sections 2.2, 6.3 and 7.1).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Protocol

_HEADER_END = b"\r\n\r\n"
_CHUNK_SIZE = re.compile(rb"([0-9A-Fa-f]{1,15})[ \t]*(?:;.*)?", re.DOTALL)
_LONGEST_SIZE_LINE = 8190  # bytes, as in gunicorn
# gunicorn reads in steps of at least 1 KiB and fails where a step finds less and no end, so a body that is over the
# limit is given with this many bytes more than the limit.
_READ_AHEAD = 4096
# A body sent in chunks of one byte takes six bytes for each; more than that is padding.
_FRAMING_MOST = 8


def header_end(received: bytearray, searched: int = 0) -> int | None:
    """How many bytes the header takes with its empty line; None while it is not whole.

    ``searched``: how many of the bytes were looked at before. A line feed on its own ends no line, so everything up to
    there is given as the header.
    """
    start = max(0, searched - len(_HEADER_END) + 1)
    end = received.find(_HEADER_END, start)
    stop = end + len(_HEADER_END) if end >= 0 else len(received)
    if received.count(b"\n", start, stop) != received.count(b"\r\n", max(0, start - 1), stop):
        return stop
    return stop if end >= 0 else None


class BodyFraming(Protocol):
    """How the end of one body is found."""

    @property
    def is_cut(self) -> bool:
        """Whether what ``end`` gives is not all of it, or makes no sense: no request can follow."""

    @property
    def most_bytes(self) -> int:
        """How many bytes of data are waited for."""

    def end(self, received: bytearray) -> int | None:
        """How many bytes the body takes; None while it is not whole."""


@dataclass(frozen=True, slots=True)
class CountedBody:
    """A body of ``length`` bytes. One over the limit is not waited for: its length alone gets it refused."""

    length: int
    limit: int

    @property
    def is_cut(self) -> bool:
        """Whether the length announced is over the limit."""
        return self.length > self.limit

    @property
    def most_bytes(self) -> int:
        """The length announced; none of a body over the limit."""
        return 0 if self.is_cut else self.length

    def end(self, received: bytearray) -> int | None:
        """The length announced, once that much has come; at once for a body that is not read."""
        if self.is_cut:
            return 0
        return self.length if len(received) >= self.length else None


@dataclass(slots=True)
class ChunkedBody:
    """A body in chunks, walked as they come. One over ``limit`` bytes of data ends a little after the limit, with
    enough there for the application to see that it is over."""

    limit: int
    is_cut: bool = False
    _next_line: int = 0
    _data_before: int = 0

    @property
    def most_bytes(self) -> int:
        """The limit, since chunks announce no length."""
        return self.limit

    def end(self, received: bytearray) -> int | None:
        """To the end of its trailers; all that came, if it is over the limit or in no chunks; None until then."""
        while (line_end := received.find(b"\r\n", self._next_line)) >= 0:
            size = _chunk_size(received[self._next_line : line_end])
            if size is None:
                return self._cut(received)
            if size == 0:
                return self._end_of_trailers(received, line_end)
            data = line_end + 2
            if len(received) < data + size + 2:
                return self._unless_over(received, len(received) - data)
            if received[data + size : data + size + 2] != b"\r\n":
                return self._cut(received)
            self._data_before += size
            self._next_line = data + size + 2
        if len(received) - self._next_line > _LONGEST_SIZE_LINE:
            return self._cut(received)
        return self._unless_over(received, 0)

    def _end_of_trailers(self, received: bytearray, last_line_end: int) -> int | None:
        # Without trailers the line of the last chunk and the empty line follow each other.
        end = received.find(_HEADER_END, last_line_end)
        return end + len(_HEADER_END) if end >= 0 else self._unless_over(received, 0)

    def _unless_over(self, received: bytearray, data_of_chunk: int) -> int | None:
        over = self._data_before + data_of_chunk > self.limit + _READ_AHEAD
        padded = len(received) > _FRAMING_MOST * (self.limit + _READ_AHEAD)
        return self._cut(received) if over or padded else None

    def _cut(self, received: bytearray) -> int:
        self.is_cut = True
        return len(received)


def _chunk_size(line: bytearray) -> int | None:
    size = _CHUNK_SIZE.fullmatch(line)
    return int(size[1], 16) if size else None
