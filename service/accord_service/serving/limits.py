"""How long a client may take, and how much the reactor holds for clients."""

from __future__ import annotations

from dataclasses import dataclass

from accord_service.run.config import Config


@dataclass(frozen=True, slots=True, kw_only=True)
class ClientLimits:
    """Seconds and bytes. A transfer (a body, or an answer) of n bytes has ``transfer_s`` and n / ``transfer_rate``
    seconds: that is a least rate which needs no measuring.

    ``keep_alive_s`` is how long a connection may wait for its next request, ``linger_s`` how long a closed one is read
    on, so that the client gets the answer and no reset.
    """

    body_limit: int
    header_s: float
    transfer_s: float
    transfer_rate: float
    keep_alive_s: float
    connections: int
    passing_s: float = 30.0
    linger_s: float = 2.0
    header_limit: int = 32 * 1024
    held: int = 64 * 1024 * 1024

    @classmethod
    def of(cls, config: Config, keep_alive_s: float, connections: int) -> ClientLimits:
        """From the configuration; ``keep_alive_s`` and ``connections`` are gunicorn's own settings."""
        return cls(
            body_limit=config.body_limit,
            header_s=config.header_seconds,
            transfer_s=config.transfer_seconds,
            transfer_rate=config.transfer_rate,
            passing_s=config.lines_seconds,
            keep_alive_s=keep_alive_s,
            connections=connections,
        )

    def passing_most_s(self, size: int) -> float:
        """How long a client may let wait, in all, while ``size`` bytes of a request that is answered line by line pass
        through: somebody may be writing the lines."""
        return self.passing_s + size / self.transfer_rate

    def transfer_most_s(self, size: int) -> float:
        """How long ``size`` bytes may take on their way, in seconds."""
        return self.transfer_s + size / self.transfer_rate
