"""``accord heat``."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from accord_rules.documents import units
from accord_service.cli.curve import Curve
from accord_service.cli.svg import svg

SVG = "{http://www.w3.org/2000/svg}"
FILM: dict[str, Any] = {
    "item": {"blank": "tee-heavy-white"},
    "decorations": [{"transfer": "cut-film", "placement": "front", "size": {"width": "90 mm", "height": "90 mm"}}],
    "press": "swing-away",
}
TOO_SHORT = FILM | {"decorations": [FILM["decorations"][0] | {"settings": {"time": "1 s"}}]}
HOPELESS = FILM | {"decorations": [FILM["decorations"][0] | {"transfer": "dye-sublimation"}]}


def columns(text: str) -> int:
    return max(len(line) for line in text.splitlines())


@pytest.mark.parametrize("width", ["40", "80", "200"])
def test_the_curve_is_drawn_with_need_ceiling_and_dwell(alone: Any, order: Callable[..., str], width: str) -> None:
    done = alone("heat", "--shipped", order("film", FILM), COLUMNS=width)
    assert done.exit_code == 0
    drawing = [line for line in done.stdout.splitlines() if "│" in line[9:12]]
    assert len(drawing) == 16
    assert columns("\n".join(drawing)) <= min(int(width), 100)
    assert all(any(mark in line for line in drawing) for mark in "█░─═")
    page = " ".join(done.stdout.split())
    assert "130 °C: the transfer takes at that, where it meets the piece" in page
    assert "165 °C: the ceiling for the surface" in page
    assert "12 s: the dwell" in page
    assert "by estimate" in page


def test_the_likely_curve_rises(alone: Any, order: Callable[..., str]) -> None:
    done = alone("heat", "--shipped", order("film", FILM))
    rows = [line[11:] for line in done.stdout.splitlines() if "│" in line[9:12]]
    places = [min(row for row, line in enumerate(rows) if line[at : at + 1] == "█") for at in (1, 8, 30, 67)]
    assert places == sorted(places, reverse=True)
    assert places[0] > places[-1]


@pytest.mark.long
def test_ascii_where_the_terminal_has_no_more(own_process: Callable[..., Any], order: Callable[..., str]) -> None:
    done = own_process("heat", "--shipped", order("film", FILM), PYTHONIOENCODING="ascii", COLUMNS="80")
    assert done.returncode == 0
    text = done.stdout.decode("ascii")
    assert "#" in text
    assert "=" in text
    assert "130 degC" in text
    assert columns(text) <= 80


def test_svg_holds_the_same(alone: Any, order: Callable[..., str], tmp_path: Path) -> None:
    file = tmp_path / "film.svg"
    done = alone("heat", "--shipped", "--svg", str(file), order("film", FILM))
    assert done.exit_code == 0
    assert str(file) in done.stdout.replace("\n", "")
    root = ET.fromstring(file.read_text(encoding="utf-8"))
    texts = " | ".join(node.text or "" for node in root.iter(f"{SVG}text"))
    assert "needed at the print: 130 °C" in texts
    assert "ceiling for the surface: 165 °C" in texts
    assert "dwell 12 s" in texts
    assert len(list(root.iter(f"{SVG}polygon"))) == 1
    style = next(root.iter(f"{SVG}style")).text or ""
    assert "prefers-color-scheme: dark" in style


def test_svg_escapes_what_it_is_told() -> None:
    flat = (20.0, 100.0)
    hostile = "<script>alert('x')</script> & more"
    curve = Curve(
        title=hostile,
        times_s=(0.0, 10.0),
        soon_c=flat,
        likely_c=flat,
        late_c=flat,
        need_c=90.0,
        ceiling_c=110.0,
        ceiling_because=hostile,
        dwell_s=8.0,
        asked_s=None,
        note=hostile,
        units=units.METRIC,
    )
    written = svg([curve])
    assert "<script" not in written
    root = ET.fromstring(written)
    assert hostile in [node.text for node in root.iter(f"{SVG}text")]


def test_a_dwell_that_will_not_do_is_shown_beside_one_that_does(
    alone: Any, order: Callable[..., str], tmp_path: Path
) -> None:
    file = tmp_path / "short.svg"
    done = alone("heat", "--shipped", "--svg", str(file), order("short", TOO_SHORT))
    assert done.exit_code == 1
    assert "shorter-than-bounds" in done.stdout
    assert "1 s: the dwell the order asks for" in " ".join(done.stdout.split())
    assert "┊" in done.stdout
    assert "asked for: 1 s" in file.read_text(encoding="utf-8")


def test_what_cannot_be_done_at_all_is_told_and_not_drawn(
    alone: Any, order: Callable[..., str], tmp_path: Path
) -> None:
    file = tmp_path / "none.svg"
    done = alone("heat", "--shipped", "--svg", str(file), order("hopeless", HOPELESS))
    assert done.exit_code == 1
    assert "No way to do" in done.stdout
    assert "█" not in done.stdout
    assert not file.exists()


def test_no_estimate_is_said(alone: Any, order: Callable[..., str]) -> None:
    stones = FILM | {"decorations": [FILM["decorations"][0] | {"transfer": "hot-fix-stones"}]}
    done = alone("heat", "--shipped", order("stones", stones))
    assert "no estimate of the heat" in " ".join(done.stdout.split())


def test_each_pressing_has_its_heat_or_why_not(alone: Any, order: Callable[..., str]) -> None:
    powder = FILM | {"decorations": [FILM["decorations"][0] | {"transfer": "powder-film"}]}
    page = " ".join(alone("heat", "--shipped", order("powder", powder)).stdout.split())
    assert re.search(r"ONCE MORE: at its end the print is (likely )?about \d+ °C", page)
    foil = FILM | {"decorations": [FILM["decorations"][0] | {"transfer": "foil-over-adhesive"}]}
    page = " ".join(alone("heat", "--shipped", order("foil", foil)).stdout.split())
    assert "ADHESIVE: no estimate of the heat: the adhesive is a sheet of its own" in page


def test_wrong_use_and_malformed_orders(alone: Any, order: Callable[..., str], tmp_path: Path) -> None:
    assert alone("heat", order("film", FILM)).exit_code == 2
    assert alone("heat", "--shipped", order("odd", FILM | {"weather": "fine"})).exit_code == 2
    assert alone("heat", "--shipped", order("bare", [1])).exit_code == 2
    nowhere = tmp_path / "no" / "such" / "folder.svg"
    assert alone("heat", "--shipped", "--svg", str(nowhere), order("film", FILM)).exit_code == 2


def test_a_service_draws_the_same_as_its_answer(accord: Any, order: Callable[..., str]) -> None:
    document = {**FILM, "press": "bench"}
    file = order("film", document)
    done = accord("heat", file)
    assert done.exit_code == 0
    heat = json.loads(accord("recommend", "--json", file).stdout)["plans"][0]["decorations"][0]["explained"]["heat"]
    page = " ".join(done.stdout.split())
    assert heat["text"][1:] in page
    assert re.search(rf"{heat['dwell_s']:g} s: the dwell", page)


def test_recommend_tells_the_estimate(accord: Any, order: Callable[..., str]) -> None:
    done = accord("recommend", order("film", {**FILM, "press": "bench"}))
    estimate = "estimate for a dry piece: has had 3 s at 130 °C (or what does as much) after"
    assert estimate in " ".join(done.stdout.split())
