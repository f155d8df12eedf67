"""``accord`` by itself, the grouped list, completion, and that help is quick and has an example. No outside source."""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import click
import click.testing
import pytest

from accord_rules.revision.book import Book
from accord_rules.revision.facts import declared
from accord_service.cli.main import COMMANDS, GROUPS, main

CLI = Path(import_module("accord_service.cli").__path__[0])


def commands(group: click.Group = main, before: str = "") -> Iterator[tuple[str, click.Command]]:
    """Every command by its whole name."""
    for name in group.list_commands(click.Context(group)):
        command = group.get_command(click.Context(group), name)
        assert command is not None
        if isinstance(command, click.Group):
            yield from commands(command, f"{before}{name} ")
        else:
            yield f"{before}{name}", command


def test_by_itself_it_says_what_to_do_first(alone: Any) -> None:
    done = alone()
    assert done.exit_code == 0
    assert max(map(len, done.stdout.splitlines())) <= 80
    lines = done.stdout.splitlines()
    for who in ("At the counter", "As an owner", "As a steward"):
        assert any(line.strip().startswith(who) for line in lines)
    page = done.stdout
    assert all(f"{group}:" in page for group in GROUPS)
    assert [name for name in COMMANDS if f"\n  {name} " not in page] == []
    assert alone("--help").stdout.count("\n  validate ") == 1


FIRST = ("validate", "recommend", "shop show", "stock add", "press calibrate", "proposal list", "propose", "book copy")


@pytest.mark.parametrize("first", FIRST)
def test_what_it_says_to_do_first_is_there(alone: Any, first: str) -> None:
    assert f"accord {first}" in " ".join(alone().stdout.split())
    assert alone(*first.split(), "--help").exit_code == 0


def not_broken(epilog: str | None) -> str:
    """The end of a help page, without the mark by which click leaves its lines as they are."""
    return (epilog or "").removeprefix("\b\n")


def test_each_has_help_with_an_example() -> None:
    every = dict(commands())
    assert len(every) > len(COMMANDS)
    assert [name for name, command in every.items() if not not_broken(command.epilog).startswith("Example: ")] == []
    assert [name for name, command in every.items() if not command.help] == []


def test_each_example_is_a_command_with_options_that_there_are() -> None:
    every = dict(commands())
    shown = [
        part.strip().split()
        for command in every.values()
        for line in not_broken(command.epilog).removeprefix("Example: ").splitlines()
        for part in line.replace(",", ";").split(";")
        if part.strip().startswith("accord ")
    ]
    assert len(shown) > 20
    for _, *words in shown:
        name = next((" ".join(words[:n]) for n in (3, 2, 1) if " ".join(words[:n]) in every), None)
        assert name is not None, words
        options = {option for parameter in every[name].params for option in parameter.opts}
        assert {word.strip('",') for word in words if word.startswith("--")} <= options, words


def test_every_limit_that_help_names_is_in_the_book(book: Book) -> None:
    named = set(re.findall(r"\b[a-z]+\.[a-z]+_[a-z_]+", " ".join(map(str, shown_of(commands())))))
    assert len(named) > 3
    assert named - set(book.limits) - set(declared()) == set()


def shown_of(every: Iterator[tuple[str, click.Command]]) -> Iterator[str]:
    """What help says of commands and their options."""
    for _, command in every:
        yield from (command.help or "", command.epilog or "")
        yield from (str(getattr(option, "help", "")) for option in command.params)


def test_no_example_is_broken_and_no_command_cut_where_a_screen_is_narrow() -> None:
    """80 columns, as terminals have had since the cards they stood in for; what is copied has to be whole."""
    for words, command in commands():
        page = click.testing.CliRunner().invoke(main, [*words.split(), "--help"], terminal_width=80).stdout
        lines = [line.strip() for line in page.splitlines()]
        wanted = not_broken(command.epilog).partition("\n\n")[0].splitlines()
        assert [line for line in map(str.strip, wanted) if line not in lines] == [], words
    groups = {" ".join(words.split()[:-1]) for words, _ in commands()} - {""}
    assert len(groups) > 8
    for words in groups:
        page = click.testing.CliRunner().invoke(main, [*words.split(), "--help"]).stdout
        cut = [line for line in page.splitlines()[1:] if line.endswith("...") and not line.endswith(" ...")]
        assert cut == [], words


HELP_OF_ALL = """
import sys
from accord_service.cli.main import main
def shown(command, words):
    for options in ([*words, "--help"], *([words] if not words else [])):
        try: main(options, prog_name="accord")
        except SystemExit: pass
    for name in getattr(command, "commands", None) or (command.list_commands(None) if not words else ()):
        shown(command.get_command(None, name), [*words, name])
shown(main, [])
others = {name.partition(".")[0] for name in sys.modules if hasattr(sys.modules[name], "__spec__")}
print(*sorted(others - sys.stdlib_module_names), file=sys.stderr)
print(*sorted({".".join(n.split(".")[:2]) for n in sys.modules if n.startswith("accord_rules.")}), file=sys.stderr)
"""


def test_no_help_imports_what_takes_long(own_process: Callable[..., subprocess.CompletedProcess[bytes]]) -> None:
    """The list and the help of each command have 0.3 s of CPU (tests/bench/bench_speed.py); the rules with what they
    rest on take most of a second to import, and the client with requests a tenth. Rooms of the rules that only say what
    an order and a book have take little."""
    done = subprocess.run([sys.executable, "-c", HELP_OF_ALL], capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout.count("Usage: accord") > 60
    packages, rooms = (set(line.split()) for line in done.stderr.splitlines()[-2:])
    assert {name for name in packages if not name.startswith(("_", "sitecustomize"))} <= {
        "accord_rules",
        "accord_service",
        "click",
        "tomlkit",
    }
    light = {f"accord_rules.{room}" for room in ("documents", "governance", "orders", "revision", "verdict")}
    assert rooms <= light


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_a_shell_is_told_how_to_complete(alone: Any, shell: str) -> None:
    done = alone("completion", shell)
    assert done.exit_code == 0
    assert f"_ACCORD_COMPLETE={shell}_complete" in done.stdout
    if program := shutil.which(shell):
        subprocess.run([program, "-n"], input=done.stdout.encode(), check=True, timeout=30)
    assert alone("completion", "tcsh").exit_code == 2


@pytest.mark.parametrize(
    ("typed", "completed"),
    [
        ("accord propo", ["propose", "proposal"]),
        ("accord limit", ["limits", "limit"]),
        ("accord proposal pub", ["publish"]),
        ("accord validate --wh", ["--why"]),
        ("accord completion z", ["zsh"]),
    ],
)
def test_a_shell_completes(own_process: Any, typed: str, completed: list[str]) -> None:
    count = str(len(typed.split()) - 1)
    done = own_process(COMP_WORDS=typed, COMP_CWORD=count, _ACCORD_COMPLETE="bash_complete")
    assert done.returncode == 0, done.stderr
    assert sorted(line.partition(",")[2] for line in done.stdout.decode().splitlines()) == sorted(completed)


def test_every_module_of_commands_is_in_the_list() -> None:
    """A command that nobody can call is forgotten in COMMANDS."""
    named = {line.module for line in COMMANDS.values()}
    for file in CLI.glob("*.py"):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        decorators = [
            ast.unparse(of) for node in tree.body if isinstance(node, ast.FunctionDef) for of in node.decorator_list
        ]
        if any(of.startswith(("click.command", "click.group")) for of in decorators) and file.stem != "main":
            assert file.stem in named, file.name
