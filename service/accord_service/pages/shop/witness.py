"""An order that would slip through, as people read it: the piece and its prints in a sentence, all of it in a table."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from accord_rules.documents.colour import names
from accord_rules.governance.house import Refusal
from accord_service.pages.counter.told import link_to
from accord_service.pages.shop.asking import titles
from accord_service.pages.visit import Visit
from accord_service.steps.readable import in_words, leaves, plain_number

Document = Mapping[str, Any]
Titles = Mapping[str, Mapping[str, str]]
_KINDS = ("blanks", "substrates", "fibres", "transfers", "products", "markets")


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A witness in words; ``rest``: every place of its order with what it says.

    ``address``: of the counter with the order in it, None where no address can say it.
    """

    sentence: str
    shared_verdict: str
    house_verdict: str
    lost: tuple[str, ...]
    address: str | None
    rest: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Refused:
    """Why a house rule can't be taken, and the order that shows it; None where none was found."""

    message: str
    witness: Shown | None


def refused_in_words(visit: Visit, refusals: tuple[Refusal, ...]) -> tuple[Refused, ...]:
    """Refusals as people read them."""
    known: Titles = {}
    if any(refusal.witness is not None for refusal in refusals):
        known = {kind: titles(visit, kind) for kind in _KINDS}
    return tuple(_in_words(refusal, known) for refusal in refusals)


def _in_words(refusal: Refusal, known: Titles) -> Refused:
    message = refusal.message[:1].upper() + refusal.message[1:].rstrip(".") + "."
    if refusal.witness is None:
        return Refused(message, None)
    witness = refusal.witness.document()
    order = witness["order"]
    shown = Shown(
        sentence=order_in_words(order, known),
        shared_verdict=witness["shared_verdict"],
        house_verdict=witness["house_verdict"],
        lost=tuple(witness["lost"]),
        address=link_to(dict(order)),
        rest=tuple((in_words(place), text) for place, text in leaves(order)),
    )
    return Refused(message, shown)


def order_in_words(order: Document, known: Titles) -> str:
    """What the piece is, what is printed on it and how, for whom, and where it is pressed."""
    parts = [_piece(order["item"], known), *(_print(print_, known) for print_ in order["decorations"])]
    parts += [*_for_whom(order.get("use") or {}, known), *_pressed(order)]
    return "; ".join(filter(None, parts)) + "."


def _piece(item: Document, known: Titles) -> str:
    what = known["blanks"].get(item.get("blank", ""), "") or known["substrates"].get(item.get("substrate", ""), "")
    fibres = " and ".join(
        f"{plain_number(share)} % {known['fibres'].get(fibre, fibre).lower()}"
        for fibre, share in (item.get("fibres") or {}).items()
    )
    more = [fibres, _colour(item.get("colour")), item.get("mass_per_area"), item.get("thickness")]
    more += [_dye(item.get("dye")), item.get("coating") if item.get("coating") != "none" else None]
    if (care := item.get("care")) is not None:
        more.append("no care label" if isinstance(care, str) else f"{care['iron']} dots on the label")
    more += [name.replace("-", " ") for name in item.get("features") or ()]
    return ", ".join([what or item.get("kind") or "A piece", *(str(word) for word in more if word)])


def _colour(said: str | None) -> str | None:
    """A colour by its CSS name where it has just that."""
    return next((name for name, hexadecimal in names().items() if said and hexadecimal.upper() == said.upper()), said)


def _dye(said: str | None) -> str | None:
    return said if said in (None, "undyed") else f"{str(said).replace('-', ' ')} dye"


def _print(decoration: Document, known: Titles) -> str:
    transfer = decoration.get("transfer", "")
    title = known["products"].get(transfer) or known["transfers"].get(transfer) or transfer or "a print"
    size, settings = decoration.get("size") or {}, decoration.get("settings") or {}
    where = f"on the {decoration['placement'].replace('-', ' ')}" if decoration.get("placement") else ""
    large = " × ".join(str(size[side]) for side in ("width", "height") if side in size)
    heat = " for ".join(str(settings[name]) for name in ("temperature", "time") if name in settings)
    pressure = f"{settings['pressure']} pressure" if "pressure" in settings else ""
    lead = " ".join(filter(None, (title, where)))
    return ", ".join(filter(None, (lead, large, heat, pressure)))


def _for_whom(use: Document, known: Titles) -> Iterator[str]:
    least, most = use.get("age_from"), use.get("age_to")
    if least is not None and most is not None:
        yield f"for ages {plain_number(least)} to {plain_number(most)}"
    if use.get("kinds"):
        yield "used as " + ", ".join(kind.replace("-", " ") for kind in use["kinds"])
    if use.get("market"):
        yield f"sold in {known['markets'].get(use['market'], use['market'])}"


def _pressed(order: Document) -> Iterator[str]:
    press = order.get("press")
    if press is not None:
        yield (
            f"on press {press}"
            if isinstance(press, str)
            else f"on a {str(press.get('type', 'press')).replace('-', ' ')}"
        )
    if order.get("quantity", 1) > 1:
        yield f"{order['quantity']} pieces"
