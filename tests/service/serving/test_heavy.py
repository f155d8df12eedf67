"""Heavy questions of one shop, beside what another asks: the server with its own configuration and one worker."""

from __future__ import annotations

import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import pytest
import requests
from tests.service.servers import QUAY_SIDE, serving

from accord_rules.revision.book import Book

AT_ONCE = 8
PLACES = 2
PROMISED_S = 1.0


@pytest.fixture(scope="module")
def collective(open_collective: Any, book: Book) -> Any:
    """A shop with four presses and everything in stock, and another one."""
    presses = "".join(
        f'[[presses]]\nid = "press-{type_}"\ntype = "{type_}"\n' for type_ in list(book.catalogue["press_types"])[:4]
    )
    stocked = f"[stock]\nproducts = {list(book.catalogue['products'])}\nconsumables = []\n"
    large = f'id = "all-in"\nname = "All In"\nmarket = "eu"\nunit_system = "metric"\nstanding = []\n{presses}{stocked}'
    collective = open_collective([QUAY_SIDE, large], [("quay-side", "counter"), ("all-in", "counter")])
    collective.server.stop()
    return collective


@pytest.fixture
def url(collective: Any, tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[str]:
    settings = {"ACCORD_DATA": str(collective.data), "ACCORD_WORKERS": "1", "ACCORD_STORE_URL": ""}
    with serving(tmp_path, "-c", "python:accord_service.serving.gunicorn_config", **settings, **request.param) as up:
        yield f"http://127.0.0.1:{up.port}"


def ask(url: str, path: str, key: dict[str, str], order: dict[str, Any]) -> requests.Response:
    return requests.post(url + path, json=order, headers=key, timeout=60)


def dozen() -> dict[str, Any]:
    """349 bytes or so: twelve prints of which nothing is said."""
    return {"item": {"blank": "tee-heavy-white"}, "decorations": [{"placement": "front"}] * 12}


@pytest.mark.parametrize("url", [{"ACCORD_HEAVY_MOST_A_KEY": str(PLACES)}], indirect=True)
def test_what_is_over_a_keys_places_is_turned_away_and_nobody_else(
    url: str, collective: Any, order: dict[str, Any]
) -> None:
    heavy, other = (dict(collective.headers(shop, "counter")) for shop in ("all-in", "quay-side"))
    with ThreadPoolExecutor(AT_ONCE + 1) as pool:
        asked = [pool.submit(ask, url, "/v1/recommend", heavy, dozen()) for _ in range(AT_ONCE)]
        beside = pool.submit(ask, url, "/v1/recommend", other, order)
        answers = [question.result() for question in asked]
        assert beside.result().status_code == 200, "another key has places of its own"
    by_status = {status: [a for a in answers if a.status_code == status] for status in (200, 503)}
    assert len(by_status[200]) + len(by_status[503]) == AT_ONCE
    assert len(by_status[200]) >= PLACES
    assert by_status[503], "eight do not fit into two places"
    assert {answer.json()["type"] for answer in by_status[503]} == {"/problems/too-many-heavy-questions"}
    assert all(int(answer.headers["Retry-After"]) > 0 for answer in by_status[503])
    assert all(answer.json()["complete"] is False for answer in by_status[200])
    assert ask(url, "/v1/recommend", heavy, dozen()).content == by_status[200][0].content, "the places are free again"


@pytest.mark.long
@pytest.mark.alone
@pytest.mark.parametrize("url", [{}], indirect=True)
def test_eight_heavy_questions_at_once_leave_another_shop_and_the_watch_their_second(
    url: str, collective: Any, order: dict[str, Any], capsys: pytest.CaptureFixture[str]
) -> None:
    """98 s in the first version, and a watch that did not answer."""
    heavy, other = (dict(collective.headers(shop, "counter")) for shop in ("all-in", "quay-side"))
    questions = {
        "validate": lambda: ask(url, "/v1/validate", other, order),
        **{path: partial(requests.get, url + path, timeout=60) for path in ("/healthz", "/readyz", "/metrics")},
    }
    ask(url, "/v1/validate", other, order)
    longest_s = dict.fromkeys(questions, 0.0)
    with ThreadPoolExecutor(AT_ONCE) as pool:
        asked = [pool.submit(ask, url, "/v1/recommend", heavy, dozen()) for _ in range(AT_ONCE)]
        while not all(question.done() for question in asked):
            for name, question in questions.items():
                begun = time.monotonic()
                assert question().status_code == 200
                longest_s[name] = max(longest_s[name], time.monotonic() - begun)
        assert {question.result().status_code for question in asked} == {200}
    with capsys.disabled():
        print(f"\nlongest beside eight heavy questions, s: { {k: round(v, 3) for k, v in longest_s.items()} }")
    assert max(longest_s.values()) < PROMISED_S
