"""``accord serve``: the service itself, under gunicorn."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import click

from accord_rules.documents import BookError
from accord_service.app import create_app
from accord_service.cli.asking import Failure
from accord_service.config import Config, ConfigError
from accord_service.shops import ShopsError

GUNICORN_CONFIG = "python:accord_service.gunicorn_config"


@click.command(short_help="Run the service.")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", type=click.IntRange(1, 65535), default=8080, show_default=True, help="Port to listen on.")
@click.option("--workers", type=click.IntRange(1, 64), envvar="ACCORD_WORKERS", show_envvar=True, help="Processes.")
@click.option(
    "--threads", type=click.IntRange(1, 64), envvar="ACCORD_THREADS", show_envvar=True, help="Threads a process."
)
@click.option(
    "--shops",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Folder with shops/*.toml and keys.toml; ACCORD_SHOPS_FOLDER when left out.",
)
def serve(host: str, port: int, workers: int | None, threads: int | None, shops: Path | None) -> None:
    """Run the service until it is told to stop (Ctrl-C or SIGTERM); SIGHUP reads shops and keys anew."""
    if shops is not None:
        os.environ["ACCORD_SHOPS_FOLDER"] = str(shops)
    _refuse_what_cannot_start()
    arguments = [sys.executable, "-m", "gunicorn", "-c", GUNICORN_CONFIG, "--bind", _bind(host, port)]
    arguments += ["--workers", str(workers)] if workers is not None else []
    arguments += ["--threads", str(threads)] if threads is not None else []
    sys.stdout.flush()
    os.execv(sys.executable, arguments)


def _refuse_what_cannot_start() -> None:
    """Whatever would stop a worker is said here first, in plain words rather than in a worker's traceback."""
    try:
        create_app(Config.from_env())
    except (BookError, ShopsError, ConfigError) as error:
        raise Failure(
            "The service cannot start:\n" + "\n".join(f"  {line}" for line in str(error).splitlines())
        ) from None


def _bind(host: str, port: int) -> str:
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
