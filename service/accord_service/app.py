"""The wiring: the only module that knows all the others."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable

from flask import Flask, Response
from werkzeug.exceptions import HTTPException

from accord_service import pages
from accord_service.api import request
from accord_service.api.room import EXTENSION, Room
from accord_service.api.v1 import ENDPOINTS
from accord_service.api.watch import VIEWS
from accord_service.described.get_index import PATH, get_index
from accord_service.described.get_openapi import get_openapi
from accord_service.http import problems
from accord_service.http.problems import InternalError, Problem, of_status
from accord_service.run import log
from accord_service.run.config import Config
from accord_service.run.metrics import Metrics
from accord_service.store import Seals, Store

logger = logging.getLogger(__name__)
# What Flask says in headers of a refusal, for whoever asks again.
_TOLD = ("Allow", "Content-Range")


def create_app(config: Config | None = None, clock: Callable[[], float] = time.time) -> Flask:
    """The application. ``config`` comes from the environment when left out; ``clock`` gives seconds since 1970 (UTC).

    Raises ConfigError, and StoreError for an address that can't be used. The store need not answer yet: until it does,
    /readyz says so. Close the room (``app.extensions["accord"]``) when the application is no longer used.
    """
    config = config or Config.of_worker()
    log.configure(config.log_level)
    app = Flask(__name__, template_folder="pages/templates", static_folder="pages/static")
    app.url_map.merge_slashes = False
    app.extensions[EXTENSION] = _furnish(config, clock)
    request.install(app)
    _route(app)
    app.register_error_handler(Problem, _problem)
    app.register_error_handler(HTTPException, _http_exception)
    app.register_error_handler(Exception, _unexpected)
    return app


def _furnish(config: Config, clock: Callable[[], float]) -> Room:
    """The room, with the book loaded already if the store answers: no request should have to wait for that."""
    seals = Seals.read(config.seal_key_file)
    room = Room(config, Store.at(config.store_url, clock=clock, seals=seals), Metrics(), clock)
    state = room.state()
    if state.status != "ready":
        told = (state.failed, state.store, state.writes, state.audit and state.audit.detail, state.effects.stands_still)
        why = next(filter(None, told), "the engine is in doubt")
        logger.warning("started, but %s", state.status, extra={"details": {"why": why}})
    return room


def _route(app: Flask) -> None:
    for endpoint in ENDPOINTS:
        app.add_url_rule(endpoint.rule, endpoint.name, endpoint.view, methods=[endpoint.method])
    app.add_url_rule(PATH, "get_index", get_index)
    app.add_url_rule("/v1/openapi.json", "get_openapi", get_openapi)
    for address, view in {**VIEWS, **pages.VIEWS}.items():
        app.add_url_rule(address, view.__name__, view)
    for page in pages.PAGES:
        app.add_url_rule(page.address, page.name, page.view, methods=list(page.methods))
    app.context_processor(pages.told_to_templates)
    for template_filter in pages.FILTERS:
        app.add_template_filter(template_filter)
    app.view_functions["static"] = pages.with_joined(app.send_static_file)
    app.url_defaults(pages.name_static)
    app.after_request(pages.keep_static)


def _problem(problem: Problem) -> Response:
    return problems.response(problem, request.request_id())


def _http_exception(error: HTTPException) -> Response:
    """What Flask itself refuses (404, 405 and the like), in our shape. Redirects pass."""
    status = error.code or 500
    if status < 400:
        return Response(status=status, headers=error.get_headers())
    told = {name: value for name, value in error.get_headers() if name in _TOLD}
    if "Allow" in told:
        told["Allow"] = ", ".join(sorted(told["Allow"].split(", ")))
    detail = f"Allowed: {told['Allow']}." if "Allow" in told else ""
    return _problem(of_status(status)(detail, headers=told))


def _unexpected(error: Exception) -> Response:
    logger.error(
        "unexpected %s",
        type(error).__name__,
        exc_info=error,
        extra={"details": {"request_id": request.request_id()}},
    )
    return _problem(InternalError())
