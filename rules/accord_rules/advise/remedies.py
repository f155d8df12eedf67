"""Remedies: one change that would turn a rejected order into one that can be done.

Every remedy is weighed like an order before it is shown. Changes are tried in the order of what they cost the
customer: settings first (nothing but a dial), then the transfer, then the press, then the blank.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from accord_rules.order import Order
from accord_rules.sentences import in_a_sentence
from accord_rules.settings import Settings
from accord_rules.shop import Shop
from accord_rules.verdict import VERDICTS, Change, Remedy
from accord_rules.weigh import Weighed

REMEDIES_MOST = 3
_WORKABLE = ("accepted", "conditional")
_Trial = tuple[Order, tuple[Change, ...], str]


def remedies(order: Order, shop: Shop, settings: Settings, weigh: Callable[[Order], Weighed]) -> tuple[Remedy, ...]:
    """Up to three single changes that work, cheapest kind first, accepted before conditional within a kind."""
    found: list[Remedy] = []
    for trials in (
        _settings(order),
        _transfers(order, shop, settings),
        _presses(order, shop),
        _blanks(order, settings),
    ):
        working = []
        for changed, changes, text in trials:
            weighed = weigh(changed)
            if weighed.verdict in _WORKABLE:
                working.append((weighed.badness, Remedy(changes, weighed.verdict, text)))
        working.sort(key=lambda each: (VERDICTS.index(each[1].verdict), each[0]))
        found += [remedy for _, remedy in working[: 1 if len(found) else 2]]
    return tuple(found[:REMEDIES_MOST])


def _with_decoration(order: Order, index: int, **changes: object) -> Order:
    decorations = list(order.decorations)
    decorations[index] = replace(decorations[index], **changes)  # type: ignore[arg-type]
    return replace(order, decorations=tuple(decorations))


def _settings(order: Order) -> Iterator[_Trial]:
    """Leave the settings to the book: each decoration's, and all of them."""
    asked = [index for index, decoration in enumerate(order.decorations) if decoration.settings is not None]
    if not asked:
        return
    changed, changes = order, []
    for index in asked:
        changed = _with_decoration(changed, index, settings=None)
        changes.append(Change(f"/decorations/{index}/settings", "as asked", None))
    yield changed, tuple(changes), 'Leave the settings to the book: the ones under "settings" of that answer work.'


def _transfers(order: Order, shop: Shop, settings: Settings) -> Iterator[_Trial]:
    """Another stocked transfer for one decoration, with the settings left to the book."""
    for index, decoration in enumerate(order.decorations):
        for name in (each for each in shop.stock.products if each != decoration.transfer):
            changed = _with_decoration(order, index, transfer=name, settings=None)
            changes = [Change(f"/decorations/{index}/transfer", decoration.transfer, name)]
            if decoration.settings is not None:
                changes.append(Change(f"/decorations/{index}/settings", "as asked", None))
            title = in_a_sentence(settings.catalogue["products"][name].title)
            yield changed, tuple(changes), f"Use {title} ({name}) instead."


def _presses(order: Order, shop: Shop) -> Iterator[_Trial]:
    """Another of the shop's presses."""
    if order.press is None:
        return
    now = order.press if isinstance(order.press, str) else order.press.id
    for press in shop.presses:
        if press.id != now:
            changed = replace(order, press=press.id)
            yield changed, (Change("/press", now, press.id),), f"Press it on {press.id}."


def _blanks(order: Order, settings: Settings) -> Iterator[_Trial]:
    """Another blank: those that the book names as alternatives of the present one, for the item as it comes."""
    now = order.item.blank
    if now is None:
        return
    for name in settings.catalogue["blanks"][now].alternatives:
        changed = replace(order, item=replace(order.item, blank=name, **_UNSAID))
        title = in_a_sentence(settings.catalogue["blanks"][name].title)
        yield changed, (Change("/item/blank", now, name),), f"Print on {title} ({name}) instead."


# A different blank is taken as it comes: what was said of the old one does not hold for it.
_UNSAID = dict.fromkeys(
    ("substrate", "fibres", "colour", "coating", "finishes", "dye", "mass_per_area", "thickness", "care", "features")
)
