"""Write the pinned requirements: what pyproject's floors resolve to, each with the hashes of every file of its release.

``python tests/lock.py`` keeps each pin that still fits, ``--upgrade`` takes the newest releases. uv resolves for all
machines and for every Python that the project allows at once. No host and no path is written: any package index will do
that serves the very same files.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path

ROOT = Path(__file__).parents[1]
OWN = "platen-accord"
HEADER = "# Pinned by `make lock` from pyproject.toml's floors. No host, no path: any package index will do.\n"
NAME = re.compile(r"[A-Za-z0-9._-]+")
# What each file pins beside those before it: the extras of pyproject that it is for; none for what every service needs.
FILES: Mapping[str, tuple[str, ...]] = {
    "service/requirements.lock": (),
    "service/embedded.lock": ("embedded",),
    "tests/requirements.lock": ("dev",),
    "tests/nightly.lock": ("nightly",),
}
# Requirements apart from the project's, each installed into an environment of its own, and their pins.
APART: Mapping[str, str] = {
    "tests/contract/generated/requirements.lock": "tests/contract/generated/requirements.txt",
}


def resolved(requirements: Iterable[str], least_python: str, preferred: str, *more: str) -> dict[str, str]:
    """Distribution name to its pin with marker and hashes, for the requirements and all they need.

    ``preferred``: pins to stay with where they fit.
    """
    with tempfile.TemporaryDirectory() as folder:
        wanted, pins = Path(folder, "wanted.in"), Path(folder, "pins.txt")
        wanted.write_text("\n".join(requirements))
        pins.write_text(preferred)
        uv = [sys.executable, "-m", "uv", "pip", "compile", "--quiet", "--universal", "--python-version", least_python]
        shape = ["--generate-hashes", "--no-header", "--no-annotate", "--no-emit-index-url", "--no-emit-find-links"]
        subprocess.run([*uv, *shape, *more, "--output-file", pins, wanted], check=True, stdout=subprocess.DEVNULL)
        return read(pins.read_text())


def read(lock: str) -> dict[str, str]:
    """Distribution name to its pins as a lock file has them: one that hangs on the Python has several."""
    pins: dict[str, str] = {}
    name = ""
    for line in lock.splitlines(keepends=True):
        if (match := NAME.match(line)) is not None:
            name = match.group()
        if name and not line.startswith("#"):
            pins[name] = pins.get(name, "") + line
    return pins


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--upgrade", action="store_true", help="take the newest releases")
    upgrade = ["--upgrade"] if parser.parse_args().upgrade else []
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    least_python = re.search(r"\d+\.\d+", project["requires-python"]).group()  # type: ignore[union-attr]
    needed = [requirement for requirement in project["dependencies"] if not requirement.startswith(OWN)]
    wanted = {file: [r for extra in extras for r in project["optional-dependencies"][extra]]
              for file, extras in FILES.items()}  # fmt: skip
    before = "".join((ROOT / file).read_text() for file in FILES if (ROOT / file).exists())
    # All at once first, so that what the tests need and what the service needs agree on one release.
    everything = resolved([*needed, *(r for more in wanted.values() for r in more)], least_python, before, *upgrade)
    pinned: set[str] = set()
    for file, more in wanted.items():
        needed += more
        names = resolved(needed, least_python, "".join(everything.values())).keys() - pinned
        (ROOT / file).write_text(HEADER + "".join(everything[name] for name in sorted(names)))
        pinned |= names
    for file, requirements in APART.items():
        kept = (ROOT / file).read_text() if (ROOT / file).exists() else ""
        pins = resolved((ROOT / requirements).read_text().splitlines(), least_python, kept, *upgrade)
        (ROOT / file).write_text(HEADER + "".join(pins[name] for name in sorted(pins)))


if __name__ == "__main__":
    main()
