"""The demo's checkout page, served beside a running service.

    make serve                          in one terminal: the service on port 8080, with its keys
    python demo/checkout/serve.py       in another; then open http://127.0.0.1:8081

The page is for a storefront's key, which names the origins that it stands in: another port needs another key.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import threading
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
MODULE = HERE.parents[1] / "clients" / "javascript" / "accord.js"
FILES = {
    "/": (HERE / "index.html", "text/html; charset=utf-8"),
    "/checkout.css": (HERE / "checkout.css", "text/css; charset=utf-8"),
    "/checkout.js": (HERE / "checkout.js", "text/javascript; charset=utf-8"),
    "/accord.js": (MODULE, "text/javascript; charset=utf-8"),
}
PORT = 8081  # that of the key in demo/keys.toml


@contextlib.contextmanager
def served(service: str, key_for: Callable[[str], str], port: int = 0) -> Iterator[str]:
    """The page for as long as the block runs; its origin. ``key_for`` gives the storefront's key for that origin."""
    server = ThreadingHTTPServer(("127.0.0.1", port), _Handler)
    origin = f"http://127.0.0.1:{server.server_port}"
    _Handler.policy = f"default-src 'self'; img-src data:; connect-src 'self' {service}; frame-ancestors 'none'"
    _Handler.shop = json.dumps({"service": service, "key": key_for(origin)}).encode()
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
    thread.start()
    try:
        yield origin
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


class _Handler(BaseHTTPRequestHandler):
    """Gives the page's few files, and which service and key it asks with."""

    shop = b"{}"
    policy = ""

    def do_GET(self) -> None:
        if self.path == "/shop.json":
            return self._give(self.shop, "application/json")
        if self.path not in FILES:
            return self.send_error(404)
        file, media = FILES[self.path]
        return self._give(file.read_bytes(), media)

    def _give(self, content: bytes, media: str) -> None:
        self.send_response(200)
        self.send_header("Content-Type", media)
        self.send_header("Content-Length", str(len(content)))
        self.send_header("Content-Security-Policy", self.policy)
        self.send_header("Cache-Control", "no-store")
        self.end_headers()
        self.wfile.write(content)

    def log_message(self, format: str, *args: Any) -> None:
        """Say nothing."""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--url", default="http://127.0.0.1:8080", help="the service")
    parser.add_argument("--keys", type=Path, default=Path(".data/demo/keys"), help="its folder of keys")
    options = parser.parse_args()
    key = (options.keys / "harbour-lane-storefront").read_text(encoding="ascii").strip()
    with served(options.url, lambda origin: key, PORT) as origin, contextlib.suppress(KeyboardInterrupt):
        print(f"{origin} until Ctrl-C")
        threading.Event().wait()


if __name__ == "__main__":
    main()
