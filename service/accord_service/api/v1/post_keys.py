from __future__ import annotations

from dataclasses import dataclass

from accord_rules.documents.reading import Choice, Fault, Instant, Name, optional, required
from accord_service.api import examples
from accord_service.api.answers import IssuedKey, Key, Signatory
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.v1.get_keys import instant_or_null, own_only, shown_key
from accord_service.http.holders import Holder
from accord_service.http.origins import ORIGINS, origins_faults
from accord_service.http.problems import FaultyDocument, NotFound, RoleNotAllowed
from accord_service.http.roles import COLLECTIVE, ROLES, SHOP_ROLES
from accord_service.http.writing import Answer, Prepared, Remember
from accord_service.run.times import instant
from accord_service.store import CONFIRMED_ROLES, KeyRecord

LONGEST_S = 10 * 365 * 86_400


@dataclass(frozen=True, slots=True)
class KeyRequest:
    """The key that is wanted; the shop is "collective" for stewards and admins that belong to none."""

    shop_id: str = required(Name(), about="the shop it is for")
    role: str = required(Choice(ROLES), about="what it may do")
    holder: str = required(Holder(), about="whose it is, by the name the collective knows them by")
    expires_at: float | None = optional(Instant(), about="when it ends by itself; never when left out")
    origins: tuple[str, ...] = optional(
        ORIGINS, (), about="a storefront's, of the pages it stands in; no other has any"
    )


@endpoint(
    "POST",
    "/v1/keys",
    operation_id="issueKey",
    tag="Administration",
    takes=KeyRequest,
    answers=IssuedKey,
    writes=True,
    success=201,
    problems=(NotFound,),
    examples=(
        Example("A key for the counter", examples.KEY_WANTED, answer=examples.ISSUED),
        Example("A steward's, which another admin confirms", examples.STEWARD_WANTED, answer=examples.ISSUED_STEWARD),
        Example("A storefront's", examples.STOREFRONT_WANTED, answer=examples.ISSUED_STOREFRONT),
    ),
)
def post_keys(call: Call) -> Prepared:
    """Issue a key. An owner can issue keys of the own shop, up to owner; an admin any.

    Each key names its holder: by that name, and by the shop, the people who propose and approve a change are told
    apart, so a person has one name in the whole collective. A steward's or an admin's key opens nothing until another
    admin than issued it confirms it; the first two admins' keys are made on the machine (accord serve --new-admin-key).

    A storefront's key stands in a page, where anybody can read it: it may ask POST /v1/validate and nothing else, from
    pages of its origins, which a browser is then told may read the answer. The answer is the shop's own, with its
    presses and settings: a shop that wants to keep these to itself asks from its own server, with a counter's key.

    The token is shown this once and kept nowhere. A repetition under the same Idempotency-Key issues nothing and shows
    no token: if the first answer was lost, revoke that key and issue another.
    """
    wanted = call.body
    own_only(call, wanted.shop_id)
    if call.caller.role != "admin" and wanted.role not in SHOP_ROLES:
        raise RoleNotAllowed(
            "This needs a key of the role admin; this key's role is owner, which issues the roles"
            f" {', '.join(SHOP_ROLES)}."
        )
    if wanted.shop_id == COLLECTIVE and wanted.role in SHOP_ROLES:
        message = f"a key of {COLLECTIVE} is a steward's or an admin's"
        raise FaultyDocument(faults=[Fault("/role", message, ("steward", "admin"), code="contradiction")])
    if faults := origins_faults(wanted.role, wanted.origins, "/origins"):
        raise FaultyDocument(faults=faults)
    if wanted.expires_at is not None and not call.room.now_s < wanted.expires_at < call.room.now_s + LONGEST_S:
        raise FaultyDocument(faults=[Fault("/expires_at", "must be in the next ten years", code="out-of-range")])
    if wanted.shop_id != COLLECTIVE and call.room.store.shops.get(wanted.shop_id) is None:
        raise NotFound(f"There is no shop {wanted.shop_id!r}.")

    def commit(remember: Remember) -> Answer:
        issued = call.room.store.keys.issue(
            wanted.shop_id,
            wanted.role,
            who=call.caller.key_id,
            holder=wanted.holder,
            expires_at=wanted.expires_at,
            origins=wanted.origins,
            also=lambda record: remember(_issued(call, record, None)),
        )
        return _issued(call, issued.record, issued.token)

    preview = Key(
        key_id=None,
        shop_id=wanted.shop_id,
        role=wanted.role,
        holder=wanted.holder,
        last_four=None,
        issued_at=instant(call.room.now_s),
        issued_by=call.caller.key_id,
        issuer=Signatory(call.caller.shop_id, call.caller.holder, call.caller.role),
        expires_at=instant_or_null(wanted.expires_at),
        last_used_at=None,
        waits=wanted.role in CONFIRMED_ROLES,
        confirmed_by=None,
        confirmer=None,
        confirmed_at=None,
        revoked_at=None,
        origins=wanted.origins,
    )
    return Prepared(Answer(IssuedKey(preview, None).document()), commit)


def _issued(call: Call, record: KeyRecord, token: str | None) -> Answer:
    headers = {"Location": f"/v1/keys/{record.id}", "Cache-Control": "no-store"}
    return Answer(IssuedKey(shown_key(call, record), token).document(), 201, headers)
