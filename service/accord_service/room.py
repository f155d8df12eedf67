"""What one running application holds: made once by ``app``, handed to every endpoint, never changed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

from flask import current_app

from accord_rules.authority import Authority
from accord_rules.settings import Settings
from accord_service.config import Config
from accord_service.metrics import Metrics
from accord_service.shops import Shops


@dataclass(frozen=True, slots=True, eq=False)
class Room:
    """``failed`` says why the authority's own test failed; empty when it passed."""

    config: Config
    settings: Settings
    authority: Authority
    shops: Shops
    metrics: Metrics
    failed: str = ""


EXTENSION = "accord"


def room() -> Room:
    """The room of the application that answers this request."""
    return cast(Room, current_app.extensions[EXTENSION])
