"""``accord recommend``."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from accord_rules.weigh.scales import Scales

FREE: dict[str, Any] = {
    "reference": "ML-3",
    "item": {"blank": "cushion-polyester-white"},
    "decorations": [{"placement": "front", "size": {"width": "200 mm", "height": "200 mm"}}],
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
    demo = Path(__file__).parents[2] / "demo"
    shop, file = demo / "shops/harbour-lane.toml", demo / "orders/004-phone-inserts-hand-held-400f-85s.json"
    options = ("recommend", "--local", "--shop", str(shop))
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
    assert f"PLAN 1 {decoration['transfer']} on {best['press']}" in page
    assert f"temperature {temperature} on the display; anything from {least} to {most} will do" in page
    assert window["because"]
    assert all(f"surface: {reason}" in page for reason in window["because"])
    assert decoration["steps"]
    for number, step in enumerate(decoration["steps"], start=1):
        assert f"{number}. {step['text']}" in page
    assert all(f"{layer['what']}" in page and layer["face"] in page for layer in decoration["stack"])
    sentences = best["cautions"] + best["conditions"] + best["reasons"]
    assert sentences
    assert all(sentence in page for sentence in sentences)


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
    monkeypatch.setattr(Scales, "allowance", lambda self: lambda: False)
    done = alone("recommend", "--local", order("free", FREE))
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
