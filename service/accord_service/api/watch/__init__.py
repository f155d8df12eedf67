"""Addresses for whoever runs the service. None needs a key, none tells a shop's business."""

from collections.abc import Callable

from flask import Response

from accord_service.api.watch.get_healthz import get_healthz
from accord_service.api.watch.get_metrics import get_metrics
from accord_service.api.watch.get_readyz import get_readyz

VIEWS: dict[str, Callable[..., Response | str]] = {
    "/healthz": get_healthz,
    "/readyz": get_readyz,
    "/metrics": get_metrics,
}
