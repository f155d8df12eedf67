"""What an operator does, in the order it is done: check, film off, pre-press, place, tape, cover, press, peel, cool."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType

from accord_rules.derive.case import Case
from accord_rules.derive.chosen import Chosen
from accord_rules.derive.sheets import RAISED, in_stock, titles
from accord_rules.documents import units
from accord_rules.orders.order import NONE
from accord_rules.revision.sentences import in_a_sentence

_PEEL: Mapping[str, str] = MappingProxyType(
    {
        "hot": "Peel the carrier at once, while hot, in one even pull.",
        "warm": "Let it cool until it can just be handled, then peel the carrier.",
        "cold": "Let it cool fully, then peel the carrier.",
    }
)
# Glass, metal and thick thread keep the heat from their adhesive: it is set through the cloth.
_FIXED_FROM_BEHIND = ("stud", "patch")
_HOLDS_HEAT = ("metal", "stone", "ceramic", "glass", "wood")


def steps(case: Case, chosen: Chosen) -> tuple[str, ...]:
    """The steps of one pressing, one sentence each, with its numbers in the shop's units."""
    return tuple(
        step for part in (_prepare, _place, _press, _peel, _second_press, _cool) for step in part(case, chosen)
    )


def stack(case: Case, chosen: Chosen) -> tuple[str, ...]:
    """What lies on what, from the heated platen down."""
    carrier = case["transfer.carrier_title"]
    transfer = [*([] if carrier == "no carrier" else [f"{carrier} carrier"]), case["transfer.title"]]
    layers = [f"{case['press.title']} platen", *_sheet_title(case, chosen.cover)]
    if case["heat.face_down"]:
        layers += [case["item.title"], *reversed(transfer)]
    else:
        layers += [*transfer, case["item.title"]]
    layers += _sheet_title(case, chosen.pad)
    if case["set.other_side_printed"]:
        layers.append(_sheet_on_the_base(case))
    layers.append("heated lower platen" if case["press.heated"] == "both" else "base")
    return tuple(layers)


def _sheet_on_the_base(case: Case) -> str:
    consumables, stock = case.book.catalogue["consumables"], case.shop.stock.consumables
    return _named_sheet(case, in_stock(case["sheet.non_stick"], consumables, stock, None))


def _sheet_title(case: Case, name: str | None) -> list[str]:
    return [] if name in (None, NONE) else [in_a_sentence(case.entry("consumables", str(name)).title)]


def _prepare(case: Case, chosen: Chosen) -> Iterator[str]:
    yield f"Check that the piece is {case['item.title']}, clean and free of damage."
    if case["item.textile"] and case["transfer.principle"] == "dye-vapour":
        yield "Go over the print area with a lint roller: every stray fibre turns into a coloured speck."
    if plate := case["fit.plate_words"]:
        yield f"Fit {plate} and lay the piece so that what is raised hangs off its edge."
    if case["item.protective_film"]:
        yield "Pull the protective film off the printable face."
    yield from _reads(case)
    if chosen.display_c is not None:
        shown = case.show(units.TEMPERATURE, chosen.display_c)
        yield f"Set the press to {shown} on its display and let it settle."
    yield from _dress(case, chosen)
    if chosen.pre_press_s > 0:
        yield _pre_press(case, case.show(units.TIME, chosen.pre_press_s))


def _dress(case: Case, chosen: Chosen) -> Iterator[str]:
    """What lies under the piece and what stays off the platen, before any heat."""
    if case["set.other_side_printed"]:
        sheet = _sheet_on_the_base(case)
        yield f"Lay {sheet} on the base: the print on the other side of the piece comes to lie on it."
    where = "inside the piece, under the print area" if case["item.raised"] else "under the print area"
    yield from (f"Lay {title} {where}." for title in _sheet_title(case, chosen.pad))
    pads = case["sheet.pads"] if chosen.pad in (None, NONE) else None
    lacking = titles(pads or (), case.book.catalogue["consumables"])
    if lacking:
        yield f"Stop here without {lacking}: none is at hand, and it has to lie under the print."
    clear = [name for name in case["item.features"] or () if name in RAISED] if case["item.textile"] else []
    if clear:
        yield f"Keep {', '.join(clear)} off the heated area."


def _pre_press(case: Case, dwell: str) -> str:
    """Bare, where it is known that there is no print or coating that the bare platen would take along."""
    if case["set.pre_press_covered"] is False:
        return f"Pre-press the bare piece for {dwell} to drive out moisture and creases."
    printed = case["set.meets_print"] or case["set.other_side_printed"]
    kept_off = "the print that is there already" if printed else "its coating"
    sheet = _named_sheet(case, case["set.pre_press_sheet"])
    return (
        f"Pre-press the piece under {sheet} for {dwell} to drive out moisture and creases, the platen off {kept_off}."
    )


def _named_sheet(case: Case, name: str | None) -> str:
    """The sheet's title; where the shop has none, what has to be got."""
    return next(iter(_sheet_title(case, name)), f"a non-stick sheet ({case['set.non_stick_words']}; none is at hand)")


def _reads(case: Case) -> Iterator[str]:
    """Which way round the print has to be on what it comes on."""
    if case["art.mirrored_needed"]:
        yield "Check that the print on the carrier is a mirror image."
    elif case.transfer is not None and case.transfer.backing:
        yield "Check that the print reads the right way round: it lies face up."
    elif case["place.seen_through"]:
        yield "Check that the print on the carrier reads the right way round: it is looked at through the piece."


def _place(case: Case, chosen: Chosen) -> Iterator[str]:
    where = case["place.placement"]
    if case.transfer is not None and case.transfer.backing:
        yield f"Pull the backing off {case['transfer.title']}: it comes off before pressing, not after."
    if case["item.shape"] == "mug":
        yield f"Wrap the print, {case['place.size_words']}, tightly round the piece, printed side inwards."
    elif case["heat.face_down"]:
        face = "coated back" if case["place.seen_through"] else "printable face"
        yield f"Lay the {face} down on the printed side of the carrier, centred ({where})."
    elif case["item.rigid"] and case["transfer.principle"] == "dye-vapour":
        yield f"Lay the carrier, printed side down, on the printable face, centred ({where})."
    else:
        yield f"Place the transfer {_side(case)}, {case['place.size_words']}, at {where}."
    yield from (f"Fix the carrier with {title} outside the print." for title in _sheet_title(case, chosen.tape))
    yield from (f"Cover with {title}." for title in _sheet_title(case, chosen.cover))
    if case["set.print_bare"]:
        sheet = _named_sheet(case, NONE)
        yield f"Lay {sheet} over the print that is there already: the platen must not touch it."
    elif chosen.cover in (None, NONE) and case["set.cover_missing"]:
        yield f"Stop here without {case['set.cover_words']}: none is at hand, and the platen must not touch the print."


def _side(case: Case) -> str:
    """How the transfer lies, as far as the book knows it."""
    if case["transfer.principle"] == "dye-vapour":
        return "printed side down"
    return "face up" if case.transfer is not None and case.transfer.backing else "as its maker shows"


def pressure_words(case: Case, chosen: Chosen) -> str:
    """ "medium pressure", "light hand pressure", "40 psi on the gauge"."""
    if isinstance(chosen.pressure, float):
        return f"{case.show(units.PRESSURE, chosen.pressure)} on the gauge"
    by_hand = " hand" if case["press.hand_held"] else ""
    return f"{chosen.pressure}{by_hand} pressure"


def _press(case: Case, chosen: Chosen) -> Iterator[str]:
    if chosen.time_s is None:
        return
    dwell, pressure = case.show(units.TIME, chosen.time_s), pressure_words(case, chosen)
    count = case["fit.pressings"] or 1
    if count > 1:
        overlap = case["fit.overlap_words"]
        yield f"Press {count:.0f} times side by side with {overlap} overlap, {dwell} each at {pressure}."
    else:
        yield f"Press for {dwell} at {pressure}."
    if jig := case["fit.jig_words"]:
        most = case["fit.at_once"]
        yield f"Lay up to {most:.0f} pieces at once into {jig}, well inside the platen's edge."
    if case["press.hand_held"]:
        yield "Hold the press still and flat; do not slide it."


def _peel(case: Case, chosen: Chosen) -> Iterator[str]:
    if case["item.textile"] is False and case["item.family"] in _HOLDS_HEAT:
        yield f"Lift the piece with heat gloves: bare skin bears it after {case['touch.wait_words']}."
    if case.transfer is not None and case.transfer.carrier == "none":
        if case.transfer.backing:
            cover = next(iter(_sheet_title(case, chosen.cover)), "the cover sheet")
            yield f"Let it cool fully under {cover}, then lift that off; there is no carrier to peel."
    elif chosen.peel is not None and chosen.peel in _PEEL:
        yield _PEEL[chosen.peel]


def _second_press(case: Case, chosen: Chosen) -> Iterator[str]:
    if chosen.second_press_s > 0:
        sheet = _named_sheet(case, case["set.second_press_sheet"])
        dwell = case.show(units.TIME, chosen.second_press_s)
        if case["transfer.principle"] in _FIXED_FROM_BEHIND and case["item.textile"]:
            yield f"Turn the piece over, cover it with {sheet} and press a second time for {dwell}, from the reverse."
        else:
            yield f"Cover again with {sheet} and press a second time for {dwell}."


def _cool(case: Case, chosen: Chosen) -> Iterator[str]:
    wait = f"{case['touch.wait_words']} until it may be touched or stacked"
    if case["item.brittle"]:
        yield f"Let it cool slowly in still air on a dry, heat-proof mat, {wait}."
        yield "Never quench it: sudden cold can crack it."
    elif case["item.textile"] is False:
        yield f"Let it cool on a heat-proof mat, {wait}."
    wash = case["transfer.wash_limit_c"]
    last = case.sequence is None or case.sequence.order[-1:] == (case.index,)
    if last and case["item.textile"] and wash is not None:
        yield f"Let it rest a day before the first wash, inside out at {case.show(units.TEMPERATURE, wash)} at most."
