"""Who answers: a service over HTTP, the bundle that was pulled from one (``--local``), or the shipped book
(``--shipped``)."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

import click
from click.core import ParameterSource

from accord_service.cli.away import WhileAway
from accord_service.cli.failure import Failure
from accord_service.cli.orders import Refused
from accord_service.cli.told import Answerer

if TYPE_CHECKING:
    import accord_client

T = TypeVar("T")
Command = Callable[..., Any]
# A change of the book is checked with the whole of it before it is answered, and orders wait their turn.
_CONNECT_S, _SILENCE_S, _CHANGE_SILENCE_S = 3.05, 10.0, 60.0

# -- options -------------------------------------------------------------------------------------------------------

_URL = click.option("--url", envvar="ACCORD_URL", show_envvar=True, help="Address of the service to ask.")
_TOKEN = click.option("--token", envvar="ACCORD_TOKEN", show_envvar=True, help="Your key.")
_INSECURE = click.option("--allow-insecure", is_flag=True, help="Send your key over plain http to another machine.")
_OPTIONS = (
    _URL,
    _TOKEN,
    click.option("--local", is_flag=True, help="Answer in this process from the bundle that was pulled."),
    click.option("--shipped", is_flag=True, help="Answer in this process from the shipped book, for an example shop."),
    click.option(
        "--shop",
        "shop_file",
        type=click.Path(exists=True, dir_okay=False, path_type=Path),
        help="With --shipped: the shop's TOML file; an example shop with one press of each type when left out.",
    ),
    click.option(
        "--book",
        "book_folder",
        type=click.Path(exists=True, file_okay=False, path_type=Path),
        help="With --shipped: a folder with another book than the shipped one, such as one being edited.",
    ),
    _INSECURE,
)


def answered(command: Command) -> Command:
    """The options that say who answers. The command gets them as keywords, to be passed to ``answerer``."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


@contextmanager
def answerer(
    url: str | None,
    token: str | None,
    local: bool,
    shipped: bool,
    shop_file: Path | None,
    book_folder: Path | None,
    allow_insecure: bool,
) -> Iterator[Answerer]:
    """Whoever the options name, closed afterwards. Raises UsageError where they make no sense, Failure otherwise."""
    if local and shipped:
        raise click.UsageError("--local answers from your shop's bundle, --shipped from the shipped book: choose one.")
    if (local or shipped) and _on_the_command_line("url"):
        raise click.UsageError(f"{'--local' if local else '--shipped'} asks no service: leave out --url.")
    if shipped:
        from accord_service.cli.here import here

        yield from here(shop_file, book_folder)
        return
    if shop_file or book_folder:
        raise click.UsageError("--shop and --book go with --shipped; a service and a bundle know shop and book.")
    if local:
        from accord_service.cli.here import bundled

        yield from bundled(token)
        return
    if not url or not token:
        raise click.UsageError(
            "Say who is to answer: --url and --token (or ACCORD_URL and ACCORD_TOKEN) for a service, --local for the"
            " bundle of one that was pulled, or --shipped for the book that comes along and an example shop."
        )
    from accord_service.cli.service import Service

    with WhileAway(token) as while_away, _client(url, token, allow_insecure, while_away) as client:
        yield Service(client, url, while_away)


class ServiceCall(Protocol):
    """Puts one question or change to the service, with what it refuses as this command's own failures."""

    def __call__(self, ask: Callable[[accord_client.Client], T], /) -> T: ...


def administered(command: Command) -> Command:
    """The options of commands that only a service can answer. Its first argument is a ``ServiceCall``."""

    @wraps(command)
    def run(url: str | None, token: str | None, allow_insecure: bool, **options: Any) -> Any:
        with put_to(url, token, allow_insecure) as put:
            return command(put, **options)

    return service_named(run)


def service_named(command: Command) -> Command:
    """The options that name a service. The command gets them as keywords, to be passed to ``put_to``."""
    for option in (_INSECURE, _TOKEN, _URL):
        command = option(command)
    return command


def key_named(command: Command) -> Command:
    """The option that says whose key it is, where no service is asked. The command gets ``token``."""
    return _TOKEN(command)


@contextmanager
def put_to(url: str | None, token: str | None, allow_insecure: bool) -> Iterator[ServiceCall]:
    """A ``ServiceCall`` to the service that the options name. Raises UsageError."""
    with _client(url, token, allow_insecure, silence_s=_CHANGE_SILENCE_S) as client:
        yield _put_to(client)


def _put_to(client: accord_client.Client) -> ServiceCall:
    from accord_service.cli.service import answer_of

    def put(ask: Callable[[accord_client.Client], T], /) -> T:
        try:
            return answer_of(lambda: ask(client))
        except Refused as refused:
            reasons = "\n".join(f"  {fault}" for fault in refused.faults)
            raise Failure(f"{refused.title}:\n{reasons or refused.detail}") from None

    return put


@contextmanager
def _client(
    url: str | None,
    token: str | None,
    allow_insecure: bool,
    while_away: WhileAway | None = None,
    silence_s: float = _SILENCE_S,
) -> Iterator[accord_client.Client]:
    import accord_client

    if not url or not token:
        raise click.UsageError("Say which service: --url and --token, or ACCORD_URL and ACCORD_TOKEN.")
    try:
        timeout = (_CONNECT_S, silence_s)
        client = accord_client.Client(url, token, timeout, allow_insecure=allow_insecure, offline=while_away)
    except accord_client.UnsafeAddress as error:
        raise click.UsageError(f"{error}. On a network you trust, --allow-insecure permits it.") from None
    except ValueError as error:
        raise click.UsageError(f"{error}.") from None
    with client:
        yield client


def _on_the_command_line(option: str) -> bool:
    return click.get_current_context().get_parameter_source(option) is ParameterSource.COMMANDLINE
