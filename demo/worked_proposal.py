"""A worked proposal, from a draft to the book, with everything that must be seen and refused on the way.

    python demo/worked_proposal.py      seeds a store, starts the service itself on a free port
    python demo/worked_proposal.py --one-in 3    records a third of the day's orders

Exits 1 if a step came out otherwise than it should, 2 if it could not be run.
"""

from __future__ import annotations

import argparse
import copy
import json
import os
import subprocess
import sys
import textwrap
import time
import tomllib
from collections import Counter
from collections.abc import Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from run import DEMO, DayError, read_order, service

from accord_client import AccordError, Client, ProblemError

Document = Mapping[str, Any]
LIMIT, RULE = "order.first_piece_quantity_from", "press-one-piece-first"
TURNED = "009-team-tees-dye"
SLOW = (3.05, 60.0)  # a machine may be busy
SEEN_S = 2.0


class Otherwise(RuntimeError):
    """A step came out otherwise than it should."""


def say(text: str, indent: str = "") -> None:
    print(textwrap.fill(text, 110, initial_indent=indent, subsequent_indent=indent + "  "))


def must(holds: bool, what: str) -> None:
    if not holds:
        raise Otherwise(what)


def refused(step: Any, status: int) -> ProblemError:
    try:
        step()
    except ProblemError as problem:
        must(problem.status == status, f"refused with {problem.status}, not {status}: {problem}")
        return problem
    raise Otherwise("it was not refused")


class Town:
    """The shops' and stewards' clients, each with its key."""

    def __init__(self, stack: ExitStack, url: str, keys: Path) -> None:
        self.url = url
        self._stack, self._keys = stack, keys
        self._clients: dict[str, Client] = {}

    def __getitem__(self, name: str) -> Client:
        if name not in self._clients:
            self._clients[name] = self._stack.enter_context(Client(self.url, self.token(name), SLOW))
        return self._clients[name]

    def token(self, name: str) -> str:
        return (self._keys / name).read_text(encoding="ascii").strip()


def record_the_day(town: Town, one_in: int) -> dict[str, str]:
    """The orders of the day, or one in so many and the one that turns, recorded; its name to its record's id."""
    every: Mapping[str, Any] = tomllib.loads((DEMO / "expected.toml").read_text(encoding="utf-8"))
    expected = {name: every[name] for name in dict.fromkeys([*[*every][::one_in], TURNED])}
    return {
        name: town[f"{wanted['shop']}-counter"].governance.record(read_order(name))["record_id"]
        for name, wanted in expected.items()
    }


def changes_of(client: Client) -> list[Document]:
    """A must from 16 pieces instead of a note from 24."""
    limit, rule = copy.deepcopy(client.limit(LIMIT).entry), copy.deepcopy(client.rule(RULE).entry)
    return [
        {"kind": "limits", "id": LIMIT, "value": {**limit, "value": 16}},
        {"kind": "rules", "id": RULE, "value": {**rule, "level": "requires"}},
    ]


def show_progress(effect: Document) -> None:
    if effect["state"] == "working" and effect["orders"] is not None:
        left = "" if effect["time_left_s"] is None else f", {effect['time_left_s']} s left"
        say(f"{effect['replayed']} of {effect['orders']} orders{left}", "    ")


def show_effect(effect: Document) -> None:
    decision, replayed = effect["decision"], effect["replayed"]
    say(f"{decision['kind']}, decided {decision['decided']}, for {decision['holds_for']}:", "  ")
    for reason in decision["because"]:
        say(reason, "    ")
    say(f"replayed: {replayed['recorded']} recorded orders, {replayed['edges']} at the edges of thresholds", "  ")
    for count in (entry for entry in effect["counts"] if entry["source"] == "recorded"):
        say(
            f"{count['shop_id']}: {count['rule']} {count['direction']} for {count['orders']} orders, another verdict"
            f" for {count['verdicts']}",
            "    ",
        )
    turns = Counter((f["before"], f["after"]) for f in effect["flips"] if f["before"] != f["after"])
    for (before, after), number in sorted(turns.items()):
        say(f"{number} orders go from {before} to {after}", "    ")
    witness = effect["witnesses"][0]
    say(f"a witness ({witness['record_id'] or witness['edge']}), {witness['before']} -> {witness['after']}:", "  ")
    say(json.dumps(witness["asked"], ensure_ascii=False), "    ")


def work(town: Town, one_in: int) -> None:
    owner, first, second = town["harbour-lane-owner"], town["mill-steps-steward"], town["quay-yard-steward"]
    began_s = time.monotonic()
    ids = record_the_day(town, one_in)
    say(f"1. The day's {len(ids)} orders are asked and recorded ({time.monotonic() - began_s:.1f} s).")
    head = next(iter(owner.governance.revisions()))
    base = {"revision": head["revision"], "digest": head["digest"]}
    reason = "Two runs of twenty were spoiled this spring: what goes wrong once went wrong twenty times."
    evidence = "Harbour Lane's spoilage list, April and May; both runs would have shown it on the first piece."
    broken = [{"kind": "limits", "id": LIMIT, "value": None}]
    problem = refused(lambda: owner.governance.propose(base, broken, reason, evidence), 422)
    say("2. A proposal that breaks the book is refused with the loader's reasons:")
    say(str(problem.errors[0]), "    ")
    draft = owner.governance.propose(base, changes_of(owner), reason, evidence)
    author = f"{draft['author']['holder']}, Harbour Lane's owner,"
    say(f"3. {author} drafts {draft['proposal_id']} on revision {base['revision']}: {draft['reason']}")
    began_s = time.monotonic()
    owner.governance.open(draft["proposal_id"])
    say(f"4. Opened: answered after {time.monotonic() - began_s:.2f} s; its effect is worked out beside that:")
    owner.governance.wait_for_effect(draft["proposal_id"], progress=show_progress)
    say(f"worked out in {time.monotonic() - began_s:.1f} s", "  ")
    seen = owner.governance.status(draft["proposal_id"])
    show_effect(first.governance.effect(draft["proposal_id"])["effect"])
    say(f"5. Publishing now: {refused(lambda: first.governance.publish(draft['proposal_id']), 409)}")
    stale = {**seen, "digests": {**seen["digests"], "replay_digest": "sha256:of-something-else"}}
    say(f"6. Approving what was not shown: {refused(lambda: first.governance.approve(stale), 409)}")
    approved = first.governance.approve(seen)
    valid, needed = approved["approvals_valid"], approved["approvals_needed"]
    who = approved["approvals"][0]["by"]
    say(f"7. {who['holder']}, {who['role']} of {who['shop_id']}, approves: {approved['state']} ({valid} of {needed}).")
    published = second.governance.publish(draft["proposal_id"])
    say(f"8. Quay Yard's steward publishes: revision {published['revision']}, {published['digest'][:23]}…")
    seen_after(town, published["revision"])
    turned = town["mill-steps-counter"] if _shop_of(TURNED) == "mill-steps" else town[f"{_shop_of(TURNED)}-counter"]
    show_replay(turned.governance.replay(ids[TURNED]))
    house = town["quay-yard-owner"].administration
    loose = {"limits": {LIMIT: 40}}
    problem = refused(lambda: house.replace_house_rules(loose, house.house_rules().etag), 422)
    show_refusal(problem)
    back = owner.governance.revert(base["revision"], "To show that going back is a proposal too.", validate_only=True)
    say(f"12. Reverting would be a proposal again: {len(back['changes'])} changes, state {back['state']}.")
    say(f"13. accord audit check: {verified(town)}")


def verified(town: Town) -> str:
    """What the command says of the audit, read from the service and checked here."""
    accord = [sys.executable, "-c", "from accord_service.cli.main import main; main(prog_name='accord')"]
    env = os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, sys.path)), "ACCORD_URL": town.url}
    command = [*accord, "audit", "check", "--token", town.token("mill-steps-steward")]
    done = subprocess.run(command, env=env, capture_output=True, text=True, check=False)
    must(done.returncode == 0, done.stdout + done.stderr)
    return done.stdout.strip().replace("\n", " ")


def seen_after(town: Town, revision: int) -> None:
    """The seconds until a counter's answers come from the new revision."""
    counter, began_s = town[f"{_shop_of(TURNED)}-counter"], time.monotonic()
    while counter.validate(read_order(TURNED)).revision != revision:
        must(time.monotonic() - began_s < 10 * SEEN_S, "the new revision is not seen")
        time.sleep(0.02)
    say(f"9. Answers come from it after {time.monotonic() - began_s:.2f} s.")


def show_replay(replay: Document) -> None:
    why = ", ".join(name for name, decisive in replay["made_a_difference"].items() if decisive)
    say(f"10. {TURNED} was {replay['then']}, is {replay['now']}; what made the difference: {why}.")
    must(replay["made_a_difference"] == {"code": False, "book": True, "house": False}, f"not the book alone: {replay}")
    must((replay["then"], replay["now"]) == ("accepted", "conditional"), "the order was not turned")
    new = [*replay["appeared"], *replay["changed"]][0]
    say(f"{new['rule']}: {new['because']}", "    ")


def show_refusal(problem: ProblemError) -> None:
    refusal = problem.problem["refusals"][0]
    must(refusal["witness"] is not None, "there is no witness")
    say(f"11. A shop that would be looser ({LIMIT} = 40) is refused, with the order that would slip through:")
    say(refusal["message"], "    ")
    say(json.dumps(refusal["witness"], ensure_ascii=False), "    ")


def _shop_of(name: str) -> str:
    expected = tomllib.loads((DEMO / "expected.toml").read_text(encoding="utf-8"))
    return str(expected[name]["shop"])


def main() -> int:
    parser = argparse.ArgumentParser(description="A proposal, from a draft to the book.", allow_abbrev=False)
    parser.add_argument("--one-in", type=int, default=1, choices=range(1, 11), metavar="N", help="orders to record")
    one_in = parser.parse_args().one_in
    try:
        with service() as (url, keys), ExitStack() as stack:
            work(Town(stack, url, keys), one_in)
    except Otherwise as error:
        print(f"otherwise than it should: {error}", file=sys.stderr)
        return 1
    except (AccordError, DayError, OSError) as error:
        print(f"it could not be run: {error}", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
