"""Going on without a line: what the command answers from, for each state of line and bundle.

The order is accepted on the bench whoever judges it; what a bundle must be is in tests/service/api/test_bundle.py.
"""

from __future__ import annotations

import json
import socket
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any
from unittest import mock

import pytest
from tests.cli.conftest import SHOP, Accord, Served, invoked, token_in

from accord_client import Client, InvalidOrder
from accord_service import offline
from accord_service.steps import bundles

TOTE = {
    "item": {"blank": "tote-polyester-white"},
    "decorations": [
        {"transfer": "dye-sublimation", "placement": "front", "size": {"width": "20 cm", "height": "20 cm"}}
    ],
    "press": "bench",
}


@pytest.fixture(scope="module")
def pulled(served: Served, data: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that ``accord bundle pull`` made."""
    folder = tmp_path_factory.mktemp("pulled") / "bundle"
    accord = invoked({"ACCORD_URL": served.url, "ACCORD_TOKEN": token_in(data, "mill-loft-counter")})
    result = accord("bundle", "pull", ACCORD_BUNDLE=str(folder))
    assert result.exit_code == 0, result.output
    assert "The bundle of The Mill Loft, revision 1, is today's" in result.output
    assert "Pinned the key" in result.output
    return folder


@pytest.fixture
def held(pulled: Path, tmp_path: Path) -> Path:
    """A copy that the test may change."""
    folder = tmp_path / "bundle"
    folder.mkdir()
    for file in pulled.iterdir():
        (folder / file.name).write_bytes(file.read_bytes())
    return folder


@pytest.fixture
def nobody() -> Iterator[str]:
    """An address where nobody answers: a port that is taken and not listened on."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        yield f"http://127.0.0.1:{taken.getsockname()[1]}"


def absent(folder: Path) -> None:
    for file in folder.iterdir():
        file.unlink()


def kept(folder: Path) -> Any:
    return json.loads((folder / "held.json").read_text(encoding="utf-8"))


def keep(folder: Path, **changed: Any) -> None:
    (folder / "held.json").write_text(json.dumps({**kept(folder), **changed}), encoding="utf-8")


def altered(folder: Path) -> None:
    keep(folder, bundle=kept(folder)["bundle"].replace("polyester", "polyestr", 1))


def cut(folder: Path) -> None:
    keep(folder, bundle=kept(folder)["bundle"][:-1])


def file_cut(folder: Path) -> None:
    (folder / "held.json").write_bytes((folder / "held.json").read_bytes()[:-1])


def unsigned(folder: Path) -> None:
    keep(folder, bundle=json.dumps({**json.loads(kept(folder)["bundle"]), "signature": ""}))


def other_key(folder: Path) -> None:
    keep(folder, public_key="11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo")


def unmarked(folder: Path) -> None:
    """As a file from before there were marks of who pulled it."""
    (folder / "held.json").write_text(
        json.dumps({name: value for name, value in kept(folder).items() if name != "pulled_by"}), encoding="utf-8"
    )


def as_it_is(folder: Path) -> None:
    pass


ANOTHERS = "This bundle was pulled with another key than yours: pull it with this one"
# Bundle, days since it was pulled, how it is told where there is no line; None where it is answered from.
STATES: dict[str, tuple[Callable[[Path], None], int, str | None]] = {
    "fresh": (as_it_is, 0, None),
    "yesterday's": (as_it_is, 1, None),
    "stale": (as_it_is, 5, None),
    "its last day": (as_it_is, 14, None),
    "expired": (as_it_is, 15, "it has expired on"),
    "absent": (absent, 0, "No answer"),
    "altered": (altered, 0, "its content is not what was signed"),
    "cut": (cut, 0, "it is no bundle, or only a part of one"),
    "cut with its key": (file_cut, 0, "it is no bundle, or only a part of one"),
    "unsigned": (unsigned, 0, "it has no signature"),
    "of another key": (other_key, 0, "another key signed it"),
    "without who pulled it": (unmarked, 0, ANOTHERS),
}
# Whose token it is, and how it is told that the bundle is not theirs; the pulling one's is in STATES.
TOKENS: dict[str, tuple[str | None, str]] = {
    "of the same shop, which did not pull it": ("mill-loft-owner", ANOTHERS),
    "of another shop": ("other-shop", ANOTHERS),
    "nobody's": ("accord_unknown", ANOTHERS),
    "none": (None, "no key is set"),
}


@pytest.mark.parametrize("line", ["up", "down", "not asked"])
@pytest.mark.parametrize("state", STATES)
def test_what_is_answered_from(
    served: Served,
    data: Path,
    held: Path,
    nobody: str,
    order: Callable[..., str],
    monkeypatch: pytest.MonkeyPatch,
    state: str,
    line: str,
) -> None:
    spoil, days, refused = STATES[state]
    spoil(held)
    day = offline.today() + timedelta(days=days)
    monkeypatch.setattr(offline, "today", lambda: day)
    environment: dict[str, str | None] = {"ACCORD_BUNDLE": str(held), "ACCORD_URL": None}
    environment["ACCORD_TOKEN"] = token_in(data, "mill-loft-counter")
    if line != "not asked":
        environment["ACCORD_URL"] = served.url if line == "up" else nobody
    arguments = ["validate", order("tote", TOTE), "--json", *(["--local"] if line == "not asked" else [])]
    result = invoked(environment)(*arguments)
    if line == "up":
        assert result.exit_code == 0, result.output
        assert json.loads(result.stdout)[0]["basis"] == "live"
        assert "bundle" not in result.stderr
    elif refused is None:
        assert result.exit_code == 0, result.output
        assert json.loads(result.stdout)[0]["basis"] == "bundle"
        assert line == "not asked" or "The service can't be reached. Answers without a service." in result.stderr
        assert line == "not asked" or ("the book may have moved on" in result.stderr) is (days >= 2)
    else:
        told = "none was pulled to this machine" if state == "absent" and line == "not asked" else refused
        assert result.exit_code == 2
        assert told in " ".join(result.stderr.replace("│", "").split())
        assert '"verdict"' not in result.output


@pytest.mark.parametrize("command", ["validate", "recommend", "rows"])
@pytest.mark.parametrize("line", ["down", "not asked"])
@pytest.mark.parametrize("whose", TOKENS)
def test_a_bundle_answers_for_the_key_that_pulled_it_alone(
    data: Path, held: Path, nobody: str, order: Callable[..., str], tmp_path: Path, whose: str, line: str, command: str
) -> None:
    name, refused = TOKENS[whose]
    token = token_in(data, name) if name == "mill-loft-owner" else name
    environment: dict[str, str | None] = {"ACCORD_BUNDLE": str(held), "ACCORD_URL": nobody, "ACCORD_TOKEN": token}
    rows = tmp_path / "orders.ndjson"
    rows.write_text(f"{json.dumps(TOTE)}\n" * 2, encoding="utf-8")
    what = ["validate", str(rows)] if command == "rows" else [command, order("tote", TOTE)]
    result = invoked(environment)(*what, *(["--local"] if line == "not asked" else []))
    assert result.exit_code == 2
    if token is None and line == "down":
        refused = "Say who is to answer: --url and --token"
    assert refused in " ".join(result.stderr.replace("│", "").split())
    assert not any(word in result.stdout.lower() for word in ("accepted", "conditional", "rejected", "plan"))
    assert "There is no order in it" not in result.stdout, "there is, and nobody answered"


def test_each_key_pulls_it_for_itself_and_holds_no_longer_than_what_it_pulled(
    served: Served, data: Path, held: Path, nobody: str, order: Callable[..., str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A key that was revoked after it pulled does not go on by what others pull."""
    file, today = order("tote", TOTE), offline.today()
    counter, owner = (
        invoked({"ACCORD_URL": served.url, "ACCORD_TOKEN": token_in(data, f"mill-loft-{role}")})
        for role in ("counter", "owner")
    )

    def codes() -> tuple[int, int]:
        asked = [accord("validate", file, "--local", ACCORD_BUNDLE=str(held)) for accord in (counter, owner)]
        return asked[0].exit_code, asked[1].exit_code

    assert codes() == (0, 2)
    pulled = owner("bundle", "pull", ACCORD_BUNDLE=str(held))
    assert (pulled.exit_code, "Nothing has changed" in pulled.output) == (0, True)
    assert codes() == (0, 0)
    for token in (token_in(data, "mill-loft-counter"), token_in(data, "mill-loft-owner")):
        assert token not in (held / "held.json").read_text(encoding="utf-8")
    salts = {mark["salt"] for mark in kept(held)["pulled_by"]}
    assert len(salts) == 2

    marks = kept(held)["pulled_by"]
    yesterday = (today - timedelta(days=1)).isoformat()
    keep(held, pulled_by=[{**marks[0], "holds_until": yesterday}, marks[1]])
    assert codes() == (2, 0), "the counter pulled one that would have expired by now"
    assert counter("bundle", "pull", ACCORD_BUNDLE=str(held)).exit_code == 0
    assert codes() == (0, 0)


def test_a_key_that_was_revoked_is_forgotten_when_it_pulls(
    served: Served, as_admin: Accord, held: Path, order: Callable[..., str]
) -> None:
    issued = as_admin("key", "issue", "mill-loft", "counter", "--holder", "The stall")
    token, file, before = issued.stdout.strip(), order("tote", TOTE), kept(held)["pulled_by"]
    stall = invoked({"ACCORD_URL": served.url, "ACCORD_TOKEN": token, "ACCORD_BUNDLE": str(held)})
    assert stall("bundle", "pull").exit_code == 0
    assert stall("validate", file, "--local").exit_code == 0
    assert as_admin("key", "revoke", f"key_{token.split('_')[1]}").exit_code == 0
    refused = stall("bundle", "pull")
    assert refused.exit_code == 2
    assert "answers it no more" in refused.stderr
    assert stall("validate", file, "--local").exit_code == 2
    assert kept(held)["pulled_by"] == before, "others go on"
    assert "answers it no more" not in stall("bundle", "pull").stderr, "once"


def test_another_shops_bundle_takes_the_place_with_who_pulled_it(held: Path, order: Callable[..., str]) -> None:
    """On a machine of two shops each pulls its own; what is held answers for the last one alone."""
    data, day = kept(held)["bundle"].encode(), offline.today()
    of_mill_loft = offline.held(held, day, "accord_of_nobody")
    assert of_mill_loft.why == offline.OTHER_TOKEN
    with pytest.raises(bundles.BundleRefused) as refused:
        offline.pull(held, lambda etag: (data, "") if not etag else None, "other-token", "kiln-corner", day)
    assert refused.value.why == "another-shop", "asked without the ETag of another shop's"
    assert kept(held)["bundle"].encode() == data


def test_the_answers_are_the_services(accord: Accord, pulled: Path, nobody: str, order: Callable[..., str]) -> None:
    hopeless = {"item": {"blank": "tee-heavy-white"}, "decorations": [{"transfer": "dye-sublimation"}]}
    for name, document in (("tote", TOTE), ("hopeless", hopeless)):
        file = order(name, document)
        for command in ("validate", "recommend", "envelope"):
            asked = accord(command, file, "--json")
            for how in ({}, {"ACCORD_URL": nobody}):
                local = accord(command, file, "--json", *([] if how else ["--local"]), ACCORD_BUNDLE=str(pulled), **how)
                assert '"basis": "live"' not in local.stdout
                assert local.stdout.replace('"basis": "bundle"', '"basis": "live"') == asked.stdout
                assert local.exit_code == asked.exit_code
    told = accord("validate", order("tote", TOTE), "--local", ACCORD_BUNDLE=str(pulled)).output
    assert "The Mill Loft, revision 1, is today's" in " ".join(told.split())


def test_heat_is_drawn_and_plans_are_counted_without_a_line(
    data: Path, accord: Accord, pulled: Path, nobody: str, order: Callable[..., str]
) -> None:
    """What is wanted with an answer is given by the bundle as well: curves, so many plans, what findings found."""
    where, file = {"ACCORD_BUNDLE": str(pulled)}, order("tote", TOTE)
    asked = accord("heat", file)
    drawn = accord("heat", file, ACCORD_URL=nobody, **where)
    assert drawn.exit_code == asked.exit_code == 0
    assert "Answers from" in asked.output
    heats = [text.stdout[text.stdout.index("HEAT") :] for text in (asked, drawn)]
    assert heats[0] == heats[1]

    token = token_in(data, "mill-loft-counter")
    opened = {**TOTE, "decorations": [{"placement": "front"}]}
    hopeless = {"item": {"blank": "tee-heavy-white"}, "decorations": [{"transfer": "dye-sublimation"}]}
    day = offline.today()
    with offline.held(pulled, day, token).open(day) as bundled, Client(nobody, token, offline=bundled) as client:
        assert len(client.recommend(opened).plans) > 1
        one = client.recommend(opened, plans=1, include=("curve",))
        assert len(one.plans) == 1
        assert one.plans[0].document["decorations"][0]["explained"]["heat"]["curve"]
        with pytest.raises(InvalidOrder):
            client.recommend(opened, plans=0)
        assert client.validate(hopeless, include=("observed",)).document["findings"][0]["observed"]


def test_rows_are_answered_from_it_too(data: Path, alone: Accord, pulled: Path, nobody: str, tmp_path: Path) -> None:
    rows = tmp_path / "orders.ndjson"
    rows.write_text("\n".join(json.dumps(order) for order in [TOTE, {"item": 1}, TOTE] * 100), encoding="utf-8")
    environment = {"ACCORD_URL": nobody, "ACCORD_TOKEN": token_in(data, "mill-loft-counter")}
    result = alone("validate", str(rows), "--output", "ndjson", **environment, ACCORD_BUNDLE=str(pulled))
    lines = [json.loads(line) for line in result.stdout.splitlines()]
    assert [line["row"] for line in lines] == [*range(1, 301)]
    assert {line["answer"]["basis"] for line in lines if "answer" in line} == {"bundle"}
    assert [line["row"] for line in lines if "problem" in line] == [*range(2, 301, 3)]
    told = " ".join(result.stderr.split())
    assert told.count("The service can't be reached. Answers without a service.") == 1
    assert "from the bundle on this machine: 200 of the verdicts" in told
    table = alone("validate", str(rows), "--output", "csv", **environment, ACCORD_BUNDLE=str(pulled))
    assert table.stdout.splitlines()[1].endswith(",1,bundle")
    other = alone("validate", str(rows), "--revision", "7", **environment, ACCORD_BUNDLE=str(pulled))
    assert other.exit_code == 2
    assert "the bundle here is of revision 1, and the answers so far of revision 7" in " ".join(other.stderr.split())


def test_a_refusal_of_the_service_is_no_reason_to_ask_elsewhere(
    accord: Accord, pulled: Path, order: Callable[..., str]
) -> None:
    result = accord("validate", order("tote", TOTE), ACCORD_BUNDLE=str(pulled), ACCORD_TOKEN="accord_unknown")
    assert result.exit_code == 2
    assert "bundle" not in result.output


def test_the_shipped_book_answers_only_if_asked(alone: Accord, order: Callable[..., str], tmp_path: Path) -> None:
    file = order("tote", {name: value for name, value in TOTE.items() if name != "press"})
    nothing = {"ACCORD_BUNDLE": str(tmp_path / "nothing")}
    assert alone("validate", file, "--local", **nothing).exit_code == 2
    shipped = alone("validate", file, "--shipped", **nothing)
    assert "the shipped book" in shipped.output
    assert alone("validate", file, "--local", "--shipped", **nothing).exit_code == 2
    shop = tmp_path / "shop.toml"
    shop.write_text(SHOP, encoding="utf-8")
    assert "go with --shipped" in alone("validate", file, "--local", "--shop", str(shop), **nothing).output


def test_pulling_again_changes_nothing_until_something_changed(accord: Accord, held: Path) -> None:
    before = {file.name: file.read_bytes() for file in held.iterdir()}
    result = accord("bundle", "pull", ACCORD_BUNDLE=str(held))
    assert (result.exit_code, "Nothing has changed" in result.output) == (0, True)
    assert {file.name: file.read_bytes() for file in held.iterdir()} == before


def test_a_bundle_of_another_key_or_shop_does_not_take_the_place_of_what_is_held(
    accord: Accord, held: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other_key(held)
    before = {file.name: file.read_bytes() for file in held.iterdir()}
    result = accord("bundle", "pull", ACCORD_BUNDLE=str(held))
    assert result.exit_code == 2
    assert "another key signed it" in " ".join(result.output.split())
    assert {file.name: file.read_bytes() for file in held.iterdir()} == before
    key = json.loads(kept(held)["bundle"])["public_key"]
    assert accord("bundle", "pull", "--key", key, ACCORD_BUNDLE=str(held)).exit_code == 0, "pinned anew, by hand"
    assert kept(held)["public_key"] == key

    data = kept(held)["bundle"].encode()
    with pytest.raises(bundles.BundleRefused) as refused:
        offline.pull(held.parent / "other", lambda etag: (data, ""), "token", "kiln-corner", offline.today())
    assert refused.value.why == "another-shop"
    assert not list((held.parent / "other").iterdir())


def test_what_cannot_be_read_has_a_key_that_no_other_replaces_unasked(accord: Accord, held: Path) -> None:
    key = kept(held)["public_key"]
    file_cut(held)
    before = (held / "held.json").read_bytes()
    result = accord("bundle", "pull", ACCORD_BUNDLE=str(held))
    assert result.exit_code == 2
    assert "nor what key is pinned: name it with --key" in " ".join(result.output.split())
    assert (held / "held.json").read_bytes() == before
    assert accord("bundle", "pull", "--key", key, ACCORD_BUNDLE=str(held)).exit_code == 0
    assert kept(held)["public_key"] == key


def test_a_pull_that_ends_in_the_middle_leaves_what_was_held(
    data: Path, held: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Key, bundle and ETag change in one step or not at all, whenever the process ends."""
    before, day = kept(held), offline.today()
    token, bundle = token_in(data, "mill-loft-counter"), before["bundle"].encode()
    for name in ("fsync", "replace"):
        with monkeypatch.context() as broken:
            broken.setattr(offline.os, name, mock.Mock(side_effect=OSError("no space left")))
            with pytest.raises(OSError, match="no space left"):
                offline.pull(held, lambda etag: (bundle, '"other"'), token, "mill-loft", day)
        assert kept(held) == before
        assert [file.name for file in held.iterdir()] == ["held.json"]
    offline.pull(held, lambda etag: (bundle, '"other"'), token, "mill-loft", day)
    assert {**kept(held), "pulled_by": before["pulled_by"]} == {**before, "etag": '"other"'}


def test_show(accord: Accord, alone: Accord, held: Path) -> None:
    shown = accord("bundle", "show", ACCORD_BUNDLE=str(held))
    assert (shown.exit_code, "good until" in shown.output) == (0, True)
    document: dict[str, Any] = json.loads(accord("bundle", "show", "--json", ACCORD_BUNDLE=str(held)).output)
    assert (document["state"], document["shop_id"], document["revision"]) == ("fresh", "mill-loft", 1)
    assert document["why"] is None
    unasked = alone("bundle", "show", ACCORD_BUNDLE=str(held))
    assert (unasked.exit_code, "no key is set" in unasked.output) == (1, True)
    stranger = accord("bundle", "show", "--json", "--token", "accord_unknown", ACCORD_BUNDLE=str(held))
    assert (stranger.exit_code, json.loads(stranger.output)["why"]) == (1, "pulled-with-another-token")
    cut(held)
    shown = alone("bundle", "show", ACCORD_BUNDLE=str(held))
    assert (shown.exit_code, "only a part of one" in shown.output) == (1, True)
    absent(held)
    assert "No bundle was pulled" in alone("bundle", "show", ACCORD_BUNDLE=str(held)).output


def test_where_a_bundle_is_kept(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """XDG base directory specification: a path that is not absolute counts as none."""
    monkeypatch.delenv("ACCORD_BUNDLE", raising=False)
    monkeypatch.setenv("HOME", "/home/nia")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert offline.usual_folder() == tmp_path / "accord" / "bundle"
    for unusable in ("", "relative"):
        monkeypatch.setenv("XDG_DATA_HOME", unusable)
        assert offline.usual_folder() == Path("/home/nia/.local/share/accord/bundle")
