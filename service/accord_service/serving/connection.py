"""What the reactor remembers of one client's connection."""

from __future__ import annotations

import enum
import socket
import time
from dataclasses import dataclass, field
from typing import Any

from accord_service.serving.exchange import Exchange
from accord_service.serving.passage import Passage

_NEVER = float("inf")


class Phase(enum.Enum):
    """What a connection waits for."""

    READING = "reading"  # waits for a request, or for the rest of one
    ANSWERING = "answering"  # its request is with a lane; the client need do nothing
    PASSING = "passing"  # the same, and its body and answer pass through meanwhile
    SENDING = "sending"  # waits until the client has taken the answer
    LINGERING = "lingering"  # all is sent and the end announced; what the client still sends is thrown away


@dataclass(eq=False, slots=True)
class ClientConnection:
    """Changed by the reactor alone. Times are seconds of the monotonic clock, sizes bytes.

    ``received`` is what came and belongs to no request yet; ``exchange`` the request whose header has been read;
    ``searched`` how far ``received`` was searched for a header's end; ``watched`` the selector's events; ``held`` the
    ``size`` that the reactor has counted.
    """

    sock: socket.socket
    client: Any
    server: Any
    received: bytearray = field(default_factory=bytearray)
    searched: int = 0
    exchange: Exchange | None = None
    unsent: memoryview = field(default_factory=lambda: memoryview(b""))
    keeps: bool = False
    phase: Phase = Phase.READING
    since_s: float = 0.0
    deadline_s: float = _NEVER
    watched: int = 0
    held: int = 0

    def enter(self, phase: Phase, most_s: float = _NEVER) -> None:
        """From now on in ``phase``, for at most ``most_s`` seconds."""
        self.phase = phase
        self.since_s = time.monotonic()
        self.deadline_s = self.since_s + most_s

    def end_within(self, most_s: float) -> None:
        """Bring the deadline forward, if it is later than that."""
        self.deadline_s = min(self.deadline_s, time.monotonic() + most_s)

    @property
    def is_idle(self) -> bool:
        """Nothing of a request has come."""
        return self.phase is Phase.READING and not self.received and self.exchange is None

    @property
    def size(self) -> int:
        """Bytes that are held for it now."""
        request = 0 if self.exchange is None else self.exchange.size
        passing = 0 if self.passage is None else self.passage.size
        return len(self.received) + request + len(self.unsent) + passing

    @property
    def passage(self) -> Passage | None:
        """Where the bytes of its request pass through, if they do."""
        return None if self.exchange is None else self.exchange.passage

    @property
    def depends_on_client(self) -> bool:
        """Whether the client's doing, and not ours, is waited for."""
        return self.phase not in (Phase.ANSWERING, Phase.PASSING)
