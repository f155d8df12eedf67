"""The plans of three everyday pieces on three presses, side by side. Run from the repository's root:

    python tests/rules/heat/plans_side_by_side.py

A thin cotton shirt with cut film, a hardboard coaster and a ceramic tile with dye, each on a hand-held, a hinged and a
pneumatic press: display, dwell, what the print gets to by estimate, and how long until the piece may be touched.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from accord_rules.authority import Authority
from accord_rules.documents import units
from accord_rules.documents.reading import read
from accord_rules.load.loader import load_book
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book

PRESSES = ("hand-held", "clamshell", "pneumatic-single")
SIZE = {"width": "90 mm", "height": "90 mm"}
PIECES: Mapping[str, Mapping[str, Any]] = {
    "thin cotton shirt, cut film": {
        "item": {"blank": "tee-heavy-white", "substrate": "knit", "thickness": "0.5 mm"},
        "decorations": [{"transfer": "cut-film", "placement": "front", "size": SIZE}],
    },
    "hardboard coaster, dye": {
        "item": {"blank": "hardboard-coaster"},
        "decorations": [{"transfer": "dye-sublimation", "placement": "face", "size": SIZE}],
    },
    "ceramic tile 6 mm, dye": {
        "item": {"substrate": "ceramic-tile", "coating": "dye-receptive", "colour": "white", "thickness": "6 mm"},
        "decorations": [{"transfer": "dye-sublimation", "placement": "face", "size": SIZE}],
    },
}


def shop_with(press_type: str, book: Book) -> Shop:
    """The example shop with everything in stock and one press."""
    stock = {"products": list(book.catalogue["products"]), "consumables": list(book.catalogue["consumables"])}
    document = {**book.documents["base_example"]["shop"], "stock": stock}
    return read(Shop, document | {"presses": [{"id": "it", "type": press_type}]})


def planned(authority: Authority, piece: str, press_type: str) -> Mapping[str, Any] | None:
    """The best plan's settings for the one decoration; None if there is no plan."""
    shop = shop_with(press_type, authority.book)
    plans = authority.recommend(read(Order, {**PIECES[piece], "press": "it"}), shop).plans
    return plans[0].decorations[0].explained.document() if plans else None


def line(settings: Mapping[str, Any]) -> str:
    heat = settings["heat"]
    soon, likely, late = heat["interface_c"]
    reach = [
        units.show(units.TIME, max(1, round(time_s))) if time_s is not None else "never" for time_s in heat["reach_s"]
    ]
    wait = units.show(units.TIME, 60 * -(-heat["touch_wait_s"] // 60))
    return (
        f"{settings['temperature']:>7} for {settings['time']:<9} surface {settings['surface_c']:5.1f} °C"
        f"  print {likely:5.1f} °C ({late:.0f} to {soon:.0f})  enough after {reach[1]}"
        f" ({reach[0]} to {reach[2]})  dips {heat['sag_k']:.1f} K  touch after {wait}"
    )


def main() -> None:
    authority = Authority(load_book())
    try:
        for piece in PIECES:
            print(piece)
            for press_type in PRESSES:
                settings = planned(authority, piece, press_type)
                print(f"  {press_type:17} {'no plan' if settings is None else line(settings)}")
    finally:
        authority.close()


if __name__ == "__main__":
    main()
