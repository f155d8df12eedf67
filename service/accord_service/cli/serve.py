"""``accord serve``: the service itself, under gunicorn."""

from __future__ import annotations

import errno
import os
import socket
import sys
from pathlib import Path

import click

from accord_rules.documents.reading import LeafError
from accord_service.cli.failure import Failure
from accord_service.run.config import DATA, Config, ConfigError

GUNICORN_CONFIG = "python:accord_service.serving.gunicorn_config"


def _holder(context: click.Context, parameter: click.Parameter, value: str | None) -> str | None:
    """A name left empty by mistake must not start a service without the key that was wanted."""
    if value is None:
        return None
    from accord_service.http.holders import Holder

    try:
        return Holder().leaf(value)
    except LeafError as error:
        raise click.BadParameter(error.message) from None


@click.command(epilog="Example: accord serve --data .data/demo --port 8080")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", type=click.IntRange(1, 65535), default=8080, show_default=True, help="Port to listen on.")
@click.option("--workers", type=click.IntRange(1, 64), envvar="ACCORD_WORKERS", show_envvar=True, help="Processes.")
@click.option(
    "--threads", type=click.IntRange(1, 64), envvar="ACCORD_THREADS", show_envvar=True, help="Threads a process."
)
@click.option(
    "--data",
    type=click.Path(file_okay=False, path_type=Path),
    envvar="ACCORD_DATA",
    show_envvar=True,
    default=DATA,
    show_default=True,
    help="Folder for the store that comes along, and for new keys.",
)
@click.option(
    "--store",
    envvar="ACCORD_STORE_URL",
    show_envvar=True,
    default="",
    help="Address of a Redis or Valkey to use instead: redis://, rediss://, unix:// or redis+sentinel://.",
)
@click.option(
    "--new-admin-key",
    metavar="HOLDER",
    envvar="ACCORD_NEW_ADMIN_KEY",
    show_envvar=True,
    callback=_holder,
    help="Make one more admin key, for HOLDER (a second admin, or whoever lost theirs), unless it lies there.",
)
def serve(
    host: str, port: int, workers: int | None, threads: int | None, data: Path, store: str, new_admin_key: str | None
) -> None:
    """Run the service until it is told to stop (Ctrl-C or SIGTERM).

    The first start, on an empty store, puts this program's book into it, makes an admin key, and says where that is.
    """
    os.environ |= {"ACCORD_DATA": str(data), "ACCORD_STORE_URL": store}
    os.environ |= {"ACCORD_NEW_ADMIN_KEY": new_admin_key or ""}
    _refuse_what_cannot_start()
    _refuse_a_busy_port(host, port)
    arguments = [sys.executable, "-m", "gunicorn", "-c", GUNICORN_CONFIG, "--bind", _bind(host, port)]
    arguments += ["--workers", str(workers)] if workers is not None else []
    arguments += ["--threads", str(threads)] if threads is not None else []
    sys.stdout.flush()
    os.execv(sys.executable, arguments)


def _refuse_what_cannot_start() -> None:
    """What can be seen without starting anything. The rest gunicorn says, before any worker is made."""
    from accord_service.store import Store, StoreError
    from accord_service.store.embedded import wheel_binary

    try:
        config = Config.from_env()
        if config.store_url:
            Store.at(config.store_url).close()
        else:
            wheel_binary()
    except (ConfigError, StoreError) as error:
        raise Failure(f"The service cannot start: {error}") from None


def _refuse_a_busy_port(host: str, port: int) -> None:
    """gunicorn would try five times and end with a log. Whatever else is wrong with the address is left to it."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # as gunicorn binds
        try:
            probe.bind((host, port))
        except OSError as error:
            if error.errno == errno.EADDRINUSE:
                message = (
                    f"Port {port} of {host} is in use by another program: name a free one, --port (PORT= for make)."
                )
                raise Failure(message) from None


def _bind(host: str, port: int) -> str:
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
