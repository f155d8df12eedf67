from __future__ import annotations

from accord_service.api import examples
from accord_service.api.endpoint import Call, Example, always, endpoint
from accord_service.http.problems import StoreUnavailable
from accord_service.http.writing import Answer
from accord_service.steps import bundles
from accord_service.store import BundlePull


@endpoint(
    "GET",
    "/v1/bundle",
    operation_id="readBundle",
    tag="Shop",
    answers=bundles.SignedBundle,
    judges=True,
    heavy=always,
    problems=(StoreUnavailable,),
    examples=(Example("A bundle, its content cut short", answer=examples.BUNDLE),),
)
def get_bundle(call: Call) -> Answer:
    """Give all that the own shop's orders are judged by, signed, to go on with while there is no line.

    The whole book, the shop's presses, stock, names, samples and house rules, and some orders with their answers:
    a reader that answers these otherwise must not answer at all. Signed with the key that seals the audit
    (readAuditHead tells it); pin that key. The same bytes all day (UTC) while nothing changed. It holds until the day
    that it names. ``accord bundle pull`` reads and keeps it.
    """
    seals = call.room.store.seals
    if call.snapshot.basis != "live" or not seals.can_seal:
        raise StoreUnavailable("A bundle is only made of what holds now, which can't be said just now.")
    today, days = call.room.today, call.room.config.bundle_days
    signed = bundles.sign(call.own, call.book, call.authority, seals, today, days)
    pull = BundlePull(call.room.now_s, call.book.revision, bundles.expires_on(today, days).isoformat())
    call.room.bundle_pulls.note(call.own.record.id, pull)
    return Answer(signed.document())
