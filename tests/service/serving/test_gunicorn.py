"""End to end: the real server with its own configuration, two workers, on a free port of this machine."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
import requests
from tests.service.servers import QUAY_SIDE

START_SECONDS = 30.0


def free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])


def started(process: subprocess.Popen[bytes], url: str, log: Path) -> None:
    """Wait until it answers; if it stops instead, show why."""
    deadline = time.monotonic() + START_SECONDS
    while time.monotonic() < deadline:
        if process.poll() is not None:
            pytest.fail(f"the server stopped: {log.read_text()}")
        try:
            requests.get(f"{url}/healthz", timeout=START_SECONDS)
            return
        except requests.ConnectionError:
            time.sleep(0.05)
    pytest.fail(f"no answer in {START_SECONDS} s: {log.read_text()}")


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("gunicorn") / "log"


@pytest.fixture(scope="module")
def data(open_collective: Any) -> Any:
    """The two shops in a data folder, whose store the server then starts by itself."""
    collective = open_collective([QUAY_SIDE], [("quay-side", "counter"), ("quay-side", "owner")])
    collective.server.stop()
    return collective


@pytest.fixture(scope="module")
def key(data: Any) -> dict[str, str]:
    return dict(data.headers("quay-side", "counter"))


@pytest.fixture(scope="module")
def url(data: Any, log: Path) -> Iterator[str]:
    port = free_port()
    url = f"http://127.0.0.1:{port}"
    env = os.environ | {
        "PYTHONPATH": os.pathsep.join(sys.path),
        "ACCORD_STORE_URL": "",
        "ACCORD_DATA": str(data.data),
        "ACCORD_BIND": f"127.0.0.1:{port}",
        "ACCORD_WORKERS": "2",
    }
    env.pop("PROMETHEUS_MULTIPROC_DIR", None)
    command = [sys.executable, "-m", "gunicorn", "-c", "python:accord_service.serving.gunicorn_config"]
    with log.open("wb") as out, subprocess.Popen(command, env=env, stdout=out, stderr=out) as process:
        try:
            started(process, url, log)
            yield url
        finally:
            process.send_signal(signal.SIGTERM)
            assert process.wait(20) == 0


def ask(url: str, key: dict[str, str], order: dict[str, Any]) -> requests.Response:
    """On a connection of its own, so that either worker may get it."""
    return requests.post(f"{url}/v1/validate", json=order, headers=key, timeout=20)


def lines_of(log: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in log.read_text().splitlines()]


def test_both_workers_give_the_same_bytes_and_count_together(
    url: str, key: dict[str, str], order: dict[str, Any], log: Path
) -> None:
    answers: list[requests.Response] = []
    deadline = time.monotonic() + START_SECONDS
    workers: set[int] = set()
    with ThreadPoolExecutor(8) as pool:
        while len(workers) < 2 and time.monotonic() < deadline:
            answers += pool.map(lambda _: ask(url, key, order), range(40))
            workers = {line["pid"] for line in lines_of(log) if line.get("endpoint") == "post_validate"}
    assert len(workers) == 2
    assert {answer.status_code for answer in answers} == {200}
    assert len({answer.content for answer in answers}) == 1
    text = requests.get(f"{url}/metrics", timeout=5).text
    count = float(len(answers))
    assert f'accord_requests_total{{endpoint="post_validate",method="POST",status="200"}} {count}' in text
    assert f'accord_verdicts_total{{verdict="{answers[0].json()["verdict"]}"}} {count}' in text


def test_the_log_is_json_lines(url: str, key: dict[str, str], log: Path) -> None:
    requests.get(f"{url}/v1/shop", headers=key | {"X-Request-Id": "find-me"}, timeout=5)
    lines = lines_of(log)
    assert [line["status"] for line in lines if line.get("request_id") == "find-me"] == [200]
    assert {line["logger"] for line in lines} >= {"gunicorn.error", "accord_service.api.request"}


def test_a_body_of_10_mb_is_refused(url: str, key: dict[str, str]) -> None:
    headers = key | {"Content-Type": "application/json"}
    answer = requests.post(f"{url}/v1/validate", data=b'{"a":"' + b"x" * 10_000_000, headers=headers, timeout=20)
    assert answer.status_code == 413
    assert answer.json()["type"] == "/problems/body-too-large"


def test_a_body_without_length_is_refused_over_the_limit_and_read_below_it(
    url: str, key: dict[str, str], order: dict[str, Any]
) -> None:
    """Chunked transfer (RFC 9112 section 7.1) declares no length."""
    headers = key | {"Content-Type": "application/json"}
    body = json.dumps(order).encode()
    for size, status in ((len(body), 200), (262144, 200), (262145, 413), (1_000_000, 413)):
        padded = body.ljust(size)
        chunks = (padded[start : start + 5000] for start in range(0, size, 5000))
        answer = requests.post(f"{url}/v1/validate", data=chunks, headers=headers, timeout=20)
        assert (size, answer.status_code) == (size, status)


def test_a_connection_outlives_a_refusal(url: str, key: dict[str, str], order: dict[str, Any]) -> None:
    headers = key | {"Content-Type": "application/json"}
    with requests.Session() as session:
        refused = session.post(f"{url}/v1/validate", data=b"[" * 200_000, headers=headers, timeout=20)
        taken = session.post(f"{url}/v1/validate", json=order, headers=key, timeout=20)
    assert (refused.status_code, taken.status_code) == (400, 200)


def test_pages_and_description_come_without_a_key(url: str) -> None:
    for path in ("/", "/docs", "/v1/openapi.json", "/readyz", "/static/pages.css"):
        assert requests.get(url + path, timeout=20).status_code == 200


def start_without_success(data: Path, **env: str) -> subprocess.CompletedProcess[bytes]:
    whole = os.environ | {
        "PYTHONPATH": os.pathsep.join(sys.path),
        "ACCORD_STORE_URL": "",
        "ACCORD_DATA": str(data),
        "ACCORD_BIND": f"127.0.0.1:{free_port()}",
        "ACCORD_WORKERS": "1",
    }
    command = [sys.executable, "-m", "gunicorn", "-c", "python:accord_service.serving.gunicorn_config"]
    return subprocess.run(command, env=whole | env, capture_output=True, timeout=START_SECONDS, check=False)


@pytest.mark.usefixtures("url")
def test_a_second_service_on_one_data_folder_does_not_start(data: Any) -> None:
    ended = start_without_success(data.data)
    assert ended.returncode != 0
    assert b"the service cannot start" in ended.stderr
    assert b"is owned by process" in ended.stderr
    assert b"Traceback" not in ended.stderr


def test_a_service_with_an_address_that_is_none_does_not_start(tmp_path: Path) -> None:
    ended = start_without_success(tmp_path, ACCORD_STORE_URL="http://store")
    assert ended.returncode != 0
    assert b"the store's address must start with" in ended.stderr
    assert b"Traceback" not in ended.stderr
