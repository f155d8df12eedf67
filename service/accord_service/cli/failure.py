"""How a command says that it cannot answer."""

from __future__ import annotations

import click


class Failure(click.ClickException):
    """Nothing can be answered at all: wrong use, no service, no book."""

    exit_code = 2
