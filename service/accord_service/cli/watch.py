"""``accord watch``: what happens, a line each, for eyes or for a pipe."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import click

from accord_service.cli.answerers import ServiceCall, administered
from accord_service.cli.failure import Failure
from accord_service.cli.output import Output

if TYPE_CHECKING:
    import accord_client


@click.command(epilog="Example: accord watch --once")
@click.option("--since", type=click.IntRange(0), help="The number of the last line that is known; now when left out.")
@click.option("--every", type=click.IntRange(1, 3600), default=30, show_default=True, help="Ask every so many seconds.")
@click.option("--once", is_flag=True, help="Ask once, print, and end.")
@click.option("--json", "as_json", is_flag=True, help="A JSON object a line.")
@administered
def watch(put: ServiceCall, since: int | None, every: int, once: bool, as_json: bool) -> None:
    """Print what happens as far as it concerns your key, until Ctrl-C: a line each, with its number first.

    A service that can't be reached is said once, on standard error, and asked on. Nothing is lost: it is told
    everything since the last line.

    \b
    accord watch | while IFS= read -r line; do printf '%s\\n' "$line" | mail -s "The book" you@shop.example; done
    """
    output, away = Output.of_terminal(), False
    while True:
        try:
            news = put(partial(_news, since))
        except Failure as failure:
            if once:
                raise
            if not away:
                click.echo(f"{failure} Asking on.", err=True)
            away = True
        else:
            if away:
                click.echo("The service answers again.", err=True)
            away = False
            since = news["seq"]
            for item in news["items"]:
                click.echo(json.dumps(item, ensure_ascii=not output.is_utf) if as_json else _line(output, item))
            if news["more"]:
                continue
            if once:
                if not as_json:
                    _waiting(output, news)
                return
        sys.stdout.flush()
        time.sleep(every)


def _news(since: int | None, client: accord_client.Client) -> Mapping[str, Any]:
    return client.governance.news(since)


def _line(output: Output, item: Mapping[str, Any]) -> str:
    by = item["by"]
    whose = "" if by is None else f" ({by['holder'] or by['role']}, {by['shop_id']})"
    parts = (str(item["seq"]), item["at"][:16].replace("T", " "), item["text"] + whose)
    return "\t".join(map(output.fit, parts))


def _waiting(output: Output, news: Mapping[str, Any]) -> None:
    ids = news["proposals_waiting"]
    if ids:
        click.echo(output.fit(f"Waiting for a steward's decision: {', '.join(ids)}."), err=True)
    click.echo(f"Up to {news['seq']}: accord watch --since {news['seq']} goes on from here.", err=True)
