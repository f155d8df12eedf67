"""An application served by threads of the tests' own process: what a client sees of it, without a start of its own."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

from werkzeug.serving import make_server

from accord_service.app import create_app
from accord_service.run.config import Config


@contextmanager
def serving(config: Config) -> Iterator[str]:
    """A service, at the address that it gives."""
    app = create_app(config)
    server = make_server("127.0.0.1", 0, app, threaded=True)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
        app.extensions["accord"].close()
