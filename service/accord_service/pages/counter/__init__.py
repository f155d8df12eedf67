"""The counter, where an order is typed and answered: see ``views``."""

from accord_service.pages.counter.views import (
    counter,
    counter_lists,
    counter_plans,
    counter_ranges,
    counter_record,
    counter_verdict,
)

__all__ = ["COUNTER_PAGES"]

COUNTER_PAGES = (counter, counter_verdict, counter_lists, counter_ranges, counter_plans, counter_record)
