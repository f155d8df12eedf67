"""What README.md and DEVELOPERS.md say is so: targets, files, commands and counts. No outside source."""

from __future__ import annotations

import json
import re
import shlex
import subprocess
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import pytest

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.verdict import VERDICTS
from accord_service.cli.main import main

ROOT = Path(__file__).parents[2]
PAGES = ("README.md", "DEVELOPERS.md")
TARGET = re.compile(r"^([a-z][a-z-]*):", re.MULTILINE)
PLACEHOLDER = re.compile(r"[<>*{}]|^\.|NNN")  # also what is made, as .data, and endings, as .toml
# What the recipes of DEVELOPERS.md add one more of.
COUNT = re.compile(
    r"(?<![\d.,:/])\d+\s+(?:fibres|substrates|transfer families|transfers|stocked products|products|consumables"
    r"|press types|blanks|coatings|limits|rules|sources|facts|endpoints)\b"
)


def text_of(page: str) -> str:
    return (ROOT / page).read_text(encoding="utf-8")


def code_of(page: str) -> Iterator[str]:
    """Every piece of code: indented lines, and what stands in backticks."""
    text = text_of(page)
    yield from (line.strip() for line in text.splitlines() if line.startswith("    "))
    yield from re.findall(r"`([^`\n]+)`", text)


def commands(page: str, program: str) -> list[list[str]]:
    lines = [shlex.split(code, comments=True) for code in code_of(page) if code.startswith(f"{program} ")]
    return [words for words in lines if len(words) > 1]


@pytest.mark.parametrize("page", PAGES)
def test_every_make_command_has_its_target(page: str) -> None:
    targets = set(TARGET.findall((ROOT / "Makefile").read_text(encoding="utf-8")))
    named = {words[1] for words in commands(page, "make")}
    assert named, f"{page} names no make command"
    assert named <= targets


def test_make_help_tells_of_every_target() -> None:
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    words = ["make", "-C", str(ROOT), "--no-print-directory", "help"]
    printed = subprocess.run(words, capture_output=True, text=True, timeout=60, check=True).stdout.splitlines()
    texts = {target: text for target, _, text in (line.partition(" ") for line in printed)}
    assert set(texts) == set(TARGET.findall(makefile)) >= {"demo", "test", "nightly", "gates", "bench"}
    assert all(text.strip() for text in texts.values())
    phony = re.search(r"^\.PHONY: (.+)$", makefile, re.MULTILINE)
    assert phony is not None
    assert set(phony.group(1).split()) == set(texts)


@pytest.mark.parametrize(
    "page",
    [
        *PAGES,
        "CHANGELOG.md",
        "clients/shell/README.md",
        "demo/README.md",
        "demo/plans/README.md",
        "docs/library.md",
        "docs/shop.md",
        "docs/spreadsheet.md",
        "docs/steward.md",
        "rules/accord_rules/book/README.md",
        "service/accord_service/store/README.md",
    ],
)
def test_every_file_named_is_there(page: str) -> None:
    """In backticks, with a folder or a file's ending; names with <placeholders> stand for files to be written."""
    named = {
        code
        for code in re.findall(r"`([^`\n]+)`", text_of(page))
        if not PLACEHOLDER.search(code) and " " not in code and re.fullmatch(r"[\w.-]+(?:/[\w.-]+)*/?", code)
        if "/" in code or code.endswith((".md", ".toml", ".py", ".json", ".lua", ".sh", ".yml"))
    }
    assert named, f"{page} names no file"
    assert sorted(name for name in named if not is_there(name, page)) == []


def is_there(name: str, page: str) -> bool:
    """From the root or beside the page, or, named shortly, inside the rules' or the service's package or the book."""
    bases = (
        ROOT,
        (ROOT / page).parent,
        *(ROOT / base for base in ("rules/accord_rules", "rules/accord_rules/book", "service/accord_service")),
    )
    return any((base / name).exists() for base in bases)


def test_every_room_of_the_house_is_there() -> None:
    """The first words of the drawing's lines, indented by the room they lie in."""
    text = text_of("DEVELOPERS.md")
    drawing = text[text.index("## The house") :].split("\n## ")[0]
    room, seen = ROOT, 0
    for line in drawing.splitlines():
        indent = len(line) - len(line.lstrip())
        if indent not in (4, 6) or not line.strip():
            continue
        names = re.split(r"\s{2,}", line.strip())[0].split()
        if indent == 4:
            room = ROOT / names[0]
        for name in names:
            place = room if indent == 4 else room / name
            assert place.exists(), f"{name} in {line!r}"
            seen += 1
    assert seen > 10


@pytest.mark.parametrize("page", PAGES)
def test_every_accord_command_and_option_exists(page: str, book: Book) -> None:
    named = commands(page, "accord")
    for _, name, *words in named:
        command = main.get_command(click.Context(main), name)
        assert command is not None, name
        options = {option for parameter in command.params for option in (*parameter.opts, *parameter.secondary_opts)}
        assert {word for word in words if word.startswith("-")} <= options, (name, words)
    assert named
    rules = {word for _, name, *words in named if name == "rule" for word in words if not word.startswith("-")}
    assert rules, f"{page} shows no rule"
    assert {name for name in rules if not PLACEHOLDER.search(name)} <= set(book.rules)


@pytest.mark.parametrize("page", PAGES)
def test_no_page_counts_what_a_recipe_adds_to(page: str) -> None:
    """Whoever adds a rule or a transfer as DEVELOPERS.md says must find no number that is wrong now."""
    assert COUNT.findall("it holds 35 fibres, 34\ntransfer families and 296 rules") == [
        "35 fibres",
        "34\ntransfer families",
        "296 rules",
    ]
    assert COUNT.findall(text_of(page)) == []


def test_the_verdicts_explained_are_all_verdicts() -> None:
    explained = re.findall(r"^\| `([a-z]+)` \|", text_of("README.md"), re.MULTILINE)
    assert explained == list(VERDICTS)


def order_of_readme() -> dict[str, Any]:
    body = re.search(r"-d '(\{.*?\})'", text_of("README.md"), re.DOTALL)
    assert body is not None
    document: dict[str, Any] = json.loads(body.group(1))
    return document


def test_the_order_in_the_readme_gets_the_answer_it_tells(authority: Authority) -> None:
    text = text_of("README.md")
    token = re.search(r"keys/([a-z-]+)-counter", text)
    assert token is not None
    shop = tomllib.loads((ROOT / "demo" / "shops" / f"{token.group(1)}.toml").read_text(encoding="utf-8"))
    verdict = authority.validate(read(Order, order_of_readme()), read(Shop, shop))
    assert f'`"verdict": "{verdict.verdict}"`' in text
    assert verdict.remedies
