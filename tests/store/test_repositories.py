"""What is kept and how it is found again: revisions, proposals, shops, keys, records, outcomes, answers."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import threading
import time
from collections.abc import Callable, Iterable
from typing import Any

import pytest
from tests.tokens import key_id_of, secret_of

from accord_rules.documents.files import shipped
from accord_rules.governance.outcomes import ShopCounts
from accord_rules.load.loader import load_book
from accord_service.store import (
    AllReported,
    Cell,
    Conflict,
    Event,
    KeyRecord,
    KeyReused,
    KeyRing,
    NotThere,
    OrderRecord,
    RevisionRecord,
    StillRunning,
    Store,
    Transaction,
)
from accord_service.store.idempotency import CLAIM_S

DAY_S = 86400
Opener = Callable[[], Store]


def every_record(store: Store, limit: int = 50) -> list[OrderRecord]:
    """Those of all shops, page by page, as an effect goes through them."""
    records, cursor = [], None
    while True:
        page = store.records.places(cursor, limit)
        records += store.records.at(page.items)
        cursor = page.next
        if cursor is None:
            return records


def _publish(store: Store, documents: dict[str, Any], **more: Any) -> RevisionRecord:
    fields: dict[str, Any] = {"author": "ann", "approvers": ("bea", "cid"), "reason": "because", "proposal": "p1"}
    fields["tried_by"] = "sha256:1"
    return store.revisions.publish(store.revisions.head(), documents, **fields | more)


class TestRevisions:
    def test_the_shipped_book_comes_back_with_its_digest(self, store: Store) -> None:
        book = load_book()
        head = store.revisions.first(shipped(), author="ann", reason="shipped")
        record = store.revisions.revision(1)
        assert record is not None
        assert (head.number, head.digest) == (1, book.digest)
        assert (record.head, record.documents) == (head, book.documents)

    def test_only_an_empty_store_is_seeded(self, store: Store) -> None:
        store.revisions.first({"a": {}}, author="ann", reason="")
        assert store.revisions.first({"b": {}}, author="bea", reason="") == store.revisions.head()
        record = store.revisions.revision(1)
        assert record is not None
        assert record.documents == {"a": {}}
        assert store.audit.head().seq == 1

    def test_workers_seeding_at_once_agree(self, open_store: Opener) -> None:
        stores = [open_store() for _ in range(4)]
        barrier, heads = threading.Barrier(4), set()

        def seed(store: Store, number: int) -> None:
            barrier.wait()
            heads.add(store.revisions.first({"by": {"n": number}}, author="t", reason=""))

        threads = [threading.Thread(target=seed, args=(store, number)) for number, store in enumerate(stores)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert len(heads) == 1

    def test_a_publication_keeps_everything_said(self, store: Store, clock: Any) -> None:
        store.revisions.first({}, author="t", reason="")
        revision = _publish(store, {"a": {"ü": 1.5}})
        assert revision == store.revisions.revision(2)
        told = ({"a": {"ü": 1.5}}, "ann", ("bea", "cid"), "because", "p1", clock(), "sha256:1")
        assert dataclasses.astuple(revision)[2:] == told
        assert store.revisions.head() == revision.head
        assert store.revisions.revision(3) is None

    def test_a_head_of_another_digest_is_not_the_head(self, store: Store) -> None:
        head = store.revisions.first({}, author="t", reason="")
        forged = dataclasses.replace(head, digest="sha256:" + "0" * 64)
        with pytest.raises(Conflict):
            store.revisions.publish(forged, {"a": {}}, author="a", approvers=(), reason="", proposal=None)
        assert store.revisions.head() == head

    def test_publishing_closes_the_proposal_in_the_same_commit(self, store: Store) -> None:
        store.revisions.first({}, author="t", reason="")
        proposal = store.proposals.create({"x": 1}, author="ann", state="approved")
        closed, closing = store.proposals.replacing(proposal.id, 1, {"x": 1}, state="published")
        _publish(store, {"a": {}}, also=lambda revision: closing)
        assert store.proposals.get(proposal.id) == closed
        assert store.audit.head().seq == 3

    def test_a_proposal_edited_meanwhile_stops_the_publication(self, store: Store) -> None:
        head = store.revisions.first({}, author="t", reason="")
        proposal = store.proposals.create({"x": 1}, author="ann", state="approved")
        _, closing = store.proposals.replacing(proposal.id, 1, {"x": 1}, state="published")
        store.proposals.replace(proposal.id, 1, {"x": 2}, state="draft", event=Event.PROPOSAL_EDITED, who="ann")
        with pytest.raises(Conflict):
            _publish(store, {"a": {}}, also=lambda revision: closing)
        assert store.revisions.head() == head


class TestProposals:
    def test_numbers_versions_and_states(self, store: Store, clock: Any) -> None:
        first = store.proposals.create({"x": 1}, author="ann", state="draft")
        clock.now_s += 5
        second = store.proposals.replace("p1", 1, {"x": 2}, state="open", event=Event.PROPOSAL_OPENED, who="bea")
        assert (first.id, first.version, second.version) == ("p1", 1, 2)
        assert store.proposals.get("p1") == second
        assert (second.author, second.changed_at - second.created_at) == ("ann", 5)
        assert store.proposals.create({}, author="bea", state="draft").id == "p2"

    def test_an_old_version_and_an_unknown_id_are_refused(self, store: Store) -> None:
        store.proposals.create({}, author="ann", state="draft")
        store.proposals.replace("p1", 1, {}, state="open", event=Event.PROPOSAL_OPENED, who="ann")
        with pytest.raises(Conflict):
            store.proposals.replace("p1", 1, {}, state="open", event=Event.PROPOSAL_OPENED, who="ann")
        with pytest.raises(NotThere):
            store.proposals.replace("p9", 1, {}, state="open", event=Event.PROPOSAL_OPENED, who="ann")
        assert store.proposals.get("p9") is None
        assert store.proposals.get("p1:x/../%00") is None

    def test_lists_by_state_newest_first_in_pages(self, store: Store) -> None:
        for _ in range(7):
            store.proposals.create({}, author="ann", state="draft")
        for number in (2, 5):
            store.proposals.replace(f"p{number}", 1, {}, state="open", event=Event.PROPOSAL_OPENED, who="ann")
        assert _pages(store, "open") == ["p5", "p2"]
        assert _pages(store, "draft") == ["p7", "p6", "p4", "p3", "p1"]
        assert _pages(store, None) == [f"p{number}" for number in range(7, 0, -1)]
        assert _pages(store, "none") == []

    def test_proposals_made_at_once_get_different_numbers(self, open_store: Opener) -> None:
        stores = [open_store() for _ in range(3)]

        def make(store: Store) -> None:
            for _ in range(5):
                store.proposals.create({}, author="t", state="draft")

        threads = [threading.Thread(target=make, args=(store,)) for store in stores]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert sorted(_pages(stores[0], None)) == sorted(f"p{number}" for number in range(1, 16))

    @pytest.mark.parametrize("cursor", ["", "x", "é", "bm90IGEgY3Vyc29y", "////"])
    def test_a_cursor_that_no_page_gave_is_refused(self, store: Store, cursor: str) -> None:
        with pytest.raises(ValueError, match="cursor"):
            store.proposals.list(cursor=cursor)

    @pytest.mark.parametrize("limit", [0, -1, 501])
    def test_a_limit_out_of_bounds_is_refused(self, store: Store, limit: int) -> None:
        with pytest.raises(ValueError, match="limit"):
            store.proposals.list(limit=limit)


def _pages(store: Store, state: str | None) -> list[str]:
    ids: list[str] = []
    cursor = None
    while True:
        page = store.proposals.list(state, cursor, 2)
        assert len(page.items) <= 2
        ids += [proposal.id for proposal in page.items]
        cursor = page.next
        if cursor is None:
            return ids


class TestShops:
    def test_a_shop_and_its_house_rules_have_versions_of_their_own(self, store: Store) -> None:
        shop = store.shops.create("north", {"id": "north"}, who="t")
        assert (store.shops.house("north").version, store.shops.house("north").document) == (0, {})
        house = store.shops.replace_house("north", 0, {"limits": {}}, who="t")
        changed = store.shops.replace("north", 1, {"id": "north", "presses": []}, who="t")
        assert (shop.version, changed.version, house.version) == (1, 2, 1)
        assert store.shops.get("north") == changed
        assert store.shops.house("north") == house
        with pytest.raises(Conflict):
            store.shops.replace_house("north", 0, {}, who="t")
        with pytest.raises(Conflict):
            store.shops.replace("north", 1, {}, who="t")

    def test_a_shop_is_made_once_and_only_what_exists_is_replaced(self, store: Store) -> None:
        store.shops.create("north", {}, who="t")
        with pytest.raises(Conflict):
            store.shops.create("north", {}, who="t")
        with pytest.raises(Conflict):
            store.shops.replace("south", 1, {}, who="t")
        with pytest.raises(NotThere):
            store.shops.replace("south", 0, {}, who="t")
        with pytest.raises(NotThere):
            store.shops.replace_house("south", 0, {}, who="t")
        assert [shop.id for shop in store.shops.list()] == ["north"]
        assert [house.shop for house in store.shops.houses()] == ["north"]

    def test_names_cannot_reach_another_thing(self, store: Store) -> None:
        store.shops.create("a", {}, who="t")
        store.shops.create("a:b", {"n": 1}, who="t")
        store.shops.create("a/b", {"n": 2}, who="t")
        record = dataclasses.replace(_draft(store, "a"), record_id="b:c")
        store.records.create(record, who="t")
        assert store.records.get("a:b", "c") is None
        assert store.records.get("a", "b:c") == record
        assert [shop.document.get("n") for shop in store.shops.list()] == [None, 2, 1]


class TestKeys:
    def test_a_token_is_shown_once_and_its_secret_is_not_kept(self, store: Store, raw: Any) -> None:
        issued = store.keys.issue("north", "owner", holder="H", who="t")
        id_, secret = key_id_of(issued.token), secret_of(issued.token)
        assert (id_, issued.record.last_four) == (issued.record.id, issued.token[-4:])
        assert issued.token not in repr(issued)
        assert store.keys.by_token(issued.token) == issued.record
        dump = b"".join(raw.dump(key) or b"" for key in raw.keys("*"))
        assert secret.encode() not in dump
        assert id_.encode() in dump

    def test_tokens_differ(self, store: Store) -> None:
        tokens = {store.keys.issue("north", "owner", holder="H", who="t").token for _ in range(20)}
        assert len({secret_of(token) for token in tokens}) == len({key_id_of(token) for token in tokens}) == 20

    def test_a_revoked_key_opens_nothing_and_stays_listed(self, store: Store, clock: Any) -> None:
        valid, gone = (store.keys.issue("north", role, holder="H", who="t") for role in ("owner", "counter"))
        revoked = store.keys.revoke(gone.record.id, who="t")
        assert store.keys.by_token(gone.token) is None
        assert store.keys.by_token(valid.token) == valid.record
        assert revoked.revoked_at == clock()
        assert set(store.keys.list("north")) == {valid.record, revoked}
        assert store.keys.list("south") == ()
        assert store.keys.revoke(gone.record.id, who="t") == revoked
        with pytest.raises(NotThere):
            store.keys.revoke("nothing", who="t")

    def test_a_wrong_token_opens_nothing(self, store: Store) -> None:
        issued, second = (store.keys.issue("north", "owner", holder="H", who="t") for _ in range(2))
        token = issued.token
        wrong = [
            "",
            ".",
            token[:-1],
            token + "x",
            token[:24],
            token[:24] + second.token[24:],
            token[:-1] + ("A" if token[-1] != "A" else "B"),
            token[:7] + "a" * 16 + token[23:],
            token.replace("_", "."),
            "\udcff" + token,
            token + "\n",
        ]
        ring = KeyRing(store.keys.list())
        for bad in wrong:
            assert store.keys.by_token(bad) is None, bad
            assert ring.by_token(bad) is None, bad

    def test_a_mistyped_token_is_refused_without_asking(self, store: Store, monkeypatch: Any) -> None:
        token = store.keys.issue("north", "owner", holder="H", who="t").token
        typed = token[:30] + ("A" if token[30] != "A" else "B") + token[31:]
        monkeypatch.setattr(store.keys, "get", None)
        assert store.keys.by_token(typed) is None

    def test_holder_and_end_are_kept(self, store: Store, clock: Any) -> None:
        record = store.keys.issue("north", "owner", holder="The till", who="key_1", expires_at=clock() + 60.5).record
        read_back = store.keys.get(record.id)
        assert read_back == record
        assert (record.issued_by, record.holder, record.expires_at) == ("key_1", "The till", clock() + 60.5)
        assert store.keys.revoke(record.id, who="t").holder == "The till"

    def test_a_document_from_before_holders_still_reads_and_is_nobodys(self, store: Store, raw: Any) -> None:
        """What a store of before wrote: no holder, no word of confirming. It counts as nobody's key, and a steward's
        that another key issued waits."""
        for issuer, waits in (("key_" + "a" * 16, True), ("seed", False)):
            record = store.keys.issue("north", "steward", holder="H", who=issuer).record
            key = next(key for key in raw.keys("*") if key.decode().endswith(f"key:{record.id}"))
            fields = {name: value for name, value in record.fields().items() if not name.startswith("confirmed")}
            raw.hset(key, "d", json.dumps({**fields, "holder": None}))
            store.adoption.adopt(who="t")
            old = store.keys.get(record.id)
            assert old is not None
            assert (old.holder, old.confirmed_by, old.waits) == (None, None, waits)

    def test_a_key_that_waits_is_confirmed_once(self, store: Store, clock: Any) -> None:
        issuer = "key_" + "a" * 16
        waiting = store.keys.issue("north", "admin", holder="H", who=issuer).record
        assert (waiting.waits, store.keys.issue("north", "owner", holder="H", who=issuer).record.waits) == (True, False)
        clock.now_s += 5
        confirmed = store.keys.confirm(waiting.id, who="key_2")
        assert (confirmed.waits, confirmed.holds_since, store.keys.get(waiting.id)) == (False, clock(), confirmed)
        with pytest.raises(Conflict):
            store.keys.confirm(waiting.id, who="key_2")
        with pytest.raises(NotThere):
            store.keys.confirm("nothing", who="key_2")

    def test_a_use_is_noted_an_hour_after_the_last_and_never_taken_back(self, store: Store) -> None:
        ids = ["key_a", "key_b", "key_c"]
        for id_, at in (("key_a", 1000.5), ("key_b", 2000.0), ("key_a", 4600.0), ("key_b", 5600.0), ("key_b", 1.0)):
            store.keys.used(id_, at)
        assert store.keys.last_used(ids) == {"key_a": 1000.5, "key_b": 5600.0}
        assert store.keys.last_used([]) == {}

    def test_held_keys_answer_as_the_store_does(self, store: Store) -> None:
        valid, gone = (store.keys.issue("north", "owner", holder="H", who="t") for _ in range(2))
        store.keys.revoke(gone.record.id, who="t")
        ring = KeyRing(store.keys.list())
        answers: list[KeyRecord | None] = [ring.by_token(key.token) for key in (valid, gone)]
        assert answers == [valid.record, None]


def _draft(store: Store, shop_id: str = "north", **more: Any) -> OrderRecord:
    fields: dict[str, Any] = {
        "question": {"order": {"quantity": 3}},
        "answer": {"id": "vd_7", "reference": "job 7"},
        "revision": 1,
        "reference": "job 7",
    }
    return store.records.draft(shop_id, **fields | more)


def _record(store: Store, shop_id: str = "north", **more: Any) -> OrderRecord:
    return store.records.create(_draft(store, shop_id, **more), who="t")


def _key(record: OrderRecord) -> str:
    return f"{{accord}}:record:{record.shop_id}:{record.record_id}"


def _expire(raw: Any, record: OrderRecord) -> None:
    """Bring the record's end forward to now, and wait until the server has let it go."""
    assert raw.pexpire(_key(record), 1)
    while raw.exists(_key(record)):
        time.sleep(0.001)


class TestRecords:
    def test_equal_orders_are_two_records(self, store: Store) -> None:
        first, second = _record(store), _record(store)
        assert first.record_id != second.record_id
        assert {first.record_id[:4], second.record_id[:4]} == {"rec_"}
        assert store.records.get("north", first.record_id) == first
        assert store.records.get("north", second.record_id) == second
        assert store.audit.head().seq == 2

    def test_no_shop_sees_another_s(self, store: Store) -> None:
        record = _record(store, "north")
        assert store.records.get("south", record.record_id) is None
        assert store.records.page("south").items == store.records.page("south", "job 7").items == ()
        with pytest.raises(NotThere):
            store.records.delete_reference("south", record.record_id, who="t")

    def test_found_by_reference_and_by_no_other(self, store: Store) -> None:
        seven, again, eight, bare = (
            _record(store, reference=reference) for reference in ("job 7", "job 7", "job 8", None)
        )
        assert set(_ids(store.records.page("north", "job 7").items)) == {seven.record_id, again.record_id}
        assert _ids(store.records.page("north", "job 8").items) == [eight.record_id]
        assert store.records.page("north", "job").items == store.records.page("north", "").items == ()
        everything = {seven.record_id, again.record_id, eight.record_id, bare.record_id}
        assert set(_ids(store.records.page("north").items)) == everything

    def test_all_shops_newest_first_in_pages(self, store: Store, clock: Any) -> None:
        records_ = []
        for number in range(7):
            clock.now_s += number % 2  # some at the same moment
            records_.append(_record(store, "north" if number % 3 else "south"))
        for limit in (1, 2, 3, 7, 100):
            records = every_record(store, limit)
            assert sorted(_ids(records)) == sorted(_ids(records_))
            times = [record.recorded_at for record in records]
            assert times == sorted(times, reverse=True)

    def test_what_comes_in_between_pages_moves_nothing(self, store: Store, clock: Any) -> None:
        records_ = []
        for _ in range(4):
            clock.now_s += 1
            records_.append(_record(store))
        for reference in (None, "job 7"):
            page = store.records.page("north", reference, limit=2)
            assert page.items == (records_[-1], records_[-2])
            clock.now_s += 1
            records_.append(_record(store))
            assert store.records.page("north", reference, page.next, 2).items == (records_[-4], records_[-5])

    def test_a_cursor_outlives_its_record(self, store: Store, clock: Any, raw: Any) -> None:
        records_ = []
        for number in range(4):
            clock.now_s += DAY_S
            records_.append(_record(store, retain_days=1 if number == 2 else None))
        page = store.records.page("north", limit=2)
        clock.now_s += 5 * DAY_S
        _expire(raw, records_[2])
        assert store.records.prune(who="t") == 1
        assert store.records.page("north", None, page.next, 2).items == (records_[1], records_[0])

    def test_retention_is_kept_by_the_server_and_every_index_is_pruned(
        self, store: Store, clock: Any, raw: Any
    ) -> None:
        lasting, short, bare = (
            _record(store),
            _record(store, retain_days=2),
            _record(store, reference=None, retain_days=2),
        )
        assert (lasting.expires_at, short.expires_at) == (None, clock() + 2 * DAY_S)
        assert raw.ttl(_key(lasting)) == -1
        assert 2 * DAY_S - 5 <= raw.ttl(_key(short)) <= 2 * DAY_S
        assert store.records.prune(who="t") == 0
        clock.now_s += 2 * DAY_S + 1
        assert store.records.prune(who="t") == 0, "what the server still holds stays listed"
        _expire(raw, short)
        _expire(raw, bare)
        assert store.records.prune(who="t") == 2
        assert store.records.prune(who="t") == 0
        assert every_record(store) == [lasting]
        indexes = raw.keys("{accord}:records*")
        assert len(indexes) == 3, "of all, of the shop, of the reference"
        assert [raw.zcard(index) for index in indexes] == [1, 1, 1]
        assert store.records.get("north", short.record_id) is None

    def test_an_expired_record_is_left_out_before_it_is_pruned(self, store: Store, raw: Any) -> None:
        lasting = _record(store)
        _expire(raw, _record(store, retain_days=2))
        assert every_record(store, 1) == [lasting]
        assert store.records.page("north").items == store.records.page("north", "job 7").items == (lasting,)

    def test_a_deleted_reference_is_nowhere(self, store: Store, raw: Any, clock: Any) -> None:
        """Neither the word nor its sum, by which a short one could be guessed; and indexes are pruned all the same."""
        record = _record(store, retain_days=2)
        sum_ = hashlib.sha256(b"job 7").hexdigest().encode()
        assert any(sum_ in key for key in raw.keys("*"))
        bare = store.records.delete_reference("north", record.record_id, who="t")
        assert bare == store.records.get("north", record.record_id)
        assert (bare.reference, bare.answer, bare.question) == (
            None,
            {"id": "vd_7", "reference": None},
            record.question,
        )
        assert store.records.page("north", "job 7").items == ()
        keys = raw.keys("*")
        assert _key(record).encode() in keys
        for key in keys:
            assert sum_ not in key
            for trace in (b"job 7", sum_):
                assert trace not in (raw.dump(key) or b"")
        assert raw.ttl(_key(record)) > 0, "it must not lengthen the retention"
        clock.now_s += 2 * DAY_S + 1
        _expire(raw, record)
        assert store.records.prune(who="t") == 1
        assert raw.keys("{accord}:records*") == []


def _ids(records: Iterable[OrderRecord]) -> list[str]:
    return [record.record_id for record in records]


CELL = Cell("dtf/hot", "cotton:knit", "swing away")


class TestOutcomes:
    def test_reports_are_kept_and_counted_by_cell(self, store: Store) -> None:
        elsewhere = Cell("dtf/hot", "polyester", "swing away")
        north, south = _draft(store, "north"), _draft(store, "south")
        for failure in (None, "peeled", None, "cracked", "peeled"):
            store.outcomes.add(north, {"washes": 5}, decoration=0, quantity=9, cell=CELL, failure=failure, who="t")
        store.outcomes.add(south, {}, decoration=0, quantity=9, cell=elsewhere, failure=None, who="t")
        counts = {count.cell: (count.good, dict(count.failures), count.failed) for count in store.outcomes.counts()}
        assert counts == {CELL: (2, {"peeled": 2, "cracked": 1}, 3), elsewhere: (1, {}, 0)}
        page = store.outcomes.page(north)
        assert [outcome.failure for outcome in page.items] == ["peeled", "cracked", None, "peeled", None]
        assert store.outcomes.page(dataclasses.replace(north, shop_id="south")).items == ()

    def test_pages_newest_first_and_each_by_its_id(self, store: Store) -> None:
        record = _draft(store)
        outcomes = [
            store.outcomes.add(record, {"n": n}, decoration=n % 2, quantity=9, cell=CELL, failure=None, who="t")
            for n in range(5)
        ]
        assert [outcome.outcome_id for outcome in outcomes] == ["o1", "o2", "o3", "o4", "o5"]
        first = store.outcomes.page(record, limit=2)
        assert first.items == (outcomes[4], outcomes[3])
        store.outcomes.add(record, {}, decoration=0, quantity=9, cell=CELL, failure=None, who="t")
        second = store.outcomes.page(record, first.next, 2)
        assert second.items == (outcomes[2], outcomes[1])
        third = store.outcomes.page(record, second.next, 2)
        assert (third.items, third.next) == ((outcomes[0],), None)
        assert [store.outcomes.get(record, f"o{n}") for n in (1, 5)] == [outcomes[0], outcomes[4]]
        for odd in ("o0", "o7", "o01", "1", "", "o", "o1 ", "o٣", "o" + "9" * 30):
            assert store.outcomes.get(record, odd) is None, odd
        for odd in ("0", "-1", "x", "", "٣"):
            with pytest.raises(ValueError, match="cursor"):
                store.outcomes.page(record, odd)
        assert store.outcomes.page(record, "999999999", 1).next == "5"

    def test_a_report_that_was_withdrawn_counts_no_more(self, store: Store, clock: Any) -> None:
        """Pieces, shops and orders follow, ids run on, and the cell's other reports stay."""
        records = [_draft(store, shop) for shop in ("north", "north", "south")]
        for record in records:
            for failure in ("peeled", None):
                store.outcomes.add(
                    record, {"decoration": 0}, decoration=0, quantity=2, cell=CELL, failure=failure, who="t"
                )
        (count,) = store.outcomes.counts()
        assert count.shops == {"north": ShopCounts(2, 2, 2), "south": ShopCounts(1, 1, 1)}
        withdrawn = [store.outcomes.withdraw(records[0], id_, who="t") for id_ in ("o1", "o2")]
        assert withdrawn == [store.outcomes.get(records[0], id_) for id_ in ("o1", "o2")]
        assert {outcome.withdrawn_at for outcome in withdrawn} == {clock()}
        assert store.outcomes.withdraw(records[0], "o1", who="t") == withdrawn[0]
        (count,) = store.outcomes.counts()
        assert (count.good, dict(count.failures)) == (2, {"peeled": 2})
        assert count.shops == {"north": ShopCounts(1, 1, 1), "south": ShopCounts(1, 1, 1)}
        for id_ in ("o1", "o2"):
            store.outcomes.withdraw(records[2], id_, who="t")
        (count,) = store.outcomes.counts()
        assert count.shops == {"north": ShopCounts(1, 1, 1)}
        another = store.outcomes.add(
            records[0], {"decoration": 0}, decoration=0, quantity=2, cell=CELL, failure=None, who="t"
        )
        assert another.outcome_id == "o3"
        with pytest.raises(NotThere):
            store.outcomes.withdraw(records[0], "o9", who="t")

    def test_what_was_reported_before_shops_were_counted_still_reads(self, store: Store, raw: Any) -> None:
        """It is nobody's word: it counts in the share, and for no shop."""
        record = _draft(store)
        store.outcomes.add(record, {"decoration": 0}, decoration=0, quantity=9, cell=CELL, failure="peeled", who="t")
        for key in raw.keys("*"):
            if b"outcome" not in key or raw.type(key) != b"hash":
                continue
            document = json.loads(raw.hget(key, "d"))
            pieces = document.get("pieces", document)
            new = ("shops", "reported_by", "withdrawn_at")
            raw.hset(key, "d", json.dumps({name: value for name, value in pieces.items() if name not in new}))
        store.adoption.adopt(who="t")
        (count,) = store.outcomes.counts()
        assert (count.failed, count.shops) == (1, {})
        assert [(outcome.outcome_id, outcome.reported_by) for outcome in store.outcomes.page(record).items] == [
            ("o1", None)
        ]
        store.outcomes.add(record, {"decoration": 0}, decoration=0, quantity=9, cell=CELL, failure=None, who="t")
        (count,) = store.outcomes.counts()
        assert (count.good, count.failed, count.shops) == (1, 1, {"north": ShopCounts(1, 0, 1)})
        assert [outcome.outcome_id for outcome in store.outcomes.page(record).items] == ["o2", "o1"]

    def test_all_of_them_end_with_the_record(self, store: Store, raw: Any) -> None:
        before = set(raw.keys("*"))
        record = _record(store, retain_days=2)
        store.outcomes.add(record, {}, decoration=0, quantity=9, cell=CELL, failure=None, who="t")
        keys = [key for key in set(raw.keys("*")) - before if b":outcome:" in key or b":outcome-pieces:" in key]
        assert len(keys) == 2
        assert all(0 < raw.ttl(key) <= 2 * DAY_S for key in keys)

    def test_reports_at_once_are_all_counted(self, open_store: Opener) -> None:
        stores = [open_store() for _ in range(3)]
        record = _draft(stores[0])

        def add(store: Store) -> None:
            for _ in range(10):
                store.outcomes.add(record, {}, decoration=0, quantity=100, cell=CELL, failure=None, who="t")

        threads = [threading.Thread(target=add, args=(store,)) for store in stores]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert [count.good for count in stores[0].outcomes.counts()] == [30]
        ids = {outcome.outcome_id for outcome in stores[0].outcomes.page(record, limit=100).items}
        assert ids == {f"o{number}" for number in range(1, 31)}

    def test_no_more_pieces_are_reported_than_there_are(self, open_store: Opener) -> None:
        """Twelve pieces, three workers that report eight each at once, and what a stale count would let through."""
        stores = [open_store() for _ in range(3)]
        record = _draft(stores[0])
        refused: list[AllReported] = []

        def add(store: Store) -> None:
            for _ in range(8):
                try:
                    store.outcomes.add(record, {}, decoration=1, quantity=12, cell=CELL, failure="peeled", who="t")
                except AllReported as error:
                    refused.append(error)

        threads = [threading.Thread(target=add, args=(store,)) for store in stores]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert [count.failed for count in stores[0].outcomes.counts()] == [12]
        assert len(stores[0].outcomes.page(record).items) == 12
        assert {(refusal.expected, refusal.actual) for refusal in refused} == {(12, 12)}
        assert len(refused) == 12
        with pytest.raises(AllReported):
            stores[0].outcomes.leave_room(record, 1, 12)
        for another, decoration in ((record, 0), (_draft(stores[0]), 1)):
            piece = {"decoration": decoration, "quantity": 1}
            stores[0].outcomes.add(another, {}, **piece, cell=CELL, failure=None, who="t")


def _remember(store: Store, key: str, response: Any) -> None:
    """A write of north's under a key, with its answer, in one commit."""
    answer = store.idempotency.remembering("north", key, "d", response)
    store.proposals.create({}, author="t", state="draft", also=lambda record: answer)


class TestIdempotency:
    def test_an_answer_comes_back_for_a_day(self, store: Store, raw: Any) -> None:
        assert store.idempotency.recall("north", "k", "d") is None
        _remember(store, "k", {"status": 201})
        remembered = store.idempotency.recall("north", "k", "d")
        assert remembered is not None
        assert remembered.response == {"status": 201}
        (key,) = raw.keys("{accord}:answer:*")
        assert DAY_S - 5 <= raw.ttl(key) <= DAY_S

    def test_while_a_write_is_under_way_nobody_else_carries_it_out(self, open_store: Opener, raw: Any) -> None:
        first, second = open_store(), open_store()
        with first.idempotency.claimed("north", "k", "d"):
            with pytest.raises(StillRunning), second.idempotency.claimed("north", "k", "d"):
                pass
            with pytest.raises(KeyReused), second.idempotency.claimed("north", "k", "e"):
                pass
            (key,) = raw.keys("{accord}:claim:*")
            assert 0 < raw.ttl(key) <= CLAIM_S, "a writer that dies leaves it for no longer"
            with second.idempotency.claimed("south", "k", "d"), second.idempotency.claimed("north", "l", "d"):
                pass
        with second.idempotency.claimed("north", "k", "e"):
            pass
        assert raw.keys("{accord}:claim:*") == []

    def test_a_claim_that_another_has_by_now_is_left_alone(self, open_store: Opener, raw: Any) -> None:
        first, second = open_store(), open_store()
        with first.idempotency.claimed("north", "k", "d"):
            (key,) = raw.keys("{accord}:claim:*")
            raw.delete(key)  # as if its time were over
            taken = second.idempotency.claimed("north", "k", "d")
            taken.__enter__()
        assert raw.keys("{accord}:claim:*") == [key]
        taken.__exit__(None, None, None)
        assert raw.keys("{accord}:claim:*") == []

    def test_keys_are_a_caller_s_own_and_may_hold_anything(self, store: Store) -> None:
        odd = "k\r\n*{}\udcff" + "x" * 5000
        _remember(store, odd, 1)
        assert store.idempotency.recall("north", odd, "d") is not None
        assert store.idempotency.recall("south", odd, "d") is None

    def test_another_request_under_the_same_key_is_refused(self, store: Store) -> None:
        _remember(store, "k", 1)
        with pytest.raises(KeyReused):
            store.idempotency.recall("north", "k", "e")
        with pytest.raises(Conflict):
            _remember(store, "k", 2)

    def test_of_two_at_once_one_is_done(self, open_store: Opener) -> None:
        stores = [open_store() for _ in range(2)]
        barrier, done = threading.Barrier(2), []

        def create(store: Store, name: str) -> None:
            def answer(record: object) -> Transaction:
                return store.idempotency.remembering("north", "k", "d", name)

            barrier.wait()
            try:
                store.proposals.create({"by": name}, author=name, state="draft", also=answer)
                done.append(name)
            except Conflict:
                remembered = store.idempotency.recall("north", "k", "d")
                assert remembered is not None
                done.append(f"again {remembered.response}")

        threads = [threading.Thread(target=create, args=pair) for pair in zip(stores, ("a", "b"), strict=True)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        winner = min(done, key=len)
        assert sorted(done) == sorted([winner, f"again {winner}"])
        assert [proposal.author for proposal in stores[0].proposals.list().items] == [winner]


def test_an_empty_store_holds_nothing(store: Store) -> None:
    assert (store.shops.list(), store.keys.list(), store.outcomes.counts(), every_record(store)) == (
        (),
        (),
        (),
        [],
    )
    assert store.proposals.list().items == ()
    assert store.revisions.revision(1) is None
