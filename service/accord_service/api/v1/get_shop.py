from __future__ import annotations

import dataclasses

from accord_service.answers import OwnShopAnswer
from accord_service.endpoint import Answer, Asked, endpoint


@endpoint("GET", "/v1/shop", tag="Shop", answers=OwnShopAnswer)
def get_shop(asked: Asked) -> Answer:
    """Give the caller's own shop: presses, stock, and the units its answers are written in."""
    caller = asked.caller
    return Answer(
        {
            "shop": dict(caller.document),
            "units": dataclasses.asdict(caller.shop.units),
            "role": caller.role,
            "key": caller.key_id,
        }
    )
