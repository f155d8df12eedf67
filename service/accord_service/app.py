"""The wiring: the only module that knows all the others."""

from __future__ import annotations

import logging

from flask import Flask, Response
from werkzeug.exceptions import HTTPException

from accord_rules.authority import Authority
from accord_rules.settings import load_book
from accord_service import book, log, pages, problems, request
from accord_service.api.v1 import ENDPOINTS
from accord_service.api.v1.get_openapi import get_openapi
from accord_service.api.watch import VIEWS
from accord_service.config import Config
from accord_service.metrics import Metrics
from accord_service.problems import BY_STATUS, InternalError, Problem
from accord_service.room import EXTENSION, Room
from accord_service.shops import FileShops, Shops, ShopsError

logger = logging.getLogger(__name__)


def create_app(config: Config | None = None) -> Flask:
    """The application. ``config`` comes from the environment when left out.

    Raises BookError, ShopsError or ConfigError, each naming everything that is wrong: a service that can't know its
    shops or its book must not start.
    """
    config = config or Config.from_env()
    log.configure(config.log_level)
    app = Flask(__name__, template_folder="pages/templates", static_folder="pages/static")
    app.url_map.merge_slashes = False
    app.extensions[EXTENSION] = _furnish(config)
    request.install(app)
    _route(app)
    app.register_error_handler(Problem, _problem)
    app.register_error_handler(HTTPException, _http_exception)
    app.register_error_handler(Exception, _unexpected)
    return app


def _furnish(config: Config) -> Room:
    settings = load_book()
    shops: Shops = FileShops(config.shops_folder)
    unknown = [line for shop in shops.shops() for line in book.unknown_names(settings, shop)]
    if unknown:
        raise ShopsError("\n".join(unknown))
    authority = Authority(settings)
    return Room(config, settings, authority, shops, Metrics(), _self_test(authority))


def _self_test(authority: Authority) -> str:
    """Why the authority's own test fails; empty when it passes. A red test stops answers, not the process."""
    try:
        authority.self_test()
    except Exception as error:  # whatever it is, /readyz must be able to say it
        logger.exception("the self-test failed")
        return f"{type(error).__name__}: {error}"
    return ""


def _route(app: Flask) -> None:
    for endpoint in ENDPOINTS:
        app.add_url_rule(endpoint.rule, endpoint.name, endpoint.view, methods=[endpoint.method])
    app.add_url_rule("/v1/openapi.json", "get_openapi", get_openapi)
    for address, view in {**VIEWS, **pages.VIEWS}.items():
        app.add_url_rule(address, view.__name__, view)


def _problem(problem: Problem) -> Response:
    return problems.response(problem, request.request_id())


def _http_exception(error: HTTPException) -> Response:
    """What Flask itself refuses (404, 405 and the like), in our shape. Redirects pass."""
    status = error.code or 500
    if status < 400:
        return Response(status=status, headers=error.get_headers())
    if status not in BY_STATUS:
        return problems.bare_response(status, request.request_id())
    allow = {"Allow": ", ".join(sorted(getattr(error, "valid_methods", None) or ()))} if status == 405 else {}
    detail = f"Allowed: {allow['Allow']}." if allow else ""
    return _problem(BY_STATUS[status](detail, headers=allow))


def _unexpected(error: Exception) -> Response:
    logger.error(
        "unexpected %s",
        type(error).__name__,
        exc_info=error,
        extra={"details": {"request_id": request.request_id()}},
    )
    return _problem(InternalError())
