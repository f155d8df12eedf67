"""Shops, keys and house rules: what a collective's admin and a shop's owner look after.

Answers are the service's documents as they come (plain JSON); /docs on the service tells every field.
Every write carries an Idempotency-Key, so that asking again after a lost connection does nothing twice.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from accord_client.documents import Editable
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
        """Every shop: id, name, version, when it last changed, and the ``bundle`` that it pulled last."""
        return self._asker.pages("/v1/shops")

    def shop(self, shop_id: str) -> Editable:
        """One shop as it was written."""
        return self._asker.editable(f"/v1/shops/{self._segment(shop_id)}")

    def add_shop(self, shop: Document, *, validate_only: bool = False) -> Document:
        return self._write("POST", "/v1/shops", shop, validate_only)

    def replace_shop(self, shop: Document, etag: str, *, validate_only: bool = False) -> Editable:
        """Replace a shop, as long as it still has this ``etag``."""
        return self._replace(f"/v1/shops/{self._segment(shop['id'])}", shop, etag, validate_only)

    # -- an admin's, and an owner's for the own shop -----------------------------------------------------------------

    def keys(self, shop: str | None = None) -> Iterator[Document]:
        """Every key that may be seen, or one shop's; revoked ones too."""
        return self._asker.pages("/v1/keys" + (f"?{urlencode({'shop_id': shop})}" if shop else ""))

    def key(self, key_id: str) -> Document:
        """One key; its token is kept nowhere."""
        return self._asker.read(f"/v1/keys/{self._segment(key_id)}")

    def issue_key(
        self,
        shop: str,
        role: str,
        *,
        holder: str,
        expires_at: str | None = None,
        origins: Sequence[str] = (),
        validate_only: bool = False,
    ) -> Document:
        """A new key. Its ``token`` is shown this once; None where the first answer was lost on the way.

        ``holder``: whose it is, by the name the collective knows them by; a steward's or an admin's key ``waits`` until
        another admin confirms it. ``expires_at``: when it ends by itself (RFC 3339), never when left out.
        ``origins``: of the pages that a storefront's key stands in ("https://prints.example"); no other role has any.
        """
        wanted = {
            "shop_id": shop,
            "role": role,
            "holder": holder,
            "expires_at": expires_at,
            "origins": list(origins) or None,
        }
        body = {name: value for name, value in wanted.items() if value is not None}
        return self._write("POST", "/v1/keys", body, validate_only)

    def confirm_key(self, key_id: str, *, validate_only: bool = False) -> Document:
        """Let a steward's or an admin's key that another admin issued open what its role may."""
        return self._write("POST", f"/v1/keys/{self._segment(key_id)}/confirm", None, validate_only)

    def revoke_key(self, key_id: str, *, validate_only: bool = False) -> Document:
        """Make a key worthless, for good."""
        return self._write("DELETE", f"/v1/keys/{self._segment(key_id)}", None, validate_only)

    # -- an owner's --------------------------------------------------------------------------------------------------

    def replace_own_shop(self, shop: Document, etag: str, *, validate_only: bool = False) -> Editable:
        """Replace the own shop (``Client.shop``), as long as it still has this ``etag``."""
        return self._replace("/v1/shop", shop, etag, validate_only)

    def press(self, press_id: str) -> Editable:
        """One press of the own shop; its ETag stays while others change the rest of the shop."""
        return self._asker.editable(f"/v1/shop/presses/{self._segment(press_id)}")

    def replace_press(self, press: Document, etag: str, *, validate_only: bool = False) -> Editable:
        """Replace one press of the own shop, as long as it still has this ``etag``."""
        return self._replace(f"/v1/shop/presses/{self._segment(press['id'])}", press, etag, validate_only)

    # -- probe readings, an owner's and an operator's ----------------------------------------------------------------

    def readings(self, press_id: str) -> Iterator[Document]:
        """The probe readings of one press: those that count, and those that wait for the owner."""
        return self._asker.pages(self._readings(press_id))

    def reading(self, press_id: str, reading_id: str) -> Document:
        """One probe reading: what it says, whether it ``counts``, and its ``doubts``."""
        return self._asker.read(self._reading(press_id, reading_id))

    def enter_reading(self, press_id: str, reading: Document, *, validate_only: bool = False) -> Document:
        """Enter what a probe read: ``display``, ``surface`` (spot by spot), ``taken_on``, ``instrument``.

        With an owner's token it counts at once; with an operator's it waits until the owner confirms it. An unlikely
        one is refused (InvalidOrder) with a word for the doubt; ``despite`` lists those to set aside.
        """
        return self._write("POST", self._readings(press_id), reading, validate_only)

    def confirm_reading(self, press_id: str, reading_id: str, *, validate_only: bool = False) -> Document:
        """Let an operator's reading count, as the owner."""
        return self._write("POST", f"{self._reading(press_id, reading_id)}/confirm", None, validate_only)

    def withdraw_reading(self, press_id: str, reading_id: str, *, validate_only: bool = False) -> Document:
        """Take a reading back: the owner any, an operator one's own that waits."""
        return self._write("DELETE", self._reading(press_id, reading_id), None, validate_only)

    # -- house rules -------------------------------------------------------------------------------------------------

    def house_rules(self) -> Editable:
        """The own shop's house rules; there is a document to replace even if there never were any."""
        return self._asker.editable("/v1/shop/house-rules")

    def replace_house_rules(self, rules: Document, etag: str, *, validate_only: bool = False) -> Editable:
        """Replace them. What would loosen anything is refused (422); the ``problem`` then has the witness orders."""
        return self._replace("/v1/shop/house-rules", rules, etag, validate_only)

    def add_house_rule(self, rule_id: str, rule: Document, *, validate_only: bool = False) -> Document:
        """Add one rule to them; the rest stays. ``rule_id`` starts with ``house.``."""
        return self._write("POST", "/v1/shop/house-rules/rules", {"id": rule_id, "rule": dict(rule)}, validate_only)

    def house_rule(self, rule_id: str) -> Editable:
        """One rule of them; its ETag stays while the rest changes."""
        return self._asker.editable(self._house_rule(rule_id))

    def replace_house_rule(self, rule_id: str, rule: Document, etag: str, *, validate_only: bool = False) -> Editable:
        """Replace one rule of them, as long as it still has this ``etag``; the rest stays."""
        return self._replace(self._house_rule(rule_id), {"id": rule_id, "rule": dict(rule)}, etag, validate_only)

    def remove_house_rule(self, rule_id: str, etag: str, *, validate_only: bool = False) -> Document:
        """Take one rule out of them, as long as it still has this ``etag``; gives those that are left."""
        address = _address(self._house_rule(rule_id), validate_only)
        return self._asker.write("DELETE", address, None, {"If-Match": etag, **_once()})

    def house_limit(self, limit_id: str) -> Editable:
        """Where the shop has one limit of the book: ``value`` is None for where the book has it."""
        return self._asker.editable(self._house_limit(limit_id))

    def replace_house_limit(
        self, limit_id: str, value: str | float | None, etag: str, *, validate_only: bool = False
    ) -> Editable:
        """Make one limit stricter, or give it back to the book (None); the rest stays."""
        return self._replace(self._house_limit(limit_id), {"id": limit_id, "value": value}, etag, validate_only)

    # -- what was there before ---------------------------------------------------------------------------------------

    def house_rules_versions(self) -> Iterator[Document]:
        """The versions of the own shop's house rules that are kept, newest first: who wrote each, and when."""
        return self._asker.pages("/v1/shop/house-rules/versions")

    def house_rules_version(self, version: int) -> Document:
        """The ``house_rules`` of one version, and the ``changes`` it made of the one before."""
        return self._asker.read(f"/v1/shop/house-rules/versions/{version}")

    def shop_versions(self) -> Iterator[Document]:
        """The versions of the own shop that are kept, newest first: who wrote each, and when."""
        return self._asker.pages("/v1/shop/versions")

    def shop_version(self, version: int) -> Document:
        """The ``shop`` of one version, and the ``changes`` it made of the one before."""
        return self._asker.read(f"/v1/shop/versions/{version}")

    def _readings(self, press_id: str) -> str:
        return f"/v1/shop/presses/{self._segment(press_id)}/readings"

    def _reading(self, press_id: str, reading_id: str) -> str:
        return f"{self._readings(press_id)}/{self._segment(reading_id)}"

    def _house_rule(self, rule_id: str) -> str:
        return f"/v1/shop/house-rules/rules/{self._segment(rule_id)}"

    def _house_limit(self, limit_id: str) -> str:
        return f"/v1/shop/house-rules/limits/{self._segment(limit_id)}"

    def _write(self, method: str, address: str, body: Document | None, validate_only: bool) -> dict[str, Any]:
        whole: Mapping[str, Any] | None = None if body is None else dict(body)
        return self._asker.write(method, _address(address, validate_only), whole, _once())

    def _replace(self, address: str, body: Document, etag: str, validate_only: bool) -> Editable:
        return self._asker.replace(_address(address, validate_only), dict(body), {"If-Match": etag, **_once()})


def _address(address: str, validate_only: bool) -> str:
    return address + ("?validate_only=true" if validate_only else "")


def _once() -> dict[str, str]:
    return {"Idempotency-Key": uuid.uuid4().hex}
