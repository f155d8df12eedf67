"""Orders shown in the documentation. Their answers are not kept here: they are asked for when they are shown."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any

from accord_rules.reading import read
from accord_rules.shop import Shop
from accord_service.endpoint import Example
from accord_service.room import Room
from accord_service.shops import Caller

_PRESS = {"id": "bench", "type": "swing-away", "platen": {"width": "400 mm", "height": "500 mm"}}
_SHOP: dict[str, Any] = {
    "id": "harbour-lane",
    "name": "Harbour Lane Prints",
    "market": "eu",
    "unit_system": "metric",
    "standing": ["trained-operators"],
    "presses": [_PRESS],
    "stock": {
        "products": ["sub-paper-fast-dry"],
        "consumables": ["ptfe-sheet", "silicone-paper", "plain-paper", "heat-tape"],
    },
}

# The shop that the examples are asked for. No key belongs to it.
CALLER = Caller(read(Shop, _SHOP), MappingProxyType(_SHOP), "counter", "example")

_COTTON_TEE: dict[str, Any] = {
    "reference": "HL-1043",
    "item": {"blank": "tee-heavy-white"},
    "use": {"age_from": 18, "age_to": 99},
    "decorations": [
        {
            "transfer": "dye-sublimation",
            "placement": "front",
            "size": {"width": "280 mm", "height": "300 mm"},
            "artwork": {"colours": 4, "gradient": True, "finest_line": "0.8 mm", "mirrored": True},
            "settings": {"temperature": "392 °F", "time": "70 s", "pressure": "medium", "peel": "hot"},
        }
    ],
    "press": "bench",
    "quantity": 24,
}
_CUSHION: dict[str, Any] = {
    "item": {"blank": "cushion-polyester-white"},
    "decorations": [
        {
            "transfer": "dye-sublimation",
            "placement": "front",
            "size": {"width": "8 in", "height": "8 in"},
            "artwork": {"gradient": True, "mirrored": True},
        }
    ],
}
_DESCRIBED: dict[str, Any] = {
    "item": {
        "substrate": "knit",
        "fibres": {"PES": 65, "CO": 35},
        "colour": "#F4F4F0",
        "coating": "none",
        "mass_per_area": "180 g/m2",
        "care": {"iron": 2},
    },
    "decorations": [{"transfer": "dye-sublimation", "placement": "front"}],
    "press": {"type": "clamshell", "platen": {"width": "15 in", "height": "15 in"}},
}

ORDERS = (
    Example("Sublimation on a cotton tee", _COTTON_TEE),
    Example("A cushion of the book, settings left to the answer", _CUSHION),
    Example("A garment and a press described by hand", _DESCRIBED),
)
REQUESTS = (
    Example(
        "Anything that lasts, on a cotton tee",
        {
            "item": {"blank": "tee-heavy-white"},
            "decorations": [
                {"placement": "front", "size": {"width": "200 mm", "height": "200 mm"}, "artwork": {"colours": 1}}
            ],
            "prefer": ["durability", "cost"],
        },
    ),
    Example("Settings for a transfer already chosen", _CUSHION),
)


def first_of(room: Room, kind: str) -> str:
    """The first name of a kind, for examples that hold whatever the book has."""
    return min(room.settings.documents[kind])
