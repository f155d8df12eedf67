"""What an author is told: each slip, made in a copy of the book's files, names file, field and the nearest right word.

What an author has to be told is this project's own decision; there is no outside source.
"""

from __future__ import annotations

import re
import shutil
from dataclasses import dataclass
from importlib.resources import as_file, files
from pathlib import Path

import pytest

from accord_rules.documents.files import BookError
from accord_rules.load.loader import load_folder

RULE = "rules/settings/small.toml"
SMALL = """\
level = "notes"
title = "A small rule"
about = "settings"
when = "item.textile and set.surface_c > limit('care.iron_2_older')"
because = "{set.surface_c} is above {limit(care.iron_2_older)}."
fix = "Set less."
sources = ["common-practice"]

[[fires]]
decoration = { settings = { temperature = "151 °C", read_at = "surface" } }

[[silent]]
facts = { "item.textile" = true, "set.surface_c" = "care.iron_2_older" }

[[silent]]
facts = { "item.textile" = false, "set.surface_c" = "care.iron_2_older + 1 step" }
"""
STEP = "steps/press/small-step.toml"
SMALL_STEP = """\
text = "Press it for {set.time_s} at {set.surface_c}."
when = "item.textile and set.surface_c > limit('care.iron_2_older')"
rank = 10
instead_of = "other-step"
sources = ["common-practice"]

[[fires]]
decoration = { settings = { temperature = "151 °C", read_at = "surface" } }

[[silent]]
facts = { "item.textile" = true, "set.surface_c" = "care.iron_2_older" }

[[silent]]
facts = { "item.textile" = false, "set.surface_c" = "care.iron_2_older + 1 step" }
"""
OTHER_STEP = 'text = "Press it."\nsources = ["common-practice"]\n'
CARE_STEP = 'text = "Write on the slip: {slip}"\nslip = "Hang it to dry."\nsources = ["common-practice"]\n'
HOT = "set.surface_c > limit('care.iron_2_older')"


@dataclass(frozen=True)
class Slip:
    """``old`` becomes ``new`` in ``file``; each of ``parts`` is in one reason, which begins with ``place``."""

    file: str
    old: str
    new: str
    place: str
    parts: tuple[str, ...]


def of_rule(old: str, new: str, field: str, *parts: str) -> Slip:
    return Slip(RULE, old, new, f"{RULE}: {field}: ", parts)


def of_step(old: str, new: str, field: str, *parts: str) -> Slip:
    return Slip(STEP, old, new, f"{STEP}: {field}: ", parts)


def of_entry(file: str, entry: str, old: str, new: str, field: str, *told: str) -> Slip:
    return Slip(file, old, new, f"{file}: {entry}: {field}: ", told)


def of_limit(old: str, new: str, field: str, *parts: str) -> Slip:
    return of_entry("limits/dye-on-cloth.toml", "dye.polyester_share_least", old, new, field, *parts)


SLIPS: dict[str, Slip] = {
    # Conditions.
    "fact misspelt": of_rule(
        "item.textile and", "item.textil and", "/when", "item.textil ", "did you mean item.textile"
    ),
    "fact without its part": of_rule(
        "item.textile and", "textile and", "/when", "textile is", "did you mean item.textile"
    ),
    "words of a fact turned round": of_rule(
        HOT, "item.share_polyester > 50", "/when", "item.share_polyester", "item.polyester_share"
    ),
    "limit misspelt": of_rule(
        "limit('care.iron_2_older')\"",
        "limit('care.iron_2_oldr')\"",
        "/when",
        "care.iron_2_oldr",
        "did you mean care.iron_2_older",
    ),
    "call misspelt": of_rule(
        "limit('care.iron_2_older')\"",
        "limits('care.iron_2_older')\"",
        "/when",
        "limits('care.iron_2_older')",
        "limit('name of a limit')",
    ),
    "word misspelt": of_rule(HOT, "item.family == 'cloht'", "/when", "'cloht'", "item.family", "did you mean cloth"),
    "word of the catalogue misspelt": of_rule(
        HOT, "item.substrate == 'wovn'", "/when", "'wovn'", "item.substrate", "did you mean woven"
    ),
    "word in a list misspelt": of_rule(
        HOT, "item.family in ('cloth', 'lether')", "/when", "'lether'", "item.family", "did you mean leather"
    ),
    "fact compared with a word that is a number": of_rule(
        HOT, "set.surface_c > 'hot'", "/when", "set.surface_c is a number", "'hot' is a word"
    ),
    "fact compared with a number that is a word": of_rule(HOT, "item.family == 3", "/when", "item.family", "3"),
    "number without its unit": of_rule(
        HOT, "set.surface_c > 150", "/when", "set.surface_c is a temperature", "limit()"
    ),
    "fact compared with a limit of another unit": of_rule(
        HOT, "set.time_s > limit('care.iron_2_older')", "/when", "set.time_s is a time", "temperature"
    ),
    "fact compared with true": of_rule("item.textile and", "item.textile == True and", "/when", "true/false"),
    "bracket forgotten": of_rule(
        "item.textile and", "(item.textile and", "/when", "'(' was never closed", "(item.text"
    ),
    "sign mistyped": of_rule("_c > limit", "_c => limit", "/when", "=> limit('care.iron_2_older')"),
    # Sentences.
    "fact in because": of_rule(
        '"{set.surface_c}', '"{set.surfce_c}', "/because", "set.surfce_c", "did you mean set.surface_c"
    ),
    "limit in because": of_rule(
        "{limit(care.iron_2_older)}",
        "{limit(care.iron_2_oldre)}",
        "/because",
        "care.iron_2_oldre",
        "did you mean care.iron_2_older",
    ),
    "fact in fix": of_rule(
        '"Set less."', '"Set less than {set.surface}."', "/fix", "set.surface", "did you mean set.surface_c"
    ),
    "brace forgotten": of_rule('"{set.surface_c}', '"{set.surface_c', "/because", "{set.surface_c is above"),
    "data in a sentence": of_rule('"Set less."', '"Mind {item.ceilings}."', "/fix", "item.ceilings"),
    # A rule's keys.
    "key misspelt": of_rule("because =", "becaus =", "/becaus", "is not a known field", "did you mean because"),
    "level misspelt": of_rule('"notes"', '"note"', "/level", "'note'", "did you mean notes"),
    "place misspelt": of_rule(
        'about = "settings"', 'about = "setting"', "/about", "'setting'", "did you mean settings"
    ),
    "status misspelt": of_rule("title =", 'status = "watched"\ntitle =', "/status", "'watched'", "did you mean watch"),
    "source misspelt": of_rule(
        '["common-practice"]', '["common-practise"]', "/sources/0", "'common-practise'", "did you mean common-practice"
    ),
    "topic that the folder says": of_rule("title =", 'topic = "press"\ntitle =', "/topic", "settings"),
    "key left out": of_rule('fix = "Set less."', "", "/fix", "is required"),
    "text that is a number": of_rule('"Set less."', "3", "/fix", "must be a string, not a number"),
    # Examples.
    "key of an example": of_rule(
        "decoration = {", "decoratoin = {", "/fires/0/decoratoin", "is not a known key", "did you mean decoration"
    ),
    "fact of an example": of_rule(
        '{ "item.textile" = true',
        '{ "item.textil" = true',
        "/silent/0/facts/item.textil",
        "no fact of the condition",
        "did you mean item.textile",
    ),
    "limit of an example": of_rule(
        '"care.iron_2_older" }',
        '"care.iron_2_oldre" }',
        "/silent/0/facts/set.surface_c",
        "care.iron_2_oldre",
        "did you mean care.iron_2_older",
    ),
    "field of an example's order": of_rule(
        "settings = {", "setings = {", "/fires/0/decoration/setings", "is not a known field", "did you mean settings"
    ),
    "transfer of an example's order": of_rule(
        "decoration = {",
        'decoration = { transfer = "cut-flim",',
        "/fires/0/decoration/transfer",
        "'cut-flim'",
        "did you mean cut-film",
    ),
    # Steps.
    "step of a rule": of_rule(
        "title =", 'step = "small-stp"\ntitle =', "/step", "'small-stp' in steps", "did you mean small-step"
    ),
    "rule that another speaks instead of": of_rule(
        "title =", 'instead_of = ["smal"]\ntitle =', "/instead_of/0", "'smal' in rules", "small"
    ),
    "rule that speaks instead of itself": of_rule(
        "title =", 'instead_of = ["small"]\ntitle =', "/instead_of/0", "is the rule itself"
    ),
    "fact of a step's condition": of_step("item.textile and", "item.textil and", "/when", "did you mean item.textile"),
    "fact in a step's sentence": of_step("{set.time_s}", "{set.tim_s}", "/text", "did you mean set.time_s"),
    "two sentences in a step": of_step("Press it for", "Press it. Wait for", "/text", "must be one sentence"),
    "full stop forgotten": of_step('{set.surface_c}."', '{set.surface_c}"', "/text", "must be one sentence"),
    "step that another replaces": of_step(
        '"other-step"', '"othr-step"', "/instead_of", "'othr-step' in steps", "did you mean other-step"
    ),
    "step that replaces itself": of_step('"other-step"', '"small-step"', "/instead_of", "is the step itself"),
    "step that replaces one of another stage": of_step('"other-step"', '"care-step"', "/instead_of", "stage, care"),
    "stage that the folder says": of_step("rank =", 'stage = "pres"\nrank =', "/stage", "the folder says it: press"),
    "key of a step": of_step("rank =", "rnk =", "/rnk", "is not a known field", "did you mean rank"),
    "open misspelt": of_step("rank =", 'when_open = "prnt"\nrank =', "/when_open", "'prnt'", "did you mean print"),
    "source of a step": of_step('["common-practice"]', '["comon-practice"]', "/sources/0", "did you mean common-prac"),
    "example of a step that does not hold": of_step('"151 °C"', '"140 °C"', "/fires/0", "it stays silent"),
    "condition of a step that its examples do not try": of_step(
        '[[silent]]\nfacts = { "item.textile" = false, "set.surface_c" = "care.iron_2_older + 1 step" }\n',
        "",
        "/when",
        "no example where item.textile is false and decides",
    ),
    "condition of a step that can never hold": of_step(
        HOT, f"{HOT} and not item.textile", "/when", "it can never hold"
    ),
    "examples of a step that always stands": of_step(
        "when = \"item.textile and set.surface_c > limit('care.iron_2_older')\"",
        'when = "true"',
        "/fires",
        "stands in every plan",
    ),
    # Limits.
    "dimension misspelt": of_limit('"percent"', '"percnt"', "/dimension", "'percnt'", "did you mean percent"),
    "value left out": of_limit("value = 50", "", "/value", "is required"),
    "value with a unit that it has not": of_limit("value = 50", 'value = "50 %"', "/value", "plain number", "'50 %'"),
    "value without a unit": of_entry(
        "limits/base.toml",
        "care.iron_2_older",
        'value = "150 °C"',
        "value = 150",
        "/value",
        "a string with a unit",
    ),
    "direction misspelt": of_limit('"higher"', '"highr"', "/stricter", "'highr'", "did you mean higher"),
    "source of a limit": of_limit(
        '["common-practice"', '["comon-practice"', "/sources/0", "'comon-practice'", "did you mean common-practice"
    ),
    "limit renamed that a fact reads": Slip(
        "limits/base.toml",
        '["fumes.pvc_most"]',
        '["fumes.pvc_limit"]',
        "derive/",
        ("fact transfer.uppers", "'fumes.pvc_most'", "did you mean fumes.pvc_limit"),
    ),
    # Sources and the catalogue.
    "kind of a source": of_entry(
        "sources.toml",
        "common-practice",
        'kind = "common-practice"',
        'kind = "comon-practice"',
        "/kind",
        "did you mean common-practice",
    ),
    "field of a source": of_entry(
        "sources.toml",
        "project-choice",
        'title = "Choice of this book"',
        'titel = "Choice"',
        "/titel",
        "is not a known field",
        "did you mean title",
    ),
    "field of a fibre": of_entry(
        "fibres.toml",
        "CO",
        'harmful_from = "220',
        'harmfull_from = "220',
        "/harmfull_from",
        "is not a known field",
        "did you mean harmful_from",
    ),
    "source of a fibre": of_entry(
        "fibres.toml",
        "CO",
        'sources = ["textile-names-eu"',
        'sources = ["textile-name-eu"',
        "/sources/0",
        "'textile-name-eu' in sources",
        "did you mean textile-names-eu",
    ),
    "family of a product": of_entry(
        "products.toml",
        "sub-paper-fast-dry",
        '"dye-sublimation"',
        '"dye-sublimaton"',
        "/family",
        "'dye-sublimaton' in transfers",
        "did you mean dye-sublimation",
    ),
    "substrate of a blank": of_entry(
        "blanks.toml",
        "tee-heavy-white",
        'substrate = "knit"',
        'substrate = "nkit"',
        "/substrate",
        "'nkit' in substrates",
        "did you mean knit",
    ),
    "substrate of a variant": of_entry(
        "transfers.toml",
        "dye-sublimation",
        "[dye-sublimation.on.metal]",
        "[dye-sublimation.on.mettal]",
        "/on/mettal",
        "did you mean metal",
    ),
    "reading of an ambiguous fibre": of_entry(
        "ambiguous_fibres.toml",
        "AC",
        '["CA", "PAN"]',
        '["CA", "PANN"]',
        "/readings/1",
        "'PANN' in fibres",
        "did you mean PAN",
    ),
    "colour misspelt": of_entry(
        "blanks.toml", "tee-heavy-white", '"#F6F6F3"', '"whte"', "/colour", "'whte'", "did you mean white"
    ),
    "transfer of the quiet order": Slip(
        "base_example.toml",
        '"cut-film"',
        '"cut-flim"',
        "base_example.toml: order: /decorations/0/transfer: ",
        ("'cut-flim'", "did you mean cut-film"),
    ),
    "field of the quiet shop": Slip(
        "base_example.toml",
        "unit_system =",
        "unit_sytem =",
        "base_example.toml: shop: /unit_sytem: ",
        ("did you mean unit_system",),
    ),
    "table of the quiet order": Slip(
        "base_example.toml", "[shop]", "[shp]\n[shop.x]", "base_example.toml: ", ("/shp", "did you mean shop")
    ),
}


@pytest.fixture(scope="module")
def small_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The shipped book's files with one small rule, since trying them all takes time."""
    folder = tmp_path_factory.mktemp("small") / "book"
    with as_file(files("accord_rules").joinpath("book")) as book:
        shutil.copytree(book, folder, ignore=shutil.ignore_patterns("rules", "steps"))
    (folder / RULE).parent.mkdir(parents=True)
    (folder / RULE).write_text(SMALL, encoding="utf-8")
    for file, text in ((STEP, SMALL_STEP), ("steps/press/other-step.toml", OTHER_STEP)):
        (folder / file).parent.mkdir(parents=True, exist_ok=True)
        (folder / file).write_text(text, encoding="utf-8")
    (folder / "steps" / "care").mkdir()
    (folder / "steps" / "care" / "care-step.toml").write_text(CARE_STEP, encoding="utf-8")
    return folder


@pytest.fixture
def folder(small_book: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(small_book, tmp_path / "book"))


def reasons(folder: Path) -> tuple[str, ...]:
    with pytest.raises(BookError) as refused:
        load_folder(folder)
    return refused.value.reasons


def test_the_book_without_a_slip_loads(folder: Path) -> None:
    assert tuple(load_folder(folder).rules) == ("small",)


@pytest.mark.parametrize("name", SLIPS)
def test_a_slip_is_told_with_its_file_its_field_and_the_nearest_right_word(name: str, folder: Path) -> None:
    slip = SLIPS[name]
    text = (folder / slip.file).read_text(encoding="utf-8")
    assert slip.old in text, "the slip cannot be made"
    (folder / slip.file).write_text(text.replace(slip.old, slip.new, 1), encoding="utf-8")
    faults = reasons(folder)
    assert [fault for fault in faults if fault.startswith(slip.place) and all(part in fault for part in slip.parts)], (
        faults
    )


# -- files that are none -------------------------------------------------------------------------------------------

BROKEN: dict[str, tuple[str, bytes | None, tuple[str, ...]]] = {
    "missing": ("coatings.toml", None, ("is missing",)),
    "not TOML": ("coatings.toml", b"[none\ntitle = 1\n", ("is not TOML", "line 1")),
    "not UTF-8": ("coatings.toml", b"[none]\ntitle = '\xff'\n", ("is not TOML", "utf-8")),
    "a rule that is not UTF-8": (RULE, b"level = '\xff'", ("is not TOML", "utf-8")),
    "nested without end": ("coatings.toml", b"none = " + b"[" * 100_000, ("is not TOML",)),
    "a date": ("sources.toml", b"[common-practice]\ntitle = 2026-03-31\n", ("common-practice", "/title", "string")),
    "infinite": ("coatings.toml", b"[none]\nlimit = inf\n", ("none", "/limit", "finite number")),
    "a number for an entry": ("coatings.toml", b"none = 3\n", ("none", "must be an object, not a number")),
    "an empty entry": ("coatings.toml", b"[none]\n", ("none", "/title", "is required")),
    "an empty rule": (RULE, b"", ("/when", "is required")),
    "an empty quiet order": ("base_example.toml", b"", ("/order", "is required")),
    "limits that are not TOML": ("limits/press.toml", b"[", ("is not TOML",)),
    "limits with an empty entry": ("limits/press.toml", b'["x.y"]\n', ("x.y", "/dimension", "is required")),
    "a family that is a number": ("transfers.toml", b"dye-sublimation = 3\n", ("dye-sublimation", "must be an object")),
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_file_that_cannot_be_used_is_named(name: str, folder: Path) -> None:
    file, content, parts = BROKEN[name]
    (folder / file).unlink()
    if content is not None:
        (folder / file).write_bytes(content)
    faults = reasons(folder)
    assert [fault for fault in faults if fault.startswith(f"{file}: ") and all(part in fault for part in parts)], faults


@pytest.mark.parametrize(
    ("stray", "parts"),
    [
        ("blank.toml", ("did you mean blanks.toml",)),
        ("rules/stray.toml", ("rules/<topic>/<id>.toml",)),
        ("rules/settings/stray.tml", (".toml",)),
        ("steps/stray.toml", ("steps/<stage>/<id>.toml",)),
        ("steps/press/stray.tml", (".toml",)),
        ("limits/notes.txt", (".toml",)),
    ],
)
def test_a_file_that_nobody_would_read_is_named(stray: str, parts: tuple[str, ...], folder: Path) -> None:
    (folder / stray).write_text(SMALL, encoding="utf-8")
    assert [
        fault for fault in reasons(folder) if fault.startswith(f"{stray}: ") and all(part in fault for part in parts)
    ]


def test_a_folder_of_steps_that_is_no_stage_is_told_with_the_nearest(folder: Path) -> None:
    (folder / "steps" / "care").rename(folder / "steps" / "caer")
    (fault,) = reasons(folder)
    assert fault.startswith("steps/caer/care-step.toml: /stage: ")
    assert "did you mean care" in fault


@pytest.mark.parametrize(
    ("stage", "words", "told"),
    [
        ("care", 'text = "Write on the slip: hang it to dry."', "/slip: is required of what the customer is told"),
        ("care", 'text = "Write it down."\nslip = "Hang it to dry."', "/text: must have {slip} once"),
        ("care", 'text = "Write on the slip: {slip}"\nslip = "Hang it. Dry it."', "/slip: must be one sentence"),
        (
            "cool",
            'text = "Write on the slip: {slip}"\nslip = "Hang it to dry."',
            "/slip: is for steps of the stage care",
        ),
    ],
)
def test_a_slip_that_goes_wrong_is_told(stage: str, words: str, told: str, folder: Path) -> None:
    (folder / "steps" / stage).mkdir(exist_ok=True)
    file = folder / "steps" / stage / "slip-step.toml"
    file.write_text(f'{words}\nsources = ["common-practice"]\n', encoding="utf-8")
    assert any(fault.startswith(f"steps/{stage}/slip-step.toml: {told}") for fault in reasons(folder))


def test_a_step_in_two_stages_is_refused(folder: Path) -> None:
    shutil.copy(folder / "steps" / "care" / "care-step.toml", folder / "steps" / "press")
    assert any("there is a step of this name in another stage" in fault for fault in reasons(folder))


def test_a_folder_in_the_place_of_a_file_is_named(folder: Path) -> None:
    (folder / "fibres.toml").unlink()
    (folder / "fibres.toml").mkdir()
    assert any(fault.startswith("fibres.toml: ") for fault in reasons(folder))


def test_a_folder_that_is_no_book_is_told_as_one_reason_a_file(tmp_path: Path) -> None:
    told = reasons(tmp_path)
    assert "blanks.toml: is missing" in told
    assert "rules: is missing" in told
    assert "steps: is missing" in told
    assert "limits: is missing" in told


def test_all_slips_of_a_rule_are_told_at_once(folder: Path) -> None:
    text = (
        SMALL.replace("item.textile and", "item.textil and").replace('"{set.', '"{st.').replace("practice", "practise")
    )
    (folder / RULE).write_text(text, encoding="utf-8")
    fields = {match.group(1) for fault in reasons(folder) if (match := re.match(rf"{RULE}: (/\w+)", fault))}
    assert fields == {"/when", "/because", "/sources"}
