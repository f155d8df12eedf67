"""What is kept and how it is found again: revisions, proposals, shops, keys, verdicts, outcomes, answers."""

from __future__ import annotations

import dataclasses
import threading
import time
from collections.abc import Callable
from typing import Any

import pytest

from accord_rules.documents.files import shipped
from accord_rules.load.loader import load_book
from accord_service.store import (
    AllReported,
    Cell,
    Conflict,
    EmbeddedServer,
    KeyRecord,
    KeyReused,
    KeyRing,
    NotThere,
    RevisionRecord,
    Store,
    Transaction,
    VerdictRecord,
)

DAY_S = 86400
Opener = Callable[[], Store]


def _publish(store: Store, documents: dict[str, Any], **more: Any) -> RevisionRecord:
    told: dict[str, Any] = {"author": "ann", "approvers": ("bea", "cid"), "reason": "because", "proposal": "p1"}
    return store.revisions.publish(store.revisions.head(), documents, **told | more)


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

        threads = [threading.Thread(target=seed, args=(each, number)) for number, each in enumerate(stores)]
        for each in threads:
            each.start()
        for each in threads:
            each.join()
        assert len(heads) == 1

    def test_a_publication_keeps_everything_said(self, store: Store, clock: Any) -> None:
        store.revisions.first({}, author="t", reason="")
        made = _publish(store, {"a": {"ü": 1.5}})
        assert made == store.revisions.revision(2)
        assert dataclasses.astuple(made)[2:] == ({"a": {"ü": 1.5}}, "ann", ("bea", "cid"), "because", "p1", clock())
        assert store.revisions.head() == made.head
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
        store.proposals.replace(proposal.id, 1, {"x": 2}, state="draft", who="ann")
        with pytest.raises(Conflict):
            _publish(store, {"a": {}}, also=lambda revision: closing)
        assert store.revisions.head() == head


class TestProposals:
    def test_numbers_versions_and_states(self, store: Store, clock: Any) -> None:
        first = store.proposals.create({"x": 1}, author="ann", state="draft")
        clock.now_s += 5
        second = store.proposals.replace("p1", 1, {"x": 2}, state="open", who="bea")
        assert (first.id, first.version, second.version) == ("p1", 1, 2)
        assert store.proposals.get("p1") == second
        assert (second.author, second.changed_at - second.created_at) == ("ann", 5)
        assert store.proposals.create({}, author="bea", state="draft").id == "p2"

    def test_an_old_version_and_an_unknown_id_are_refused(self, store: Store) -> None:
        store.proposals.create({}, author="ann", state="draft")
        store.proposals.replace("p1", 1, {}, state="open", who="ann")
        with pytest.raises(Conflict):
            store.proposals.replace("p1", 1, {}, state="open", who="ann")
        with pytest.raises(NotThere):
            store.proposals.replace("p9", 1, {}, state="open", who="ann")
        assert store.proposals.get("p9") is None
        assert store.proposals.get("p1:x/../%00") is None

    def test_lists_by_state_newest_first_in_pages(self, store: Store) -> None:
        for _ in range(7):
            store.proposals.create({}, author="ann", state="draft")
        for number in (2, 5):
            store.proposals.replace(f"p{number}", 1, {}, state="open", who="ann")
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
        for each in threads:
            each.start()
        for each in threads:
            each.join()
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
    found: list[str] = []
    cursor = None
    while True:
        page = store.proposals.list(state, cursor, 2)
        assert len(page.items) <= 2
        found += [each.id for each in page.items]
        cursor = page.next
        if cursor is None:
            return found


class TestShops:
    def test_a_shop_and_its_house_rules_have_versions_of_their_own(self, store: Store) -> None:
        made = store.shops.create("north", {"id": "north"}, who="t")
        assert (store.shops.house("north").version, store.shops.house("north").document) == (0, {})
        house = store.shops.replace_house("north", 0, {"limits": {}}, who="t")
        changed = store.shops.replace("north", 1, {"id": "north", "presses": []}, who="t")
        assert (made.version, changed.version, house.version) == (1, 2, 1)
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
        store.verdicts.record("a", "b:c", order={}, verdict={}, revision=1, who="t")
        assert store.verdicts.get("a:b", "c") is None
        assert [shop.document.get("n") for shop in store.shops.list()] == [None, 2, 1]


class TestKeys:
    def test_a_token_is_shown_once_and_its_secret_is_not_kept(self, store: Store, raw: Any) -> None:
        issued = store.keys.issue("north", "owner", who="t")
        id_, _, secret = issued.token.partition(".")
        assert (id_, issued.record.last_four) == (issued.record.id, secret[-4:])
        assert issued.token not in repr(issued)
        assert store.keys.by_token(issued.token) == issued.record
        kept = b"".join(raw.dump(key) or b"" for key in raw.keys("*"))
        assert secret.encode() not in kept
        assert id_.encode() in kept

    def test_tokens_differ(self, store: Store) -> None:
        tokens = {store.keys.issue("north", "owner", who="t").token for _ in range(20)}
        assert len({token.partition(".")[2] for token in tokens}) == len({token[:16] for token in tokens}) == 20

    def test_a_revoked_key_opens_nothing_and_stays_listed(self, store: Store, clock: Any) -> None:
        kept, gone = (store.keys.issue("north", role, who="t") for role in ("owner", "counter"))
        revoked = store.keys.revoke(gone.record.id, who="t")
        assert store.keys.by_token(gone.token) is None
        assert store.keys.by_token(kept.token) == kept.record
        assert revoked.revoked_at == clock()
        assert set(store.keys.list("north")) == {kept.record, revoked}
        assert store.keys.list("south") == ()
        assert store.keys.revoke(gone.record.id, who="t") == revoked
        with pytest.raises(NotThere):
            store.keys.revoke("nothing", who="t")

    def test_a_wrong_token_opens_nothing(self, store: Store) -> None:
        issued, other = (store.keys.issue("north", "owner", who="t") for _ in range(2))
        token = issued.token
        wrong = [
            "",
            ".",
            token[:-1],
            token + "x",
            token[:16],
            token[:17] + other.token[17:],
            token[:-1] + ("A" if token[-1] != "A" else "B"),
            "a" * 16 + token[16:],
            token.replace(".", ":"),
            "\udcff" + token,
            token + "\n",
        ]
        ring = KeyRing(store.keys.list())
        for each in wrong:
            assert store.keys.by_token(each) is None, each
            assert ring.by_token(each) is None, each

    def test_held_keys_answer_as_the_store_does(self, store: Store) -> None:
        kept, gone = (store.keys.issue("north", "owner", who="t") for _ in range(2))
        store.keys.revoke(gone.record.id, who="t")
        ring = KeyRing(store.keys.list())
        answers: list[KeyRecord | None] = [ring.by_token(each.token) for each in (kept, gone)]
        assert answers == [kept.record, None]


def _record(store: Store, id_: str, shop: str = "north", **more: Any) -> VerdictRecord:
    told: dict[str, Any] = {
        "order": {"reference": "job 7", "quantity": 3},
        "verdict": {"id": id_, "reference": "job 7"},
        "revision": 1,
        "reference": "job 7",
        "who": "t",
    }
    return store.verdicts.record(shop, id_, **told | more)


def _expire(raw: Any, id_: str) -> None:
    """Bring the record's end forward to now, and wait until the server has let it go."""
    key = f"{{accord}}:verdict:north:{id_}"
    assert raw.pexpire(key, 1)
    while raw.exists(key):
        time.sleep(0.001)


class TestVerdicts:
    def test_a_repeat_writes_nothing(self, store: Store, clock: Any) -> None:
        first = _record(store, "sha256:a")
        clock.now_s += 100
        assert _record(store, "sha256:a", reference="job 8") == first == store.verdicts.get("north", "sha256:a")
        assert store.audit.head().seq == 1

    def test_recorded_at_once_by_two_workers_is_one_record(self, open_store: Opener) -> None:
        stores = [open_store() for _ in range(2)]
        barrier, made = threading.Barrier(2), []

        def record(store: Store) -> None:
            for number in range(10):
                barrier.wait()
                made.append(_record(store, str(number)))

        threads = [threading.Thread(target=record, args=(store,)) for store in stores]
        for each in threads:
            each.start()
        for each in threads:
            each.join()
        assert len(made) == 20
        assert stores[0].audit.head().seq == 10

    def test_no_shop_sees_another_s(self, store: Store) -> None:
        _record(store, "a", "north")
        assert store.verdicts.get("south", "a") is None
        with pytest.raises(NotThere):
            store.verdicts.mask_reference("south", "a", who="t")

    def test_all_shops_newest_first_in_pages(self, store: Store, clock: Any) -> None:
        for number in range(7):
            clock.now_s += number % 2  # some at the same moment
            _record(store, f"v{number}", "north" if number % 3 else "south")
        for limit in (1, 2, 3, 7, 100):
            found = list(store.verdicts.all(limit))
            assert sorted(each.id for each in found) == [f"v{number}" for number in range(7)]
            assert [each.at for each in found] == sorted((each.at for each in found), reverse=True)

    def test_what_comes_in_between_pages_moves_nothing(self, store: Store, clock: Any) -> None:
        for number in range(4):
            clock.now_s += 1
            _record(store, f"v{number}")
        page = store.verdicts.page(limit=2)
        clock.now_s += 1
        _record(store, "v4")
        assert [each.id for each in store.verdicts.page(page.next, 2).items] == ["v1", "v0"]

    def test_a_cursor_outlives_its_record(self, store: Store, clock: Any, raw: Any) -> None:
        for number in range(4):
            clock.now_s += DAY_S
            _record(store, f"v{number}", retain_days=1 if number == 2 else None)
        page = store.verdicts.page(limit=2)
        clock.now_s += 5 * DAY_S
        _expire(raw, "v2")
        assert store.verdicts.prune(who="t") == 1
        assert [each.id for each in store.verdicts.page(page.next, 2).items] == ["v1", "v0"]

    def test_retention_is_kept_by_the_server_and_the_indexes_are_pruned(
        self, store: Store, clock: Any, raw: Any
    ) -> None:
        kept, short = _record(store, "kept"), _record(store, "short", retain_days=2)
        assert (kept.expires_at, short.expires_at) == (None, clock() + 2 * DAY_S)
        assert raw.ttl("{accord}:verdict:north:kept") == -1
        assert 2 * DAY_S - 5 <= raw.ttl("{accord}:verdict:north:short") <= 2 * DAY_S
        assert store.verdicts.prune(who="t") == 0
        clock.now_s += 2 * DAY_S + 1
        assert store.verdicts.prune(who="t") == 0, "what the server still holds stays listed"
        _expire(raw, "short")
        assert store.verdicts.prune(who="t") == 1
        assert store.verdicts.prune(who="t") == 0
        assert [each.id for each in store.verdicts.all()] == ["kept"]
        assert raw.zcard("{accord}:verdicts") == 1
        assert store.verdicts.get("north", "short") is None

    def test_recorded_anew_after_its_end_it_is_listed_again(self, store: Store, clock: Any, raw: Any) -> None:
        _record(store, "a", retain_days=1)
        _expire(raw, "a")
        clock.now_s += 2 * DAY_S
        _record(store, "a")
        assert store.verdicts.prune(who="t") == 0
        assert [each.id for each in store.verdicts.all()] == ["a"]
        assert raw.zcard("{accord}:verdicts-expiry") == 0

    def test_recorded_anew_while_it_is_pruned_it_stays_listed(
        self, store: Store, clock: Any, raw: Any, server: EmbeddedServer
    ) -> None:
        _record(store, "a", retain_days=1)
        _expire(raw, "a")
        clock.now_s += 2 * DAY_S
        asked = []

        def meddling_clock() -> float:
            asked.append(1)
            if len(asked) == 2:  # the pruner has looked, and is about to write
                _record(store, "a")
            return float(clock())

        pruner = Store.at(server.url, clock=meddling_clock)
        with pytest.raises(Conflict):
            pruner.verdicts.prune(who="t")
        pruner.close()
        assert [each.id for each in store.verdicts.all()] == ["a"]

    def test_an_expired_record_is_left_out_before_it_is_pruned(self, store: Store, raw: Any) -> None:
        _record(store, "kept")
        _record(store, "short", retain_days=2)
        _expire(raw, "short")
        assert [each.id for each in store.verdicts.all(1)] == ["kept"]

    def test_a_masked_reference_is_nowhere(self, store: Store, raw: Any) -> None:
        _record(store, "a", retain_days=2)
        masked = store.verdicts.mask_reference("north", "a", who="t")
        assert masked == store.verdicts.get("north", "a")
        assert (masked.order["quantity"], masked.verdict["id"]) == (3, "a")
        kept = raw.keys("*")
        assert b"{accord}:verdict:north:a" in kept
        for key in kept:
            assert b"job 7" not in (raw.dump(key) or b"")
        assert raw.ttl("{accord}:verdict:north:a") > 0, "masking must not lengthen the retention"
        assert _record(store, "a") == masked, "a repeat must not bring the reference back"


CELL = Cell("dtf/hot", "cotton:knit", "swing away")


class TestOutcomes:
    def test_reports_are_kept_and_counted_by_cell(self, store: Store) -> None:
        other = Cell("dtf/hot", "polyester", "swing away")
        for failure in (None, "peeled", None, "cracked", "peeled"):
            store.outcomes.add(
                "north", "v", {"washes": 5}, decoration=0, quantity=100_000, cell=CELL, failure=failure, who="t"
            )
        store.outcomes.add("south", "w", {}, decoration=0, quantity=100_000, cell=other, failure=None, who="t")
        counts = {each.cell: (each.good, dict(each.failures), each.failed) for each in store.outcomes.counts()}
        assert counts == {CELL: (2, {"peeled": 2, "cracked": 1}, 3), other: (1, {}, 0)}
        assert sorted(str(each.failure) for each in store.outcomes.of("north", "v")) == [
            "None",
            "None",
            "cracked",
            "peeled",
            "peeled",
        ]
        assert store.outcomes.of("south", "v") == ()

    def test_reports_at_once_are_all_counted(self, open_store: Opener) -> None:
        stores = [open_store() for _ in range(3)]

        def add(store: Store) -> None:
            for _ in range(10):
                store.outcomes.add("north", "v", {}, decoration=0, quantity=100_000, cell=CELL, failure=None, who="t")

        threads = [threading.Thread(target=add, args=(store,)) for store in stores]
        for each in threads:
            each.start()
        for each in threads:
            each.join()
        assert [each.good for each in stores[0].outcomes.counts()] == [30]

    def test_no_more_pieces_are_reported_than_there_are(self, open_store: Opener) -> None:
        """Twelve pieces, three workers that report eight each at once, and what a stale count would let through."""
        stores = [open_store() for _ in range(3)]
        refused: list[AllReported] = []

        def add(store: Store) -> None:
            for _ in range(8):
                try:
                    store.outcomes.add(
                        "north", "v", {}, decoration=1, quantity=12, cell=CELL, failure="peeled", who="t"
                    )
                except AllReported as error:
                    refused.append(error)

        threads = [threading.Thread(target=add, args=(store,)) for store in stores]
        for each in threads:
            each.start()
        for each in threads:
            each.join()
        assert [each.failed for each in stores[0].outcomes.counts()] == [12]
        assert len(stores[0].outcomes.of("north", "v")) == 12
        assert {(each.expected, each.found) for each in refused} == {(12, 12)}
        assert len(refused) == 12
        with pytest.raises(AllReported):
            stores[0].outcomes.leave_room("north", "v", 1, 12)
        for shop, verdict, decoration in (("north", "v", 0), ("north", "w", 1), ("south", "v", 1)):
            one = {"decoration": decoration, "quantity": 1}
            stores[0].outcomes.add(shop, verdict, {}, **one, cell=CELL, failure=None, who="t")

    def test_reports_kept_before_pieces_were_counted_count(self, store: Store, raw: Any) -> None:
        for decoration in (0, 0, 1):
            store.outcomes.add(
                "north",
                "v",
                {"decoration": decoration},
                decoration=decoration,
                quantity=9,
                cell=CELL,
                failure=None,
                who="t",
            )
        raw.delete("{accord}:outcome-pieces:north:v:0")
        store.outcomes.leave_room("north", "v", 0, 3)
        with pytest.raises(AllReported) as full:
            store.outcomes.leave_room("north", "v", 0, 2)
        assert (full.value.expected, full.value.found) == (2, 2)
        store.outcomes.add("north", "v", {"decoration": 0}, decoration=0, quantity=3, cell=CELL, failure=None, who="t")
        with pytest.raises(AllReported):
            store.outcomes.leave_room("north", "v", 0, 3)


class TestIdempotency:
    def test_an_answer_comes_back_for_a_day(self, store: Store, raw: Any) -> None:
        assert store.idempotency.recall("north", "k", "d") is None
        store.idempotency.remember("north", "k", "d", {"status": 201}, who="t")
        remembered = store.idempotency.recall("north", "k", "d")
        assert remembered is not None
        assert remembered.response == {"status": 201}
        (key,) = raw.keys("{accord}:answer:*")
        assert DAY_S - 5 <= raw.ttl(key) <= DAY_S

    def test_keys_are_a_shop_s_own_and_may_hold_anything(self, store: Store) -> None:
        odd = "k\r\n*{}\udcff" + "x" * 5000
        store.idempotency.remember("north", odd, "d", 1, who="t")
        assert store.idempotency.recall("north", odd, "d") is not None
        assert store.idempotency.recall("south", odd, "d") is None

    def test_another_request_under_the_same_key_is_refused(self, store: Store) -> None:
        store.idempotency.remember("north", "k", "d", 1, who="t")
        with pytest.raises(KeyReused):
            store.idempotency.recall("north", "k", "e")
        with pytest.raises(Conflict):
            store.idempotency.remember("north", "k", "d", 2, who="t")

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
        for each in threads:
            each.start()
        for each in threads:
            each.join()
        winner = min(done, key=len)
        assert sorted(done) == sorted([winner, f"again {winner}"])
        assert [each.author for each in stores[0].proposals.list().items] == [winner]


def test_an_empty_store_holds_nothing(store: Store) -> None:
    assert (store.shops.list(), store.keys.list(), store.outcomes.counts(), list(store.verdicts.all())) == (
        (),
        (),
        (),
        [],
    )
    assert store.proposals.list().items == ()
    assert store.revisions.revision(1) is None
