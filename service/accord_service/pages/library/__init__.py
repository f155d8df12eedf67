"""The library: every entry of the book to read and to find, with why, what it rests on and what became of it."""

from accord_service.pages.library.catalogue import catalogue_entry, catalogue_kind
from accord_service.pages.library.limits import library_fact, library_facts, library_limit, library_limits
from accord_service.pages.library.overview import library, library_search
from accord_service.pages.library.rules import library_rule, library_rules, library_step, library_steps
from accord_service.pages.library.sources import library_source, library_sources
from accord_service.pages.visit import Page

__all__ = ["PAGES"]

PAGES: tuple[Page, ...] = (
    library,
    library_search,
    library_rules,
    library_rule,
    library_limits,
    library_limit,
    library_steps,
    library_step,
    catalogue_kind,
    catalogue_entry,
    library_sources,
    library_source,
    library_facts,
    library_fact,
)
