"""Counters for Prometheus, right under several workers: with PROMETHEUS_MULTIPROC_DIR set they share files."""

from __future__ import annotations

import os

from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, Counter, Gauge, Histogram, generate_latest
from prometheus_client.multiprocess import MultiProcessCollector

from accord_rules.governance.house import LAYER as HOUSE
from accord_rules.verdict import Finding

MEDIA_TYPE = CONTENT_TYPE_LATEST
_SECONDS = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0)


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
        self._doubts = Gauge(
            "accord_engine_doubts",
            "Times the inference engine failed, or disagreed with the plain evaluator; should stay 0",
            ("kind",),
            registry=self._registry,
            multiprocess_mode="sum",
        )

    def answered(self, endpoint: str, method: str, status: int, seconds: float) -> None:
        self._requests.labels(endpoint, method, str(status)).inc()
        self._seconds.labels(endpoint).observe(seconds)

    def judged(self, verdict: str) -> None:
        self._verdicts.labels(verdict).inc()

    def found(self, finding: Finding) -> None:
        named = "" if finding.layer == HOUSE else finding.rule
        self._findings.labels(finding.layer, named, finding.level).inc()

    def doubted(self, engine_errors: int, disagreements: int) -> None:
        """Set to what this process has counted since it started."""
        self._doubts.labels("engine-error").set(engine_errors)
        self._doubts.labels("disagreement").set(disagreements)

    def written(self) -> bytes:
        """All counters in the text format, summed over the workers where there are several."""
        if "PROMETHEUS_MULTIPROC_DIR" not in os.environ:
            return generate_latest(self._registry)
        together = CollectorRegistry()
        MultiProcessCollector(together)  # type: ignore[no-untyped-call]  # it registers itself
        return generate_latest(together)
