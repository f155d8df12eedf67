"""What became of the questions put to the engine: counts that outlive its networks, and the log of what went wrong."""

from __future__ import annotations

import hashlib
import json
import logging
import math
import threading
import time
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, NamedTuple

from accord_rules.infer.compiled import Facts, Limits
from accord_rules.revision.condition import Condition

# How a network's part of an answer came about: it walked; it had walked for the same record before, or the record held
# nothing that a test could be true of (the judge judged anew either way); or equal facts had been judged before.
WALK, RECORD, FACTS = "walk", "record", "facts"
ANSWERS = (WALK, RECORD, FACTS)
# Why the judge had to settle a question.
DISAGREEMENT, ENGINE_ERROR = "disagreement", "engine-error"
DOUBTS = (DISAGREEMENT, ENGINE_ERROR)

SHARED, HOUSE = "shared", "house"

# A doubt that repeats comes with every order, so the log has one line a network in this time, which tells how many
# it left out. The counts have all.
LOG_EVERY_S = 60.0
# What is collected from many machines is often cut at 16 KiB a line. The shared book's rules would take more, but they
# can be had from the book; a shop's own are few, and may be gone when somebody looks.
MOST_CHARACTERS_OF_RULES = 6000

_log = logging.getLogger("accord_rules.infer")


class Network(NamedTuple):
    """Whose rules a network holds (``shared`` or ``house``) and what they are about.

    All shops' networks about one thing have one name: what is counted tells neither a shop nor its rules.
    """

    layer: str
    name: str


# Of rules that stand for themselves, as in a trial.
UNNAMED = Network(SHARED, "rules")


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """A question that the judge had to settle, with what it takes to put it again: see ``replay``.

    ``kind``: of DOUBTS. ``about``: what the rules that were asked together are about. ``networks``: those of them that
    hold the rules ``apart`` (on which engine and judge differ), or that failed. ``inferred`` and ``judged``: the rules
    that hold, as the engine says (nothing where it failed: then ``reason`` says why) and as the judge does.
    ``records``: the question as the networks read it, by network. ``facts`` and ``limits`` (inside units): as the
    rules read them. ``rules``: their conditions as written, or where those are long only the ones apart; of all of
    them ``rules_digest`` is the sum.
    """

    kind: str
    layer: str
    about: str
    networks: tuple[str, ...]
    apart: tuple[str, ...]
    inferred: tuple[str, ...]
    judged: tuple[str, ...]
    reason: str
    records: Mapping[str, str]
    rules: Mapping[str, str]
    rules_digest: str
    facts: Mapping[str, Any]
    limits: Mapping[str, float]

    def document(self) -> dict[str, Any]:
        """Plain JSON data, which ``replay`` takes. Facts that are not known are left out."""
        return {
            "kind": self.kind,
            "layer": self.layer,
            "about": self.about,
            "networks": list(self.networks),
            "apart": list(self.apart),
            "inferred": list(self.inferred),
            "judged": list(self.judged),
            "reason": self.reason,
            "records": dict(self.records),
            "rules": dict(self.rules),
            "rules_digest": self.rules_digest,
            "facts": {name: _plain(value) for name, value in self.facts.items() if _is_known(value)},
            "limits": dict(self.limits),
        }

    @property
    def sentence(self) -> str:
        """What is doubted and what was answered, in a sentence for the log."""
        where = f"the {self.layer} rules about {self.about}"
        if self.kind == ENGINE_ERROR:
            return f"the engine failed on {where} ({self.reason}); the judge answered: {', '.join(self.judged)}"
        return f"engine and judge disagree on {where}, about {', '.join(self.apart)}; the judge answered"


def _is_known(value: Any) -> bool:
    # NaN is unequal to itself, and not known.
    return value is not None and value == value


def _plain(value: Any) -> Any:
    if isinstance(value, float) and math.isinf(value):
        return str(value)  # JSON has no word for it, and float() reads this
    return sorted(map(str, value)) if isinstance(value, Collection) and not isinstance(value, str) else value


def rules_digest(rules: Mapping[str, Condition]) -> str:
    """SHA-256 over the rules' ids and conditions as written, in their order: what networks are compiled from."""
    written = json.dumps([[name, condition.text] for name, condition in rules.items()])
    return "sha256:" + hashlib.sha256(written.encode()).hexdigest()


def doubt(
    kind: str,
    network: Network,
    rules: Mapping[str, Condition],
    question: tuple[Facts, Limits],
    *,
    networks: tuple[str, ...],
    inferred: tuple[str, ...],
    judged: tuple[str, ...],
    records: Mapping[str, str],
    reason: str = "",
) -> Doubt:
    """A doubt about a question that was put to ``rules``, whose networks together are ``network``."""
    facts, limits = question
    apart = () if kind == ENGINE_ERROR else tuple(sorted({*inferred} ^ {*judged}))
    excerpt = rules
    if sum(len(condition.text) for condition in rules.values()) > MOST_CHARACTERS_OF_RULES:
        excerpt = {name: rules[name] for name in apart}
    named = sorted({name for condition in rules.values() for name in condition.facts})
    return Doubt(
        kind=kind,
        layer=network.layer,
        about=network.name,
        networks=networks,
        apart=apart,
        inferred=inferred,
        judged=judged,
        reason=reason,
        records=MappingProxyType({name: records[name] for name in networks}),
        rules=MappingProxyType({name: condition.text for name, condition in excerpt.items()}),
        rules_digest=rules_digest(rules),
        facts=MappingProxyType({name: facts.get(name) for name in named}),
        limits=MappingProxyType(
            {name: limits[name] for condition in rules.values() for name in sorted(condition.limits)}
        ),
    )


class Account:
    """The counts of one network, or of all shops' networks of one name. Safe to share between threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._counts = dict.fromkeys((*ANSWERS, *DOUBTS), 0)

    def add(self, what: str) -> None:
        """Count one more of ANSWERS or DOUBTS."""
        with self._lock:
            self._counts[what] += 1

    @property
    def counts(self) -> Mapping[str, int]:
        """How many of each there were so far."""
        with self._lock:
            return dict(self._counts)


@dataclass(slots=True)
class _Logged:
    """When a network's last line was written, and how many were left out since."""

    at_s: float
    left_out: int = 0


class Ledger:
    """The accounts of all networks that ever were, and since when the engine is in doubt. For threads to share.

    Networks come and go with revisions and house rules; whoever wants their counts to last hands one of these to each
    ``Authority`` it makes.
    """

    def __init__(self, clock_s: Callable[[], float] = time.time) -> None:
        """``clock_s``: seconds since 1970 (UTC). No answer hangs on it: it dates doubts and spaces the log's lines."""
        self._clock_s = clock_s
        self._lock = threading.Lock()
        self._accounts: dict[Network, Account] = {}
        self._since_s: float | None = None
        self._logged: dict[Network, _Logged] = {}

    def account(self, network: Network) -> Account:
        """The network's account; made when it is first asked for."""
        with self._lock:
            return self._accounts.setdefault(network, Account())

    @property
    def counts(self) -> Mapping[Network, Mapping[str, int]]:
        """Every account's counts."""
        with self._lock:
            accounts = list(self._accounts.items())
        return {network: account.counts for network, account in accounts}

    @property
    def since_s(self) -> float | None:
        """When the judge first had to settle a question, in seconds since 1970 (UTC); None while it never had to.

        Nothing takes it back: what made the engine wrong once (a defect of its compiler or library, memory that was
        written over) is not mended by time, nor by right answers to other questions. A process that is started anew
        begins without doubt.
        """
        return self._since_s

    def enter(self, doubt: Doubt, accounts: Collection[Account]) -> None:
        """Count a doubt in the accounts it concerns, and log it unless the log had one of its networks just now."""
        for account in accounts:
            account.add(doubt.kind)
        network = Network(doubt.layer, doubt.about)
        with self._lock:
            now_s = self._clock_s()
            if self._since_s is None:
                self._since_s = now_s
            last = self._logged.get(network)
            # A clock that was put back must not silence the log.
            if last is not None and 0 <= now_s - last.at_s < LOG_EVERY_S:
                last.left_out += 1
                return
            self._logged[network] = _Logged(now_s)
        left_out = 0 if last is None else last.left_out
        more = f" ({left_out} more since the last such line)" if left_out else ""
        # The service writes "details" out, see accord_service.run.log.
        details = {"not_logged": left_out, "doubt": doubt.document()}
        _log.warning("%s%s", doubt.sentence, more, extra={"details": details})
