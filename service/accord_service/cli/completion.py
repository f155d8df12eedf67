"""``accord completion``: what lets a shell complete commands and options."""

from __future__ import annotations

import click
from click.shell_completion import ShellComplete, get_completion_class

_SHELLS = ("bash", "zsh", "fish")


@click.command(epilog='Example: eval "$(accord completion bash)", as a line of ~/.bashrc')
@click.argument("shell", type=click.Choice(_SHELLS))
def completion(shell: str) -> None:
    """Print what makes SHELL complete commands and options of accord, for its startup file.

    bash takes it from 4.4 on; fish keeps it in ~/.config/fish/completions/accord.fish.
    """
    root = click.get_current_context().find_root().command
    kind = get_completion_class(shell)
    assert kind is not None
    # Not the shell's own source(): bash's starts a bash to ask its version, and may be asked for on another machine.
    click.echo(ShellComplete.source(kind(root, {}, "accord", "_ACCORD_COMPLETE")))
