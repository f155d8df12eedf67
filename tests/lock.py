"""Write the pinned requirements: what pip resolves pyproject's floors to, versions only, no host, no path."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]
HEADER = "# Pinned by `make lock` from pyproject.toml's floors. Versions only: any package index will do.\n"


def resolve(requirements: list[str]) -> dict[str, str]:
    """Distribution name to version, for the requirements and all they need."""
    report = subprocess.run(
        [
            sys.executable,
            "-m",
            "pip",
            "install",
            "--quiet",
            "--dry-run",
            "--ignore-installed",
            "--report",
            "-",
            *requirements,
        ],
        check=True,
        capture_output=True,
        text=True,
    )
    packages = (package["metadata"] for package in json.loads(report.stdout)["install"])
    return {package["name"].lower().replace("_", "-"): package["version"] for package in packages}


def main() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    runtime = [requirement for requirement in project["dependencies"] if not requirement.startswith("platen-accord")]
    run = resolve(runtime)
    everything = resolve([*runtime, *project["optional-dependencies"]["dev"]])
    write(ROOT / "service/requirements.lock", {name: everything[name] for name in run})
    write(ROOT / "tests/requirements.lock", {name: v for name, v in everything.items() if name not in run})


def write(file: Path, pins: dict[str, str]) -> None:
    file.write_text(HEADER + "".join(f"{name}=={version}\n" for name, version in sorted(pins.items())))


if __name__ == "__main__":
    main()
