"""Python looks for this file by itself when it starts: it sets the clock of a process by the seconds that a file says.

The library of faketime breaks Python's own sleeping, so processes of Python that belong to a town with a faked clock
have this folder on their path instead. The monotonic clock is left alone, as by whoever sets a real clock.
"""

import os
import time
from pathlib import Path

_real_time = time.time
_offset = Path(os.environ["FAKETIME_TIMESTAMP_FILE"])


def _set_time() -> float:
    return _real_time() + float(_offset.read_text(encoding="ascii") or 0)


time.time = _set_time
