"""The example of a proxy: nginx takes it as it stands, and passes on to the service that is there."""

from __future__ import annotations

import http.server
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
import requests
from tests.e2e.faults.town import free_ports

EXAMPLE = Path(__file__).parents[2] / "service" / "containers" / "nginx.conf"
pytestmark = [pytest.mark.nightly, pytest.mark.needs("nginx", "openssl")]


@pytest.fixture
def certificate(tmp_path: Path) -> Path:
    """A certificate for accord.example that it signed itself, beside its key."""
    words = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"]
    words += ["-days", "1", "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost"]
    words += ["-keyout", str(tmp_path / "privkey.pem"), "-out", str(tmp_path / "fullchain.pem")]
    subprocess.run(words, check=True, capture_output=True, timeout=60)
    return tmp_path / "fullchain.pem"


class Echo(http.server.BaseHTTPRequestHandler):
    """Answers with the method, the path and what came."""

    protocol_version = "HTTP/1.1"

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        content = b" ".join([b"POST", self.path.encode(), body])
        self.send_response(200)
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        self.wfile.write(content)

    def log_message(self, format: str, *args: object) -> None:
        """Nothing."""


@pytest.fixture
def proxy(certificate: Path, tmp_path: Path) -> Iterator[str]:
    """nginx with the example, with other ports and the certificate above; one of its two services is there."""
    plain, tls, there, gone = free_ports(4)
    text = EXAMPLE.read_text(encoding="utf-8")
    for given, own in {
        "127.0.0.1:8081": f"127.0.0.1:{gone}",
        "127.0.0.1:8082": f"127.0.0.1:{there}",
        "listen 80;": f"listen 127.0.0.1:{plain};",
        "listen 443 ssl": f"listen 127.0.0.1:{tls} ssl",
        "/etc/accord/tls": str(tmp_path),
    }.items():
        assert given in text
        text = text.replace(given, own)
    config = tmp_path / "nginx.conf"
    config.write_text(
        f"daemon off;\npid {tmp_path}/nginx.pid;\nerror_log {tmp_path}/error.log;\nevents {{}}\n"
        f"http {{\naccess_log off;\nclient_body_temp_path {tmp_path}/body;\nproxy_temp_path {tmp_path}/proxy;\n"
        f"{text}\n}}\n",
        encoding="utf-8",
    )
    tried = subprocess.run(["nginx", "-t", "-c", str(config)], capture_output=True, text=True, timeout=60, check=False)
    assert tried.returncode == 0, tried.stderr
    assert "warn" not in tried.stderr, tried.stderr
    service = http.server.ThreadingHTTPServer(("127.0.0.1", there), Echo)
    threading.Thread(target=service.serve_forever, daemon=True).start()
    with closing(service.socket), subprocess.Popen(["nginx", "-c", str(config)]) as running:
        yield f"https://localhost:{tls}"
        running.terminate()
        service.shutdown()


def test_it_passes_on_to_the_service_that_is_there(proxy: str, certificate: Path) -> None:
    deadline_s = time.monotonic() + 20
    while True:
        try:
            first = requests.post(f"{proxy}/v1/validate", data=b"{}", verify=str(certificate), timeout=20)
            break
        except requests.ConnectionError:
            assert time.monotonic() < deadline_s
            time.sleep(0.05)
    answers = [first] + [
        requests.post(f"{proxy}{path}", data=b"{}", verify=str(certificate), timeout=20)
        for path in ("/v1/validate", "/v1/records", "/v1/envelope", "/v1/records")
    ]
    assert [answer.status_code for answer in answers] == [200] * 5
    assert answers[2].text == "POST /v1/records {}"
    assert first.headers["Strict-Transport-Security"] == "max-age=31536000"
    assert requests.get(f"{proxy}/metrics", verify=str(certificate), timeout=20).status_code == 404
