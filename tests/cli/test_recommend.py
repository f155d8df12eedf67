"""``accord recommend``."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from accord_rules.orders.sheet import PRESSINGS
from accord_rules.revision.book import Book
from accord_rules.verdict import STAGES
from accord_rules.weigh.scales import Scales
from accord_service.api.plan_words import PRESSING_WORDS, STAGE_WORDS
from accord_service.cli.card import show_recommendation
from accord_service.cli.output import Output

DEMO = Path(__file__).parents[2] / "demo"

FREE: dict[str, Any] = {
    "reference": "ML-3",
    "item": {"blank": "cushion-polyester-white"},
    "decorations": [{"placement": "face", "size": {"width": "200 mm", "height": "200 mm"}}],
    "quantity": 12,
}
HOPELESS = FREE | {
    "item": {"blank": "tee-heavy-white"},
    "decorations": [FREE["decorations"][0] | {"transfer": "dye-sublimation"}],
}


def test_settings_of_the_order_outside_the_surer_window_are_not_said_to_lie_in_it(
    accord: Any, order: Callable[..., str]
) -> None:
    """The demo's phone inserts want 400 °F on a hand-held press that is known to hold 389 °F to 397 °F everywhere."""
    shop, file = DEMO / "shops/harbour-lane.toml", DEMO / "orders/004-phone-inserts-hand-held-400f-85s.json"
    options = ("recommend", "--shipped", "--shop", str(shop))
    page = " ".join(accord(*options, str(file)).stdout.split())
    plan = json.loads(accord(*options, "--json", str(file)).stdout)["plans"][0]
    window = plan["decorations"][0]["explained"]["window"]
    ends = f"{window['least']} to {window['most']}"
    assert window["most_c"] < 204.4
    assert f"400 °F on the display; as the order says, where {ends} would be surer" in page
    document = json.loads(file.read_text(encoding="utf-8"))
    document["decorations"][0]["settings"]["temperature"] = window["most"]
    inside = " ".join(accord(*options, order("inside", document)).stdout.split())
    assert f"{window['most']} on the display; anything from {ends} will do" in inside


def test_the_card_begins_with_what_is_pressed_and_where(accord: Any, order: Callable[..., str]) -> None:
    file = order("free", FREE)
    lines = accord("recommend", file).stdout.split("\n")
    best = json.loads(accord("recommend", "--json", file).stdout)["plans"][0]
    assert lines[1] == best["piece_title"].capitalize()
    print_, press, quantity, reference = (" ".join(line.split()) for line in lines[2:6])
    assert print_ == f"Print {best['decorations'][0]['title']}, 200 mm x 200 mm, face"
    assert press == f"Press {best['press_title']}"
    assert press.endswith(f"“{best['press']}”")
    assert (quantity, reference) == ("Quantity 12", "Reference ML-3")


def test_a_plan_shows_settings_with_their_window_and_numbered_steps(accord: Any, order: Callable[..., str]) -> None:
    file = order("free", FREE)
    done = accord("recommend", file)
    document = json.loads(accord("recommend", "--json", file).stdout)
    assert done.exit_code == 0
    page = " ".join(done.stdout.split())
    best = document["plans"][0]
    decoration = best["decorations"][0]
    temperature, window = decoration["explained"]["temperature"], decoration["explained"]["window"]
    least, most = window["least"], window["most"]
    assert f"PLAN 1 {best['verdict']}" in page
    assert f"temperature {temperature} on the display; anything from {least} to {most} will do" in page
    assert window["because"]
    assert all(f"surface: {reason}" in page for reason in window["because"])
    assert decoration["steps"]
    for number, step in enumerate(decoration["steps"], start=1):
        assert f"{number}. {step['text']}" in page
    assert all(
        f"{layer['what']}" in page and layer["face"] in page
        for stack in decoration["stacks"]
        for layer in stack["layers"]
    )
    sentences = best["cautions"] + best["conditions"] + best["reasons"]
    assert sentences
    assert all(sentence in page for sentence in sentences)


def in_the_box(page: str) -> list[list[str]]:
    """The words of each framed line, frame by frame."""
    boxes: list[list[str]] = []
    for line in page.splitlines():
        if "┌" in line:
            boxes.append([])
        if "│" in line and line.strip(" │"):
            boxes[-1].append(" ".join(line.strip(" │").split()))
    return boxes


def demo(accord: Any, number: str, shop: str) -> tuple[str, dict[str, Any]]:
    """The page and the best plan of an order of the demo."""
    (file,) = (DEMO / "orders").glob(f"{number}-*.json")
    options = ("recommend", "--shipped", "--shop", str(DEMO / f"shops/{shop}.toml"))
    return accord(*options, str(file)).stdout, json.loads(accord(*options, "--json", str(file)).stdout)["plans"][0]


def test_the_settings_stand_large_one_a_line(accord: Any) -> None:
    """Common practice, no source: what is set on the press is read from an arm's length."""
    page, plan = demo(accord, "015", "kiln-corner")
    explained = plan["decorations"][0]["explained"]
    assert in_the_box(page) == [[f"DISPLAY {explained['temperature']}", "TIME 3 min", "PRESSURE MEDIUM", "PEEL HOT"]]
    assert explained["time_s"] == 180


def test_every_pressing_stands_in_the_order_of_the_hands(accord: Any) -> None:
    """Common practice, no source: the adhesive goes on before the foil."""
    page, plan = demo(accord, "039", "kiln-corner")
    explained = plan["decorations"][0]["explained"]
    (adhesive,) = explained["pressings"]
    (box,) = in_the_box(page)
    assert box[1] == "ADHESIVE"
    assert box[2:4] == [f"DISPLAY {adhesive['temperature']}", f"TIME {adhesive['time']}"]
    assert box[6:9] == ["PRESS", f"DISPLAY {explained['temperature']}", f"TIME {explained['time']}"]
    assert box[0] == f"PRE-PRESS {explained['pre_press']}, without the print"


def test_a_layer_that_is_only_tacked_is_named_so(accord: Any) -> None:
    """Common practice, no source: a lower layer is tacked, the last has the full time."""
    page, plan = demo(accord, "045", "harbour-lane")
    lower, upper = in_the_box(page)
    assert lower[1:4] == ["TACK", "DISPLAY 305 °F", "TIME 3 s"]
    assert not any(line in lower for line in ("PRESS", f"TIME {plan['decorations'][0]['explained']['time']}"))
    assert f"TIME {plan['decorations'][1]['explained']['time']}" in upper
    # Nor is the press set to the time that the layer would have by itself.
    assert "Set the press to 305 °F on its display, 3 s and medium pressure;" in " ".join(page.split())


def test_several_prints_have_a_part_each_and_say_once_what_stands_once(accord: Any) -> None:
    page, plan = demo(accord, "043", "harbour-lane")
    assert page.index("PRINT 1 OF 2") < page.index("PRINT 2 OF 2")
    flat = " ".join(page.split())
    steps = [step for index in plan["sequence"] for step in plan["decorations"][index]["steps"]]
    assert all(f" {number}. {step['text']}" in flat for number, step in enumerate(steps, start=1))
    for once in ("goods-against-ticket", "sleeves-and-hair-back", "first-wrong", "press-off", "wash"):
        (text,) = (step["text"] for step in steps if step["id"] == once)
        assert flat.count(text) == 1
    assert f"Until the first wash: {plan['first_wash']}." in flat
    assert "Until it may be stacked: 5 min." in flat


@pytest.mark.parametrize(
    ("number", "shop"), [("015", "kiln-corner"), ("045", "harbour-lane"), ("013", "kiln-corner"), ("021", "mill-steps")]
)
def test_a_card_says_titles_and_times_in_one_style(accord: Any, number: str, shop: str, book: Book) -> None:
    """Common practice, no source: nobody at a press knows an id, or counts 180 s."""
    page, plan = demo(accord, number, shop)
    card = page[: page.index("─" * 80)]
    ids = {*book.catalogue["products"], *book.catalogue["consumables"]}
    assert not [name for name in ids if "-" in name and name in card]
    assert not [seconds for seconds in re.findall(r"\b(\d+) s\b", card) if int(seconds) >= 120]
    order_of = [
        plan["piece_title"][1:],
        "DISPLAY",
        "Stack, from the heat down",
        "Check first",
        "Let cool",
        "Waiting times",
    ]
    places = [card.index(words) for words in order_of]
    assert places == sorted(places)


def test_what_has_to_be_done_is_told_beside_the_settings(accord: Any) -> None:
    page, plan = demo(accord, "004", "harbour-lane")
    assert plan["verdict"] == "conditional"
    assert page.index("ONLY IF") < page.index("DISPLAY") < page.index("Must be done") < page.index("Waiting times")
    assert "ONLY IF" not in demo(accord, "017", "kiln-corner")[0]


def test_arrows_show_which_way_faces_look(accord: Any) -> None:
    """Common practice, no source: on a panel pressed from the back, its coated face meets the printed side below."""
    page, _ = demo(accord, "013", "kiln-corner")
    lines = page[page.index("Stack, from") : page.index("Check first")].splitlines()
    assert next(line for line in lines if "coated aluminium panel" in line).startswith("    ────▼────")
    assert next(line for line in lines if "sublimation paper" in line).startswith("    ────▲────")
    assert next(line for line in lines if "heated platen" in line).startswith("    █████████")


@pytest.mark.long
def test_the_card_in_ascii(own_process: Any, order: Callable[..., str]) -> None:
    done = own_process("recommend", "--shipped", order("free", FREE), PYTHONIOENCODING="ascii", COLUMNS="60")
    text = done.stdout.decode("ascii")
    assert "?" not in text
    assert "\n  |   TIME" in text
    assert max(map(len, text[: text.index("-" * 60)].splitlines())) <= 60
    assert not re.search(r"\d\n +deg[CF]\b", text)


def test_all_stages_and_pressings_have_words() -> None:
    assert tuple(STAGE_WORDS) == STAGES
    assert tuple(PRESSING_WORDS) == PRESSINGS


def test_a_press_in_the_hand_is_lifted_and_a_bench_press_opened(accord: Any) -> None:
    """Common practice, no source: a hand-held press has nothing to open."""
    by_hand, _ = demo(accord, "002", "harbour-lane")
    on_bench, _ = demo(accord, "045", "harbour-lane")
    assert "\n  Lift\n" in by_hand
    assert "\n  Open\n" not in by_hand
    assert "\n  Open\n" in on_bench
    assert "\n  Lift\n" not in on_bench


def test_a_pressing_without_words_is_on_the_card_and_a_dwell_outside_is_not_said_to_be_usual(
    accord: Any, order: Callable[..., str], capsys: pytest.CaptureFixture[str]
) -> None:
    """A service may know pressings that this command does not; common practice, no source."""
    document = json.loads(accord("recommend", "--json", order("free", FREE)).stdout)
    explained = document["plans"][0]["decorations"][0]["explained"]
    new = {key: explained[key] for key in ("temperature", "time", "time_s", "time_window", "pressure_shown", "peel")}
    explained["pressings"].append(
        {**new, "name": "ironed", "temperature_window": None, "heat": {"interface_c": None, "text": "no estimate"}}
    )
    explained["time_s"] = explained["time_window"]["most_s"] + 20
    show_recommendation(Output(80, "utf-8"), "free", document, 1)
    page = " ".join(capsys.readouterr().out.split())
    assert page.index("IRONED") < page.index("Stack, from the heat down")
    assert re.search(r"time [^;]+; as the order says, where .+? would be surer", page)


def test_no_plan_says_what_stands_in_the_way(accord: Any, order: Callable[..., str]) -> None:
    file = order("hopeless", HOPELESS)
    done = accord("recommend", file)
    assert done.exit_code == 1
    assert "No way to do" in done.stdout
    page = " ".join(done.stdout.split())
    document = json.loads(accord("recommend", "--json", file).stdout)
    findings = [finding for out in document["ruled_out"] for finding in out["findings"]]
    assert findings
    assert all(f"{finding['title']} [rule {finding['rule']}]" in page for finding in findings)


def test_it_says_when_not_every_combination_was_weighed(accord: Any, order: Callable[..., str]) -> None:
    square = {"width": "60 mm", "height": "60 mm"}
    open_ = [{"placement": placement, "size": square} for placement in ("front", "back") * 5]  # of two transfers each
    many = order("many", FREE | {"decorations": open_})
    assert json.loads(accord("recommend", "--json", many).stdout)["complete"] is False
    sentence = "of each decoration only the best transfers were combined"
    assert sentence in " ".join(accord("recommend", many).stdout.split())
    assert sentence not in " ".join(accord("recommend", order("free", FREE)).stdout.split())


def test_that_nothing_was_found_so_far_is_not_that_there_is_nothing(
    alone: Any, order: Callable[..., str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Scales, "allowance", lambda self, _most=0: lambda: False)
    done = alone("recommend", "--shipped", order("free", FREE))
    assert done.exit_code == 1
    assert "No way found so far to do" in done.stdout
    assert "other ways may well exist" in " ".join(done.stdout.split())


def test_wishes_change_the_question(accord: Any, order: Callable[..., str]) -> None:
    file = order("free", FREE | {"prefer": ["cost"]})
    own = json.loads(accord("recommend", "--json", file).stdout)
    wished = json.loads(accord("recommend", "--json", "--prefer", "durability", "--prefer", "cost", file).stdout)
    answer = json.loads(
        accord("recommend", "--json", "-", stdin=json.dumps(FREE | {"prefer": ["durability", "cost"]})).stdout
    )
    assert wished == answer
    assert wished["plans"][0]["reasons"] != own["plans"][0]["reasons"]


def test_as_many_plans_as_wished(accord: Any, order: Callable[..., str]) -> None:
    file = order("free", FREE)
    count = len(json.loads(accord("recommend", "--json", file).stdout)["plans"])
    assert count > 1
    assert accord("recommend", file).stdout.count("PLAN ") == 1
    assert "Further ways" in accord("recommend", file).stdout
    every = accord("recommend", "--plans", str(count), file).stdout
    assert every.count("PLAN ") == count
    assert "Further ways" not in every


def test_wrong_use_and_malformed_orders(accord: Any, order: Callable[..., str]) -> None:
    assert accord("recommend", "--prefer", "beauty", order("free", FREE)).exit_code == 2
    assert accord("recommend", "--plans", "0", order("free", FREE)).exit_code == 2
    refused = accord("recommend", order("odd", FREE | {"weather": "fine"}))
    assert refused.exit_code == 2
    assert "/weather" in refused.stdout
    raw = accord("recommend", "--json", order("odd", FREE | {"weather": "fine"}))
    assert raw.exit_code == 2
    assert json.loads(raw.stdout)["errors"][0]["pointer"] == "/weather"


def test_where_there_is_no_way_the_nearest_is_told(alone: Any, order: Callable[..., str]) -> None:
    """The first of the remedies that validating the order gives, each of which was itself validated."""
    file = order("hopeless", HOPELESS)
    done = alone("recommend", "--shipped", file)
    assert done.exit_code == 1
    (verdict,) = json.loads(alone("validate", "--shipped", "--json", file).stdout)
    assert verdict["verdict"] == "rejected"
    page = " ".join(done.stdout.split())
    assert f"The nearest way {verdict['remedies'][0]['text']} Then it is {verdict['remedies'][0]['verdict']}." in page
    assert "The nearest way" not in alone("recommend", "--shipped", order("free", FREE)).stdout


def test_what_a_plan_assumes_is_told_where_it_is_asked_for(alone: Any, order: Callable[..., str]) -> None:
    file = order("free", FREE)
    plan = json.loads(alone("recommend", "--shipped", "--json", file).stdout)["plans"][0]
    (verdict,) = json.loads(alone("validate", "--shipped", "--json", order("plan", plan["order"])).stdout)
    page = " ".join(alone("recommend", "--shipped", "--why", file).stdout.split())
    assert verdict["assumed"]
    assert all(of["shown"] in page for of in verdict["assumed"])
    assert "Not said, so taken as" in page
    assert "Not said, so taken as" not in alone("recommend", "--shipped", file).stdout
