"""Orders kept with their answers, by the command alone: from the order to the report of how a piece came out."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest
from tests.cli.conftest import Accord

POSSIBLE = {
    "item": {"blank": "tote-polyester-white"},
    "decorations": [
        {"transfer": "dye-sublimation", "placement": "front", "size": {"width": "20 cm", "height": "20 cm"}}
    ],
    "press": "bench",
}
HOPELESS = {"item": {"blank": "tee-heavy-white"}, "decorations": [{"transfer": "dye-sublimation"}]}


def words(text: str) -> str:
    return " ".join(text.split())


def test_an_order_is_kept_found_shown_and_reported_on(accord: Accord, order: Callable[..., str]) -> None:
    file = order("tote", {**POSSIBLE, "reference": "ML-77"})
    trial = accord("record", "add", file, "--validate-only")
    assert (trial.exit_code, trial.output.splitlines()[-1]) == (0, "Nothing was written.")
    assert words(accord("record", "list", "ML-77").output) == "No order of the reference ML-77 is kept."

    added = accord("record", "add", file, "--job", "ML-77-once")
    assert added.exit_code == 0, added.output
    assert "ACCEPTED" in added.output
    id_ = added.output.split()[-1]
    assert f"accord outcome report {id_}" in words(added.output)
    again = accord("record", "add", file, "--job", "ML-77-once", "--json")
    assert json.loads(again.output)["record_id"] == id_, "the same job is one record"

    headings, line = accord("record", "list", "ML-77").output.splitlines()
    assert headings.split() == ["RECORD", "REFERENCE", "VERDICT", "KEPT"]
    assert line.split()[:3] == [id_, "ML-77", "accepted"]
    assert [kept["record_id"] for kept in json.loads(accord("record", "list", "ML-77", "--json").output)] == [id_]

    shown = accord("record", "show", id_, "--json")
    assert json.loads(shown.output)["reference"] == "ML-77"
    assert f"ACCEPTED {id_} (ML-77)" in words(accord("record", "show", id_).output)
    reported = accord("outcome", "report", id_)
    assert (reported.exit_code, reported.output.split()[-8:-5]) == (0, ["o1", "0", "good"]), reported.output
    # Other tests ask the same service, and a bundle does not know of reports.
    assert accord("outcome", "withdraw", id_, "o1").exit_code == 0


@pytest.mark.parametrize("document", [HOPELESS, {**POSSIBLE, "press": "mini"}])
def test_a_rejected_order_is_kept_as_well_and_exits_so(
    accord: Accord, order: Callable[..., str], document: object
) -> None:
    file = order("hopeless", document)
    validated, added = accord("validate", file, "--json"), accord("record", "add", file, "--json")
    assert added.exit_code == validated.exit_code == 1
    kept = json.loads(added.output)
    assert (kept["verdict"], kept["answer"]) == ("rejected", json.loads(validated.output)[0])
    assert accord("record", "show", kept["record_id"]).exit_code == 1


def test_what_cannot_be_read_is_not_kept(accord: Accord, order: Callable[..., str]) -> None:
    for name, document, sentence in (
        ("no-json", b"{", "not acceptable JSON"),
        ("no-order", {**POSSIBLE, "surprise": 1}, "/surprise"),
    ):
        refused = accord("record", "add", order(name, document))
        assert refused.exit_code == 2
        assert sentence in words(refused.output)
    assert "has no record 'rec_none'" in words(accord("record", "show", "rec_none").output)
