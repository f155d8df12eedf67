"""The Python client's README: its blocks are run one after the other, word for word, against a real service.

Only the address and the key are the test's own, and what the page takes to be there: an order, a rule, a sample.
"""

from __future__ import annotations

import re
import threading
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from tests.client.conftest import SHOP
from tests.served import serving
from tests.service.effect_workers import effect_worker

from accord_client import Client
from accord_service import offline
from accord_service.api.examples import HOUSE_RULE

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "clients" / "python" / "README.md").read_text(encoding="utf-8")
BLOCKS = [re.sub(r"^    ", "", block, flags=re.M) for block in re.findall(r"(?:^    .*\n|^\n(?=    ))+", TEXT, re.M)]
FIRST, OFFLINE, ASYNC, PRESS, HOUSE, READING, SAMPLE, RECORD, PROPOSAL, WRONG = BLOCKS
# A limit that no example of the book stands close above.
LIMIT = "dye.polyester_share_full"


@pytest.fixture(scope="module")
def collective(open_collective: Any) -> Any:
    """A store that these blocks alone change."""
    return open_collective([SHOP], [("harbour-lane", role) for role in ("counter", "operator", "owner")])


@pytest.fixture(scope="module")
def service(collective: Any) -> Iterator[str]:
    with serving(collective.config) as url:
        yield url


@pytest.fixture(scope="module")
def names(service: str, collective: Any) -> Iterator[dict[str, Any]]:
    """What the blocks know of each other."""
    tokens = {role: str(collective.tokens["harbour-lane", role]) for role in ("counter", "operator", "owner")}
    with Client(service, tokens["owner"]) as owner, Client(service, tokens["operator"]) as operator:
        yield {"url": service, "token": tokens["counter"], "owner": owner, "operator": operator}


def run(block: str, names: dict[str, Any], accord: Any = None) -> None:
    if accord is not None:
        names["accord"] = accord
    exec(compile(block.replace("https://accord.example", names["url"]), "README.md", "exec"), names)


@contextmanager
def working(url: str) -> Iterator[None]:
    """Somebody works out effects meanwhile."""
    ended = threading.Event()

    def work() -> None:
        with effect_worker(url) as worker:
            while not ended.is_set():
                worker.turn() or ended.wait(0.05)

    thread = threading.Thread(target=work)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()


@pytest.mark.long
def test_the_blocks_do_what_the_page_says(
    names: dict[str, Any],
    collective: Any,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    owner = names["owner"]
    monkeypatch.setenv("ACCORD_URL", names["url"])
    monkeypatch.setenv("ACCORD_TOKEN", names["token"])
    run(FIRST, names)
    assert re.match(r"bench (19|20)\d °C\n1 bench ", capsys.readouterr().out), (
        "392 °F is 200 °C: common practice, no source"
    )
    assert names["job"]["item"] == names["order"]["item"]

    monkeypatch.setenv("ACCORD_BUNDLE", str(tmp_path))
    with Client(names["url"], names["token"]) as counter:
        offline.pull(tmp_path, counter.bundle, names["token"], "harbour-lane", offline.today())
    run(OFFLINE, names)
    assert names["verdict"].workable

    capsys.readouterr()
    run(ASYNC, names)
    verdicts, *lines, rule = capsys.readouterr().out.splitlines()
    assert len(set(verdicts.split())) == 1
    assert [line.partition(" ")[0] for line in lines] == ["1", "2"]
    assert rule == "dye-on-natural-fibre"

    run(PRESS, names, owner)
    assert owner.administration.press("bench").document["type"] == "clamshell"

    run(HOUSE, {**names, "rule": HOUSE_RULE["rule"]}, owner)
    assert owner.administration.house_rules().document["limits"] == {"press.spread_most": "6 K"}

    today = datetime.now(UTC).date().isoformat()
    run(READING.replace("2026-03-02", today), names, names["operator"])
    assert owner.shop_status().readings_waiting == ()
    assert len(owner.administration.press("bench").document["calibration"]) == 1

    shop = tomllib.loads((ROOT / "demo" / "shops" / "mill-steps.toml").read_text(encoding="utf-8"))
    sample = {**shop["samples"][0], "press": "bench", "transfer": "sub-paper-fast-dry"}
    run(SAMPLE, {**names, "sample": sample}, owner)
    assert len(owner.shop().document["samples"]) == 1

    run(RECORD, names, owner)
    (line,) = owner.governance.records("HL-1043")
    assert [outcome["failure"] for outcome in owner.governance.outcomes(line["record_id"])] == ["peeled"]

    head = next(iter(owner.governance.revisions()))
    entry = owner.limit(LIMIT).entry
    change = {"kind": "limits", "id": LIMIT, "value": {**entry, "value": entry["value"] + 1}}
    draft = owner.governance.propose(head, [change], "Pale after washing.", "Reports.")
    with working(collective.server.url):
        run(PROPOSAL, {**names, "proposal_id": draft["proposal_id"]}, owner)
    assert owner.governance.status(draft["proposal_id"])["state"] == "open"

    capsys.readouterr()
    run(WRONG, {**names, "order": {"item": {"blank": "no-such"}, "decorations": [{}]}}, owner)
    assert "/item/blank not-in-book" in capsys.readouterr().out
