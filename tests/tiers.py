"""How long a run of the tests draws: as README's command does, as CI does with every change, as the night does.

What stands first is short enough for whoever changes a line; CI draws longer (``ACCORD_LONG=1``), and the night longest
(``ACCORD_NIGHTLY=1``). A test that is such a longer draw, or looks once more from further away for what shorter tests
find in its parts, is marked ``long`` or ``nightly`` (``markers.py``).
"""

from __future__ import annotations

import os
from typing import TypeVar

Length = TypeVar("Length")

NIGHTLY = os.environ.get("ACCORD_NIGHTLY") == "1"
LONG = NIGHTLY or os.environ.get("ACCORD_LONG") == "1"


def of_this_run(short: Length, long: Length, nightly: Length) -> Length:
    """The length, count or choice for this run, of those for README's command, for CI and for the night."""
    return nightly if NIGHTLY else long if LONG else short
