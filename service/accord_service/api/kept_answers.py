"""When an answer to an order may be kept, and is given once more (``worker.kept``)."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Hashable, Mapping
from typing import Any

from accord_rules.documents.reading import Fault, readers_of
from accord_rules.orders.order import Order
from accord_service.api.endpoint import Call, dump
from accord_service.api.records import count, judged_apart
from accord_service.http.writing import Answer
from accord_service.worker.kept import Counted, KeptAnswer

_REFERENCE, _ = readers_of(Order)["reference"]


def given_again(call: Call) -> Answer | None:
    """The answer to the very order that was sent, but for its reference, with everything counted; None for no such."""
    question = _question(call)
    kept = call.snapshot.edition.kept.get(question) if question is not None else None
    if kept is None:
        return None
    said = b""
    if "reference" in call.document:
        faults: list[Fault] = []
        reference = _REFERENCE.read(call.document["reference"], "", faults)
        if faults or reference is None:
            return None  # told with all that is wrong with the order
        said = _written(reference)
    count(call, kept.counted)
    return Answer({}, content=kept.before + said + kept.after)


def validated(call: Call) -> Answer:
    """The verdict on the call's order, counted, and kept where it may be."""
    document, counted = judged_apart(call, observed="observed" in call.query.include)
    count(call, counted)
    return _kept(call, document, counted)


def _kept(call: Call, document: Mapping[str, Any], counted: Counted) -> Answer:
    """The answer of a document, kept for the next time where that may be."""
    content = dump(document)
    # Where trials were ended for the time they took, the next one may have more.
    question = _question(call) if document["remedies_complete"] else None
    if question is not None:
        reference = document.get("reference")
        before, after = content, b""
        if reference is not None:
            # The last field of an answer, so that nothing else can be taken for it.
            after = b"}"
            before = content.removesuffix(_written(reference) + after)
            assert before.endswith(b'"reference":'), "a verdict's reference stands last"
        call.snapshot.edition.kept.keep(question, KeptAnswer(before, after, counted))
    return Answer(document, content=content)


def _written(reference: str) -> bytes:
    return json.dumps(reference, ensure_ascii=False).encode()


def _question(call: Call) -> Hashable | None:
    """All that the answer hangs on but the reference and the revision, which is the edition's; None where it has to be
    worked out: while the store is away, for an older revision, and once the engine was in doubt."""
    own = call.caller.shop
    if own is None or call.snapshot.basis != "live" or call.query.revision is not None or call.room.ledger.since_s:
        return None
    order = {name: value for name, value in call.document.items() if name != "reference"}
    said = json.dumps([order, "reference" in call.document, call.query.include], separators=(",", ":"))
    digest = hashlib.sha256(said.encode()).digest()
    shop = (own.record.id, own.record.version, own.record.changed_at, own.house.version, own.house.changed_at)
    return shop, call.room.today, digest
