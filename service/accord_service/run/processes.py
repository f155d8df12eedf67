"""Starting processes beside a thread that forks.

``subprocess`` waits at a pipe until the new process runs its program. A child that another thread forks in that moment,
as gunicorn's master forks workers, inherits the pipe's other end and keeps it open as long as it lives: the start would
never return, and whoever keeps the process alive would wait for ever.
"""

from __future__ import annotations

import os
import subprocess
import threading
from typing import Any

# Held while a process is started and while anybody forks; by the same thread twice, should a start fork itself.
_ONE_AT_A_TIME = threading.RLock()
os.register_at_fork(
    before=_ONE_AT_A_TIME.acquire,
    after_in_parent=_ONE_AT_A_TIME.release,
    after_in_child=_ONE_AT_A_TIME.release,
)


def start(*arguments: Any, **options: Any) -> subprocess.Popen[bytes]:
    """``subprocess.Popen`` of these arguments, never while another thread forks. Raises OSError as that does."""
    with _ONE_AT_A_TIME:
        return subprocess.Popen(*arguments, **options)
