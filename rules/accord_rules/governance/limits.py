"""What moving a limit can do: decided from the rules' conditions alone, without trying orders.

A rule holds where every atom of one of its branches does. An atom that compares with the limit comes to hold for more
orders, or for fewer, when the limit is moved. Where it comes to hold for more, the rule finds more. Where it comes
to hold for fewer, orders drop out of the rule; that loosens nothing if another rule, at least as firm, finds all of
them (the bands of a scale: a shirt that is no longer "pale at 70 %" because it is now "refused below 75 %").
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from fnmatch import fnmatchcase

from accord_rules.facts import Scope
from accord_rules.infer.condition import Atom, Compare, LimitName, negated
from accord_rules.rule import Rule
from accord_rules.settings import Settings
from accord_rules.verdict import LEVELS

FIRM = ("blocks", "requires")
STRICTER, LOOSER, EQUAL, MIXED = "stricter", "looser", "equal", "mixed"
OPPOSITE: Mapping[str, str] = {STRICTER: LOOSER, LOOSER: STRICTER, EQUAL: EQUAL, MIXED: MIXED}

# Limits that facts are derived with, as ``derive`` and ``advise`` read them: what moving these does, only orders show.
DERIVED_WITH = (
    "care.iron_*",
    "children.age_most",
    "children.small_parts_age",
    "electric.voltage_off_most",
    "fibres.counted_from",
    "film.light_art_lightness",
    "fumes.pvc_most",
    "ground.white_chroma_most",
    "ground.white_lightness_least",
    "migration.polyester_share_least",
    "migration.surface_most",
    "prepress.time_least",
    "press.probe_error",
    "press.tile_overlap",
    "pressure.*_least",
    "pressure.*_most",
)


def derived_with(name: str) -> bool:
    """Whether facts are derived with the limit, besides what rules compare with it."""
    return any(fnmatchcase(name, pattern) for pattern in DERIVED_WITH)


def direction(settings: Settings, name: str, value: float) -> str:
    """Whether ``value`` is stricter or looser than the limit's own, by what the book declares stricter."""
    now = settings.limit_values[name]
    if value == now:
        return EQUAL
    return STRICTER if (value > now) is (settings.limits[name].stricter == "higher") else LOOSER


def move(settings: Settings, name: str, value: float) -> str | None:
    """What moving one limit to ``value`` does: stricter, looser, equal or mixed; None if undecided.

    That is said of verdicts, and of findings where no verdict can change. Undecided are limits that facts are derived
    with. ``settings`` are those before the move.
    """
    now = settings.limit_values[name]
    if value == now:
        return EQUAL
    if derived_with(name):
        return None
    every = [rule for rule in settings.rules.values() if rule.enforced]
    firm = [rule for rule in every if rule.level in FIRM]
    of_verdicts = _moved(firm, name, value > now)
    return _moved(every, name, value > now) if of_verdicts == EQUAL else of_verdicts


def _moved(rules: Sequence[Rule], name: str, rises: bool) -> str:
    loses = _loses(rules, name, rises)
    loses_back = _loses(rules, name, not rises)
    if loses:
        return MIXED if loses_back else LOOSER
    return STRICTER if loses_back else EQUAL


def _loses(rules: Sequence[Rule], name: str, rises: bool) -> bool:
    """Whether orders drop out of some rule that no rule as firm takes in."""
    return any(not _covered(rule, branch, name, rises, rules) for rule, branch in _losing(rules, name, rises))


def settles_before_settings(settings: Settings, name: str) -> bool:
    """Whether all rules that compare with the limit are settled before press and settings are chosen."""
    naming = [rule for rule in settings.rules.values() if name in rule.condition.limits]
    return all(rule.scope is not Scope.PRESSING for rule in naming)


def _compares(atom: Atom, name: str) -> bool:
    return isinstance(atom, Compare) and isinstance(atom.right, LimitName) and atom.right.name == name


def _gains(atom: Compare, rises: bool) -> bool:
    """Whether the atom holds for more once the limit has moved, whatever it held for before."""
    return atom.op in (("<", "<=") if rises else (">", ">="))


def _losing(rules: Iterable[Rule], name: str, rises: bool) -> Iterator[tuple[Rule, tuple[Atom, ...]]]:
    """The branches that hold for fewer orders after the move."""
    for rule in rules:
        for branch in rule.condition.branches:
            if any(isinstance(a, Compare) and _compares(a, name) and not _gains(a, rises) for a in branch):
                yield rule, branch


def _covered(rule: Rule, branch: tuple[Atom, ...], name: str, rises: bool, rules: Iterable[Rule]) -> bool:
    """Whether all orders that drop out of the branch are found by a rule that is at least as firm."""
    lost = [atom for atom in branch if isinstance(atom, Compare) and _compares(atom, name) and not _gains(atom, rises)]
    if len(lost) > 1 or lost[0].op not in ("<", "<=", ">", ">="):
        return False
    # An order drops out by having the one comparison turned round; all else that held still holds.
    held = {*branch, negated(lost[0])} - {lost[0]}
    return any(
        LEVELS.index(other.level) <= LEVELS.index(rule.level) and any(held.issuperset(b) for b in other.condition.branches)
        for other in rules
    )
