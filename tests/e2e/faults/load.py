"""What is asked of the services while something breaks, and what must hold of every answer.

Askers send the demo's orders, whose verdicts were written down beforehand, to either service. Writers record orders,
issue keys, change house rules, draft proposals and publish revisions, and remember each that was acknowledged. A write
that was left open is sent again under its Idempotency-Key, as clients do.
"""

from __future__ import annotations

import contextlib
import copy
import http.client
import json
import random
import select
import threading
import time
import tomllib
import uuid
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from tests.e2e.faults.town import DEMO, Town

from accord_client import AccordError, Client

LIMIT = "dye.polyester_share_full"
HOUSE_SHOP, HOUSE_LIMIT = "mill-steps", "fumes.pvc_most"
HOUSE_RULES = tuple({"limits": {HOUSE_LIMIT: f"{value} °C"}} for value in (181, 182))
ANSWER_S = 60.0
CONNECT_S = 3.05  # as the Python client has it
# From an acknowledged publication on, until every worker must answer by it; house rules are in force when acknowledged.
SEEN_S = 2.0
TRIES = 12
EFFECT_S = 120.0
THINK_S = 0.05  # or the load alone would be what is measured
PAUSE_S = 0.25


@dataclass(frozen=True)
class Reply:
    """``kind``: "answered", "unavailable" (503), "refused" (no connection was made), or "failed" (one broke off)."""

    kind: str
    status: int = 0
    document: Any = None
    why: str = ""
    seconds: float = 0.0


class Connection:
    """One client's connection to one service. It is kept, or made anew each time."""

    def __init__(self, port: int, keeps: bool) -> None:
        self._port, self._keeps = port, keeps
        self._http: http.client.HTTPConnection | None = None

    def ask(self, method: str, path: str, headers: Mapping[str, str], body: Any = None) -> Reply:
        began_s = time.monotonic()
        if self._was_ended():
            self.close()
        if self._http is None:
            opened = http.client.HTTPConnection("127.0.0.1", self._port, timeout=CONNECT_S)
            try:
                opened.connect()
                opened.sock.settimeout(ANSWER_S)
            except (ConnectionRefusedError, TimeoutError) as error:
                return Reply("refused", why=str(error), seconds=time.monotonic() - began_s)
            except OSError as error:
                return Reply("failed", why=repr(error), seconds=time.monotonic() - began_s)
            self._http = opened
        try:
            text = None if body is None else json.dumps(body)
            self._http.request(method, path, text, {"Content-Type": "application/json", **headers})
            answer = self._http.getresponse()
            content, ends = answer.read(), answer.will_close
            document = json.loads(content) if content else None
        except (OSError, http.client.HTTPException, ValueError) as error:
            self.close()
            return Reply("failed", why=repr(error), seconds=time.monotonic() - began_s)
        if ends or not self._keeps:
            self.close()
        kind = "unavailable" if answer.status == 503 else "answered"
        return Reply(kind, answer.status, document, seconds=time.monotonic() - began_s)

    def _was_ended(self) -> bool:
        """Whether the service ended a kept connection while it was idle, which it may: clients look before they ask."""
        if self._http is None or self._http.sock is None:
            return False
        readable, _, _ = select.select([self._http.sock], [], [], 0)
        return bool(readable)

    def close(self) -> None:
        if self._http is not None:
            self._http.close()
            self._http = None


@dataclass
class Figures:
    """Counted while one fault is there."""

    replies: Counter[str] = field(default_factory=Counter)
    bases: Counter[str] = field(default_factory=Counter)
    writes: Counter[str] = field(default_factory=Counter)
    longest_s: float = 0.0
    wrong: list[str] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)


@dataclass
class Acknowledged:
    """Every write that a service acknowledged, for ever."""

    records: dict[str, str] = field(default_factory=dict)  # id to reference
    open_references: set[str] = field(default_factory=set)
    keys: set[str] = field(default_factory=set)
    proposals: set[str] = field(default_factory=set)
    revisions: dict[int, str] = field(default_factory=dict)  # number to digest
    house: Any = None  # the rules acknowledged last; None while that is open


class Load:
    """Asks and writes from ``start`` to ``stop``. ``figures`` are those since the last ``fresh()``."""

    def __init__(self, town: Town, askers: int = 3) -> None:
        self.town = town
        self.figures = Figures()
        self.done = Acknowledged()
        self._askers = askers
        self._expected: dict[str, Any] = tomllib.loads((DEMO / "expected.toml").read_text(encoding="utf-8"))
        self._orders = {
            name: json.loads((DEMO / "orders" / f"{name}.json").read_text(encoding="utf-8")) for name in self._expected
        }
        self._stopping, self._lock = threading.Event(), threading.Lock()
        self._writing = threading.Event()
        self._idle = threading.Event()
        self._first: dict[tuple[str, int, str], str] = {}
        self._seen: set[tuple[int, str]] = set()
        self._digests: list[str] = []  # of the two documents of house rules
        self._house: tuple[str, float] | None = None  # digest that holds, and since when
        self._floor: tuple[int, float] = (0, 0.0)  # revision that holds, and from when on
        self._threads: list[threading.Thread] = []
        self._errors: list[BaseException] = []

    # -- from outside ----------------------------------------------------------------------------------------------

    def start(self) -> None:
        self._learn()
        self._writing.set()
        jobs = [partial(self._ask_on, keeps=number % 2 == 0) for number in range(self._askers)] + [self._write_on]
        self._threads = [threading.Thread(target=self._guard, args=(job,), daemon=True) for job in jobs]
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        self._stopping.set()
        self._writing.set()
        for thread in self._threads:
            thread.join(60)

    def fresh(self) -> Figures:
        """Figures from here on."""
        with self._lock:
            self.figures = Figures()
        return self.figures

    def fail_on_errors(self) -> None:
        """A defect of the load itself must not look like a quiet hour."""
        if self._errors:
            raise RuntimeError("the load broke off") from self._errors[0]

    def hold(self, seconds: float = 5.0) -> None:
        """Let it ask on for a while."""
        time.sleep(seconds)

    @contextlib.contextmanager
    def writing_paused(self) -> Any:
        """No write is under way in the block."""
        self._writing.clear()
        self._idle.wait(120)
        try:
            yield
        finally:
            self._writing.set()

    def publish(self) -> int:
        """Change a limit through one service: a new revision, acknowledged."""
        town = self.town
        with (
            Client(town.services[0].url, town.token("harbour-lane-owner"), (3.05, 60)) as owner,
            Client(town.services[1].url, town.token("mill-steps-steward"), (3.05, 60)) as steward,
        ):
            base, entry = self._read_base(owner)
            changed = {"kind": "limits", "id": LIMIT, "value": {**entry, "value": entry["value"] + 1}}
            draft = owner.governance.propose(base, [changed], "To see it cross over.", "A town with faults.")
            owner.governance.open(draft["proposal_id"])
            owner.governance.wait_for_effect(draft["proposal_id"], patience_s=EFFECT_S)
            steward.governance.approve(steward.governance.status(draft["proposal_id"]))
            published = steward.governance.publish(draft["proposal_id"])
            number = int(published["revision"])
            newer = self._read_base(owner)
        with self._lock:
            self._floor, self._base = (number, time.monotonic() + SEEN_S), newer
        with town.store() as store:
            record = store.revisions.revision(number)
        assert record is not None
        self.done.revisions[number] = record.digest
        return number

    def works(self) -> bool:
        """Whether every worker that is met answers live, and both services take a write."""
        for service in self.town.services:
            for _ in range(4):
                reply = self._question(Connection(service.port, False), self._name())
                if reply.kind != "answered" or reply.document.get("basis") != "live":
                    return False
            if not self._record(service.port, tries=1):
                return False
        return True

    def lost(self) -> list[str]:
        """What was acknowledged and is gone, or was done twice; read from the store itself."""
        gone: list[str] = []
        with self.town.store() as store:
            for record_id, reference in list(self.done.records.items()):
                shop = HOUSE_SHOP
                if store.records.get(shop, record_id) is None:
                    gone.append(f"record {record_id}")
                same = store.records.page(shop, reference=reference, limit=5).items
                if len(same) > 1:
                    gone.append(f"reference {reference} was recorded {len(same)} times")
            gone += [f"key {key}" for key in list(self.done.keys) if store.keys.get(key) is None]
            gone += [f"proposal {one}" for one in list(self.done.proposals) if store.proposals.get(one) is None]
            for number, digest in list(self.done.revisions.items()):
                record = store.revisions.revision(number)
                if record is None or record.digest != digest:
                    gone.append(f"revision {number}")
            house = next((record for record in store.shops.houses() if record.shop == HOUSE_SHOP), None)
            if self.done.house is not None and (house is None or house.document["limits"] != self.done.house["limits"]):
                gone.append(f"house rules {self.done.house}")
        return gone

    def from_lost_revisions(self) -> list[str]:
        """Answers that named a revision which no longer is in the book."""
        with self.town.store() as store:
            known = {(number, record.digest) for number, record in _revisions(store).items()}
        with self._lock:
            return [
                f"answered from revision {number}, which is gone"
                for number, d in self._seen
                if (number, d) not in known
            ]

    @staticmethod
    def _read_base(owner: Client) -> tuple[dict[str, Any], dict[str, Any]]:
        """What a proposal starts from now, and the limit that it changes."""
        head = next(iter(owner.governance.revisions()))
        return {"revision": head["revision"], "digest": head["digest"]}, copy.deepcopy(dict(owner.limit(LIMIT).entry))

    # -- asking ----------------------------------------------------------------------------------------------------

    def _guard(self, job: Callable[[], None]) -> None:
        try:
            job()
        except BaseException as error:
            self._errors.append(error)

    def _name(self) -> str:
        return random.choice(list(self._orders))

    def _headers(self, shop: str) -> dict[str, str]:
        return {"Authorization": f"Bearer {self.town.token(f'{shop}-counter')}"}

    def _question(self, connection: Connection, name: str) -> Reply:
        headers = self._headers(self._expected[name]["shop"])
        return connection.ask("POST", "/v1/validate", headers, self._orders[name])

    def _ask_on(self, keeps: bool) -> None:
        connections = [Connection(service.port, keeps) for service in self.town.services]
        while not self._stopping.is_set():
            name, sent_s = self._name(), time.monotonic()
            order = random.sample(connections, 2)
            reply = self._question(order[0], name)
            if reply.kind == "refused":  # what a balancer does: nothing was accepted, so the other is asked
                self._count(reply, name, sent_s)
                reply = self._question(order[1], name)
            self._count(reply, name, sent_s)
            self._stopping.wait(THINK_S)
        for connection in connections:
            connection.close()

    def _count(self, reply: Reply, name: str, sent_s: float) -> None:
        with self._lock:
            figures = self.figures
            figures.replies[reply.kind] += 1
            figures.longest_s = max(figures.longest_s, reply.seconds)
            if reply.kind == "failed":
                figures.failed.append(reply.why)
            if reply.kind == "answered":
                figures.wrong += self._faults(reply, name, sent_s)

    def _faults(self, reply: Reply, name: str, sent_s: float) -> list[str]:
        """What is wrong with an answer; held by the lock."""
        if reply.status != 200:
            return [f"{name}: status {reply.status}: {reply.document}"]
        answer = dict(reply.document)
        basis = answer.pop("basis")
        self.figures.bases[basis] += 1
        revision, house = int(answer["revision"]), str(answer["house_digest"])
        self._seen.add((revision, str(answer["digest"])))
        faults = []
        if answer["verdict"] != self._expected[name]["verdict"]:
            faults.append(f"{name}: {answer['verdict']}, not {self._expected[name]['verdict']}")
        text = json.dumps(answer, sort_keys=True)
        if text != self._first.setdefault((name, revision, house), text):
            faults.append(f"{name}: two answers under revision {revision}")
        if basis == "live":
            number, from_s = self._floor
            if sent_s > from_s and revision < number:
                faults.append(f"{name}: live from revision {revision}, {sent_s - from_s:.1f} s after {number} was due")
            if self._expected[name]["shop"] == HOUSE_SHOP and self._house is not None:
                digest, since_s = self._house
                if sent_s > since_s and house != digest:
                    faults.append(f"{name}: live by house rules that were replaced {sent_s - since_s:.1f} s before")
        return faults

    # -- writing ---------------------------------------------------------------------------------------------------

    def _learn(self) -> None:
        """The digests of the two documents of house rules, while all is quiet."""
        name = next(name for name, wanted in self._expected.items() if wanted["shop"] == HOUSE_SHOP)
        for rules in HOUSE_RULES:
            assert self._replace_house(rules), "the house rules are not taken"
            reply = self._question(Connection(self.town.services[0].port, False), name)
            self._digests.append(str(reply.document["house_digest"]))
        assert len(set(self._digests)) == 2
        with Client(self.town.services[0].url, self.town.token("harbour-lane-owner")) as owner:
            self._base = self._read_base(owner)
        self._house = (self._digests[-1], time.monotonic())

    def _write_on(self) -> None:
        turn = 0
        while not self._stopping.is_set():
            if not self._writing.is_set():
                self._idle.set()
                self._writing.wait()
                self._idle.clear()
                continue
            turn += 1
            port = random.choice(self.town.services).port
            self._record(port)
            if turn % 5 == 0:
                self._issue(port)
            if turn % 7 == 0:
                self._draft(port)
            if turn % 20 == 0:
                self._change_house_rules(turn // 20)
            time.sleep(0.02)
        self._idle.set()

    def _write(self, port: int, method: str, path: str, token: str, body: Any, tries: int, **more: str) -> Reply:
        """Sent again under its key until it is acknowledged, to either service."""
        headers = {"Authorization": f"Bearer {self.town.token(token)}", "Idempotency-Key": uuid.uuid4().hex, **more}
        for number in range(tries):
            reply = Connection(port, False).ask(method, path, headers, body)
            with self._lock:
                done = reply.kind == "answered" and reply.status in (200, 201)
                self.figures.writes["acknowledged" if done else reply.kind] += 1
            # A 409 is the same write, still under way with whom it was sent to before.
            if reply.kind == "answered" and reply.status != 409:
                return reply
            if number + 1 < tries:
                time.sleep(PAUSE_S)
                port = random.choice(self.town.services).port
        return reply

    def _tell_wrong(self, what: str, reply: Reply) -> None:
        with self._lock:
            self.figures.wrong.append(f"{what}: {reply.status}: {str(reply.document)[:300]}")

    def _record(self, port: int, tries: int = TRIES) -> bool:
        name = random.choice([name for name, wanted in self._expected.items() if wanted["shop"] == HOUSE_SHOP])
        reference = f"F-{uuid.uuid4().hex[:12]}"
        order = {**self._orders[name], "reference": reference}
        reply = self._write(port, "POST", "/v1/records", f"{HOUSE_SHOP}-counter", order, tries)
        if reply.kind != "answered":
            self.done.open_references.add(reference)
        elif reply.status == 201:
            self.done.records[reply.document["record_id"]] = reference
        elif reply.status != 409:
            self._tell_wrong("a record", reply)
        return reply.kind == "answered" and reply.status == 201

    def _issue(self, port: int) -> None:
        body = {"shop_id": "quay-yard", "role": "counter", "holder": "Robin Vale"}
        reply = self._write(port, "POST", "/v1/keys", "kiln-corner-admin", body, TRIES)
        if reply.kind == "answered" and reply.status == 201:
            self.done.keys.add(reply.document["key_id"])
        elif reply.kind == "answered" and reply.status != 409:
            self._tell_wrong("a key", reply)

    def _draft(self, port: int) -> None:
        with self._lock:
            base, entry = self._base
        changed = {"kind": "limits", "id": LIMIT, "value": {**entry, "value": entry["value"] + 1}}
        body = {
            "base": base,
            "changes": [changed],
            "reason": "To be kept.",
            "evidence": "A town with faults.",
        }
        reply = self._write(port, "POST", "/v1/proposals", "harbour-lane-owner", body, TRIES)
        if reply.kind == "answered" and reply.status == 201:
            self.done.proposals.add(reply.document["proposal_id"])
        elif reply.kind == "answered" and reply.status != 409:
            self._tell_wrong("a proposal", reply)

    def _change_house_rules(self, number: int) -> None:
        with self._lock:
            self._house, self.done.house = None, None  # from here on either may be in force
        place = number % 2
        if self._replace_house(HOUSE_RULES[place]):
            with self._lock:
                self._house = (self._digests[place], time.monotonic())

    def _replace_house(self, rules: Any) -> bool:
        """Whether they were acknowledged."""
        port = random.choice(self.town.services).port
        try:
            with Client(f"http://127.0.0.1:{port}", self.town.token(f"{HOUSE_SHOP}-owner"), (3.05, 20)) as owner:
                there = owner.administration.house_rules()
                owner.administration.replace_house_rules(rules, there.etag)
        except AccordError:
            return False
        self.done.house = dict(rules)
        return True


def _revisions(store: Any) -> dict[int, Any]:
    return {number: store.revisions.revision(number) for number in range(1, store.revisions.head().number + 1)}
