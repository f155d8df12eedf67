"""``accord proposal``: what becomes of a change of the book that somebody asks for."""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import click

from accord_rules.governance.words import STATES
from accord_service.cli.answerers import ServiceCall, administered
from accord_service.cli.codes import NOT_DONE
from accord_service.cli.columns import say_table
from accord_service.cli.difference import say_changes
from accord_service.cli.failure import Failure
from accord_service.cli.helping import Grouped, examples
from accord_service.cli.output import Output
from accord_service.cli.show import say_heading, say_list
from accord_service.cli.told import Document
from accord_service.steps.readable import recorded_since

if TYPE_CHECKING:
    import accord_client


_LABEL_COLUMN = 12
_ORDERS_MOST = 12
_DOES: Mapping[str, str] = MappingProxyType(
    {
        "equal": "No answer becomes another",
        "mixed": "The book becomes stricter for some orders and looser for others",
    }
)
_ID = click.argument("id_", metavar="PROPOSAL")
_JSON = click.option("--json", "as_json", is_flag=True, help="Print the raw answer.")
_REASON = click.option("--reason", required=True, help="Why; everybody may read it.")
_VALIDATE_ONLY = click.option("--validate-only", is_flag=True, help="Check everything, write nothing.")


@click.group(cls=Grouped)
def proposal() -> None:
    """Changes of the book that are asked for: drafted, opened, approved or declined, published or withdrawn."""


@proposal.command("list", epilog="Example: accord proposal list --state open")
@click.option("--state", type=click.Choice(STATES), help="Only those in this state.")
@_JSON
@administered
def list_(put: ServiceCall, state: str | None, as_json: bool) -> None:
    """List proposals, newest first."""
    output = Output.of_terminal()
    proposals = put(lambda client: list(client.governance.proposals(state)))
    if as_json:
        _print(output, proposals)
        return
    rows = (
        (
            p["proposal_id"],
            p["state"],
            _approvals(p),
            _author(p),
            p["changed_at"][:10],
            p["reason"],
        )
        for p in proposals
    )
    none = f"No proposal is {state}." if state else "Nobody has proposed anything yet."
    say_table(output, ("proposal", "state", "approvals", "author", "changed on", "reason"), rows, none=none)


@proposal.command("show", epilog="Example: accord proposal show p1")
@_ID
@_JSON
@administered
def show(put: ServiceCall, id_: str, as_json: bool) -> None:
    """Show one whole: what it asks to be different, why, on what evidence, and what became of it."""
    output = Output.of_terminal()
    written = put(lambda client: client.governance.proposal(id_)).document
    status = put(lambda client: client.governance.status(id_))
    if as_json:
        _print(output, {**status, **written})
        return
    before = put(lambda client: client.governance.revision(written["base"]["revision"], documents=True))
    show_status(output, status, written)
    say_changes(output, written["changes"], before["documents"])
    if status["digests"]["replay_digest"] is not None:
        _show_since(output, put(lambda client: _effect_for(client, id_)))


@proposal.command("open", epilog="Example: accord proposal open p1")
@_ID
@click.option("--no-wait", is_flag=True, help="Do not wait for the effect; accord proposal effect tells how far it is.")
@_JSON
@administered
def open_(put: ServiceCall, id_: str, no_wait: bool, as_json: bool) -> None:
    """Have the effect worked out on all recorded orders; when it is done, the proposal is before the stewards.

    It goes on in the service whether or not this command waits. Opened again, the effect is worked out anew.
    """
    output = Output.of_terminal()
    answer = put(lambda client: client.governance.open(id_))
    if not no_wait:
        progress = _Progress()
        answer = put(lambda client: _waited(client, id_, progress))
        progress.end()
    if as_json:
        _print(output, answer)
    else:
        _show_effect(output, answer)


@proposal.command("effect", epilog="Example: accord proposal effect p1 --witnesses")
@_ID
@click.option("--witnesses", is_flag=True, help="With an order for each rule and direction, ready to be validated.")
@_JSON
@administered
def effect(put: ServiceCall, id_: str, witnesses: bool, as_json: bool) -> None:
    """Tell what a proposal would do: the orders that get another answer, by shop and rule; or how far that is."""
    output = Output.of_terminal()
    answer = put(lambda client: client.governance.effect(id_))
    if as_json:
        _print(output, answer)
        return
    _show_effect(output, answer)
    for witness in (answer["effect"] or {}).get("witnesses", ()) if witnesses else ():
        say_heading(output, f"{witness['rule']}, {witness['direction']}: {witness['before']} to {witness['after']}")
        click.echo(output.fit(json.dumps(witness["asked"], ensure_ascii=False)))


@proposal.command("approve", epilog="Example: accord proposal approve p1")
@_ID
@click.option("--yes", is_flag=True, help="Approve without being asked, once you have seen the effect.")
@_VALIDATE_ONLY
@_JSON
@administered
@click.pass_context
def approve(
    context: click.Context, /, put: ServiceCall, id_: str, yes: bool, validate_only: bool, as_json: bool
) -> None:
    """Approve a proposal, as a steward: exactly the changes, the base and the effect that are shown."""
    output = Output.of_terminal()
    status = put(lambda client: client.governance.status(id_))
    if not (yes or validate_only):
        _show_bound(output, put, status)
        if not _asked(f"Approve exactly this of {id_}?"):
            output.say("Nothing was approved.")
            context.exit(NOT_DONE)
    approved = put(lambda client: client.governance.approve(status, validate_only=validate_only))
    _stepped(output, approved, "Could be approved" if validate_only else "Approved", as_json)
    if approved["state"] == "approved" and not (validate_only or as_json):
        output.say(f"accord proposal publish {id_}", lead="    ")


@proposal.command("decline", epilog=examples('accord proposal decline p1 --reason "The reports are of another paper."'))
@_ID
@_REASON
@_VALIDATE_ONLY
@_JSON
@administered
def decline(put: ServiceCall, id_: str, reason: str, validate_only: bool, as_json: bool) -> None:
    """Decline somebody else's proposal, as a steward. It ends there."""
    declined = put(lambda client: client.governance.decline(id_, reason, validate_only=validate_only))
    _stepped(Output.of_terminal(), declined, "Could be declined" if validate_only else "Declined", as_json)


@proposal.command("withdraw", epilog='Example: accord proposal withdraw p1 --reason "I misread the list."')
@_ID
@_REASON
@_VALIDATE_ONLY
@_JSON
@administered
def withdraw(put: ServiceCall, id_: str, reason: str, validate_only: bool, as_json: bool) -> None:
    """Withdraw your own proposal. It ends there."""
    withdrawn = put(lambda client: client.governance.withdraw(id_, reason, validate_only=validate_only))
    _stepped(Output.of_terminal(), withdrawn, "Could be withdrawn" if validate_only else "Withdrawn", as_json)


@proposal.command("publish", epilog="Example: accord proposal publish p1")
@_ID
@_VALIDATE_ONLY
@_JSON
@administered
def publish(put: ServiceCall, id_: str, validate_only: bool, as_json: bool) -> None:
    """Publish an approved proposal, as a steward: it is the next revision, and every shop's answers come from it."""
    output = Output.of_terminal()
    published = put(lambda client: client.governance.publish(id_, validate_only=validate_only))
    if as_json:
        _print(output, published)
    elif validate_only:
        output.say(f"Could be published: {id_}.")
    else:
        output.say(f"Published: {id_} is revision {published['revision']} of the book.")
        output.say(f"accord revision {published['revision']} --changes", lead="    ")


# -- what is shown ---------------------------------------------------------------------------------------------------


def show_status(output: Output, status: Document, written: Document) -> None:
    """Where a proposal is in its life, by whom, and why."""
    output.say("", lead=f"{status['proposal_id'] or 'Not drafted'}  {status['state']}", lead_style={"bold": True})
    rows = [
        ("Author", named(status["author"], status["author_id"])),
        ("Base", f"revision {written['base']['revision']}"),
        ("Reason", written["reason"]),
        ("Evidence", written["evidence"]),
        ("Approvals", _approvals(status)),
    ]
    for approval in status["approvals"]:
        lapsed = f": does not count. {approval['lapsed']}" if approval["lapsed"] else ""
        rows.append(("", f"{named(approval['by'], approval['key_id'])}{lapsed}"))
    if status["shown"] is not None and status["shown"]["loosens_safety"]:
        rows.append(("Loosens", f"what keeps people safe: {', '.join(status['shown']['loosens_safety'])}"))
    if status["ended_because"]:
        rows.append(("Ended", status["ended_because"]))
    for label, text in rows:
        output.say(text, lead=f"  {label}", indent=2 + _LABEL_COLUMN)


def named(person: Document | None, id_: str) -> str:
    """Whose key it is, by name, role and shop; by its id where nobody is known."""
    if person is None:
        return id_
    return f"{person['holder'] or id_}, {person['role']} of {person['shop_id']}"


def _approvals(status: Document) -> str:
    """How many count, of how many that are needed; how many that are, only the effect tells."""
    if status["shown"] is None:
        return "none before it is open"
    return f"{status['approvals_valid']} of {status['approvals_needed']}"


def _author(status: Document) -> str:
    person = status["author"]
    return status["author_id"] if person is None else f"{person['holder'] or status['author_id']}, {person['shop_id']}"


def _show_bound(output: Output, put: ServiceCall, status: Document) -> None:
    """All that an approval binds to, so that what is approved is what was seen."""
    id_ = status["proposal_id"]
    written = put(lambda client: client.governance.proposal(id_)).document
    before = put(lambda client: client.governance.revision(written["base"]["revision"], documents=True))
    show_status(output, status, written)
    say_changes(output, written["changes"], before["documents"])
    if status["digests"]["replay_digest"] is not None:
        output.blank()
        _show_effect(output, put(lambda client: client.governance.effect(id_)))
    say_heading(output, "The approval binds to")
    for name, word in (("change_digest", "changes"), ("base_digest", "base"), ("replay_digest", "effect")):
        output.say(f"the {word}, by its digest", lead="    ")
        output.say(status["digests"][name] or "not worked out yet", indent=6)
    output.blank()


def _asked(question: str) -> bool:
    try:
        return click.confirm(question)
    except click.Abort:
        raise Failure("Nobody answered, so nothing was approved; --yes approves without asking.") from None


def _stepped(output: Output, status: Document, word: str, as_json: bool) -> None:
    if as_json:
        _print(output, status)
        return
    output.say(f"{word}: {status['proposal_id']}, which is {status['state']} now; approvals: {_approvals(status)}.")


def _show_effect(output: Output, answer: Document) -> None:
    effect = answer["effect"]
    output.say(_how_far(answer), lead=f"EFFECT of {answer['proposal_id']}  ", lead_style={"bold": True}, indent=4)
    _show_since(output, answer)
    if effect is not None:
        _show_decision(output, effect)
    for source, of in (("recorded", "recorded orders"), ("edge", "orders made at the edges of limits")):
        counts = [count for count in answer["counts"] if count["source"] == source]
        if counts:
            say_heading(output, f"Other answers to {of}, and how many verdicts turn")
            rows = [
                (c["rule"], c["direction"], c["shop_id"], f"{c['verdicts']} of {c['orders']}")
                for c in sorted(counts, key=lambda c: (-c["verdicts"], -c["orders"], c["rule"], c["shop_id"]))
            ]
            say_table(output, ("rule", "direction", "shop", "turned"), rows[:_ORDERS_MOST])
            if len(rows) > _ORDERS_MOST:
                output.say(f"and {len(rows) - _ORDERS_MOST} rows more (--json has them all).", lead="  ")
    if answer["others_left_out"]:
        output.say("What it does to other shops' recorded orders is for stewards to see.", lead="  ")


def _show_since(output: Output, answer: Document) -> None:
    """That the effect is not of all orders any more."""
    if since := recorded_since(answer):
        output.say(since, lead="  ! ")


def _effect_for(client: accord_client.Client, id_: str) -> Document:
    """The effect; nothing for a key of the counter, who reads proposals and is not told effects."""
    import accord_client

    try:
        return client.governance.effect(id_)
    except accord_client.NotAuthorised:
        return {}


def _how_far(answer: Document) -> str:
    state = answer["state"]
    if state == "working":
        return f"is being worked out: {_progress_words(answer)}."
    if state != "done":
        return f"is {state}: {answer['ended_because'] or 'no reason given'}"
    return f"is worked out, on {answer['orders']} orders."


def _progress_words(effect: Mapping[str, Any]) -> str:
    if effect["orders"] is None:
        return "it waits for its turn"
    left = "" if effect["time_left_s"] is None else f", about {_lasting(effect['time_left_s'])} left"
    return f"{effect['replayed']} of {effect['orders']} orders{left}"


def _lasting(seconds: int) -> str:
    minutes, rest = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min" if hours else f"{minutes} min {rest} s" if minutes else f"{rest} s"


def _show_decision(output: Output, effect: Document) -> None:
    decision, replayed = effect["decision"], effect["replayed"]
    does = _DOES.get(decision["kind"], f"The book becomes {decision['kind']}")
    output.say(f"{does}, decided {decision['decided']}, for {decision['holds_for']}.", lead="  ")
    say_list(output, "Because", decision["because"])
    if effect["loosens_safety"]:
        say_heading(output, "Loosens what keeps people safe")
        output.say(", ".join(effect["loosens_safety"]), indent=4)
    # An order that several rules see otherwise is listed for each of them.
    turned = {
        (flip["source"], flip["shop_id"], flip["record_id"] or flip["edge"]): (flip["before"], flip["after"])
        for flip in effect["flips"]
        if flip["before"] != flip["after"]
    }
    turns = Counter(turned.values())
    output.blank()
    output.say(
        f"Judged: {replayed['recorded']} recorded orders, {replayed['edges']} at the edges of limits.", lead="  "
    )
    if turns:
        say_heading(output, "Verdicts that turn, of those listed")
        rows = ((before, after, str(number)) for (before, after), number in sorted(turns.items()))
        say_table(output, ("from", "to", "orders"), rows)
    else:
        output.say("No verdict turns.", lead="  ")


def _waited(client: accord_client.Client, id_: str, progress: _Progress) -> Mapping[str, Any]:
    import accord_client

    try:
        return client.governance.wait_for_effect(id_, progress=progress)
    except accord_client.EffectNotDone as error:
        raise Failure(f"The effect of {id_} is {_how_far(error.effect).removeprefix('is ')}") from None


class _Progress:
    """How far the effect is, on standard error: one line that changes on a terminal, else a line where it moved."""

    def __init__(self) -> None:
        self._told = ""
        self._terminal = sys.stderr.isatty()

    def __call__(self, effect: Document) -> None:
        words = _progress_words(effect)
        if effect["state"] != "working" or words == self._told:
            return
        if self._terminal:
            click.echo(f"\r{words:<{max(len(words), len(self._told))}}", err=True, nl=False)
        else:
            click.echo(words, err=True)
        self._told = words

    def end(self) -> None:
        if self._terminal and self._told:
            click.echo(err=True)


def _print(output: Output, document: Any) -> None:
    click.echo(json.dumps(document, ensure_ascii=not output.is_utf, indent=2))
