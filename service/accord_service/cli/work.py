"""``accord work``: a process that works out effects of proposals, beside the service or on a machine of its own."""

from __future__ import annotations

import click


@click.command(
    short_help="Work out effects of proposals.", epilog="Example: accord work --store redis://127.0.0.1:6379/0"
)
@click.option(
    "--store",
    envvar="ACCORD_STORE_URL",
    show_envvar=True,
    default="",
    help="Address of the Redis or Valkey that the service uses.",
)
@click.option("--owner", type=int, hidden=True, help="End when the process of this id is no longer the parent.")
def work(store: str, owner: int | None) -> None:
    """Work out effects of proposals until told to stop (Ctrl-C or SIGTERM), at low priority.

    Each service runs one such process itself (ACCORD_JOB_PROCESSES). More of them, on any machine that reaches the
    store, share the work: each takes one core. They need the key that seals the audit (ACCORD_SEAL_KEY_FILE, or the
    data folder's). One that is ended, however that happens, loses nothing.
    """
    from accord_service.cli.working import work_until_told

    work_until_told(store, owner)
