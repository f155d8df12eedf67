"""The shell recipes, each run by a real shell with a real curl against a real service."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from tests.service.effect_workers import work_out

from accord_client import Client, ProblemError
from accord_rules.derive import FACTS

pytestmark = pytest.mark.needs("curl")

LIMIT = "dye.polyester_share_full"
SCRIPTS = Path(__file__).parents[2] / "clients" / "shell"


class Recipes:
    """Runs the scripts with an environment of their own."""

    def __init__(self, url: str, token: str) -> None:
        self.environment = {"PATH": os.environ["PATH"], "ACCORD_URL": url, "ACCORD_TOKEN": token, "no_proxy": "*"}

    def __call__(
        self, script: str, *arguments: str, stdin: str = "", **changed: str
    ) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [str(SCRIPTS / script), *arguments],
            input=stdin,
            env=self.environment | changed,
            capture_output=True,
            encoding="utf-8",
            timeout=60,
            check=False,
        )


@pytest.fixture
def run(service: str, token: str) -> Recipes:
    return Recipes(service, token)


@pytest.fixture
def orders(tmp_path: Path, possible: dict[str, Any], hopeless: dict[str, Any]) -> Path:
    (tmp_path / "a fine one.json").write_text(json.dumps(possible), encoding="utf-8")
    (tmp_path / "hopeless.json").write_text(json.dumps(hopeless), encoding="utf-8")
    return tmp_path


def test_validate_prints_the_verdict(run: Recipes, orders: Path) -> None:
    done = run("validate.sh", str(orders / "a fine one.json"))
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout)["verdict"] in ("accepted", "conditional")


def test_validate_fails_for_what_is_rejected_although_remedies_are_not(run: Recipes, orders: Path) -> None:
    done = run("validate.sh", str(orders / "hopeless.json"))
    assert done.returncode == 1
    assert json.loads(done.stdout)["verdict"] == "rejected"


def test_validate_reads_standard_input(run: Recipes, possible: dict[str, Any]) -> None:
    # A reference that looks like a verdict must not be taken for one.
    order = possible | {"item": {"blank": "tee-heavy-white"}, "reference": '","verdict":"accepted"'}
    assert run("validate.sh", "-", stdin=json.dumps(order)).returncode == 1


def test_an_open_question_has_an_exit_code_of_its_own(run: Recipes, tmp_path: Path, possible: dict[str, Any]) -> None:
    # A cloth whose fibres nobody names may melt: common practice, no source.
    unknown = json.dumps({"item": {"substrate": "woven"}, "decorations": [{"transfer": "cut-film"}]})
    hopeless = json.dumps(possible | {"item": {"blank": "tee-heavy-white"}})
    asked = run("validate.sh", "-", stdin=unknown)
    assert (asked.returncode, json.loads(asked.stdout)["verdict"]) == (3, "undetermined")
    codes = []
    for name, content in (("2", json.dumps(possible)), ("3", unknown), ("1", hopeless), ("4", json.dumps(possible))):
        (tmp_path / f"{name}.json").write_text(content, encoding="utf-8")
        codes.append(run("validate-folder.sh", str(tmp_path)).returncode)
    assert codes == [0, 3, 1, 1], "rejected counts before undetermined"


@pytest.mark.parametrize("body", ['{"item": {}}', "{", '{"item": {}, "item": {}}', ""])
def test_a_malformed_order_is_told_on_standard_error(run: Recipes, body: str) -> None:
    done = run("validate.sh", "-", stdin=body)
    assert done.returncode == 2
    assert done.stdout == ""
    assert '"errors"' in done.stderr


def test_a_file_that_is_not_there(run: Recipes, tmp_path: Path) -> None:
    done = run("validate.sh", str(tmp_path / "none.json"))
    assert (done.returncode, done.stdout) == (2, "")


def test_recommend_tells_plans_from_none(run: Recipes, orders: Path) -> None:
    answer = run("recommend.sh", str(orders / "a fine one.json"))
    assert answer.returncode == 0
    assert json.loads(answer.stdout)["plans"]
    none = run("recommend.sh", str(orders / "hopeless.json"))
    assert none.returncode == 1
    assert json.loads(none.stdout)["plans"] == []


def test_envelope_tells_presses_from_none(run: Recipes, orders: Path) -> None:
    answer = run("envelope.sh", str(orders / "a fine one.json"))
    assert answer.returncode == 0
    assert json.loads(answer.stdout)["presses"]
    none = run("envelope.sh", str(orders / "hopeless.json"))
    assert none.returncode == 1
    assert json.loads(none.stdout)["presses"] == []


def test_catalogue_gives_every_entry(run: Recipes) -> None:
    kinds = {kind["kind"]: kind["count"] for kind in json.loads(run("catalogue.sh").stdout)["entries"]}
    done = run("catalogue.sh", "blanks")
    assert done.returncode == 0
    entries = [entry["id"] for line in done.stdout.splitlines() for entry in json.loads(line)["entries"]]
    assert len(set(entries)) == len(entries) == kinds["blanks"]
    entry = json.loads(run("catalogue.sh", "blanks", entries[0]).stdout)
    assert entry["id"] == entries[0]


def test_catalogue_follows_pages(faulty: Any) -> None:
    first = b'{"entries":[{"id":"a","entry":{}}],"next":"/v1/catalogue/blanks?cursor=a&limit=200"}'
    faulty.will(faulty.answer(200, first), faulty.answer(200, b'{"entries":[],"next":null}'))
    done = Recipes(faulty.url, "token")("catalogue.sh", "blanks")
    assert done.returncode == 0
    assert [request.path for request in faulty.seen] == [
        "/v1/catalogue/blanks?limit=200",
        "/v1/catalogue/blanks?cursor=a&limit=200",
    ]


def test_what_is_recorded_is_found_by_its_reference(run: Recipes, orders: Path, hopeless: dict[str, Any]) -> None:
    (orders / "hopeless.json").write_text(json.dumps(hopeless | {"reference": "Müller & Söhne, 7"}), encoding="utf-8")
    recorded = [run("record.sh", str(orders / name)) for name in ("a fine one.json", "hopeless.json", "hopeless.json")]
    assert [done.returncode for done in recorded] == [0, 0, 0]
    ids = [json.loads(done.stdout)["record_id"] for done in recorded]
    assert len(set(ids)) == 3
    listed = run("records.sh", "Müller & Söhne, 7")
    assert (listed.returncode, listed.stderr) == (0, "")
    assert [entry["record_id"] for entry in json.loads(listed.stdout)["entries"]] == [ids[2], ids[1]]
    everything = [entry for line in run("records.sh").stdout.splitlines() for entry in json.loads(line)["entries"]]
    assert [entry["record_id"] for entry in everything][:3] == [ids[2], ids[1], ids[0]]


def test_recorded_again_with_the_same_key_is_the_same_record(run: Recipes, orders: Path) -> None:
    once, again = (run("record.sh", str(orders / "a fine one.json"), "HL-7") for _ in range(2))
    assert once.returncode == again.returncode == 0
    assert once.stdout == again.stdout
    refused = run("record.sh", str(orders / "hopeless.json"), "HL-7")
    assert (refused.returncode, refused.stdout) == (2, "")
    assert "key-used-before" in refused.stderr
    for odd in ("", "two words", 'a"b'):
        assert run("record.sh", str(orders / "a fine one.json"), odd).returncode == 2


def test_a_report_is_made_and_taken_back(run: Recipes, orders: Path) -> None:
    record = json.loads(run("record.sh", str(orders / "a fine one.json")).stdout)["record_id"]
    done = run("outcome.sh", record, "peeled", "6", "0")
    assert (done.returncode, done.stderr) == (0, "")
    report = json.loads(done.stdout)
    shown = (report["result"], report["failure"], report["washes"], report["reported_by"]["role"])
    assert shown == ("failed", "peeled", 6, "counter")
    withdrawn = run("withdraw-outcome.sh", record, report["outcome_id"])
    assert json.loads(withdrawn.stdout)["withdrawn_at"]
    assert json.loads(run("outcome.sh", record, "good").stdout)["result"] == "good"
    for odd in (("sang",), ("good", "many"), ("good", "1", "-1"), ("../x",)):
        refused = run("outcome.sh", record, *odd)
        assert (refused.returncode, refused.stdout) == (2, ""), odd


def test_a_reading_is_entered_spot_by_spot(service: str, collective: Any) -> None:
    run = Recipes(service, collective.tokens["harbour-lane", "operator"])
    done = run("reading.sh", "bench", "2020-01-31", "180 °C", "177 °C", "175 °C")
    assert (done.returncode, done.stdout) == (2, ""), "too old to be meant"
    assert '"allowed": ["old"]' in done.stderr
    today = datetime.now(UTC).date().isoformat()
    done = run("reading.sh", "bench", today, "180 °C", "177 °C", "175 °C")
    assert (done.returncode, done.stderr) == (0, "")
    entered = json.loads(done.stdout)
    assert (entered["surface"], entered["taken_on"], entered["counts"]) == (["177 °C", "175 °C"], today, False)
    for odd in ((), ("bench", today, "180 °C"), ("bench", today, '18"0 °C', "1 °C"), ("../x", today, "1 °C", "1 °C")):
        assert run("reading.sh", *odd).returncode == 2
    far_off = ("bench", today, "180 °C", "120 °C")
    done = run("reading.sh", *far_off)
    assert (done.returncode, done.stdout) == (2, "")
    assert '"allowed": ["far-below-display"]' in done.stderr
    done = run("reading.sh", "--despite", "far-below-display", "--despite", "old", *far_off)
    assert (done.returncode, done.stderr) == (0, "")
    despite = json.loads(done.stdout)
    assert (despite["despite"], len(despite["doubts"])) == (["far-below-display", "old"], 1)
    for odd in (("--despite",), ("--despite", 'ol"d', *far_off), ("--despite", "old")):
        assert run("reading.sh", *odd).returncode == 2
    assert '"/despite/0"' in run("reading.sh", "--despite", "wishful", *far_off).stderr
    owner = Client(service, collective.tokens["harbour-lane", "owner"])
    for one in (entered, despite):
        owner.administration.withdraw_reading("bench", one["reading_id"])


def test_rule(run: Recipes, orders: Path) -> None:
    verdict = json.loads(run("validate.sh", str(orders / "hopeless.json")).stdout)
    id_ = verdict["findings"][0]["rule"]
    done = run("rule.sh", id_)
    assert done.returncode == 0
    assert json.loads(done.stdout)["id"] == id_


@pytest.mark.parametrize("name", ["no-such-rule", "../shop", "", "a b", "a?b"])
def test_no_such_rule(run: Recipes, name: str) -> None:
    done = run("rule.sh", name)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr


def test_sources(run: Recipes) -> None:
    told = json.loads(run("sources.sh").stdout)
    assert told["safety_limits"][0]["kind"] == told["kinds"][-1] == "choice"
    assert all(sum(room["counts"].values()) == room["total"] for room in told["rooms"])
    assert run("sources.sh", "limits").returncode == 2


def test_audit_head(run: Recipes) -> None:
    head = json.loads(run("audit-head.sh").stdout)
    assert head["anchor"].startswith(f"accord-audit-1 {head['seq']} {head['hash']} ")
    assert run("audit-head.sh", "812").returncode == 2


def test_facts(run: Recipes) -> None:
    pages = [json.loads(line) for line in run("facts.sh").stdout.splitlines()]
    assert len(pages) == -(-len(FACTS) // 200), "two hundred a page"
    assert [fact["id"] for page in pages for fact in page["entries"]] == sorted(FACTS)
    assert json.loads(run("facts.sh", "item.textile").stdout)["type"] == "true/false"


def test_no_such_fact_brings_the_nearest(run: Recipes) -> None:
    done = run("facts.sh", "item.textil")
    assert (done.returncode, done.stdout) == (2, "")
    assert "did you mean item.textile" in done.stderr


def test_a_folder_is_judged_file_by_file(run: Recipes, orders: Path) -> None:
    done = run("validate-folder.sh", str(orders))
    assert done.returncode == 1
    words = dict(line.split("\t")[::-1] for line in done.stdout.splitlines())
    assert words[str(orders / "hopeless.json")] == "rejected"
    assert words[str(orders / "a fine one.json")] in ("accepted", "conditional")
    (orders / "broken.json").write_text("{", encoding="utf-8")
    done = run("validate-folder.sh", str(orders))
    assert done.returncode == 2
    assert f"unread\t{orders / 'broken.json'}" in done.stdout
    assert f"that was {orders / 'broken.json'}" in done.stderr
    assert len(done.stdout.splitlines()) == 3


def test_lines_are_judged_in_one_request(
    run: Recipes, tmp_path: Path, possible: dict[str, Any], hopeless: dict[str, Any]
) -> None:
    # References that look like the end, like a verdict, or like nothing else.
    references = [None, '","answer":{"id":"x","verdict":"accepted"', "\\", '{"end":true,"complete":true}', "Grün ☃"]
    lines = [{**hopeless, **({} if reference is None else {"reference": reference})} for reference in references]
    file = tmp_path / "orders.ndjson"
    file.write_text("".join(json.dumps(line) + "\n" for line in lines), encoding="utf-8")
    done = run("validate-lines.sh", str(file))
    assert (done.returncode, done.stderr) == (1, "")
    told = [line.split("\t") for line in done.stdout.splitlines()]
    assert [(word, int(number)) for word, number, _ in told] == [("rejected", n) for n in range(1, 6)]
    assert [json.loads(reference) for _, _, reference in told] == [hopeless.get("reference"), *references[1:]]

    asks = {"item": {}, "decorations": [{}]}
    for sent, code in (([possible], 0), ([possible, asks], 3), ([asks, hopeless], 1), ([hopeless, {"item": 1}], 2)):
        done = run("validate-lines.sh", "-", stdin="\n".join(map(json.dumps, sent)))
        assert done.returncode == code, done.stderr
        assert len(done.stdout.splitlines()) == len(sent)
    assert done.stdout.splitlines()[1].startswith("unread\t2\t")
    assert "line 2: " in done.stderr


def test_lines_that_are_cut_are_told(run: Recipes, faulty: Any) -> None:
    line = b'{"line":1,"status":200,"reference":null,"answer":{"id":"vd_1","verdict":"accepted"}}\n'
    ended = b'{"end":true,"revision":1,"lines":1,"answered":1,"failed":0,"complete":false,"next_line":2}\n'
    faulty.will(faulty.answer(200, line), faulty.answer(200, line + ended), faulty.answer(500, b"<html>"))
    recipes = Recipes(faulty.url, "token")
    for told in ("", "?from_line=2&revision=1", "<html>"):
        done = recipes("validate-lines.sh", "-", stdin="{}")
        assert done.returncode == 2
        assert told in done.stderr


def test_the_rows_of_a_table_are_judged_by_curl_alone(run: Recipes, tmp_path: Path) -> None:
    file = tmp_path / "orders.csv"
    rows = [
        "A-1,tote-polyester-white,dye-sublimation,front,8,8,Ada",
        "",
        "A-2,tee-heavy-white,dye-sublimation,front,8 cm,8,",
    ]
    file.write_text("\n".join(["Order no,Blank,Transfer,Position,Width (in),Height (in),Customer", *rows]), "utf-8")
    done = run("validate-lines.sh", str(file))
    (first, second) = (line.split("\t") for line in done.stdout.splitlines())
    assert first[0] in ("accepted", "conditional", "undetermined")
    assert [first[1:], second] == [["2", '"A-1"'], ["unread", "4", '"A-2"']]
    assert done.returncode == 2
    assert "line 4: " in done.stderr
    assert "E “Width (in)” is “8 cm”" in done.stderr
    assert 'columns that are not read: "Customer"' in done.stderr
    file.write_text("Order no,Blanks,Balnk\n1,2,3\n", "utf-8")
    refused = run("validate-lines.sh", str(file))
    assert (refused.returncode, refused.stdout) == (2, "")
    assert '"name":"Balnk"' in refused.stderr.replace(" ", "")


def test_a_table_that_breaks_off_is_told_and_not_asked_again(run: Recipes, tmp_path: Path) -> None:
    file = tmp_path / "orders.csv"
    row = "A-1,tee-heavy-white,cut-film,front,8,8"
    file.write_text(f'Order no,Blank,Transfer,Position,Width (in),Height (in)\n{row}\n"{row}\n{row}\n', "utf-8")
    done = run("validate-lines.sh", str(file))
    assert [line.split("\t")[1] for line in done.stdout.splitlines()] == ["2", "3"]
    assert done.returncode == 2
    assert "not complete: a quoted cell of row 3 is not closed, and no row after it is read" in done.stderr


def test_a_turn_that_ended_is_gone_on_with(faulty: Any, tmp_path: Path) -> None:
    line = '{"line":%d,"status":200,"reference":null,"answer":{"id":"vd_1","verdict":"%s"}}\n'
    end = '{"end":true,"revision":7,"lines":1,"answered":1,"failed":0,"complete":%s,"next_line":%s}\n'
    turns = (line % (1, "rejected") + end % ("false", 2), line % (2, "accepted") + end % ("true", "null"))
    faulty.will(*(faulty.answer(200, turn.encode()) for turn in turns))
    file = tmp_path / "orders.ndjson"
    file.write_text("{}\n{}\n", encoding="utf-8")
    done = Recipes(faulty.url, "token")("validate-lines.sh", str(file))
    assert (done.returncode, done.stderr) == (1, "")
    assert done.stdout == "rejected\t1\tnull\naccepted\t2\tnull\n"
    assert [request.path.partition("?")[2] for request in faulty.seen] == ["", "from_line=2&revision=7"]


def test_an_empty_folder_is_wrong_use(run: Recipes, tmp_path: Path) -> None:
    assert run("validate-folder.sh", str(tmp_path)).returncode == 2


@pytest.mark.parametrize(
    "script",
    [
        "validate.sh",
        "recommend.sh",
        "envelope.sh",
        "rule.sh",
        "record.sh",
        "outcome.sh",
        "withdraw-outcome.sh",
        "validate-folder.sh",
        "validate-lines.sh",
    ],
)
def test_use_is_told(run: Recipes, script: str) -> None:
    done = run(script)
    assert done.returncode == 2
    assert done.stderr.startswith(f"use: {script}")


def test_an_unknown_key(run: Recipes) -> None:
    done = run("catalogue.sh", ACCORD_TOKEN="nobody")
    assert (done.returncode, done.stdout) == (2, "")
    assert "not-authenticated" in done.stderr


@pytest.mark.parametrize(
    "url",
    ["", "http://accord.example", "http://127.0.0.1.accord.example", "http://127.0.0.1:80@accord.example", "ftp://x"],
)
def test_the_key_does_not_go_abroad_in_the_clear(run: Recipes, url: str) -> None:
    done = run("catalogue.sh", ACCORD_URL=url)
    assert (done.returncode, done.stdout) == (2, "")
    assert "ACCORD_URL" in done.stderr


def test_a_busy_service_is_asked_again(faulty: Any, tmp_path: Path) -> None:
    order = tmp_path / "order.json"
    order.write_text('{"reference": "Grün"}', encoding="utf-8")
    verdict = b'{"id":"vd_1","verdict":"accepted","remedies":[]}'
    problem = "application/problem+json"
    faulty.will(faulty.answer(503, b'{"title":"busy"}', problem, Retry_After="1"), faulty.answer(200, verdict))
    done = Recipes(faulty.url, "the-key")("validate.sh", str(order))
    assert done.returncode == 0
    assert done.stdout.encode() == verdict + b"\n"
    assert [request.body.decode() for request in faulty.seen] == ['{"reference": "Grün"}'] * 2
    assert faulty.seen[0].headers["Authorization"] == "Bearer the-key"
    assert faulty.seen[0].headers["Content-Type"] == "application/json"


def test_a_verdict_that_is_not_known_here_is_not_workable(faulty: Any, tmp_path: Path) -> None:
    (tmp_path / "order.json").write_text("{}", encoding="utf-8")
    faulty.will(faulty.answer(200, b'{"id":"vd_1","verdict":"accepted-by-night"}'))
    run = Recipes(faulty.url, "token")
    assert run("validate.sh", "-", stdin="{}").returncode == 1
    folder = run("validate-folder.sh", str(tmp_path))
    assert (folder.returncode, folder.stdout) == (1, f"accepted-by-night\t{tmp_path / 'order.json'}\n")


@pytest.mark.parametrize("body", [b"<html>hello</html>", b'{"verdict":"accepted"}', b'{"id":"x","verdict":7}'])
def test_garbage_is_no_verdict(faulty: Any, body: bytes) -> None:
    faulty.will(faulty.answer(200, body))
    assert Recipes(faulty.url, "token")("validate.sh", "-", stdin="{}").returncode == 2


def test_a_proposal_is_opened_and_its_effect_waited_for(service: str, collective: Any) -> None:
    owner = str(collective.tokens["harbour-lane", "owner"])
    run = Recipes(service, owner)
    with Client(service, owner) as accord:
        head = next(iter(accord.governance.revisions()))
        entry = accord.limit(LIMIT).entry
        change = {"kind": "limits", "id": LIMIT, "value": {**entry, "value": entry["value"] + 1}}
        draft = accord.governance.propose(head, [change], "Pale after washing.", "Reports.")
    with ThreadPoolExecutor(1) as threads:
        opening = threads.submit(run, "open-proposal.sh", draft["proposal_id"])
        while not opening.done():
            work_out(collective.server.url)
            time.sleep(0.1)
    done = opening.result()
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["effect"]["decision"]["kind"] == "mixed"
    assert all("seconds left" in line for line in done.stderr.splitlines())
    assert run("open-proposal.sh", "p99").returncode == 2


def test_an_effect_that_is_none_is_no_success(service: str, collective: Any) -> None:
    run = Recipes(service, str(collective.tokens["harbour-lane", "owner"]))
    with Client(service, str(collective.tokens["harbour-lane", "owner"])) as accord:
        head = next(iter(accord.governance.revisions()))
        source = {"title": "New", "kind": "from-memory", "text": "Remembered.", "speaks_of": ["press"]}
        change = {"kind": "sources", "id": "remembered", "value": source}
        draft = accord.governance.propose(head, [change], "Missing.", "None.")
        with ThreadPoolExecutor(1) as threads:
            opening = threads.submit(run, "open-proposal.sh", draft["proposal_id"])
            until = time.monotonic() + 60
            while not opening.done() and time.monotonic() < until:
                with contextlib.suppress(ProblemError):  # not opened yet
                    accord.governance.cancel_effect(draft["proposal_id"])
                time.sleep(0.1)
    done = opening.result()
    assert (done.returncode, done.stdout) == (1, "")
    assert '"cancelled"' in done.stderr
