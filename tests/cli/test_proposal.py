"""A change of the book by the command, against a service of its own: what is copied, shown, asked and refused.

tests/docs/test_steward.py takes one from a copy to another verdict. No outside source.
"""

from __future__ import annotations

import json
import threading
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.cli.conftest import SHOP, Accord, Served, invoked, served_from, token_in
from tests.service.api.test_proposals import ASKED
from tests.service.effect_workers import effect_worker

import accord_client
from accord_rules.documents.files import read_folder, shipped, shipped_folder
from accord_rules.governance.changes import difference
from accord_service.cli.book import Base, write_copy

LIMIT = "people.hand_held_quantity_most"
KEYS = (("mill-loft", "owner"), ("mill-loft", "counter"), ("pier-works", "steward"), ("quarry-press", "steward"))
By = Callable[[str], Accord]


def words(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture(scope="module")
def own_data(seed: Callable[[Path], Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three shops, two of them with a steward; the book of this service is changed here."""
    folder = tmp_path_factory.mktemp("three")
    (folder / "shops").mkdir()
    for shop in ("mill-loft", "pier-works", "quarry-press"):
        (folder / "shops" / f"{shop}.toml").write_text(SHOP.replace("mill-loft", shop), encoding="utf-8")
    keys = (f'[[key]]\nshop = "{shop}"\nrole = "{role}"\nholder = "The {role} of {shop}"' for shop, role in KEYS)
    (folder / "keys.toml").write_text("\n".join(keys), encoding="utf-8")
    return seed(folder)


@pytest.fixture(scope="module")
def own(own_data: Path) -> Iterator[Served]:
    """The service, and beside it what works out effects."""
    with served_from(own_data) as served, effect_worker(served.store) as worker:
        over = threading.Event()

        def work() -> None:
            while not over.is_set():
                worker.turn() or over.wait(0.05)

        thread = threading.Thread(target=work)
        thread.start()
        yield served
        over.set()
        thread.join()


@pytest.fixture
def by(own: Served, own_data: Path) -> By:
    """The command with somebody's key."""
    return lambda key: invoked({"ACCORD_URL": own.url, "ACCORD_TOKEN": token_in(own_data, key)})


@pytest.fixture
def copied(by: By, tmp_path: Path) -> Path:
    folder = tmp_path / "my-book"
    done = by("mill-loft-owner")("book", "copy", str(folder))
    assert done.exit_code == 0, done.output
    return folder


def edited(folder: Path, old: str, new: str, file: str = "limits/people.toml") -> None:
    text = (folder / file).read_text(encoding="utf-8")
    assert text.count(old) == 1
    (folder / file).write_text(text.replace(old, new), encoding="utf-8")


def noted(folder: Path) -> None:
    """A change that turns no verdict, and so is worked out soon."""
    edited(folder, '"About an hour of leaning."', '"About an hour of leaning, looked at again."')


def drafted(owner: Accord, folder: Path) -> str:
    said = ("--draft", "--reason", "A reason.", "--evidence", "Some evidence.", "--json")
    return str(json.loads(owner("propose", str(folder), *said).stdout)["proposal"]["proposal_id"])


# -- copies ------------------------------------------------------------------------------------------------------------


def test_a_copy_of_the_shipped_book_is_the_shipped_files(copied: Path) -> None:
    names = {file.relative_to(copied).as_posix() for file in copied.rglob("*") if file.is_file()}
    assert "limits/people.toml" in names
    for name in names - {"revision.json"}:
        assert (copied / name).read_text(encoding="utf-8") == shipped_folder().joinpath(name).read_text(
            encoding="utf-8"
        )
    assert read_folder(copied) == shipped()


def test_a_copy_of_another_book_keeps_the_comments_of_what_is_as_it_was(tmp_path: Path) -> None:
    documents: dict[str, dict[str, Any]] = {kind: dict(entries) for kind, entries in shipped().items()}
    documents["limits"][LIMIT] = {**documents["limits"][LIMIT], "value": 40, "note": 'Said "so", \\ and °.'}
    documents["limits"]["people.new_most"] = {**documents["limits"][LIMIT], "title": "A new one"}
    del documents["limits"]["people.cord_age_most"]
    rule = next(iter(documents["rules"]))
    documents["rules"]["a-new-rule"] = {**documents["rules"][rule], "title": "Another"}
    documents["rules"][rule] = {**documents["rules"][rule], "fires": documents["rules"][rule]["fires"][:1]}
    del documents["steps"][next(iter(documents["steps"]))]
    write_copy(tmp_path, documents, Base(7, "sha256:x"))
    assert read_folder(tmp_path) == documents
    assert difference(documents, read_folder(tmp_path)) == ()
    text = (tmp_path / "limits" / "people.toml").read_text(encoding="utf-8")
    assert text.startswith("# Thresholds where people can be hurt")
    assert 'title = "A piece may be handed over and held up to this temperature"\n' in text
    assert json.loads((tmp_path / "revision.json").read_text(encoding="utf-8")) == {"revision": 7, "digest": "sha256:x"}


def test_a_folder_with_something_in_it_is_left_alone(by: By, copied: Path, tmp_path: Path) -> None:
    owner = by("mill-loft-owner")
    refused = owner("book", "copy", str(copied))
    assert refused.exit_code == 2
    assert "is not empty" in refused.stderr
    (tmp_path / "empty").mkdir()
    no_copy = owner("propose", str(tmp_path / "empty"))
    assert no_copy.exit_code == 2
    assert "is no copy of the book" in no_copy.stderr
    assert owner("book", "copy", str(tmp_path / "other"), "--revision", "99").exit_code == 2
    assert not (tmp_path / "other").exists()


# -- what is proposed ------------------------------------------------------------------------------------------------


def test_what_was_edited_is_shown_entry_by_entry_and_checked(by: By, copied: Path) -> None:
    owner = by("mill-loft-owner")
    nothing = owner("propose", str(copied))
    assert nothing.exit_code == 1
    assert "differs from revision 1" in words(nothing.stdout)
    edited(copied, 'value = 50\nstep = 1\nstricter = "lower"', 'value = 40\nstep = 1\nstricter = "lower"')
    shown = owner("propose", str(copied))
    assert shown.exit_code == 0, shown.output
    assert max(len(line) for line in shown.stdout.splitlines() if str(copied) not in line) <= 80
    page = words(shown.stdout)
    assert f"CHANGED limits {LIMIT}" in page
    assert "FIELD FROM TO value 50 40" in page
    assert "The service would take it" in page
    assert by("mill-loft-owner")("proposal", "list").stdout.strip() == "Nobody has proposed anything yet."
    changes = json.loads(owner("propose", str(copied), "--json").stdout)["changes"]
    limit = tomllib.loads((copied / "limits" / "people.toml").read_text(encoding="utf-8"))[LIMIT]
    assert [(change["kind"], change["id"], change["value"]) for change in changes] == [("limits", LIMIT, limit)]


def test_what_is_no_book_is_refused_with_the_entry_and_the_reason(by: By, copied: Path) -> None:
    owner = by("mill-loft-owner")
    assert owner("propose", str(copied), "--draft").exit_code == 2
    edited(copied, 'value = 50\nstep = 1\nstricter = "lower"', 'value = -50\nstep = 1\nstricter = "lower"')
    refused = owner("propose", str(copied))
    assert refused.exit_code == 2
    assert f"limits {LIMIT} " in refused.stderr
    assert "/changes/" not in refused.stderr
    (copied / "limits" / "people.toml").write_text("not TOML", encoding="utf-8")
    unread = owner("propose", str(copied))
    assert unread.exit_code == 2
    assert "limits/people.toml" in unread.stderr
    assert "is not TOML" in unread.stderr


# -- what becomes of it ------------------------------------------------------------------------------------------------


def test_a_draft_is_withdrawn_by_its_author_alone(by: By, copied: Path) -> None:
    owner, steward = by("mill-loft-owner"), by("pier-works-steward")
    noted(copied)
    id_ = drafted(owner, copied)
    page = words(owner("proposal", "show", id_).stdout)
    assert page.startswith(f"{id_} draft Author The owner of mill-loft, owner of mill-loft Base revision 1")
    assert "Approvals none before it is open" in page
    assert owner("proposal", "effect", id_).exit_code == 2
    assert steward("proposal", "withdraw", id_, "--reason", "Not mine.").exit_code == 2
    assert steward("proposal", "approve", id_, "--yes").exit_code == 2
    assert steward("proposal", "publish", id_).exit_code == 2
    trial = owner("proposal", "withdraw", id_, "--reason", "Misread.", "--validate-only")
    assert trial.stdout.startswith(f"Could be withdrawn: {id_}")
    gone = owner("proposal", "withdraw", id_, "--reason", "Misread.")
    assert gone.stdout.startswith(f"Withdrawn: {id_}, which is withdrawn now")
    assert id_ in owner("proposal", "list", "--state", "withdrawn").stdout
    assert "Ended Misread." in words(owner("proposal", "show", id_).stdout)
    assert owner("proposal", "withdraw", id_).exit_code == 2


def test_what_was_recorded_since_the_effect_is_told_to_who_may_see_it(
    by: By, copied: Path, own: Served, own_data: Path
) -> None:
    owner, counter = by("mill-loft-owner"), by("mill-loft-counter")
    noted(copied)
    id_ = drafted(owner, copied)
    assert owner("proposal", "open", id_).exit_code == 0
    assert "recorded since" not in owner("proposal", "show", id_).stdout
    with accord_client.Client(own.url, token_in(own_data, "mill-loft-counter")) as client:
        client.governance.record(ASKED)
    told = "1 order was recorded since this effect was asked for"
    assert told in words(owner("proposal", "show", id_).stdout)
    assert told in words(owner("proposal", "effect", id_).stdout)
    shown = counter("proposal", "show", id_)
    assert (shown.exit_code, "recorded since" in shown.stdout) == (0, False)
    assert owner("proposal", "withdraw", id_, "--reason", "Misread.").exit_code == 0


def test_an_open_one_is_approved_only_when_asked_or_told_and_then_published(
    by: By, copied: Path, tmp_path: Path
) -> None:
    owner, steward, other = by("mill-loft-owner"), by("pier-works-steward"), by("quarry-press-steward")
    noted(copied)
    id_, second = drafted(owner, copied), drafted(owner, copied)
    opened = owner("proposal", "open", id_)
    assert opened.exit_code == 0, opened.output
    assert "No answer becomes another" in words(opened.stdout)
    assert owner("proposal", "open", second).exit_code == 0
    declined = other("proposal", "decline", second, "--reason", "Twice the same.")
    assert declined.stdout.startswith(f"Declined: {second}, which is declined now")
    assert owner("proposal", "approve", id_, "--yes").exit_code == 2
    status = json.loads(steward("proposal", "show", id_, "--json").stdout)
    for answer, code, said in (("n\n", 1, "Nothing was approved."), ("", 2, "nothing was approved")):
        asked = steward("proposal", "approve", id_, stdin=answer)
        assert (asked.exit_code, said in words(asked.output)) == (code, True)
        assert all(digest in asked.stdout for digest in status["digests"].values())
    approved = steward("proposal", "approve", id_, stdin="y\n")
    assert f"Approved: {id_}, which is approved now; approvals: 1 of 1." in words(approved.stdout)
    assert "Could be published" in steward("proposal", "publish", id_, "--validate-only").stdout
    assert words(steward("proposal", "publish", id_).stdout).startswith(f"Published: {id_} is revision 2 of the book.")
    page = words(owner("revision", "2", "--changes").stdout)
    assert "Approved by The steward of pier-works, steward of pier-works" in page
    assert "note About an hour of leaning. About an hour of leaning, looked at again." in page
    assert words(owner("revisions").stdout).startswith("REVISION PUBLISHED PROPOSED BY REASON 2 ")
    # The copy is of what is no more the head; a new one has the change, with the file's comments.
    late = owner("propose", str(copied))
    assert late.exit_code == 2
    assert "the book is at 2" in late.stderr
    owner("book", "copy", str(tmp_path / "second"))
    text = (tmp_path / "second" / "limits" / "people.toml").read_text(encoding="utf-8")
    assert text == (copied / "limits" / "people.toml").read_text(encoding="utf-8")
    back = owner("revert", "1", "--reason", "To see.")
    assert words(back.stdout).startswith(f"CHANGED limits {LIMIT}")
    assert "Drafted: p" in back.stdout


def test_a_counter_sees_all_and_proposes_nothing(by: By, copied: Path) -> None:
    counter = by("mill-loft-counter")
    assert counter("proposal", "list").exit_code == 0
    assert counter("revisions", "--json").exit_code == 0
    noted_again = '"About an hour of leaning'
    text = (copied / "limits" / "people.toml").read_text(encoding="utf-8")
    (copied / "limits" / "people.toml").write_text(text.replace(noted_again, '"Some hour of leaning'), encoding="utf-8")
    refused = counter("propose", str(copied))
    assert refused.exit_code == 2
    assert f"CHANGED  limits {LIMIT}" in refused.stdout
    assert "This key may not do that" in refused.stderr
