"""``accord validate``. Which jobs are fine, hopeless or open is common practice of the trade."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from accord_rules.load.loader import load_book
from accord_service.cli.output import Output
from accord_service.cli.show import show_verdict

FINE: dict[str, Any] = {
    "reference": "ML-1",
    "item": {"blank": "cushion-polyester-white"},
    "decorations": [{"transfer": "dye-sublimation", "size": {"width": "200 mm", "height": "200 mm"}}],
    "press": "bench",
}
WORKABLE = ("accepted", "conditional")
# Sublimation dye does not take on cotton.
HOPELESS = FINE | {"reference": "ML-2", "item": {"blank": "tee-heavy-white"}}
# A cloth whose fibres nobody names may melt.
OPEN = {"item": {"substrate": "woven"}, "decorations": [{"transfer": "cut-film"}], "press": "bench"}
BARE = FINE | {"decorations": [{"transfer": "dye-sublimation", "settings": {"temperature": 180}}]}


def test_a_fine_order_shows_its_settings_and_their_press(accord: Any, order: Callable[..., str]) -> None:
    file = order("fine", FINE)
    done = accord("validate", file)
    assert done.exit_code == 0
    assert f"{file} (ML-1)" in " ".join(done.stdout.split())
    assert "Settings on swing-away press “bench”" in done.stdout
    assert "°C on the display" in done.stdout
    assert "rejected" not in done.stdout.lower()


def test_a_hopeless_order_says_why_and_what_to_do(accord: Any, order: Callable[..., str]) -> None:
    file = order("hopeless", HOPELESS)
    done = accord("validate", file)
    (document,) = json.loads(accord("validate", "--json", file).stdout)
    assert done.exit_code == 1
    assert "REJECTED" in done.stdout
    page = " ".join(done.stdout.split())
    blocking = [finding for finding in document["findings"] if finding["level"] == "blocks"]
    assert blocking
    for finding in blocking:
        assert finding["because"] in page
        assert f"Do: {finding['fix']}" in page
        assert f"[rule {finding['rule']}]" in page
    assert "Settings" not in done.stdout


def test_only_an_order_that_can_be_done_has_settings_to_print(accord: Any, order: Callable[..., str]) -> None:
    files = [order("fine", FINE), order("hopeless", HOPELESS), order("open", OPEN)]
    fine, *others = json.loads(accord("validate", "--json", *files).stdout)
    (on,) = fine["presses"]
    assert len(on["settings"]) == len(on["sequence"]) == 1
    assert [verdict["verdict"] for verdict in others] == ["rejected", "undetermined"]
    stopped = [press for verdict in others for press in verdict["presses"]]
    assert [(press["settings"], press["sequence"]) for press in stopped] == [(None, None), (None, None)]


def test_things_are_called_by_their_titles_and_by_their_ids_for_tools_alone(
    accord: Any, order: Callable[..., str]
) -> None:
    """Both files are judged on several presses, one names what lies over and holds the print, one offers others."""
    dye = {
        "item": {"blank": "tote-polyester-white"},
        "decorations": [{"transfer": "sub-paper-fast-dry", "size": {"width": "60 mm", "height": "60 mm"}}],
    }
    undeclared = {"item": {"blank": "tee-heavy-white"}, "decorations": [{"transfer": "cut-film-pvc"}], "press": "bench"}
    undeclared["use"] = {"age_from": 2, "age_to": 5}
    files = [order("dye", dye), order("hopeless", HOPELESS), order("undeclared", undeclared)]
    documents = json.loads(accord("validate", "--json", *files).stdout)
    page = " ".join(accord("validate", *files).stdout.split())
    (settings,) = documents[0]["presses"][0]["settings"]
    titles = documents[0]["presses"][0]["titles"]
    assert titles == {
        "plain-paper": "uncoated paper",
        "heat-tape": "heat tape (polyimide with silicone adhesive)",
    }
    assert (settings["cover"], settings["tape"]) == ("plain-paper", "heat-tape")
    assert f"under {titles['plain-paper']}, with {titles['heat-tape']}" in page
    assert "Judged for swing-away press “bench”; " in page
    assert "Print on " in page, "a remedy offers another blank"
    assert "Use cut film, soft matte instead" in page, "and another a transfer in stock"
    book = load_book()
    ids = [name for kind in ("products", "blanks", "consumables") for name in book.catalogue[kind] if "-" in name]
    assert [name for name in ids if re.search(rf"(?<![\w/-]){name}(?![\w-])", page)] == []


def test_no_two_things_that_people_choose_between_have_one_title() -> None:
    book = load_book()
    for kind in ("products", "blanks", "consumables", "press_types"):
        titles = [entry.title.casefold() for entry in book.catalogue[kind].values()]
        assert len(set(titles)) == len(titles), kind


def test_the_decoration_that_is_stopped_is_told(accord: Any, order: Callable[..., str]) -> None:
    prints = [
        {"transfer": transfer, "size": {"width": "60 mm", "height": "60 mm"}}
        for transfer in ("cut-film", "glitter-film")
    ]
    job = HOPELESS | {"decorations": [*prints, *HOPELESS["decorations"]]}
    assert "(decoration 3)" in accord("validate", order("third", job)).stdout


def test_it_says_that_more_remedies_may_exist(
    alone: Any, order: Callable[..., str], monkeypatch: pytest.MonkeyPatch
) -> None:
    file = order("hopeless", {key: value for key, value in HOPELESS.items() if key != "press"})
    sentence = "there may well be"
    whole = " ".join(alone("validate", "--shipped", file).stdout.split())
    assert "What would work instead" in whole
    assert sentence not in whole
    monkeypatch.setattr("accord_rules.advise.remedies.TRIALS_MOST", 0)
    cut = " ".join(alone("validate", "--shipped", file).stdout.split())
    assert f"{sentence} a remedy." in cut
    assert "What would work instead" not in cut


def test_an_open_order_asks(accord: Any, order: Callable[..., str]) -> None:
    done = accord("validate", order("open", OPEN))
    assert done.exit_code == 3
    assert "UNDETERMINED" in done.stdout
    assert "Say it in /item/fibres." in done.stdout


def test_conditions_are_a_list_to_tick_and_said_once(accord: Any, order: Callable[..., str]) -> None:
    # A print on a child's piece sold in the US has to be tested for lead (16 CFR 1500, CPSIA section 101).
    job = FINE | {"use": {"age_from": 4, "age_to": 6, "market": "us"}}
    file = order("child", job)
    (document,) = json.loads(accord("validate", "--json", file).stdout)
    assert document["verdict"] == "conditional"
    done = accord("validate", file)
    assert done.exit_code == 0
    page = " ".join(done.stdout.split())
    for condition in document["conditions"]:
        assert page.count(condition) == 1
        assert f"[ ] {condition}" in page


def test_a_malformed_order_is_told_with_place_and_units(accord: Any, order: Callable[..., str]) -> None:
    done = accord("validate", order("bare", BARE))
    assert done.exit_code == 2
    assert "UNREAD  " in done.stdout, "as a row of a table that can't be read"
    assert accord("validate", "--brief", order("bare", BARE)).stdout.startswith("unread  ")
    assert "/decorations/0/settings/temperature" in done.stdout
    assert "(°C, °F, K)" in done.stdout


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b'{"item": {}, "item": {}}', "/item the key is given more than once"),
        (b'{"quantity": NaN}', "/quantity NaN is not a JSON value"),
        (b"{", "line 1, column 2"),
        (b"\xff", "byte 0 is not UTF-8"),
        (b"", "the body is empty"),
        (b" " * 300_000, "over 262144 bytes"),
    ],
)
def test_what_two_readers_could_read_in_two_ways(
    accord: Any, order: Callable[..., str], content: bytes, sentence: str
) -> None:
    done = accord("validate", "--brief", order("odd", content))
    assert done.exit_code == 2
    assert sentence in done.stdout


def test_the_worst_of_several_is_the_exit_code_and_none_is_left_out(accord: Any, order: Callable[..., str]) -> None:
    files = [order("1", FINE), order("2", HOPELESS), order("3", OPEN)]
    done = accord("validate", "--brief", *files)
    assert done.exit_code == 1
    fine, *others = [line.split()[0] for line in done.stdout.splitlines()]
    assert fine in WORKABLE
    assert others == ["rejected", "undetermined"]
    assert accord("validate", "--brief", files[0], files[2]).exit_code == 3
    assert accord("validate", "--brief", files[0]).exit_code == 0
    missing = accord("validate", "--brief", "no-such-file.json", *files)
    assert missing.exit_code == 2
    assert len(missing.stdout.splitlines()) == 4
    assert missing.stdout.startswith("unread       no-such-file.json: The file cannot be read: No such file")


def test_json_is_a_list_beside_the_files(accord: Any, order: Callable[..., str]) -> None:
    done = accord("validate", "--json", order("1", FINE), order("2", BARE), order("3", HOPELESS))
    assert done.exit_code == 2
    fine, bare, hopeless = json.loads(done.stdout)
    assert fine["reference"] == "ML-1"
    assert "verdict" not in bare
    assert bare["errors"][0]["pointer"] == "/decorations/0/settings/temperature"
    assert hopeless["verdict"] == "rejected"


def test_standard_input(accord: Any) -> None:
    done = accord("validate", "--brief", "-", stdin=json.dumps(FINE))
    assert done.exit_code == 0
    word, file = done.stdout.split(":")[0].split()
    assert word in WORKABLE
    assert file == "-"


def test_here_and_the_service_say_the_same(accord: Any, alone: Any, order: Callable[..., str], collective: Any) -> None:
    files = [order("1", FINE), order("2", HOPELESS), order("3", OPEN), order("4", BARE)]
    shop = str(collective / "shops" / "mill-loft.toml")
    there = accord("validate", "--json", *files)
    here = alone("validate", "--json", "--shipped", "--shop", shop, *files)
    assert here.exit_code == there.exit_code == 2
    assert json.loads(here.stdout) == json.loads(there.stdout)


def test_here_with_the_example_shop(alone: Any, order: Callable[..., str]) -> None:
    done = alone("validate", "--shipped", order("fine", FINE | {"press": "swing-away"}))
    assert done.exit_code == 0
    assert "without a service" in done.stdout
    unknown = alone("validate", "--shipped", order("unknown", FINE | {"press": "bench-99"}))
    assert unknown.exit_code == 2
    assert "/press" in unknown.stdout


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["validate"], "Missing argument"),
        (["validate", "x.json"], "--shipped"),
        (["validate", "--json", "--brief", "--shipped", "x.json"], "choose one"),
        (["validate", "--shipped", "--url", "http://127.0.0.1:1", "x.json"], "leave out --url"),
        (
            ["validate", "--url", "http://127.0.0.1:1", "--token", "t", "--shop", __file__, "x.json"],
            "go with --shipped",
        ),
        (["validate", "--url", "http://accord.example", "--token", "t", "x.json"], "--allow-insecure"),
        (["validate", "--url", "accord.example", "--token", "t", "x.json"], "no address"),
        (["validate", "--shipped", "--shop", __file__, "x.json"], "test_validate.py"),
        (["validate", "--shipped", "--book", "/", "x.json"], "fibres.toml: is missing"),
    ],
)
def test_wrong_use(alone: Any, arguments: list[str], sentence: str) -> None:
    done = alone(*arguments)
    assert done.exit_code == 2
    assert sentence in " ".join(done.stderr.split())


def test_nobody_answers(accord: Any, order: Callable[..., str]) -> None:
    done = accord("validate", "--json", order("fine", FINE), ACCORD_URL="http://127.0.0.1:1")
    assert done.exit_code == 2
    assert json.loads(done.stdout) == []
    assert "No answer" in done.stderr


def test_a_wrong_token(accord: Any, order: Callable[..., str]) -> None:
    done = accord("validate", order("fine", FINE), ACCORD_TOKEN="nobody")
    assert done.exit_code == 2
    assert "does not take this key" in done.stderr


def test_of_a_layer_that_is_only_tacked_the_tack_is_told(accord: Any) -> None:
    """Common practice, no source: a lower layer is tacked, and the time that it would have by itself is not pressed."""
    demo = Path(__file__).parents[2] / "demo"
    order, shop = demo / "orders/045-glitter-over-film.json", demo / "shops/harbour-lane.toml"
    page = " ".join(accord("validate", "--shipped", "--shop", str(shop), str(order)).stdout.split())
    (verdict,) = json.loads(accord("validate", "--shipped", "--json", "--shop", str(shop), str(order)).stdout)
    on = next(one for one in verdict["presses"] if one["press"] == verdict["judged_on"])
    assert on["pressings"] == [["tack"], ["main"]]
    tack = on["settings"][0]["pressings"]["tack"]
    lower = page[page.index("decoration 1: tack only:") : page.index("decoration 2:", page.index("tack only:"))]
    assert tack["time"] in lower
    assert on["settings"][0]["time"] not in lower


def test_why_not_on_a_press_is_told_however_many_come_before_it(
    accord: Any, order: Callable[..., str], capsys: pytest.CaptureFixture[str]
) -> None:
    (verdict,) = json.loads(accord("validate", "--json", order("fine", FINE)).stdout)
    (on,) = verdict["presses"]
    others = [{**on, "press": f"able-{number}"} for number in range(12)]
    blocked = {**on, "press": "small", "verdict": "rejected", "settings": None, "because": "Its platen is too small."}
    show_verdict(Output(80, "utf-8"), "fine", {**verdict, "presses": [on, *others, blocked]}, 1)
    assert "Not on small: Its platen is too small." in capsys.readouterr().out


def test_what_was_assumed_is_counted_and_told_with_its_reason(accord: Any, order: Any) -> None:
    """What could hurt somebody stands above all; the rest is told where it is asked for."""
    file = order("cushion", FINE)
    assumed = json.loads(accord("validate", "--json", file).stdout)[0]["assumed"]
    hurting = [of for of in assumed if of["could_hurt"]]
    others = len(assumed) - len(hurting)
    assert hurting
    assert others
    short, whole = accord("validate", file).stdout, accord("validate", "--why", file).stdout
    assert f"{others} other things were not said and taken as usual; --why tells them." in " ".join(short.split())
    assert "Not said, and taken to hold" in short
    assert short.index("Not said, and taken to hold") < short.index("Settings on")
    table = whole[whole.index("Not said, so taken as (first what could hurt somebody)") :]
    assert "WHAT" in table
    rows = [line for line in table.splitlines()[2:] if line[2:3].strip()]
    assert len(rows) == len(assumed)
    text = " ".join(table.split())
    assert all(" ".join(of["why"].split())[:12] in text for of in assumed)
    assert max(map(len, table.splitlines())) <= 80
