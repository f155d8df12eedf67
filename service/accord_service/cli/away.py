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
    """Answers from the bundle on this machine where the service can't be reached, and says so once.

    ``token``: the key that the service is asked with, which has to be one that pulled the bundle.
    """

    def __init__(self, token: str | None) -> None:
        self._token = token
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

    def answers_for(self, token: str) -> bool:
        """Whether the bundle was pulled with a token. Raises LookupError where none was pulled."""
        return self._opened().answers_for(token)

    def validate(self, order: Document, *, observed: bool = False) -> Document:
        return self._opened().validate(order, observed=observed)

    def validate_all(self, orders: Iterable[Document]) -> Iterator[Document | Refused]:
        """The verdict's document of each, or why there is none."""
        for order in orders:
            try:
                yield self.validate(order)
            except DocumentError as error:
                yield Refused(FAULTY, error.faults)

    def recommend(
        self, order: Document, *, most: int | None = None, curve: bool = False, observed: bool = False
    ) -> Document:
        return self._opened().recommend(order, most=most, curve=curve, observed=observed)

    def envelope(self, order: Document) -> Document:
        return self._opened().envelope(order)

    def _opened(self) -> BundledAuthority:
        if self._bundled is None:
            # The rules and what they rest on: nobody else has to wait for them who asks a service.
            from accord_service import offline
            from accord_service.steps.bundles import BundleRefused

            day = offline.today()
            holding = offline.held(offline.usual_folder(), day, self._token)
            if holding.state == offline.ABSENT:
                raise LookupError("no bundle was pulled")
            try:
                self._bundled = holding.open(day)
            except BundleRefused as refused:
                raise Failure(f"The service can't be reached. {refused}") from None
            click.echo(f"The service can't be reached. {offline.introduced(holding, day)}", err=True)
        return self._bundled
