"""Orders shown in the documentation. Their answers are not kept here: they are asked for when they are shown."""

from __future__ import annotations

from typing import Any

from accord_rules.revision.book import Book
from accord_service.api.endpoint import Example
from accord_service.steps.shops import Caller, KnownShop, no_house
from accord_service.store import ShopRecord

PRESS: dict[str, Any] = {"id": "bench", "type": "swing-away", "platen": {"width": "400 mm", "height": "500 mm"}}
SHOP: dict[str, Any] = {
    "id": "harbour-lane",
    "name": "Harbour Lane Prints",
    "market": "eu",
    "unit_system": "metric",
    "standing": ["trained-operators"],
    "presses": [PRESS],
    "stock": {
        "products": ["sub-paper-fast-dry"],
        "consumables": ["ptfe-sheet", "silicone-paper", "plain-paper", "heat-tape"],
    },
    "names": {"blanks": {"TS-100-W": "tee-heavy-white"}, "presses": {"by the window": "bench"}},
    "samples": [
        {
            "id": "stretch-top-dye",
            "piece": {"substrate": "sports-knit", "fibres": {"PES": 92, "EL": 8}, "colour": "#FFFFFF"},
            "transfer": "sub-paper-fast-dry",
            "press": "bench",
            "temperature": "198 °C",
            "time": "45 s",
            "pressure": "light",
            "pressed_on": "2026-02-16",
            "looked_at_after": "48 h",
            "washes": 3,
            "failures": [],
            "by": "the owner",
        }
    ],
}

KEY_ID = "key_k7qz3n5w2xab4cde"

# One that is not there yet.
NEW_SHOP: dict[str, Any] = {**SHOP, "id": "weir-court", "name": "Weir Court Press Room"}

# The shop that the examples are asked for. No key belongs to it.
CALLER = Caller("example", "counter", SHOP["id"], KnownShop(ShopRecord(SHOP["id"], 1, SHOP, 0.0), no_house(SHOP["id"])))

# Answers of endpoints that would write, or that show what is only in a store.
_CHANGED_AT = "2026-03-02T09:30:00.000Z"
READING_TAKEN: dict[str, Any] = {
    "display": "180 °C",
    "surface": ["178 °C", "176 °C", "179 °C", "175 °C"],
    "taken_on": "2026-03-02",
    "despite": ["old"],
}
READING: dict[str, Any] = {
    "reading_id": "rd_5b1c9e0f2a7d4c36",
    "press_id": PRESS["id"],
    "press_names": [],
    "display": READING_TAKEN["display"],
    "surface": READING_TAKEN["surface"],
    "taken_on": READING_TAKEN["taken_on"],
    "instrument": None,
    "counts": False,
    "doubts": [],
    "despite": [],
    "replaces": None,
    "contradicts": [],
    "entered_at": _CHANGED_AT,
    "entered_by": {"shop_id": SHOP["id"], "holder": "Nia Calder", "role": "operator"},
    "confirmed_at": None,
    "confirmed_by": None,
}
READINGS: dict[str, Any] = {"entries": [READING], "next": None}
CONFIRMED_READING: dict[str, Any] = {
    **READING,
    "counts": True,
    "confirmed_at": _CHANGED_AT,
    "confirmed_by": {"shop_id": SHOP["id"], "holder": "Ines Marlow", "role": "owner"},
}
BUNDLE: dict[str, Any] = {
    "accord_bundle": 1,
    "seal_key_id": "5d1c0f7a9b3e2846",
    "public_key": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo",
    "signature": "3q2-7w" * 14 + "Aw",
    "content": '{"book":{},"code_digest":"sha256:0","digest":"sha256:0","expires_on":"2026-03-16"}',
}
SHOP_STATUS: dict[str, Any] = {
    "shop_id": SHOP["id"],
    "version": 3,
    "changed_at": _CHANGED_AT,
    "units": {"temperature": "°C", "length": "mm", "pressure": "kPa", "area_density": "g/m²"},
    "calibration": [],
    "findings": [],
    "samples": [
        {
            "id": "stretch-top-dye",
            "counts": True,
            "text": "Sample “stretch-top-dye” of 16 February 2026 (198 °C for 45 s, looked at after 48 h and 3 washes"
            " by the owner). Elastic sports knit (warp or weft knit), with sublimation paper, fast drying on"
            " the swing-away press “bench”: it came out well.",
            "why_not": "",
        }
    ],
    "readings_waiting": [READING],
    "house_rules": {"version": 2, "changed_at": _CHANGED_AT},
    "house_doubts": [],
    "role": "owner",
    "key_id": KEY_ID,
    "holder": "Nia Calder",
}
HOUSE_RULES: dict[str, Any] = {"limits": {"press.spread_most": "6 K", "press.parts_most": 2}}
OWN_HOUSE_RULES: dict[str, Any] = {**HOUSE_RULES, "rules": {}, "without": {"products": [], "consumables": []}}
HOUSE_LIMIT: dict[str, Any] = {"id": "press.spread_most", "value": "6 K"}
HOUSE_RULE: dict[str, Any] = {
    "id": "house.look-twice",
    "rule": {
        "level": "requires",
        "title": "Cloth is looked at twice",
        "about": "item",
        "when": "item.textile",
        "because": "This shop looks at every piece of cloth twice.",
        "fix": "Have a colleague look at it.",
        "sources": ["project-choice"],
        "fires": [{"note": "a tee", "item": {"blank": "tee-heavy-white"}}],
        "silent": [{"facts": {"item.textile": False}}],
    },
}
# One that is not there yet.
NEW_HOUSE_RULE: dict[str, Any] = {**HOUSE_RULE, "id": "house.look-again"}
VERSION: dict[str, Any] = {
    "version": 2,
    "changed_at": _CHANGED_AT,
    "changed_by_id": KEY_ID,
    "changed_by": {"shop_id": SHOP["id"], "holder": "Orla Fenn", "role": "owner"},
}
VERSIONS: dict[str, Any] = {"entries": [VERSION], "next": None}
HOUSE_VERSION: dict[str, Any] = {
    **VERSION,
    "house_rules": OWN_HOUSE_RULES,
    "changes": [{"pointer": "/limits/press.spread_most", "before": "7 K", "after": "6 K"}],
    "changes_left_out": 0,
}
SHOP_VERSION: dict[str, Any] = {
    **VERSION,
    "shop": SHOP,
    "changes": [{"pointer": "/name", "before": "Harbour Lane", "after": SHOP["name"]}],
    "changes_left_out": 0,
}
SHOPS: dict[str, Any] = {
    "entries": [
        {
            "id": SHOP["id"],
            "name": SHOP["name"],
            "version": 1,
            "changed_at": _CHANGED_AT,
            "bundle": {"pulled_at": "2026-03-30T16:05:00.000Z", "revision": 12, "expires_on": "2026-04-13"},
        }
    ],
    "next": None,
}
KEY_WANTED: dict[str, Any] = {"shop_id": SHOP["id"], "role": "counter", "holder": "Nia Calder"}
STEWARD_WANTED: dict[str, Any] = {"shop_id": "collective", "role": "steward", "holder": "Tomas Reddy"}
KEY: dict[str, Any] = {
    "key_id": KEY_ID,
    **KEY_WANTED,
    "last_four": "w4Tx",
    "issued_at": _CHANGED_AT,
    "issued_by": "key_m2lw6y4t7ofh3rsa",
    "issuer": {"shop_id": "collective", "holder": "Vesna Holt", "role": "admin"},
    "expires_at": None,
    "last_used_at": "2026-03-30T16:05:00.000Z",
    "waits": False,
    "confirmed_by": None,
    "confirmer": None,
    "confirmed_at": None,
    "revoked_at": None,
    "origins": [],
}
STOREFRONT_WANTED: dict[str, Any] = {**KEY_WANTED, "role": "storefront", "origins": ["https://prints.example"]}
KEYS: dict[str, Any] = {"entries": [KEY], "next": None}
ISSUED: dict[str, Any] = {**KEY, "last_used_at": None, "token": None}
ISSUED_STOREFRONT: dict[str, Any] = {**ISSUED, **STOREFRONT_WANTED}
ISSUED_STEWARD: dict[str, Any] = {**ISSUED, **STEWARD_WANTED, "waits": True}
CONFIRMED: dict[str, Any] = {
    **KEY,
    **STEWARD_WANTED,
    "last_used_at": None,
    "confirmed_by": "key_q5bd2x7u4wnc6ghi",
    "confirmer": {"shop_id": "collective", "holder": "Ines Marlow", "role": "admin"},
    "confirmed_at": "2026-04-01T08:00:00.000Z",
}
REVOKED: dict[str, Any] = {**KEY, "revoked_at": "2026-04-01T08:00:00.000Z"}

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
            "settings": {"temperature": "375 °F", "time": "50 s", "pressure": "medium", "peel": "hot"},
        }
    ],
    "press": "bench",
    "quantity": 24,
}
_TOTE: dict[str, Any] = {
    "item": {"blank": "tote-polyester-white"},
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

# Hotter than stretch cloth is pressed without a test; the shop's own sample is on record.
_ON_A_SAMPLE: dict[str, Any] = {
    "item": {"substrate": "sports-knit", "fibres": {"PES": 92, "EL": 8}, "colour": "#FFFFFF"},
    "decorations": [
        {
            "transfer": "sub-paper-fast-dry",
            "placement": "front",
            "size": {"width": "200 mm", "height": "200 mm"},
            "settings": {"temperature": "198 °C", "time": "45 s", "pressure": "light"},
        }
    ],
    "press": "bench",
}

ORDERS = (
    Example("Sublimation on a cotton tee", _COTTON_TEE),
    Example("Stretch cloth, hot, on the strength of the shop's sample on record", _ON_A_SAMPLE),
    Example("A bag of the book, settings left to the answer", _TOTE),
    Example("A garment and a press described by hand", _DESCRIBED),
)
# A line each, and one that can't be read.
ORDER_LINES = (
    Example(
        "Two orders, one of them with a fault",
        {
            "lines": [
                {"reference": "HL-1043", **_TOTE},
                {"reference": "HL-1044", **_TOTE, "item": {"blank": "tote-polyster"}},
            ]
        },
    ),
)
ORDER_TABLE = """Order no,Blank,Transfer,Position,Width (in),Height (in)
HL-1043,tote-polyester-white,dye-sublimation,front,8,8
HL-1044,tee-heavy-white,cut-film,front,9.5,4
"""
OPEN = (Example("What a bag leaves open", _TOTE),)
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
    Example("Settings for a transfer already chosen", _TOTE),
)


def first_of(book: Book, kind: str) -> str:
    """The first name of a kind, for examples that hold whatever the book has."""
    return min(book.documents[kind])
