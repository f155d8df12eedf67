"""``accord shop``, ``accord key`` and ``accord seed``."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result
from tests.tokens import key_id_of, secret_of

from accord_client import Client

Accord = Callable[..., Result]
SHOP = """
id = "{id}"
name = "Ferry Yard Print"
market = "uk"
unit_system = "metric"
standing = []
[[presses]]
id = "left"
type = "clamshell"
[stock]
products = []
consumables = []
"""


@pytest.fixture
def file(tmp_path: Path) -> Callable[[str], str]:
    """Writes a shop's file and gives its name."""

    def write(id: str) -> str:
        file = tmp_path / f"{id}.toml"
        file.write_text(SHOP.format(id=id), encoding="utf-8")
        return str(file)

    return write


def test_a_shop_is_added_once(as_admin: Accord, file: Callable[[str], str]) -> None:
    trial = as_admin("shop", "add", "--validate-only", file("ferry-yard"))
    assert (trial.exit_code, trial.output) == (0, "Could be added: ferry-yard (Ferry Yard Print).\n")
    assert "ferry-yard" not in as_admin("shop", "list").output
    added = as_admin("shop", "add", file("ferry-yard"))
    assert (added.exit_code, added.output) == (0, "Added: ferry-yard (Ferry Yard Print).\n")
    listed = as_admin("shop", "list").output
    assert listed.split()[:4] == ["SHOP", "NAME", "VERSION", "CHANGED"]
    assert f"ferry-yard Ferry Yard Print 1 {datetime.now(UTC).date()}" in " ".join(listed.split())
    assert {line["id"] for line in json.loads(as_admin("shop", "list", "--json").output)} >= {"ferry-yard", "mill-loft"}
    again = as_admin("shop", "add", file("ferry-yard"))
    assert again.exit_code == 2
    assert "There is a shop 'ferry-yard' already" in again.output


def test_what_holds_of_the_own_presses_is_told_once(accord: Accord) -> None:
    """A counter's key will do; nothing of it stands on an order."""
    done = accord("shop", "status")
    assert done.exit_code == 0
    words = " ".join(done.output.split())
    assert "The shop does not say which circuit swing-away press “bench” runs on" in words
    assert "mini" in words
    status = json.loads(accord("shop", "status", "--json").output)
    assert status["shop_id"] == "mill-loft"
    assert {finding["rule"] for finding in status["findings"]} >= {"circuit-not-said", "display-not-calibrated"}
    for finding in status["findings"]:
        assert words.count(finding["title"]) == 1, "once, however many presses it holds of"
        assert finding["because"] in words


def test_a_reading_that_waits_is_told_until_it_is_confirmed(
    served: Any, accord: Accord, alone: Accord, data: Path
) -> None:
    def by(role: str) -> Callable[..., Result]:
        token = (data / "keys" / f"mill-loft-{role}").read_text(encoding="ascii").strip()
        return lambda *words, **more: alone(
            "shop", "reading", *words, ACCORD_URL=served.url, ACCORD_TOKEN=token, **more
        )

    operator, owner, today = by("operator"), by("owner"), datetime.now(UTC).date().isoformat()
    odd = operator("add", "bench", "180 °C", "120 °C", "--taken-on", today)
    assert odd.exit_code == 2
    assert "far-below-display" in odd.output
    words = ("add", "bench", "180 °C", "177 °C", "176 °C", "--taken-on", today)
    assert operator(*words, "--validate-only").output.startswith("Could be entered: bench rd_")
    made = operator(*words)
    assert made.exit_code == 0, made.output
    assert made.output.endswith("It waits, and counts for nothing until the owner confirms it.\n")
    id_ = made.output.split()[2].rstrip(":")
    line = f"bench {id_}: 180 °C shown, 177 °C, 176 °C read on {today} by The operator"
    listed = operator("list", "bench", COLUMNS="100").output.splitlines()
    assert listed[0].split() == ["READING", "STATE", "DISPLAY", "SURFACE", "TAKEN", "BY", "NOTE"]
    assert listed[1].split() == [id_, "waits", *["180", "°C", "177", "°C,", "176", "°C"], today, "The", "operator"]
    (reading,) = json.loads(operator("list", "bench", "--json").output)
    assert (reading["reading_id"], reading["counts"]) == (id_, False)
    status = " ".join(accord("shop", "status").output.split())
    assert f"1 probe reading waits for the owner and counts for nothing until confirmed: - {line}" in status
    assert operator("confirm", "bench", id_).exit_code == 2
    assert owner("confirm", "bench", id_).output.startswith(f"Confirmed: bench {id_}")
    assert "waits for the owner" not in accord("shop", "status").output
    assert owner("list", "bench", COLUMNS="100").output.splitlines()[1].split()[:2] == [id_, "counts"]
    assert owner("withdraw", "bench", id_).output.startswith(f"Taken back: bench {id_}")
    assert owner("list", "bench").output.strip() == "No reading of bench is kept."


def test_a_faulty_shop_is_refused_field_by_field(as_admin: Accord, file: Callable[[str], str]) -> None:
    name = file("harbour")
    Path(name).write_text(SHOP.format(id="harbour").replace("clamshell", "mangle").replace('"uk"', '"moon"'))
    refused = as_admin("shop", "add", name)
    assert refused.exit_code == 2
    assert "/market" in refused.output


def cell(table: str, row: str, heading: str, following: str | None = None) -> str:
    """A cell of a table whose rows begin with keys' ids, put together where it is wrapped."""
    head, *lines = table.splitlines()
    begin, end = head.index(heading), None if following is None else head.index(following)
    start = next(number for number, line in enumerate(lines) if line.strip().startswith(row))
    others = (number for number, line in enumerate(lines) if number > start and line.strip().startswith("key_"))
    return " ".join(" ".join(line[begin:end] for line in lines[start : next(others, None)]).split())


def test_a_key_is_issued_works_and_is_revoked(served: Any, as_admin: Accord, alone: Accord) -> None:
    end = "2035-03-31T18:00:00.000Z"
    issued = as_admin("key", "issue", "mill-loft", "operator", "--holder", "The tablet", "--expires-at", end)
    assert issued.exit_code == 0
    token = issued.stdout.strip()
    assert "shown this once" in issued.stderr
    env = {"ACCORD_URL": served.url, "ACCORD_TOKEN": token}
    assert alone("rules", **env).exit_code == 0
    id_ = key_id_of(token)
    listed = as_admin("key", "list", "--shop", "mill-loft").output
    assert " ".join(listed.splitlines()[0].split()) == "KEY OPENS HOLDER USED STATE"
    assert cell(listed, id_, "OPENS", "HOLDER") == "operator of mill-loft"
    assert cell(listed, id_, "HOLDER", "USED") == "The tablet"
    assert cell(listed, id_, "STATE") == f"works until {end[:10]}"
    assert id_ in {key["key_id"] for key in json.loads(as_admin("key", "list", "--json").output)}
    shown = [line.split(maxsplit=1) for line in as_admin("key", "show", id_).output.splitlines()]
    assert shown[0] == ["FIELD", "VALUE"]
    assert ["holder", "The tablet"] in shown
    assert ["last_four", token[-4:]] in shown
    assert ["expires_at", end] in shown
    assert json.loads(as_admin("key", "show", id_, "--json").output)["last_four"] == token[-4:]
    assert as_admin("key", "revoke", id_).output == f"Revoked: {id_}, operator of mill-loft.\n"
    assert secret_of(token) not in as_admin("key", "list").output


def test_a_storefronts_key_is_issued_for_its_pages(as_admin: Accord) -> None:
    wanted = ("key", "issue", "mill-loft", "storefront", "--holder", "Ada Reyes")
    refused = as_admin(*wanted)
    assert refused.exit_code == 2
    assert "/origins" in refused.output
    issued = as_admin(*wanted, "--origin", "https://a.example", "--origin", "https://b.example")
    assert issued.exit_code == 0, issued.output
    key_id = f"key_{issued.stdout.strip().split('_')[1]}"
    shown = " ".join(as_admin("key", "show", key_id).stdout.split())
    assert "origins https://a.example, https://b.example" in shown


def test_a_stewards_key_waits_until_another_admin_confirms_it(
    served: Any, as_admin: Accord, alone: Accord, second_admin: str
) -> None:
    issued = as_admin("key", "issue", "collective", "steward", "--holder", "Tomas Reddy")
    id_ = key_id_of(issued.stdout.strip())
    assert f"until another admin confirms it: accord key confirm {id_}" in issued.stderr
    env = {"ACCORD_URL": served.url, "ACCORD_TOKEN": issued.stdout.strip()}
    assert alone("rules", **env).exit_code == 2

    def state() -> str:
        return cell(as_admin("key", "list").output, id_, "STATE")

    assert state() == "waits for a second admin"
    refused = as_admin("key", "confirm", id_)
    assert refused.exit_code == 2
    assert "another admin has to confirm it" in refused.output
    confirmed = alone("key", "confirm", id_, ACCORD_URL=served.url, ACCORD_TOKEN=second_admin)
    assert confirmed.output == f"Confirmed: {id_}, steward of collective, held by Tomas Reddy.\n"
    assert state() == "works"
    assert alone("rules", **env).exit_code == 0
    assert as_admin("key", "revoke", id_).exit_code == 0
    assert state() == f"revoked {datetime.now(UTC).date()}"


def test_a_report_is_made_listed_and_withdrawn(served: Any, accord: Accord, data: Path) -> None:
    token = (data / "keys" / "mill-loft-counter").read_text(encoding="ascii").strip()
    with Client(served.url, token) as client:
        record = client.governance.record(
            {
                "item": {"blank": "cushion-polyester-white"},
                "decorations": [{"transfer": "dye-sublimation", "placement": "front"}],
                "press": "bench",
            }
        )
    made = accord("outcome", "report", record["record_id"], "--failed", "peeled", "--washes", "6")
    assert made.exit_code == 0, made.output
    today = datetime.now(UTC).date().isoformat()
    headings, report = made.output.splitlines()
    assert headings.split() == ["REPORT", "DECORATION", "RESULT", "WASHES", "REPORTED", "BY", "WITHDRAWN"]
    assert report.split() == ["o1", "0", "peeled", "6", today, "The", "counter", "-"]
    (listed,) = json.loads(accord("outcome", "list", record["record_id"], "--json").output)
    assert listed["outcome_id"] == "o1"
    assert accord("outcome", "report", record["record_id"]).exit_code == 2, "it was one piece"
    withdrawn = accord("outcome", "withdraw", record["record_id"], "o1").output
    assert withdrawn == accord("outcome", "list", record["record_id"]).output != made.output
    good = accord("outcome", "report", record["record_id"]).output.splitlines()[1]
    assert good.split()[:4] == ["o2", "0", "good", "-"]
    # Other tests ask the same service, and a bundle does not know of reports.
    assert accord("outcome", "withdraw", record["record_id"], "o2").exit_code == 0


def test_a_counter_may_do_none_of_it(accord: Accord, file: Callable[[str], str]) -> None:
    for command in (
        ("shop", "list"),
        ("key", "list"),
        ("key", "issue", "mill-loft", "owner", "--holder", "Ada Reyes"),
        ("key", "confirm", "key_none"),
        ("shop", "add", file("x")),
    ):
        refused = accord(*command)
        assert refused.exit_code == 2
        assert "This key may not do that" in refused.output
        assert "this key's role is" in refused.output


def test_who_is_asked_has_to_be_said(alone: Accord) -> None:
    assert alone("shop", "list").exit_code == 2


@pytest.mark.parametrize(
    ("name", "text", "complaint"),
    [
        ("shops/mill-loft.toml", 'market = "eu"', "/market"),
        ("shops/mill-loft.toml", "film-soft-matte", "there is no 'no-such-thing' in products"),
        ("shops/mill-loft.toml", 'id = "mill-loft"', "file name and id must be the same"),
        ("keys.toml", 'role = "owner"', "keys.toml: /key/1/role"),
        ("keys.toml", 'shop = "mill-loft"', "there is no shop 'no-such-thing'"),
    ],
)
def test_a_faulty_folder_seeds_nothing(
    alone: Accord, collective: Path, tmp_path: Path, name: str, text: str, complaint: str
) -> None:
    for part in ("shops/mill-loft.toml", "keys.toml"):
        (tmp_path / part).parent.mkdir(exist_ok=True)
        whole = (collective / part).read_text(encoding="utf-8")
        assert part != name or text in whole
        words = text.split('"')
        misspelt = text.replace(words[1] if len(words) > 1 else text, "no-such-thing")
        (tmp_path / part).write_text(whole.replace(text, misspelt) if part == name else whole, encoding="utf-8")
    done = alone("seed", str(tmp_path), "--data", str(tmp_path / "data"))
    assert done.exit_code == 2
    assert complaint in done.stderr
    assert [file.name for file in (tmp_path / "data" / "keys").iterdir()] == ["admin"]


@pytest.mark.parametrize(
    ("key", "complaint"),
    [
        ('role = "storefront"', "/key/0/origins: a storefront's key needs the origins"),
        ('role = "counter"\norigins = ["https://a.example"]', "/key/0/origins: only a storefront's key has origins"),
    ],
)
def test_keys_with_wrong_origins_are_not_seeded(
    alone: Accord, collective: Path, tmp_path: Path, key: str, complaint: str
) -> None:
    (tmp_path / "shops").mkdir()
    shop = (collective / "shops/mill-loft.toml").read_text(encoding="utf-8")
    (tmp_path / "shops/mill-loft.toml").write_text(shop, encoding="utf-8")
    keys = f'[[key]]\nshop = "mill-loft"\nholder = "Ada Reyes"\n{key}\n'
    (tmp_path / "keys.toml").write_text(keys, encoding="utf-8")
    done = alone("seed", str(tmp_path), "--data", str(tmp_path / "data"))
    assert (done.exit_code, complaint in done.stderr) == (2, True), done.stderr


@pytest.mark.long
def test_seeding_again_changes_nothing(own_process: Any, collective: Path, tmp_path: Path) -> None:
    keys = tmp_path / "data" / "keys"
    first = own_process("seed", str(collective), "--data", str(tmp_path / "data"))
    assert first.stdout.startswith(b"1 shop added")
    before = {file.name: file.read_bytes() for file in keys.iterdir()}
    assert set(before) == {"admin", *(f"mill-loft-{role}" for role in ("counter", "operator", "owner", "admin"))}
    assert {file.stat().st_mode & 0o777 for file in keys.iterdir()} == {0o600}
    again = own_process("seed", str(collective), "--data", str(tmp_path / "data"))
    assert again.stdout.startswith(b"0 shops added")
    assert {file.name: file.read_bytes() for file in keys.iterdir()} == before


@pytest.mark.usefixtures("served")
def test_a_store_that_a_service_uses_is_not_seeded(own_process: Any, collective: Path, data: Path) -> None:
    done = own_process("seed", str(collective), "--data", str(data))
    assert done.returncode == 2
    assert b"is owned by process" in done.stderr
