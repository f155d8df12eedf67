"""The shop's samples on record, as the command tells of them. Orders and shop are the demo's."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from accord_service.api.examples import SHOP_STATUS
from accord_service.cli.output import Output
from accord_service.cli.show import show_shop

DEMO = Path(__file__).parents[2] / "demo"
LEANS = "It leans on sample “rash-vest-dye” of 16 February 2026 (200 °C for 45 s, looked at after 72 h and 5 washes"


def told(alone: Any, command: str, name: str) -> str:
    shop, order = DEMO / "shops" / "mill-steps.toml", DEMO / "orders" / f"{name}.json"
    return " ".join(alone(command, "--shipped", "--shop", str(shop), str(order)).stdout.split())


@pytest.mark.parametrize("command", ["validate", "recommend"])
def test_an_answer_says_which_sample_it_leans_on(alone: Any, command: str) -> None:
    assert told(alone, command, "250-rash-vests-on-the-shops-sample").count(LEANS) == 1
    assert "leans on sample" not in told(alone, command, "251-rash-vests-hotter-than-the-sample")


def test_a_sample_that_came_out_badly_is_held_against_the_order(alone: Any) -> None:
    page = told(alone, "validate", "252-mirror-film-like-the-sample-that-peeled")
    assert "Like this you pressed sample “mirror-film-on-canvas” of 2 March 2026" in page
    assert "it peeled" in page


def test_the_shops_status_tells_of_each_sample(capsys: pytest.CaptureFixture[str]) -> None:
    (sample,) = SHOP_STATUS["samples"]
    unwashed = {**sample, "id": "unwashed", "counts": False, "why_not": "It was not washed."}
    show_shop(Output(80, "utf-8"), {**SHOP_STATUS, "samples": [sample, unwashed]})
    page = " ".join(capsys.readouterr().out.split())
    assert page.count(sample["text"]) == 2
    assert f"{sample['text']} It was not washed." in page


def test_a_sample_of_no_press_of_the_shop_is_refused(alone: Any, tmp_path: Path) -> None:
    shop = tmp_path / "mill-steps.toml"
    text = (DEMO / "shops" / "mill-steps.toml").read_text(encoding="utf-8")
    shop.write_text(text.replace('press = "even-bench"\ntemperature = "200', 'press = "evenbench"\ntemperature = "200'))
    done = alone(
        "validate", "--shipped", "--shop", str(shop), str(DEMO / "orders" / "250-rash-vests-on-the-shops-sample.json")
    )
    assert done.exit_code == 2
    assert "/samples/0/press" in done.output
    assert "even-bench" in done.output
