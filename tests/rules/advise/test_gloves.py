"""Whatever comes hot off the press and is no cloth is handled in heat gloves: the plan itself says so, order by order,
whatever the shop has standing ready. Leather and paper are thin and soft, and cool as cloth does."""

from __future__ import annotations

from dataclasses import replace

import pytest

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order, Press
from accord_rules.revision.book import Book

HARD = ("ceramic", "cork", "glass", "metal", "plastic", "stone", "wood")


@pytest.mark.parametrize("standing", [("heat-gloves",), ()], ids=["gloves-ready", "no-gloves"])
def test_every_plan_for_hard_goods_has_gloves_on_before_the_piece_is_handled(
    book: Book, standing: tuple[str, ...]
) -> None:
    substrates = book.catalogue["substrates"]
    blanks = {
        blank.substrate: (name, next(iter(blank.areas)))
        for name, blank in book.catalogue["blanks"].items()
        if substrates[blank.substrate].family in HARD
    }
    presses = tuple(Press(type_, type_) for type_ in book.catalogue["press_types"])
    stock = replace(
        book.example_shop.stock,
        products=tuple(book.catalogue["products"]),
        consumables=tuple(book.catalogue["consumables"]),
    )
    shop = replace(book.example_shop, presses=presses, stock=stock, standing=standing)
    authority, looked_at = Authority(book), set()
    try:
        for substrate, (blank, placement) in blanks.items():
            order = read(Order, {"item": {"blank": blank}, "decorations": [{"placement": placement}]})
            for plan in authority.recommend(order, shop, most=3).plans:
                texts = [step.text for decoration in plan.decorations for step in decoration.steps]
                stages = [step.stage for decoration in plan.decorations for step in decoration.steps]
                gloved = [stage for stage, text in zip(stages, texts, strict=True) if "gloves" in text]
                assert {"check", "lift"} <= set(gloved), (blank, plan.press, texts)
                looked_at.add(substrates[substrate].family)
    finally:
        authority.close()
    assert looked_at == set(HARD)
