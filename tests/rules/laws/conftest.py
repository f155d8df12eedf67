"""An authority for laws that say nothing of remedies."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from accord_rules.advise.remedies import Remedied
from accord_rules.authority import Authority, Judged
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book


class WithoutRemedies(Authority):
    """Answers all else as the authority does. Looking for what would help a rejected order takes most of the time of an
    answer, and turns nothing of its findings, settings, needs and assumptions."""

    def _remedies(self, judged: Judged, shop: Shop) -> Remedied:
        return Remedied()


@pytest.fixture(scope="session")
def without_remedies(book: Book, authority: Authority) -> Iterator[Authority]:
    """Asks the authority's own rules."""
    opened = WithoutRemedies(book, shared=authority.scales)
    yield opened
    opened.close()
