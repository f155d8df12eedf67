"""Counters for Prometheus, right under several workers: with PROMETHEUS_MULTIPROC_DIR set they share files."""

from __future__ import annotations

import os
import threading
from dataclasses import dataclass

from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, Counter, Gauge, Histogram, generate_latest
from prometheus_client.multiprocess import MultiProcessCollector

from accord_rules.governance.house import LAYER as HOUSE
from accord_rules.infer.ledger import DOUBTS, Ledger, Network

MEDIA_TYPE = CONTENT_TYPE_LATEST
_SECONDS = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0)

_ENGINE = "engine"
PARTS = AUDIT, WRITES, EFFECTS = "audit", "writes", "effects"


@dataclass(slots=True)
class _Mirror:
    """A series, and what it has been told so far."""

    series: Counter
    count: int = 0

    def bring_to(self, count: int) -> None:
        if count != self.count:
            self.series.inc(count - self.count)
            self.count = count


class Metrics:
    """One application's counters. Names of endpoints are labels, never addresses: a stranger can't add series.

    Whoever can reach the service reads them, so they tell no shop's business: what a shop's own rules and limits find
    is counted together, without names.
    """

    def __init__(self) -> None:
        self._registry = CollectorRegistry()
        self._requests = Counter(
            "accord_requests", "Requests answered", ("endpoint", "method", "status"), registry=self._registry
        )
        self._seconds = Histogram(
            "accord_request_seconds", "Time to an answer", ("endpoint",), buckets=_SECONDS, registry=self._registry
        )
        self._verdicts = Counter("accord_verdicts", "Orders judged", ("verdict",), registry=self._registry)
        self._findings = Counter(
            "accord_findings", "Findings given", ("layer", "rule", "level"), registry=self._registry
        )
        self._answers = Counter(
            "accord_engine_answers",
            "Questions to each network of the inference engine: it walked (walk), it was known what it says of such a"
            " record (record; the judge judged anew), or equal facts had been judged before (facts)",
            ("layer", "network", "by"),
            registry=self._registry,
        )
        self._doubts = Counter(
            "accord_engine_doubts",
            "Questions on which a network of the inference engine failed, or disagreed with the judge; should stay 0",
            ("layer", "network", "kind"),
            registry=self._registry,
        )
        # Of living workers alone: one that is started anew begins without doubt.
        self._degraded = Gauge(
            "accord_degraded",
            "Whether a part of any worker is degraded: answers are right, and somebody should look",
            ("part",),
            registry=self._registry,
            multiprocess_mode="livemax",
        )
        self._degraded_since = Gauge(
            "accord_degraded_since_timestamp_seconds",
            "Since when a part is degraded; there only if it is",
            ("part",),
            registry=self._registry,
            multiprocess_mode="livemin",
        )
        self._degraded.labels(_ENGINE).set(0)
        for part in PARTS:
            self._degraded.labels(part).set(0)
        # Of the store, so what was told last is as true as what another worker tells.
        self._waiting = Gauge(
            "accord_effects_waiting",
            "Effects of proposals that were asked for and are not worked out yet",
            registry=self._registry,
            multiprocess_mode="livemostrecent",
        )
        self._processes = Gauge(
            "accord_effect_processes",
            "Processes that work on effects, on all machines (accord work); 0 while effects wait: nobody does",
            registry=self._registry,
            multiprocess_mode="livemostrecent",
        )
        self._mirroring = threading.Lock()
        self._mirrors: dict[tuple[Network, str], _Mirror] = {}

    def count_answer(self, endpoint: str, method: str, status: int, seconds: float) -> None:
        """Count a request, under the endpoint's name, with how long its answer took in seconds."""
        self._requests.labels(endpoint, method, str(status)).inc()
        self._seconds.labels(endpoint).observe(seconds)

    def count_verdict(self, verdict: str) -> None:
        """Count a verdict by its word."""
        self._verdicts.labels(verdict).inc()

    def count_finding(self, layer: str, rule: str, level: str) -> None:
        """Count a finding; those of house rules together, since a shop's rules are its own business."""
        named = "" if layer == HOUSE else rule
        self._findings.labels(layer, named, level).inc()

    def mirror_ledger(self, ledger: Ledger) -> None:
        """Bring the counters of the engine up to the ledger: this process's, always the same one."""
        with self._mirroring:
            for network, counts in ledger.counts.items():
                for what, count in counts.items():
                    mirror = self._mirrors.get((network, what))
                    if mirror is None:
                        family = self._doubts if what in DOUBTS else self._answers
                        mirror = self._mirrors[network, what] = _Mirror(
                            family.labels(network.layer, network.name, what)
                        )
                    mirror.bring_to(count)
        if ledger.since_s is not None:
            self._degraded.labels(_ENGINE).set(1)
            self._degraded_since.labels(_ENGINE).set(ledger.since_s)

    def tell_degraded(self, part: str, *, degraded: bool) -> None:
        """Whether this worker found so of one of the ``PARTS``."""
        self._degraded.labels(part).set(int(degraded))

    def tell_effects(self, *, waiting: int, processes: int) -> None:
        """How many effects wait, and how many processes work on them."""
        self._waiting.set(waiting)
        self._processes.set(processes)

    def written(self) -> bytes:
        """All counters in the text format, summed over the workers where there are several."""
        if "PROMETHEUS_MULTIPROC_DIR" not in os.environ:
            return generate_latest(self._registry)
        try:
            return self._together()
        except FileNotFoundError:  # a worker has just died: its counts are with those of the dead now
            return self._together()

    @staticmethod
    def _together() -> bytes:
        together = CollectorRegistry()
        MultiProcessCollector(together)  # type: ignore[no-untyped-call]  # it registers itself
        return generate_latest(together)
