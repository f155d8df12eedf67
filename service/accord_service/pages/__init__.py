"""The pages for people: server-rendered, whole without JavaScript, and loading nothing from outside."""

from collections.abc import Callable

from flask import Response

from accord_rules.documents.counted import counted
from accord_service.pages import library
from accord_service.pages.counter import COUNTER_PAGES
from accord_service.pages.desk import DESK
from accord_service.pages.docs import docs
from accord_service.pages.problem import problem_page, problem_pages
from accord_service.pages.records import RECORD_PAGES
from accord_service.pages.shop import PAGES as SHOP
from accord_service.pages.sign_in import end_session, sessions, sign_in, sign_out
from accord_service.pages.start import start
from accord_service.pages.static_files import keep_static, name_static, with_joined
from accord_service.pages.ticket.views import TICKET_PAGES
from accord_service.pages.visit import Page, day, moment, told_to_templates

__all__ = ["FILTERS", "PAGES", "VIEWS", "keep_static", "name_static", "told_to_templates", "with_joined"]

# What templates may write values with.
FILTERS: tuple[Callable[..., str], ...] = (counted, day, moment)

# What anybody may read.
VIEWS: dict[str, Callable[..., Response | str]] = {
    "/": start,
    "/docs": docs,
    "/problems": problem_pages,
    "/problems/<slug>": problem_page,
}
# For people who are signed in, and the way there.
PAGES: tuple[Page, ...] = (
    sign_in,
    sign_out,
    sessions,
    end_session,
    *library.PAGES,
    *DESK,
    *COUNTER_PAGES,
    *SHOP,
    *RECORD_PAGES,
    *TICKET_PAGES,
)
