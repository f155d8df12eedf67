"""The pages for people: server-rendered, whole without JavaScript, and loading nothing from outside."""

from collections.abc import Callable

from flask import Response

from accord_service.pages.docs import docs
from accord_service.pages.problem import problem_page, problem_pages
from accord_service.pages.start import start

VIEWS: dict[str, Callable[..., Response | str]] = {
    "/": start,
    "/docs": docs,
    "/problems": problem_pages,
    "/problems/<slug>": problem_page,
}
