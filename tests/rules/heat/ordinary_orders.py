"""The ordinary day: nine common blanks, each with cut film, powder film and hot split, on a press with probe readings.

``python tests/rules/heat/ordinary_orders.py`` prints what is said of each.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import closing
from itertools import product
from typing import Any

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.load.loader import load_book
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.verdict import Verdict

# Common practice, no source: the goods that most counters sell most of.
BLANKS = (
    "tee-heavy-white",
    "tee-heavy-black",
    "tee-heather-grey",
    "tee-65-35-white",
    "tee-50-50-black",
    "polo-cotton-navy",
    "hoodie-cotton-black",
    "sweatshirt-cotton-grey",
    "tote-cotton-natural",
)
# Common practice, no source: what a bench press's display is set to for these.
USUAL: Mapping[str, Mapping[str, str]] = {
    "cut-film": {"temperature": "152 °C", "time": "12 s", "pressure": "medium", "peel": "warm"},
    "powder-film": {"temperature": "152 °C", "time": "14 s", "pressure": "medium", "peel": "cold"},
    "plastisol-hot-split": {"temperature": "185 °C", "time": "10 s", "pressure": "firm", "peel": "hot"},
}
ORDERS = tuple(product(BLANKS, USUAL))
PRESS = {
    "id": "bench",
    "type": "clamshell",
    "calibration": [
        {"display": f"{display} °C", "surface": [f"{display - drop} °C" for drop in (2, 3, 3, 3, 4)]}
        for display in (140, 200)
    ],
    "circuit": {"rating": "16 A", "voltage": "230 V"},
    "voltage": "230 V",
}


def shop_of(book: Book) -> Shop:
    """A shop with everything in stock, and this one press."""
    stock = {"products": list(book.catalogue["products"]), "consumables": list(book.catalogue["consumables"])}
    return read(Shop, {**book.documents["base_example"]["shop"], "stock": stock, "presses": [PRESS]})


def order_of(blank: str, transfer: str, book: Book) -> Order:
    """The print on the blank's first area, as large as that allows and A5 at most."""
    placement, area = next(iter(book.catalogue["blanks"][blank].areas.items()))
    decoration: dict[str, Any] = {
        "transfer": transfer,
        "placement": placement,
        "size": {"width": f"{min(area.width, 200.0)} mm", "height": f"{min(area.height, 150.0)} mm"},
        "artwork": {"colours": 1, "mirrored": True, "palette": ["#C02020"], "finest_line": "3 mm"},
        "settings": USUAL[transfer],
    }
    use = {"age_from": 18, "age_to": 99, "kinds": []}
    item = {"blank": blank}
    return read(Order, {"item": item, "decorations": [decoration], "press": "bench", "use": use, "quantity": 12})


def judged(blank: str, transfer: str, authority: Authority) -> Verdict:
    return authority.validate(order_of(blank, transfer, authority.book), shop_of(authority.book))


def main() -> None:
    plain = 0
    with closing(Authority(load_book())) as authority:
        for blank, transfer in ORDERS:
            verdict = judged(blank, transfer, authority)
            plain += verdict.verdict == "accepted" and not verdict.findings
            rules = ", ".join(f"{finding.rule} ({finding.level})" for finding in verdict.findings)
            print(f"{blank:26}{transfer:22}{verdict.verdict:14}{rules or 'nothing to say'}")
    print(f"{plain} of {len(ORDERS)} accepted without a finding")


if __name__ == "__main__":
    main()
