"""Tables: headings, wrapping, and names that stay whole. No outside source."""

from __future__ import annotations

import pytest

from accord_service.cli.columns import say_table
from accord_service.cli.output import Output

ROWS = [
    ("people.shell_grown_most", "20 %", "Up to this share of cotton, woven cloth of a garment is taken for a shell"),
    ("dye.natural_share_main", "50 %", "short"),
]


def table(capsys: pytest.CaptureFixture[str], width: int, rows: list[tuple[str, ...]]) -> list[str]:
    say_table(Output(width, "utf-8"), ("limit", "value", "what it says"), rows, none="None.")
    return capsys.readouterr().out.splitlines()


@pytest.mark.parametrize("width", [60, 80, 100])
def test_no_line_is_longer_than_the_terminal_and_nothing_is_lost(
    capsys: pytest.CaptureFixture[str], width: int
) -> None:
    lines = table(capsys, width, ROWS)
    assert max(map(len, lines)) <= width
    assert lines[0].split() == ["LIMIT", "VALUE", "WHAT", "IT", "SAYS"]
    starts = [lines[0].index(word) for word in ("LIMIT", "VALUE", "WHAT")]
    column = " ".join(line[starts[2] :].strip() for line in lines[1:])
    assert column == " ".join(row[2] for row in ROWS)
    assert [line[starts[0] : starts[1]].strip() for line in lines[1:] if line[starts[0]] != " "] == [r[0] for r in ROWS]


def test_a_name_is_broken_only_where_nothing_else_helps(capsys: pytest.CaptureFixture[str]) -> None:
    names = [(f"a-name-of-{'many-' * 4}words", f"another-{'rather-' * 4}long-one", "x" * 12)]
    lines = table(capsys, 40, list(names))
    assert max(map(len, lines)) <= 40
    whole = "".join("".join(line.split()) for line in lines[1:])
    assert sorted(whole) == sorted("".join(names[0]))


def test_no_rows_are_a_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    assert table(capsys, 80, []) == ["  None."]
