"""``accord book``: a copy of the book's files, to be edited and proposed."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator, Mapping
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, NamedTuple

import click
import tomlkit

from accord_rules.documents.files import (
    FOLDERS,
    ONE_A_FILE,
    SINGLE_FILES,
    BookError,
    Documents,
    read_folder,
    shipped_folder,
)
from accord_service.cli.answerers import ServiceCall, administered
from accord_service.cli.failure import Failure
from accord_service.cli.helping import Grouped, examples
from accord_service.cli.output import Output
from accord_service.cli.told import Document

# Beside the book's own files, which all end in .toml: what they are a copy of.
BASE_FILE = "revision.json"
_FORMAT = "README.md"
# For limits that no file of the shipped book has.
_FURTHER = "further.toml"


class Base(NamedTuple):
    """The revision that a copy was made of."""

    revision: int
    digest: str


@click.group(cls=Grouped)
def book() -> None:
    """The book's files, for who wants to change them."""


@book.command(
    "copy",
    epilog=examples("accord book copy my-book", "edit my-book/limits/heat-ceilings.toml", "accord propose my-book"),
)
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
@click.option("--revision", type=click.IntRange(1), help="Which revision; the present one when left out.")
@click.option("--json", "as_json", is_flag=True, help="Print revision, digest and folder as a JSON object.")
@administered
def copy(put: ServiceCall, folder: Path, revision: int | None, as_json: bool) -> None:
    """Write the files of the book into FOLDER, which must be new or empty, to be edited there.

    Entries that are as in the book that comes with this program keep its comments. FOLDER/README.md tells the format;
    `accord validate --shipped --book FOLDER ORDER.json` tries it out, `accord propose FOLDER` proposes it.
    """
    if folder.exists() and any(folder.iterdir()):
        raise Failure(f"{folder} is not empty: name a folder that is, or a new one.")
    number = put(lambda client: head_of(client.governance.revisions())) if revision is None else revision
    told = put(lambda client: client.governance.revision(number, documents=True))
    try:
        write_copy(folder, told["documents"], Base(told["revision"], told["digest"]))
    except OSError as error:
        raise Failure(f"{folder}: {error.strerror or error}") from None
    if as_json:
        click.echo(json.dumps({"revision": told["revision"], "digest": told["digest"], "folder": str(folder)}))
        return
    output = Output.of_terminal()
    output.say(f"Revision {told['revision']} of the book is in {folder}, to be edited there. Then:")
    output.say(f"accord propose {folder}", lead="    ")


def head_of(revisions: Iterator[Document]) -> int:
    """The number of the newest revision."""
    return int(next(iter(revisions))["revision"])


def read_copy(folder: Path) -> tuple[Documents, Base]:
    """What the files of a copy say, and what they are a copy of. Raises Failure."""
    try:
        base = json.loads((folder / BASE_FILE).read_text(encoding="utf-8"))
        made_of = Base(int(base["revision"]), str(base["digest"]))
    except OSError:
        raise Failure(f"{folder} is no copy of the book: accord book copy {folder} makes one.") from None
    except (ValueError, KeyError, TypeError):
        raise Failure(f"{folder / BASE_FILE} does not say revision and digest any more: make a new copy.") from None
    try:
        return read_folder(folder), made_of
    except BookError as error:
        reasons = "\n".join(f"  {folder}/{reason}" for reason in error.reasons)
        raise Failure(f"The files can't be read:\n{reasons}") from None


def write_copy(folder: Path, documents: Documents, base: Base) -> None:
    """The files of a book. Raises OSError, and Failure where they would not say what the book says."""
    shipped = shipped_folder()
    for name, content in _files(documents, shipped):
        file = folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(content, encoding="utf-8")
    (folder / _FORMAT).write_text(shipped.joinpath(_FORMAT).read_text(encoding="utf-8"), encoding="utf-8")
    (folder / BASE_FILE).write_text(json.dumps(base._asdict(), indent=2) + "\n", encoding="utf-8")
    if read_folder(folder) != documents:
        raise Failure(f"The files in {folder} do not say what the book says; do not use them.")


def _files(documents: Documents, shipped: Traversable) -> Iterator[tuple[str, str]]:
    """Name and content of each file of a book."""
    for kind in SINGLE_FILES:
        yield _file(f"{kind}.toml", documents[kind], shipped)
    for name, limits in _limits_by_file(documents["limits"], shipped).items():
        yield _file(f"limits/{name}", limits, shipped)
    for kind in ONE_A_FILE:
        for name, entry in documents[kind].items():
            yield _file(f"{kind}/{name}.toml", entry, shipped)
    for kind, field in FOLDERS.items():
        for name, entry in documents[kind].items():
            rest = {key: value for key, value in entry.items() if key != field}
            yield _file(f"{kind}/{entry[field]}/{name}.toml", rest, shipped)


def _limits_by_file(limits: Mapping[str, Any], shipped: Traversable) -> dict[str, dict[str, Any]]:
    """The limits in the files where the shipped book has them."""
    homes = {
        name: file.name
        for file in sorted(shipped.joinpath("limits").iterdir(), key=lambda file: file.name)
        for name in tomllib.loads(file.read_text(encoding="utf-8"))
    }
    by_file: dict[str, dict[str, Any]] = {}
    for name, limit in limits.items():
        by_file.setdefault(homes.get(name, _FURTHER), {})[name] = limit
    return by_file


def _file(name: str, table: Mapping[str, Any], shipped: Traversable) -> tuple[str, str]:
    """A file that says ``table``: the shipped one, with no more altered in it than differs, where there is one."""
    there = shipped.joinpath(name)
    text = there.read_text(encoding="utf-8") if there.is_file() else ""
    if tomllib.loads(text) == table:
        return name, text
    file = tomlkit.parse(text)
    _lay(file, table)
    altered = tomlkit.dumps(file)
    # What is laid into a table with its comments is checked, and written anew where the file would say something else.
    return name, altered if tomllib.loads(altered) == table else tomlkit.dumps(dict(table))


def _lay(there: Any, table: Mapping[str, Any]) -> None:
    for key in [*there]:
        if key not in table:
            del there[key]
    for key, value in table.items():
        if key in there and there[key] == value:
            continue
        if key in there and isinstance(there[key], Mapping) and isinstance(value, Mapping):
            _lay(there[key], value)
        else:
            there[key] = value
