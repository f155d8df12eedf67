"""Who answers where the service can't be reached: the bundle on this machine."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

import click

from accord_rules.documents.reading import DocumentError
from accord_service.cli.failure import Failure
from accord_service.cli.orders import Refused
from accord_service.cli.told import FAULTY, Document

if TYPE_CHECKING:
    from accord_service.steps.bundles import BundledAuthority


class WhileAway:
    """Answers from the bundle on this machine where the service can't be reached, and says so once."""

    def __init__(self) -> None:
        self._bundled: BundledAuthority | None = None

    @property
    def has_answered(self) -> bool:
        """Whether the service was away: who began to answer from the bundle goes on with it."""
        return self._bundled is not None

    def __enter__(self) -> WhileAway:
        return self

    def __exit__(self, *error: object) -> None:
        if self._bundled is not None:
            self._bundled.close()

    @property
    def revision(self) -> int:
        """The revision of the bundle. Raises LookupError where none was pulled."""
        return self._opened().revision

    def validate(self, order: Document) -> Document:
        return self._opened().validate(order)

    def validate_all(self, orders: Iterable[Document]) -> Iterator[Document | Refused]:
        """The verdict's document of each, or why there is none."""
        for order in orders:
            try:
                yield self.validate(order)
            except DocumentError as error:
                yield Refused(FAULTY, error.faults)

    def recommend(self, order: Document) -> Document:
        return self._opened().recommend(order)

    def _opened(self) -> BundledAuthority:
        if self._bundled is None:
            # The rules and what they rest on: nobody else has to wait for them who asks a service.
            from accord_service import offline
            from accord_service.steps.bundles import BundleRefused

            day = offline.today()
            holding = offline.held(offline.usual_folder(), day)
            if holding.state == offline.ABSENT:
                raise LookupError("no bundle was pulled")
            try:
                self._bundled = holding.open(day)
            except BundleRefused as refused:
                raise Failure(f"The service can't be reached. {refused}") from None
            click.echo(f"The service can't be reached. {offline.introduced(holding, day)}", err=True)
        return self._bundled
