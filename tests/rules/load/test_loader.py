"""A book is refused with file, entry and reason. Each case changes one thing in the shipped book.

What must be refused is this project's own decision; there is no outside source.
"""

from __future__ import annotations

import copy
import shutil
from collections.abc import Callable
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

import pytest

from accord_rules.documents.files import BookError, read_folder, shipped
from accord_rules.load.loader import from_documents

Documents = dict[str, dict[str, Any]]
Change = Callable[[Documents], None]
RULE_ID = "dye-on-too-little-polyester"
RULE = f"rules/dye-on-cloth/{RULE_ID}.toml"


@pytest.fixture(scope="module")
def whole() -> Documents:
    """The shipped book."""
    return {kind: dict(entries) for kind, entries in shipped().items()}


@pytest.fixture
def documents(whole: Documents) -> Documents:
    """A copy to spoil: the shipped book with one of its rules and no step, since trying them all takes time."""
    return copy.deepcopy(whole | {"rules": {RULE_ID: whole["rules"][RULE_ID]}, "steps": {}})


def reasons(documents: Documents) -> tuple[str, ...]:
    with pytest.raises(BookError) as refused:
        from_documents(documents)
    return refused.value.reasons


def test_the_unchanged_copies_load(documents: Documents, whole: Documents) -> None:
    assert tuple(from_documents(documents).rules) == (RULE_ID,)
    assert len(from_documents(copy.deepcopy(whole)).rules) == len(whole["rules"])


def put(kind: str, entry: str, *path: Any, value: Any) -> Change:
    """Set one value deep inside an entry."""

    def change(documents: Documents) -> None:
        place = documents[kind][entry]
        for step in path[:-1]:
            place = place[step]
        place[path[-1]] = value

    return change


def drop(kind: str, entry: str, *path: Any) -> Change:
    def change(documents: Documents) -> None:
        place = documents[kind][entry]
        for step in path[:-1]:
            place = place[step]
        del place[path[-1]]

    return change


def window(temperature: tuple[str, str, str]) -> dict[str, str]:
    return dict(zip(("least", "aim", "most"), temperature, strict=True))


# What is changed -> what the reason must name: the file and entry, the field, and what is wrong with it.
ENTRY_CASES: dict[str, tuple[Change, tuple[str, ...]]] = {
    "told once per shop, over facts of an order": (
        put("rules", RULE_ID, "about", value="shop"),
        (RULE, "/about", "is told once per shop, but", "transfer.principle", "hangs on an order"),
    ),
    "told once per shop, turning verdicts": (
        put("rules", RULE_ID, "about", value="shop"),
        (RULE, "/level", "what is told once per shop stands beside none", "cautions", "notes"),
    ),
    "dwells of a press out of order on a substrate": (
        put("press_types", "mug-oven-wrap", "dwell_extra_on", "enamel-mug", "aim", value="10 s"),
        ("press_types.toml: mug-oven-wrap", "/dwell_extra_on/enamel-mug", "least 240, aim 10, most 360"),
    ),
    "unknown field": (
        put("fibres", "CO", "colour", value="white"),
        ("fibres.toml: CO", "/colour", "is not a known field"),
    ),
    "missing field": (drop("fibres", "CO", "harm"), ("fibres.toml: CO", "/harm", "is required")),
    "unknown word": (
        put("fibres", "CO", "harm", value="explodes"),
        ("fibres.toml: CO", "/harm", "'explodes' is not one of the allowed words", "scorches"),
    ),
    "wrong unit": (
        put("fibres", "CO", "harmful_from", value="220 mm"),
        ("fibres.toml: CO", "/harmful_from", "'mm' is not known here", "°F"),
    ),
    "missing unit": (
        put("fibres", "CO", "harmful_from", value="220"),
        ("fibres.toml: CO", "/harmful_from", "220 has no unit"),
    ),
    "plain number for a quantity": (
        put("fibres", "CO", "harmful_from", value=220),
        ("fibres.toml: CO", "/harmful_from", "must be a string with a unit", "not a number"),
    ),
    "string for a plain number": (
        put("transfers", "cut-film", "stretch", value="15"),
        ("transfers.toml: cut-film", "/stretch", "must be a number"),
    ),
    "whole number that is none": (
        put("transfers", "cut-film", "durability", value=3.5),
        ("transfers.toml: cut-film", "/durability", "must be a whole number"),
    ),
    "family misspelt as a field": (
        lambda documents: documents["products"]["film-soft-matte"].update(
            {"famliy": documents["products"]["film-soft-matte"].pop("family")}
        ),
        ("products.toml: film-soft-matte: /famliy: is not a known field (did you mean family?",),
    ),
    "no family": (
        drop("products", "film-soft-matte", "family"),
        ("products.toml: film-soft-matte", "/family: is required"),
    ),
    "entry that is no table": (
        lambda documents: documents["products"].update({"film-soft-matte": 3}),
        ("products.toml: film-soft-matte", "must be an object, not a number"),
    ),
    "family that is no table": (
        lambda documents: documents["transfers"].update({"spare": 3}),
        ("transfers.toml: spare", "must be an object, not a number"),
    ),
    "limit without unit": (
        put("limits", "care.iron_2_older", "value", value=150.0),
        ("limits: care.iron_2_older", "must be a string with a unit (°C, °F, K)"),
    ),
    "limit in the wrong unit": (
        put("limits", "care.iron_2_older", "value", value="150 s"),
        ("limits: care.iron_2_older", "'s' is not known here"),
    ),
    "step in the wrong unit": (
        put("limits", "care.iron_2_older", "step", value="1 mm"),
        ("limits: care.iron_2_older", "'mm' is not known here"),
    ),
    "unit on a plain number": (
        put("limits", "fibres.counted_from", "value", value="3 %"),
        ("limits: fibres.counted_from", "percent is a plain number, not '3 %'"),
    ),
    "limit without stricter direction": (
        drop("limits", "fibres.counted_from", "stricter"),
        ("limits: fibres.counted_from", "/stricter", "is required"),
    ),
    "limit without source": (
        put("limits", "fibres.counted_from", "sources", value=[]),
        ("limits: fibres.counted_from", "/sources", "must have 1 to 8 entries, has 0"),
    ),
    "source of no kind": (
        put("sources", "common-practice", "kind", value="hearsay"),
        ("sources.toml: common-practice", "/kind", "'hearsay' is not one of the allowed words"),
    ),
    "least above aim": (
        put("transfers", "cut-film", "temperature", value=window(("170 °C", "160 °C", "180 °C"))),
        ("transfers.toml: cut-film", "temperature", "least 170, aim 160, most 180 are out of order"),
    ),
    "aim above most": (
        put("transfers", "cut-film", "time", value=window(("10 s", "20 s", "15 s"))),
        ("transfers.toml: cut-film", "time", "least 10, aim 20, most 15 are out of order"),
    ),
    "pressure words out of order": (
        put("transfers", "cut-film", "pressure", value=window(("firm", "medium", "firm"))),
        ("transfers.toml: cut-film", "pressure", "least firm, aim medium, most firm are out of order"),
    ),
    "window of a variant out of order": (
        put("transfers", "dye-sublimation", "on", "metal", "time", value=window(("60 s", "50 s", "180 s"))),
        ("transfers.toml: dye-sublimation", "/on/metal/time", "are out of order"),
    ),
    "product's window out of order": (
        put("products", "film-soft-matte", "sheet", "temperature", value=window(("250 °C", "160 °C", "180 °C"))),
        ("products.toml: film-soft-matte", "/sheet/temperature", "are out of order"),
    ),
    "dwell by size that goes back": (
        put("transfers", "dye-sublimation", "on", "metal", "aim_by_size", 1, "longer_side", value="150 mm"),
        ("transfers.toml: dye-sublimation", "/on/metal/aim_by_size", "must rise"),
    ),
    "window of a blend out of order": (
        put("transfers", "powder-film", "by_polyester", 0, "temperature", value=window(("127 °C", "120 °C", "165 °C"))),
        ("transfers.toml: powder-film", "/by_polyester/0/temperature", "are out of order"),
    ),
    "window of a blend beyond the bounds": (
        put("transfers", "powder-film", "by_polyester", 1, "temperature", value=window(("95 °C", "131 °C", "165 °C"))),
        ("transfers.toml: powder-film", "/by_polyester/1/temperature", "95 °C to 165 °C reaches beyond the bounds"),
    ),
    "shares that go back": (
        put("transfers", "powder-film", "by_polyester", 1, "polyester", value=45),
        ("transfers.toml: powder-film", "/by_polyester", "shares must rise"),
    ),
    "aim on a press outside the window": (
        put("transfers", "dye-sublimation", "by_press", "hand-held", "temperature", value="170 °C"),
        ("transfers.toml: dye-sublimation", "/by_press/hand-held/temperature", "170 °C lies outside the window"),
    ),
    "dwell on a press outside the window": (
        put("transfers", "dye-sublimation", "by_press", "hand-held", "time", value="20 s"),
        ("transfers.toml: dye-sublimation", "/by_press/hand-held/time", "20 s lies outside the window"),
    ),
    "aim on a press that is none": (
        put("transfers", "dye-sublimation", "by_press", "oven", value={"temperature": "190 °C", "sources": ["fix"]}),
        ("transfers.toml: dye-sublimation", "/by_press/oven", "there is no 'oven' in press_types"),
    ),
    "dwell extra out of order": (
        put("press_types", "hand-held", "dwell_extra", value=window(("8 s", "7 s", "10 s"))),
        ("press_types.toml: hand-held", "dwell_extra", "least 8, aim 7, most 10 are out of order"),
    ),
    "variant for a substrate nobody knows": (
        put("transfers", "dye-sublimation", "on", "moonstone", value={"peel": ["hot"]}),
        ("transfers.toml: dye-sublimation", "/on/moonstone", "no substrate or family of that name"),
    ),
    "colour that is none": (
        put("blanks", "tee-heavy-white", "colour", value="blanched"),
        ("blanks.toml: tee-heavy-white", "colour", "'blanched' is no colour"),
    ),
    "blank's fibres off": (
        put("blanks", "tee-heavy-white", "fibres", value={"CO": 60, "PES": 30}),
        ("blanks.toml: tee-heavy-white", "fibres", "sum to 90 %, not 100"),
    ),
    "substrate's fibres off": (
        put("substrates", "sequin-cloth", "fibres", value={"PES": 98}),
        ("substrates.toml: sequin-cloth", "fibres", "sum to 98 %, not 100"),
    ),
    "spelling that means two fibres": (
        put("fibres", "CO", "aliases", value=["flax"]),
        ("fibres.toml:", "'flax' means another fibre too"),
    ),
    "spelling that is listed as ambiguous": (
        put("fibres", "CO", "aliases", value=["microfibre"]),
        ("fibres.toml: CO", "'microfibre' means another fibre too"),
    ),
    "ambiguous spelling with one reading": (
        put("ambiguous_fibres", "AC", "readings", value=["CA"]),
        ("ambiguous_fibres.toml: AC", "/readings", "must have 2 to 6 entries, has 1"),
    ),
}


@pytest.mark.parametrize("case", ENTRY_CASES)
def test_an_impossible_entry_is_refused_with_its_place_and_reason(case: str, documents: Documents) -> None:
    change, named = ENTRY_CASES[case]
    change(documents)
    refusals = reasons(documents)
    assert any(all(part in reason for part in named) for reason in refusals), refusals


DANGLING: dict[str, tuple[Change, str]] = {
    "fibres": (put("fibres", "CO", "sources", value=["nobody"]), "fibres.toml: CO: /sources/0: there is no 'nobody'"),
    "fibres, number by number": (
        put("fibres", "CO", "sources_of", value={"harmful_from": ["nobody"]}),
        "fibres.toml: CO: /sources_of/harmful_from/0: there is no 'nobody' in sources",
    ),
    "substrates": (
        put("substrates", "sequin-cloth", "fibres", value={"XX": 100}),
        "substrates.toml: sequin-cloth: /fibres/XX: there is no 'XX' in fibres",
    ),
    "coatings": (put("coatings", "none", "sources", value=["nobody"]), "coatings.toml: none: /sources/0:"),
    "finishes": (
        lambda documents: next(iter(documents["finishes"].values())).update(sources=["nobody"]),
        "finishes.toml: ",
    ),
    "transfers": (
        put("transfers", "cut-film", "cover", value=["velvet"]),
        "transfers.toml: cut-film: /cover/0: there is no 'velvet' in consumables",
    ),
    "transfers, in a variant": (
        put("transfers", "dye-sublimation", "on", "metal", "pad", value=["velvet"]),
        "transfers.toml: dye-sublimation: /on/metal/pad/0: there is no 'velvet' in consumables",
    ),
    "products": (
        put("products", "film-soft-matte", "family", value="velvet"),
        "products.toml: film-soft-matte: /family: there is no 'velvet' in transfers",
    ),
    "consumables": (
        put("consumables", "ptfe-sheet", "sources", value=["nobody"]),
        "consumables.toml: ptfe-sheet: /sources/0: there is no 'nobody' in sources",
    ),
    "press types": (
        put("press_types", "draw", "sources", value=["nobody"]),
        "press_types.toml: draw: /sources/0: there is no 'nobody' in sources",
    ),
    "blanks": (
        put("blanks", "tee-heavy-white", "substrate", value="velvet"),
        "blanks.toml: tee-heavy-white: /substrate: there is no 'velvet' in substrates",
    ),
    "blanks, what would do instead": (
        put("blanks", "tee-heavy-white", "alternatives", value=["velvet"]),
        "blanks.toml: tee-heavy-white: /alternatives/0: there is no 'velvet' in blanks",
    ),
    "limits": (
        put("limits", "fibres.counted_from", "sources", value=["nobody"]),
        "limits: fibres.counted_from: /sources/0: there is no 'nobody' in sources",
    ),
    "ambiguous fibres": (
        put("ambiguous_fibres", "AC", "readings", value=["CA", "XX"]),
        "ambiguous_fibres.toml: AC: /readings/1: there is no 'XX' in fibres",
    ),
    "rules": (
        put("rules", RULE_ID, "sources", value=["nobody"]),
        f"{RULE}: /sources/0: there is no 'nobody' in sources",
    ),
}


@pytest.mark.parametrize("kind", DANGLING)
def test_a_dangling_reference_is_refused(kind: str, documents: Documents) -> None:
    change, wanted = DANGLING[kind]
    change(documents)
    refusals = reasons(documents)
    assert any(reason.startswith(wanted) and "there is no " in reason for reason in refusals), refusals


def test_every_kind_of_entry_has_a_dangling_case() -> None:
    referring = {"fibres", "substrates", "coatings", "finishes", "transfers", "products", "consumables", "blanks"}
    assert {kind.split(",")[0] for kind in DANGLING} == referring | {
        "press types",
        "limits",
        "ambiguous fibres",
        "rules",
    }


# A small rule of its own, so that each case shows one thing: cotton above the cap of a two-dot label, say.
SMALL: dict[str, Any] = {
    "topic": "settings",
    "level": "notes",
    "title": "A small rule",
    "about": "settings",
    "when": "item.textile and set.surface_c > limit('care.iron_2_older')",
    "because": "{set.surface_c} is above {limit(care.iron_2_older)}.",
    "fix": "Set less.",
    "sources": ["common-practice"],
    "fires": [
        {"decoration": {"settings": {"temperature": "151 °C", "read_at": "surface"}}},
    ],
    "silent": [
        {"facts": {"item.textile": True, "set.surface_c": "care.iron_2_older"}},
        {"facts": {"item.textile": False, "set.surface_c": "care.iron_2_older + 1 step"}},
    ],
}
WHERE = "rules/settings/small.toml"


def small(**changes: Any) -> dict[str, Any]:
    return copy.deepcopy({key: value for key, value in (SMALL | changes).items() if value is not None})


def test_the_small_rule_loads(documents: Documents) -> None:
    documents["rules"]["small"] = small()
    assert from_documents(documents).rules["small"].limits == ("care.iron_2_older",)


def silent(**facts: Any) -> list[dict[str, Any]]:
    return [{"facts": facts}]


HOT = {"item.textile": True, "set.surface_c": "care.iron_2_older + 1 step"}
COOL = {"item.textile": True, "set.surface_c": "care.iron_2_older"}
RULE_CASES: dict[str, tuple[dict[str, Any], tuple[str, ...]]] = {
    "no firing example": ({"fires": []}, ("/fires", "must have 1 to 40 entries, has 0")),
    "firing examples left out": ({"fires": None}, ("/fires", "is required")),
    "no silent example": ({"silent": []}, ("/silent", "must have 1 to 40 entries, has 0")),
    "no source": ({"sources": []}, ("/sources", "must have 1 to 8 entries, has 0")),
    "unknown level": ({"level": "forbids"}, ("/level", "'forbids' is not one of the allowed words")),
    "unknown field": ({"because_of": "heat"}, ("/because_of", "is not a known field")),
    "firing example that does not fire": (
        {"fires": [*SMALL["fires"], {"facts": COOL}]},
        ("/fires/1", "does not hold: it stays silent", "set.surface_c = 150"),
    ),
    "silent example that fires": (
        {"silent": [*SMALL["silent"], {"facts": HOT}]},
        ("/silent/2", "does not hold: it fires", "set.surface_c = 151"),
    ),
    "example that decides nothing": (
        {"silent": [*SMALL["silent"], {"item": {"substrate": ""}}]},
        ("/silent/2", "does not hold: it is undecided"),
    ),
    "no order among the firing examples": (
        {"fires": [{"facts": HOT}]},
        ("fires: at least one example must be an order",),
    ),
    "fact of a wrong type": (
        {"silent": silent(**COOL | {"item.textile": "yes"})},
        ("/silent/0", "'yes' is not true/false"),
    ),
    "fact without its unit": (
        {"silent": silent(**COOL | {"set.surface_c": 150})},
        ("/silent/0", "150 has no unit"),
    ),
    "fact in a wrong unit": (
        {"silent": silent(**COOL | {"set.surface_c": "150 s"})},
        ("/silent/0", "'150 s'", "'s' is not known here"),
    ),
    "fact on a limit of another dimension": (
        {"silent": silent(**COOL | {"set.surface_c": "prepress.time_least"})},
        ("/silent/0", "'prepress.time_least' is no temperature"),
    ),
    "fact left out": ({"silent": silent(**{"item.textile": True})}, ("/silent/0", "/facts/set.surface_c: is required")),
    "fact that the condition does not read": (
        {"silent": silent(**COOL | {"set.time_s": "9 s"})},
        ("/silent/0", "/facts/set.time_s: is no fact of the condition"),
    ),
    "facts and parts of an order": (
        {"silent": [{"facts": COOL, "quantity": 3}]},
        ("/silent/0", "gives facts or parts of an order, not both"),
    ),
    "unknown part of an example": ({"silent": [{"weather": "wet"}]}, ("/silent/0/weather", "is not a known key")),
    "example's decoration that is no table": (
        {"silent": [{"decoration": 3}]},
        ("/silent/0/decoration", "must be a table, not a number"),
    ),
    "example order that cannot be read": (
        {"silent": [{"item": {"fibres": {"CO": 50}}}]},
        ("/silent/0", "/item/fibres", "sums to 50 %"),
    ),
    "undeclared fact": (
        {"when": "item.shiny", "because": "It is."},
        ("when", "item.shiny is not a fact"),
    ),
    "fact for sentences only": (
        {"when": "item.title == 'tee'", "because": "It is."},
        ("when", "item.title is text"),
    ),
    "condition over a wrong type": (
        {"when": "item.textile > 3"},
        ("when", "item.textile"),
    ),
    "word that the fact cannot be": (
        {"when": "item.family == 'velvet'"},
        ("when", "'velvet' is not a word of item.family"),
    ),
    "bare number where a unit is needed": (
        {"when": "set.surface_c > 150"},
        ("when", "set.surface_c"),
    ),
    "limit of another dimension": (
        {"when": "set.surface_c > limit('prepress.time_least')"},
        ("when", "set.surface_c"),
    ),
    "unknown limit": (
        {"when": "set.surface_c > limit('care.iron_2_old')"},
        ("when", "limit 'care.iron_2_old' is not known", "did you mean"),
    ),
    "words that clash": (
        {"when": "item.family == 'cloth' and item.family == 'metal'"},
        ("when", "it can never hold"),
    ),
    "bounds that clash": (
        {"when": "set.surface_c > limit('fumes.pvc_most') and set.surface_c < limit('care.iron_2_older')"},
        ("when", "it can never hold"),
    ),
    "condition that is no condition": ({"when": "print('hot')"}, ("when", "print('hot')")),
    "no example above the edge": (
        {"fires": [{"decoration": {"settings": {"temperature": "170 °C", "read_at": "surface"}}}]},
        ("no example within one step of the limit where set.surface_c > limit('care.iron_2_older') is true",),
    ),
    "no example below the edge": (
        {"silent": silent(**COOL | {"set.surface_c": "140 °C"})},
        ("no example exactly on the limit where set.surface_c > limit('care.iron_2_older') is false and decides",),
    ),
    "edge shown where another fact decides": (
        {"silent": silent(**COOL | {"item.textile": False})},
        ("no example exactly on the limit where set.surface_c > limit('care.iron_2_older') is false and decides",),
    ),
    "sentence with an unknown fact": ({"because": "{item.shiny} is shiny."}, ("item.shiny is not a fact",)),
    "sentence with data": ({"because": "{item.ceilings} bind."}, ("item.ceilings is not a fact that sentences",)),
    "sentence with an unknown limit": ({"fix": "Keep {limit(no.such)}."}, ("limit no.such is not in the book",)),
    "sentence with half a limit": (
        {"fix": "Keep {limit(care.iron_2_older}."},
        ("is neither a fact nor limit(...)",),
    ),
    "sentence with an opening brace": ({"fix": "Keep {below."}, ("has a stray brace",)),
    "sentence with a closing brace": ({"because": "It is hot}."}, ("has a stray brace",)),
}


@pytest.mark.parametrize("case", RULE_CASES)
def test_a_faulty_rule_is_refused_with_its_file_and_reason(case: str, documents: Documents) -> None:
    changes, named = RULE_CASES[case]
    documents["rules"]["small"] = small(**changes)
    refusals = reasons(documents)
    assert all(reason.startswith(WHERE) for reason in refusals), refusals
    assert any(all(part in reason for part in named) for reason in refusals), refusals


def test_every_reason_is_told_at_once(documents: Documents) -> None:
    put("fibres", "CO", "harm", value="explodes")(documents)
    put("blanks", "tee-heavy-white", "kind", value="spaceship")(documents)
    put("limits", "care.iron_2_older", "value", value="hot")(documents)
    places = {reason.split(":")[0] for reason in reasons(documents)}
    assert places == {"fibres.toml", "blanks.toml", "limits"}


# -- files -----------------------------------------------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the shipped book as files."""
    copied = tmp_path / "book"
    with as_file(files("accord_rules").joinpath("book")) as book:
        shutil.copytree(book, copied)
    return copied


def refused(folder: Path) -> tuple[str, ...]:
    with pytest.raises(BookError) as error:
        read_folder(folder)
    return error.value.reasons


def test_the_unchanged_folder_reads_as_shipped(folder: Path) -> None:
    assert read_folder(folder) == shipped()


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("[CO\nname = 1", "is not TOML"),
        ("[CO]\nname = 'a'\nname = 'b'\n", "is not TOML"),
        ("[CO]\n[CO]\n", "is not TOML"),
    ],
    ids=["broken", "key twice", "entry twice"],
)
def test_a_file_that_is_no_toml_is_named(text: str, why: str, folder: Path) -> None:
    """TOML 1.0.0: defining a key or a table twice is invalid."""
    (folder / "fibres.toml").write_text(text, encoding="utf-8")
    assert [reason for reason in refused(folder) if reason.startswith("fibres.toml: ") and why in reason]


def test_a_file_that_is_no_text_is_named(folder: Path) -> None:
    (folder / "rules" / "press" / "broken.toml").write_bytes(b"level = '\xff'")
    assert refused(folder)[0].startswith("rules/press/broken.toml: is not TOML")


def test_a_missing_file_is_named(folder: Path) -> None:
    (folder / "coatings.toml").unlink()
    assert refused(folder) == ("coatings.toml: is missing",)


def test_a_rule_name_in_two_topics_is_refused(folder: Path) -> None:
    shutil.copy(folder / "rules" / "dye-on-cloth" / f"{RULE_ID}.toml", folder / "rules" / "press")
    assert refused(folder) == (f"rules/press/{RULE_ID}.toml: there is a rule of this name in another topic",)


def test_a_limit_in_two_files_is_refused(folder: Path) -> None:
    with (folder / "limits" / "press.toml").open("a", encoding="utf-8") as file:
        file.write('["care.iron_2_older"]\ntitle = "again"\n')
    assert refused(folder) == ("limits/press.toml: care.iron_2_older: is in another file too",)
