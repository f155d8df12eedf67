"""What passed its trial on this machine before, so that no start of a program tries it again.

A trial is remembered as an empty file in the user's cache, named after what was tried and who tried it; files of other
users count for nothing. Nothing is signed: whoever can write files as this user could change the code itself. Where
there is no cache that can be written, each start tries the book anew, which takes it a second longer and changes
nothing else.
"""

from __future__ import annotations

import os
import platform
from contextlib import suppress
from functools import cache
from importlib.metadata import version
from pathlib import Path
from stat import S_ISREG

from accord_rules.authority import code_digest
from accord_rules.documents.canonical import digest
from accord_rules.documents.files import Documents

EXAMPLES = "examples"
"""The loader tried each example of the book's rules and steps."""
WHOLE = "whole"
"""The engine was tried as well, in a process of its own, and the authority passed its own test."""


@cache
def trier() -> str:
    """Whose trial of a revision is relied on: this code's, with this engine, interpreter and kind of machine."""
    engine = version("durable-rules")
    return digest(
        [code_digest(), engine, platform.python_implementation(), platform.python_version(), platform.machine()]
    )


def passed(trial: str, documents: Documents) -> bool:
    """Whether this user's programs remember that these documents passed it."""
    with suppress(OSError, RuntimeError):  # no home, or none of one's own
        mark = _mark(trial, documents).lstat()
        return S_ISREG(mark.st_mode) and mark.st_uid == os.geteuid()
    return False


def remember(trial: str, documents: Documents) -> None:
    """Only after they passed. A cache that can't be written is no failure: see above."""
    with suppress(OSError, RuntimeError):
        mark = _mark(trial, documents)
        mark.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        mark.touch()


def _mark(trial: str, documents: Documents) -> Path:
    """Raises RuntimeError where the user has no home."""
    named = Path(os.environ.get("XDG_CACHE_HOME", ""))
    # The XDG base directory specification has a relative one ignored.
    cache_home = named if named.is_absolute() else Path.home() / ".cache"
    name = digest([trial, trier(), documents]).removeprefix("sha256:")
    return cache_home / "platen-accord" / "tried" / name
