"""The version of this program, as installed."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version


def _installed() -> str:
    try:
        return version("platen-accord")
    except PackageNotFoundError:  # run from a source tree that nobody installed
        return "0+source"


VERSION = _installed()
