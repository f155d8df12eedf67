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
from pathlib import Path
from typing import Any

from accord_rules.documents.files import BookError
from accord_rules.documents.reading import LeafError
from accord_service.http.holders import Holder
from accord_service.run.config import OWN_STORE_URL, SEAL_KEY_FILE, Config, ConfigError
from accord_service.run.log import LOGGERS, JsonLines
from accord_service.run.retired_counts import retire
from accord_service.serving import first_start
from accord_service.serving.helpers import Helpers
from accord_service.serving.newcomers import bind_without_listening, open_door, turn_away_when_stopping
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
# A worker that answered so many requests, give or take a fifth, is replaced, which gives back whatever memory it came
# to hold. All that it accepted is answered before; the fifth keeps workers that started together from ending together.
max_requests = int(os.environ.get("ACCORD_WORKER_REQUESTS", "100000"))
max_requests_jitter = max_requests // 5
# A worker's clients at once. Each takes a file descriptor, and many systems give a process no more than 1,024.
worker_connections = 500
# Whose word it is that a request came over TLS (X-Forwarded-Proto), for the cookies of pages: addresses, or *.
forwarded_allow_ips = os.environ.get("ACCORD_PROXIES", "127.0.0.1,::1")
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
_helpers: Helpers | None = None
# What works out effects of proposals: never in a thread that answers requests, nor in a worker's process.
_WORK = ("-c", "from accord_service.cli.main import main; main(prog_name='accord')", "work")


def on_starting(server: Any) -> None:
    """Open the store and check what is to be served, before any worker is there. Ends the master where that fails."""
    _empty_metrics_folder()
    try:
        _refuse_unserved(server)
        _open_store()
        bind_without_listening()
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
    config, new_admin = Config.from_env(), _new_admin()
    _store = first_start.own_store(config)
    if _store is not None:
        os.environ[OWN_STORE_URL] = _store.url
    url = config.store_url if _store is None else _store.url
    written = first_start.furnish(url, config.data, new_admin=new_admin)
    # For whatever the master starts: each opens a store of its own.
    os.environ.setdefault(SEAL_KEY_FILE, str(config.seal_key_file.resolve()))
    if written is not None:
        logger.warning("a new admin's key is in %s", written.resolve())


def _new_admin() -> str:
    """Whose the new admin's key is to be, by the reader that every holder's name has; empty for none.

    Raises ConfigError for a name that nobody could see.
    """
    said = os.environ.pop(NEW_ADMIN_KEY, "")
    try:
        return Holder().leaf(said) if said else ""
    except LeafError as error:
        raise ConfigError(f"{NEW_ADMIN_KEY} {error.message}") from None


def _empty_metrics_folder() -> None:
    folder = os.environ["PROMETHEUS_MULTIPROC_DIR"]
    os.makedirs(folder, exist_ok=True)
    for name in os.listdir(folder):
        if name.endswith(".db"):
            os.remove(os.path.join(folder, name))


def when_ready(server: Any) -> None:
    """From now on a master that stops turns callers away; what works beside the workers is started."""
    global _helpers
    turn_away_when_stopping(server)
    _helpers = Helpers(_WORK, Config.from_env().job_processes)
    _helpers.start()


def post_fork(server: Any, worker: Any) -> None:
    """Have a crash inside the inference engine's C code leave a trace of where it was."""
    faulthandler.enable()


def post_worker_init(worker: Any) -> None:
    """Spare the book, since collections that walk through it cost the slowest answers most; and let callers in."""
    spare_the_book()
    open_door(worker)


def child_exit(server: Any, worker: Any) -> None:
    """Take a dead worker's gauges out of what is shown, and put what it counted to what all dead ones did."""
    from prometheus_client import multiprocess  # not before the folder is known

    multiprocess.mark_process_dead(worker.pid)  # type: ignore[no-untyped-call]
    try:
        retire(Path(os.environ["PROMETHEUS_MULTIPROC_DIR"]), worker.pid)
    except OSError as error:  # as on a full disk; the files stay, and are counted as they are
        logger.warning("the counts of a dead worker stay in files of their own: %s", error.strerror)


def on_exit(server: Any) -> None:
    """Stop what was started here, the store last, and take away the folder of its own that it was in."""
    if _helpers is not None:
        _helpers.stop()
    if _store is not None:
        _store.stop()
    if _OWN_FOLDER in os.environ:
        shutil.rmtree(os.environ[_OWN_FOLDER], ignore_errors=True)
