"""Shops, keys and house rules: what a collective's admin and a shop's owner look after.

Answers are the service's documents as they come (plain JSON); /docs on the service tells every field.
Every write carries an Idempotency-Key, so that asking again after a lost connection does nothing twice.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator, Mapping
from typing import Any
from urllib.parse import urlencode

from accord_client.governance import Asker, Document


class Administration:
    """``Client.administration``. ``validate_only`` checks a write by the same path and writes nothing.

    Raises what ``Client`` raises: NotFound, NotAuthorised, InvalidOrder for a document with faults, and ProblemError
    with status 409 (there is one already) or 412 (it changed since it was read).
    """

    def __init__(self, asker: Asker, segment: Callable[[str], str]) -> None:
        self._asker = asker
        self._segment = segment

    # -- an admin's --------------------------------------------------------------------------------------------------

    def shops(self) -> Iterator[Document]:
        """Every shop: id, name, version, when it last changed."""
        return self._asker.pages("/v1/shops")

    def shop(self, id: str) -> Document:
        """One shop whole, with its version."""
        return self._asker.read(f"/v1/shops/{self._segment(id)}")

    def add_shop(self, shop: Document, *, validate_only: bool = False) -> Document:
        return self._write("POST", "/v1/shops", shop, validate_only)

    def replace_shop(self, version: int, shop: Document, *, validate_only: bool = False) -> Document:
        """Replace a shop, as long as it is still at ``version``."""
        return self._write("PUT", f"/v1/shops/{self._segment(shop['id'])}", shop, validate_only, version)

    # -- an admin's, and an owner's for the own shop -----------------------------------------------------------------

    def keys(self, shop: str | None = None) -> Iterator[Document]:
        """Every key that may be seen, or one shop's; revoked ones too."""
        return self._asker.pages("/v1/keys" + (f"?{urlencode({'shop_id': shop})}" if shop else ""))

    def key(self, id: str) -> Document:
        """One key; its token is kept nowhere."""
        return self._asker.read(f"/v1/keys/{self._segment(id)}")

    def issue_key(
        self,
        shop: str,
        role: str,
        *,
        holder: str | None = None,
        expires_at: str | None = None,
        validate_only: bool = False,
    ) -> Document:
        """A new key. Its ``token`` is shown this once; None where the first answer was lost on the way.

        ``holder``: who has it, for people; ``expires_at``: when it ends by itself (RFC 3339), never when left out.
        """
        wanted = {"shop_id": shop, "role": role, "holder": holder, "expires_at": expires_at}
        said = {name: value for name, value in wanted.items() if value is not None}
        return self._write("POST", "/v1/keys", said, validate_only)

    def revoke_key(self, id: str, *, validate_only: bool = False) -> Document:
        """Make a key worthless, for good."""
        return self._write("DELETE", f"/v1/keys/{self._segment(id)}", None, validate_only)

    # -- an owner's --------------------------------------------------------------------------------------------------

    def replace_own_shop(self, version: int, shop: Document, *, validate_only: bool = False) -> Document:
        """Replace the own shop (``Client.shop``), as long as it is still at ``version``."""
        return self._write("PUT", "/v1/shop", shop, validate_only, version)

    def house_rules(self) -> Document:
        """The own shop's house rules with their version; 0 if there never were any."""
        return self._asker.read("/v1/shop/house-rules")

    def replace_house_rules(self, version: int, rules: Document, *, validate_only: bool = False) -> Document:
        """Replace them. What would loosen anything is refused (422); the ``problem`` then has the witness orders."""
        return self._write("PUT", "/v1/shop/house-rules", rules, validate_only, version)

    def _write(
        self, method: str, address: str, body: Document | None, validate_only: bool, version: int | None = None
    ) -> dict[str, Any]:
        headers: dict[str, str] = {"Idempotency-Key": uuid.uuid4().hex}
        if version is not None:
            headers["If-Match"] = f'"{version}"'
        whole: Mapping[str, Any] | None = None if body is None else dict(body)
        return self._asker.write(method, address + ("?validate_only=true" if validate_only else ""), whole, headers)
