"""Turning newcomers away before the door is shut, and until somebody is in, so that nobody is let in and left standing.

gunicorn would listen before its first worker has loaded the book: who comes in these seconds would be connected, and
wait, where a balancer could have gone to another service. So it is the first worker that is ready who listens.

A listening socket that is closed resets every connection which the kernel has set up and nobody has accepted yet: its
client believes to be connected and may have sent its request. So before a stop the kernel is told to set up no more;
then the workers take what is there already, and what comes later is refused once the last of them has closed.
"""

from __future__ import annotations

import ctypes
import logging
import socket
import struct
import sys
from typing import Any

from gunicorn.sock import BaseSocket

logger = logging.getLogger(__name__)
# linux/filter.h and asm-generic/socket.h; the one instruction is BPF_RET | BPF_K with 0: keep no byte of the packet.
_SO_ATTACH_FILTER = 26
_DROP_ALL = struct.pack("HBBI", 0x06, 0, 0, 0)


def turn_away(listener: socket.socket) -> None:
    """Let the kernel set up no further connections of ``listener``, shared by all processes that have it.

    Only Linux can do it; elsewhere, or where a sandbox forbids it, a connection may still be reset that came in the
    very moment of the closing.
    """
    if sys.platform == "linux":
        instructions = ctypes.create_string_buffer(_DROP_ALL)
        program = struct.pack("HL", 1, ctypes.addressof(instructions))
        try:
            listener.setsockopt(socket.SOL_SOCKET, _SO_ATTACH_FILTER, program)
        except OSError as error:  # a stop that can't be perfect has to be one all the same
            logger.warning("newcomers are not turned away before the stop: %s", error)


def bind_without_listening() -> None:
    """Let gunicorn's master bind its sockets and no more, so that connections are refused until ``open_door``.

    It has no setting for that, but does not listen on a socket that it takes to be listening. Those that it was given,
    by systemd or by the master that it replaces, are.
    """
    BaseSocket._is_listening = staticmethod(lambda sock: True)


def open_door(worker: Any) -> None:
    """Listen, where nobody does yet: a worker is ready."""
    for listener in worker.sockets:
        if not listener.sock.getsockopt(socket.SOL_SOCKET, socket.SO_ACCEPTCONN):
            listener.sock.listen(worker.cfg.backlog)


def turn_away_when_stopping(server: Any) -> None:
    """Let gunicorn's master do so before it closes its listeners and tells the workers; there is no hook for that."""
    stop = server.stop

    def stop_without_newcomers(graceful: bool = True) -> None:
        for listener in server.LISTENERS:
            turn_away(listener.sock)
        stop(graceful)

    server.stop = stop_without_newcomers
