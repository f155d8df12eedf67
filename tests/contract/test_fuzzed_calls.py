"""Ten thousand calls made from the description, sound and unsound, over HTTP to the service as it is served: by night.

``test_schemathesis.py`` holds answers to the description in this process; here the whole way is taken, through sockets,
gunicorn and a worker, and nothing may come back that nobody meant: no 5xx, and no refusal but a problem document.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator
from itertools import count
from typing import Any

import hypothesis
import pytest
import requests
import schemathesis
from hypothesis import HealthCheck, given, settings
from schemathesis import GenerationMode
from tests.contract.conftest import SHOP
from tests.service.servers import serving

from accord_service.api.v1 import ENDPOINTS
from accord_service.http.roles import ROLES

CALLS = int(os.environ.get("ACCORD_FUZZED_CALLS", "10000"))
AT_A_TIME = 40  # calls of one operation, sound or unsound, before the next one's turn
SEED = int(os.environ.get("ACCORD_SEED", "0") or 0)
PATIENCE_S = 120
UNLIMITED = ",".join(f"{role}=100000000" for role in ROLES)


@pytest.fixture(scope="module")
def served(open_collective: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """The address of the service, and each role's headers."""
    collective = open_collective([SHOP], [("ferry-yard", role) for role in ROLES])
    collective.server.stop()
    settings_ = {"ACCORD_DATA": str(collective.data), "ACCORD_WORKERS": "1", "ACCORD_RATE_LIMITS": UNLIMITED}
    with serving(tmp_path_factory.mktemp("served"), **settings_) as up:
        yield f"http://127.0.0.1:{up.port}", lambda role: dict(collective.headers("ferry-yard", role))
        errors = [line for line in up.lines() if line["level"] == "error"]
        assert errors == [], errors[:5]


@pytest.mark.nightly
def test_ten_thousand_calls_bring_no_failure(served: Any, capsys: pytest.CaptureFixture[str]) -> None:
    url, headers_of = served
    api: Any = schemathesis.openapi.from_url(f"{url}/v1/openapi.json")
    answered: Counter[int] = Counter()
    with requests.Session() as session:
        for turn in count():
            for endpoint in ENDPOINTS:
                operation, headers = api[endpoint.path][endpoint.method], headers_of(endpoint.roles[-1])
                for mode in GenerationMode:
                    call(operation, mode, turn, session, headers, answered)
                if answered.total() >= CALLS:
                    with capsys.disabled():
                        print(f"\n{answered.total()} calls: {dict(sorted(answered.items()))}")
                    return


def call(
    operation: Any, mode: GenerationMode, turn: int, session: requests.Session, headers: Any, answered: Counter[int]
) -> None:
    """Some calls of one operation."""

    @hypothesis.seed(SEED + turn)
    @settings(
        max_examples=AT_A_TIME, deadline=None, database=None, suppress_health_check=list(HealthCheck), print_blob=False
    )
    @given(case=operation.as_strategy(generation_mode=mode))
    def ask(case: Any) -> None:
        answer = case.call(session=session, headers=headers, timeout=PATIENCE_S)
        answered[answer.status_code] += 1
        assert answer.status_code < 500, case.as_curl_command()
        if answer.status_code >= 400:
            kind = answer.headers["content-type"]
            assert "application/problem+json" in str(kind), case.as_curl_command()

    ask()
