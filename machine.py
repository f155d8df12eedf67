"""What a machine must have to build the project, and the programs that some tests use where they are there.

    python3 machine.py build       one sentence for each thing that is missing; exits 1 if there is any
    python3 machine.py missing     the Debian packages of those PROGRAMS that are not there, for apt-get; with
                                   ACCORD_NIGHTLY=1 those of NIGHTLY_PROGRAMS as well
    python3 machine.py programs    the names of all PROGRAMS

Run by the Python that is at hand before anything is installed, which may be too old for the project: so it uses the
standard library alone, and nothing that Python 3.7 does not know.
"""

from __future__ import annotations

import importlib.util
import os
import shlex
import shutil
import sys
import sysconfig
from collections.abc import Iterable

LEAST, BEYOND = (3, 11), (3, 14)  # pyproject.toml says the same
# Program to the Debian package that brings it. Nothing of the project needs them: tests that do are skipped without.
PROGRAMS = {
    "chromedriver": "chromium-driver",
    "chromium": "chromium",
    "curl": "curl",
    "git": "git",
    "node": "nodejs",
    "npm": "npm",
    "redis-server": "redis-server",
}
# What the nightly tests use beside these: a container engine and what makes its images, a clock to set, a proxy.
CONTAINERS = {"dockerd": "docker.io", "docker-compose": "docker-compose", "debootstrap": "debootstrap"}
NIGHTLY_PROGRAMS = {**CONTAINERS, "faketime": "faketime", "nginx": "nginx-light", "openssl": "openssl"}


def with_package(program: str) -> str:
    """The program with the package that brings it."""
    return f"{program} (package {({**PROGRAMS, **NIGHTLY_PROGRAMS})[program]})"


def missing(programs: Iterable[str] = PROGRAMS) -> list[str]:
    """Those of ``programs`` that are not on PATH."""
    return [program for program in programs if shutil.which(program) is None]


def faults() -> list[str]:
    """What stands in the way of building the project with this Python, a sentence each."""
    if os.name != "posix":
        return ["The service runs on Linux, and on macOS and other Unixes beside a Redis: on Windows, use WSL."]
    version = ".".join(map(str, sys.version_info[:2]))
    if not LEAST <= sys.version_info[:2] < BEYOND:
        return [f"{sys.executable} is Python {version}; 3.11, 3.12 or 3.13 is needed: make PYTHON=/path/to/python3.12"]
    found = []
    if importlib.util.find_spec("venv") is None or importlib.util.find_spec("ensurepip") is None:
        found.append(f"This Python cannot make environments: install its venv (Debian: python{version}-venv).")
    compiler = shlex.split(os.environ.get("CC", "").strip() or sysconfig.get_config_var("CC") or "cc")[0]
    if shutil.which(compiler) is None:
        found.append(f"A C compiler is needed to build durable-rules, and {compiler} is missing (Debian: gcc).")
    if not os.path.exists(os.path.join(sysconfig.get_paths()["include"], "Python.h")):
        found.append(f"Python's headers are needed to build durable-rules (Debian: python{version}-dev).")
    return found


def main() -> int:
    """Exits 2 for a word that it does not know."""
    word = sys.argv[1] if len(sys.argv) == 2 else ""
    if word == "build":
        found = faults()
        for sentence in found:
            print(sentence, file=sys.stderr)
        return 1 if found else 0
    wanted = {**PROGRAMS, **(NIGHTLY_PROGRAMS if os.environ.get("ACCORD_NIGHTLY") == "1" else {})}
    lists = {"missing": [wanted[program] for program in missing(wanted)], "programs": list(PROGRAMS)}
    if word not in lists:
        print(__doc__, file=sys.stderr)
        return 2
    print(*lists[word])
    return 0


if __name__ == "__main__":
    sys.exit(main())
