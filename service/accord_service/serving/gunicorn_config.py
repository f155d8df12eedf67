"""How the service runs under gunicorn: ``accord serve``, or ``-c python:accord_service.serving.gunicorn_config``.

What may differ is set by ACCORD_ variables. The master owns the store that comes along, unless ACCORD_STORE_URL names
another; each worker makes its own application and connects after the fork.
"""

from __future__ import annotations

import faulthandler
import gc
import logging
import os
import shutil
import tempfile
from importlib import import_module
from typing import Any

from accord_rules.documents.files import BookError
from accord_service.run.config import OWN_STORE_URL, Config, ConfigError
from accord_service.run.log import LOGGERS, JsonLines
from accord_service.serving import first_start
from accord_service.serving.newcomers import turn_away_when_stopping
from accord_service.store import EmbeddedServer, StoreError
from accord_service.worker.collector import spare_the_book

logger = logging.getLogger("accord_service.start")

wsgi_app = "accord_service.app:create_app()"
bind = os.environ.get("ACCORD_BIND", "127.0.0.1:8080")
# Clients that send or read slowly occupy none of its threads: see accord_service.serving.
worker_class = "accord_service.serving.worker.WholeRequestWorker"
workers = int(os.environ.get("ACCORD_WORKERS", "2"))
threads = int(os.environ.get("ACCORD_THREADS", "4"))
timeout = 30
graceful_timeout = 20
keepalive = 15
# A worker's clients at once. Each takes a file descriptor, and many systems give a process no more than 1,024.
worker_connections = 500
# No header may move where the application is mounted: paths are what the request line says.
forwarder_headers = ""
# All of an answer is held before it is sent.
sendfile = False
# Two services of one user would share the socket's path.
control_socket_disable = True
# The service logs each request itself, with its id.
accesslog = None
logconfig_dict = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"json": {"()": JsonLines}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "json"}},
    "root": {"level": "WARNING", "handlers": ["stderr"]},
    "loggers": {
        **{name: {"level": "INFO", "handlers": ["stderr"], "propagate": False} for name in LOGGERS},
        "gunicorn.error": {"level": "INFO", "handlers": ["stderr"], "propagate": False},
        "gunicorn.access": {"level": "ERROR", "handlers": [], "propagate": False},
    },
}

# The workers' counters meet in this folder. It must be known before anything imports prometheus_client, and be empty
# at the start: files of an earlier run would be added to this one's.
_OWN_FOLDER = "ACCORD_OWN_METRICS_FOLDER"
if "PROMETHEUS_MULTIPROC_DIR" not in os.environ:
    os.environ["PROMETHEUS_MULTIPROC_DIR"] = os.environ[_OWN_FOLDER] = tempfile.mkdtemp(prefix="accord-metrics-")


# ``accord serve --new-admin-key`` HOLDER asks for one more: a second admin's, or for whoever lost theirs.
NEW_ADMIN_KEY = "ACCORD_NEW_ADMIN_KEY"
_store: EmbeddedServer | None = None


def on_starting(server: Any) -> None:
    """Open the store and check what is to be served, before any worker is there. Ends the master where that fails."""
    _empty_metrics_folder()
    try:
        _refuse_unserved(server)
        _open_store()
    except (BookError, ConfigError, StoreError, OSError, RuntimeError) as error:
        on_exit(server)
        # Shown by gunicorn without a traceback.
        raise RuntimeError(f"the service cannot start: {error}") from None
    _import_for_all(server)


def _import_for_all(server: Any) -> None:
    """Import once what all workers have to, so that they start sooner and share that memory; frozen, since the
    collector would write to it. Not before the metrics' folder is known."""
    import_module(server.app.app_uri.partition(":")[0])
    gc.collect()
    gc.freeze()


def _refuse_unserved(server: Any) -> None:
    """What the worker would refuse only once the store is open."""
    from accord_service.serving.worker import WholeRequestWorker  # not before the metrics' folder is known

    if issubclass(server.worker_class, WholeRequestWorker):
        server.worker_class.check_config(server.cfg, server.log)


def _open_store() -> None:
    global _store
    config = Config.from_env()
    _store = first_start.own_store(config)
    if _store is not None:
        os.environ[OWN_STORE_URL] = _store.url
    url = config.store_url if _store is None else _store.url
    written = first_start.furnish(url, config.data, new_admin=os.environ.pop(NEW_ADMIN_KEY, ""))
    if written is not None:
        logger.warning("a new admin's key is in %s", written.resolve())


def _empty_metrics_folder() -> None:
    folder = os.environ["PROMETHEUS_MULTIPROC_DIR"]
    os.makedirs(folder, exist_ok=True)
    for name in os.listdir(folder):
        if name.endswith(".db"):
            os.remove(os.path.join(folder, name))


def when_ready(server: Any) -> None:
    """From now on a master that stops turns callers away."""
    turn_away_when_stopping(server)


def post_fork(server: Any, worker: Any) -> None:
    """Have a crash inside the inference engine's C code leave a trace of where it was."""
    faulthandler.enable()


def post_worker_init(worker: Any) -> None:
    """Spare the book: collections that walk through it again and again cost the slowest answers most."""
    spare_the_book()


def child_exit(server: Any, worker: Any) -> None:
    """Take a dead worker's gauges out of what is shown."""
    from prometheus_client import multiprocess  # not before the folder is known

    multiprocess.mark_process_dead(worker.pid)  # type: ignore[no-untyped-call]


def on_exit(server: Any) -> None:
    """Stop the store that was started here, and take away the folder of its own that it was in."""
    if _store is not None:
        _store.stop()
    if _OWN_FOLDER in os.environ:
        shutil.rmtree(os.environ[_OWN_FOLDER], ignore_errors=True)
