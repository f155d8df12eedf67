"""``accord house``: the own shop's house rules, which make the book stricter and never looser."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from accord_rules.documents import units
from accord_rules.governance.words import PREFIX
from accord_service.cli.answerers import ServiceCall, administered
from accord_service.cli.columns import say_table
from accord_service.cli.failure import Failure
from accord_service.cli.helping import Grouped, examples
from accord_service.cli.output import Output
from accord_service.cli.own import JSON, VALIDATE_ONLY, is_conflict, print_json
from accord_service.cli.show import say_heading
from accord_service.cli.told import Document, no_such
from accord_service.steps.readable import amount

if TYPE_CHECKING:
    import accord_client

T = TypeVar("T")
_ID = click.option("--id", "id_", help=f"What the rule is called; {PREFIX} and the file's name when left out.")
_FILE = click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path), metavar="RULE.toml")


@click.group(cls=Grouped)
def house() -> None:
    """Rules and stricter limits of your own shop (owner). They hold for its orders alone."""


@house.command("list", epilog="Example: accord house list")
@JSON
@administered
def list_(put: ServiceCall, as_json: bool) -> None:
    """List the shop's stricter limits beside the book's, its own rules, and what it uses nothing of."""
    output = Output.of_terminal()
    rules = put(lambda client: client.administration.house_rules()).document
    if as_json:
        print_json(output, rules)
        return
    limits = put(lambda client: {name: client.limit(name).entry for name in rules["limits"]})
    system = units.UNIT_SYSTEMS[put(lambda client: client.shop().document["unit_system"])]
    say_heading(output, "Limits")
    rows = [
        (name, _in(system, limit), _in(system, {**limit, "value": rules["limits"][name]}), limit["title"])
        for name, limit in limits.items()
    ]
    say_table(output, ("limit", "book", "house", "what it says"), rows, none="All as the book has them.")
    say_heading(output, "Rules")
    own = [(id_, rule["level"], rule["title"]) for id_, rule in rules["rules"].items()]
    say_table(output, ("rule", "level", "what it finds"), own, none="None of the shop's own.")
    without = [(name, kind.removesuffix("s")) for kind, names in rules["without"].items() for name in names]
    if without:
        say_heading(output, "Not used here")
        say_table(output, ("name", "kind"), without)


def _in(system: units.UnitPreferences, limit: Document) -> str:
    """A limit's value in the shop's unit, so that the book's and the shop's can be compared."""
    value, dimension = limit["value"], units.DIMENSIONS[limit["dimension"]]
    if not isinstance(value, str):
        return amount(limit)
    return units.show(dimension, units.parse(dimension, value), system)


@house.command("add", epilog="Example: accord house add look-twice.toml")
@_FILE
@_ID
@JSON
@administered
def add(put: ServiceCall, file: Path, id_: str | None, as_json: bool) -> None:
    """Add the rule of RULE.toml, which is written as the book's are (rules/accord_rules/book/README.md)."""
    _add(put, file, id_, validate_only=False, as_json=as_json)


@house.command("test", epilog="Example: accord house test look-twice.toml")
@_FILE
@_ID
@JSON
@administered
def test(put: ServiceCall, file: Path, id_: str | None, as_json: bool) -> None:
    """Have the rule of RULE.toml checked, its examples too, and write nothing."""
    _add(put, file, id_, validate_only=True, as_json=as_json)


@house.command("tighten", epilog='Example: accord house tighten press.spread_most "6 K"')
@click.argument("limit")
@click.argument("value")
@VALIDATE_ONLY
@JSON
@administered
def tighten(put: ServiceCall, limit: str, value: str, validate_only: bool, as_json: bool) -> None:
    """Make LIMIT stricter for your shop: VALUE as `accord limit` shows it. Looser is refused, with a witness."""
    output = Output.of_terminal()
    try:
        entry = put(lambda client: _limit_entry(client, limit))
    except LookupError:
        known = put(lambda client: [line.id for line in client.limits()])
        raise no_such(f"The book has no limit {limit!r}.", limit, known, "accord limits") from None
    wanted = _value(value, entry)
    before = put(lambda client: client.administration.house_limit(limit)).document["value"]
    after = _put(put, lambda client: _limit_set(client, limit, wanted, validate_only))
    if as_json:
        print_json(output, after)
        return
    from_ = amount(entry) if before is None else amount({**entry, "value": before})
    to = amount({**entry, "value": after["value"]})
    output.say(
        f"{'Could be tightened' if validate_only else 'Tightened'}: {limit}, from {from_} to {to} for your shop."
    )
    output.say(entry["title"], lead="    ")


@house.command(
    "remove", epilog=examples("accord house remove house.look-twice", "accord house remove press.spread_most")
)
@click.argument("name")
@VALIDATE_ONLY
@JSON
@administered
def remove(put: ServiceCall, name: str, validate_only: bool, as_json: bool) -> None:
    """Take a rule out of the house rules, or give a limit back to the book."""
    output = Output.of_terminal()
    rules = put(lambda client: client.administration.house_rules()).document
    known = [*rules["rules"], *rules["limits"]]
    if name not in known:
        if not known:
            raise Failure("The shop has no house rules.")
        raise no_such(f"The house rules have no {name!r}.", name, known, "accord house list")
    if name in rules["rules"]:
        left = _put(put, lambda client: _retried(lambda: _rule_removed(client, name, validate_only)))
    else:
        left = _put(put, lambda client: _limit_set(client, name, None, validate_only))
    if as_json:
        print_json(output, left)
    else:
        output.say(f"{'Could be removed' if validate_only else 'Removed'}: {name}.")


def _add(put: ServiceCall, file: Path, id_: str | None, *, validate_only: bool, as_json: bool) -> None:
    output = Output.of_terminal()
    try:
        rule = tomllib.loads(file.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise Failure(f"{file}: {error}") from None
    name = id_ or PREFIX + file.stem.removeprefix(PREFIX)
    made = _put(put, lambda client: client.administration.add_house_rule(name, rule, validate_only=validate_only))
    if as_json:
        print_json(output, made)
    else:
        output.say(f"{'Holds on its examples, and could be added' if validate_only else 'Added'}: {name}.")


def _limit_entry(client: accord_client.Client, name: str) -> Document:
    """Raises LookupError."""
    import accord_client

    try:
        return client.limit(name).entry
    except (accord_client.NotFound, ValueError):
        raise LookupError(name) from None


def _value(text: str, limit: Document) -> str | float:
    """A value as the book writes it: a plain number where the limit has one, with or without its unit."""
    if isinstance(limit["value"], str):
        return text
    number = text.strip().partition(" ")[0].removesuffix("%")
    try:
        return int(number)
    except ValueError:
        try:
            return float(number.replace(",", "."))
        except ValueError:
            raise Failure(f"{text!r} is no number; the limit is {amount(limit)}.") from None


def _limit_set(client: accord_client.Client, name: str, value: Any, validate_only: bool) -> Document:
    def write() -> Document:
        etag = client.administration.house_limit(name).etag
        return client.administration.replace_house_limit(name, value, etag, validate_only=validate_only).document

    return _retried(write)


def _rule_removed(client: accord_client.Client, name: str, validate_only: bool) -> Document:
    etag = client.administration.house_rule(name).etag
    return client.administration.remove_house_rule(name, etag, validate_only=validate_only)


def _retried(write: Callable[[], T]) -> T:
    """A write done again, once, where somebody else changed the house rules meanwhile."""
    import accord_client

    try:
        return write()
    except accord_client.ProblemError as error:
        if not is_conflict(error):
            raise
    click.echo("Somebody else changed the house rules meanwhile: tried again on what they are now.", err=True)
    return write()


def _put(put: ServiceCall, ask: Callable[[accord_client.Client], T]) -> T:
    """The answer; what is refused is told with the orders that would slip through."""
    import accord_client

    def told(client: accord_client.Client) -> T:
        try:
            return ask(client)
        except accord_client.ProblemError as error:
            refusals = error.problem.get("refusals")
            if not refusals:
                raise
            raise Failure("\n".join([f"{error.title}:", *map(_refusal, refusals)])) from None

    return put(told)


def _refusal(refusal: Document) -> str:
    place = "" if refusal["pointer"] in ("", "/value") else f"{refusal['pointer']}: "
    witness = refusal["witness"]
    if witness is None:
        return f"  {place}{refusal['message']}"
    lost = ", ".join(witness["lost"])
    return (
        f"  {place}{refusal['message']}.\n"
        f"  This order is {witness['shared_verdict']} by the book and would be {witness['house_verdict']} here"
        f"{f', without {lost}' if lost else ''}:\n"
        f"    {json.dumps(witness['order'], ensure_ascii=False)}"
    )
