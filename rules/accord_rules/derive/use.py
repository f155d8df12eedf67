"""Who will use the piece and for what, what the shop vouches for, and the order as a whole."""

from __future__ import annotations

from accord_rules.derive.case import Case
from accord_rules.documents import units
from accord_rules.orders.order import EVIDENCE, MARKETS, USES
from accord_rules.orders.shop import STANDING
from accord_rules.revision.facts import BOOL, TEXT, Ask, Assume, Scope, fact, number, one_of, set_of

ORDER = Scope.ORDER
GROWN_UP, NEWBORN = 18.0, 0.0  # years


def _oldest(case: Case) -> float | None:
    return case.order.use.age_to if case.order.use is not None else None


def _youngest_unsaid(case: Case) -> float | None:
    """An oldest age says that nobody is older, and nothing of how young they are: below three it makes no difference,
    above it has to be asked."""
    oldest = _oldest(case)
    if oldest is None:
        return GROWN_UP
    return NEWBORN if oldest < case.limit("children.small_parts_age") else None


def _why_youngest(case: Case) -> str:
    if _oldest(case) is None:
        return "no age said: taken to be for grown-ups"
    return "no youngest age said, only an oldest: taken to be for the youngest too"


@fact(
    "use.age_from",
    number(units.COUNT),
    ORDER,
    Assume("/use/age_from", _youngest_unsaid, _why_youngest, "How old is the youngest who will use it, in years?"),
)
def age_from(case: Case) -> float | None:
    """The youngest age the piece is meant for, in years: the lower of what the order and a children's blank say.

    A blank's age above the oldest that the order says is no answer.
    """
    said = case.order.use.age_from if case.order.use is not None else None
    built_for, oldest = case.blank.age_from if case.blank is not None else None, _oldest(case)
    youngest = min((age for age in (said, built_for) if age is not None), default=None)
    return None if youngest is not None and oldest is not None and youngest > oldest else youngest


@fact("use.age_words", TEXT, ORDER)
def age_words(case: Case) -> str | None:
    """The ages in words: "6 to 9 years", "6 years and up", "any age up to 2 years"."""
    youngest, oldest = case["use.age_from"], _oldest(case)
    if oldest is None:
        return None if youngest is None else f"{youngest:g} years and up"
    if youngest in (None, NEWBORN):
        return f"any age up to {oldest:g} years"
    return f"{youngest:g} years" if youngest == oldest else f"{youngest:g} to {oldest:g} years"


@fact("use.age_contradicts_blank", BOOL, ORDER)
def age_contradicts_blank(case: Case) -> bool:
    """Whether the order gives a higher age than the one the named blank is made for."""
    said = case.order.use.age_from if case.order.use is not None else None
    built_for = case.blank.age_from if case.blank is not None else None
    return said is not None and built_for is not None and said > built_for


@fact("use.child", BOOL, ORDER)
def child(case: Case) -> bool | None:
    """Whether it is a children's product: meant for 12 years or younger."""
    age, oldest, limit = case["use.age_from"], _oldest(case), case.limit("children.age_most")
    if age is None:
        # Whoever the youngest is, nobody is older than a child.
        return True if oldest is not None and oldest <= limit else None
    return bool(age <= limit)


@fact("use.under_three", BOOL, ORDER)
def under_three(case: Case) -> bool | None:
    """Whether it is meant for children under 3."""
    age, oldest, limit = case["use.age_from"], _oldest(case), case.limit("children.small_parts_age")
    if age is None:
        return True if oldest is not None and oldest < limit else None
    return bool(age < limit)


@fact("use.kinds", set_of(USES), ORDER, Assume("/use/kinds", (), "no special use said"))
def kinds(case: Case) -> tuple[str, ...] | None:
    """What the piece is used for: what the order says and what the blank is made for."""
    said = case.order.use.kinds if case.order.use is not None else None
    built_in = case.blank.uses if case.blank is not None else ()
    if said is None:
        return built_in or None
    return tuple(sorted({*said, *built_in}))


@fact("use.market", one_of(MARKETS), ORDER)
def market(case: Case) -> str:
    """Where the piece will be sold; the shop's own market if the order does not say."""
    said = case.order.use.market if case.order.use is not None else None
    return said or case.shop.market


@fact("use.skin_contact", BOOL, ORDER)
def skin_contact(case: Case) -> bool | None:
    """Whether it is worn on the skin for longer than ten minutes."""
    goods = case["item.kind"]
    return None if goods is None else goods in ("garment", "headwear")


@fact("use.food_side", BOOL, ORDER)
def food_side(case: Case) -> bool | None:
    """Whether the piece holds or touches food or drink."""
    uses, goods = case["use.kinds"], case["item.kind"]
    if goods == "drinkware":
        return True
    return None if uses is None or goods is None else bool({"food-contact", "drinkware"} & set(uses))


@fact("order.quantity", number(units.COUNT), ORDER, Assume("/quantity", 1.0, "no quantity said: one piece"))
def quantity(case: Case) -> float | None:
    """How many pieces."""
    return None if case.order.quantity is None else float(case.order.quantity)


@fact("order.evidence", set_of(EVIDENCE), ORDER, Assume("/evidence", (), "no test or consent recorded"))
def evidence(case: Case) -> tuple[str, ...] | None:
    """Tests and consents that are on record for this order."""
    return case.order.evidence


@fact("order.decorations", number(units.COUNT), ORDER)
def decorations(case: Case) -> float:
    """How many decorations the order has."""
    return float(len(case.order.decorations))


@fact("order.total_s", number(units.TIME), Scope.PRESSING)
def total_s(case: Case) -> float | None:
    """Time at the press for all decorations over the whole quantity."""
    total_s = None if case.sequence is None else case.sequence.total_s
    if total_s is None:
        case["window.exists"]  # so that what keeps the settings open is known as the cause
    return total_s


@fact("order.due_given", BOOL, ORDER)
def due_given(case: Case) -> bool:
    """Whether the order says when it is due."""
    return case.order.due_in is not None


@fact("order.due_s", number(units.TIME), ORDER, Ask("/due_in", "In how much time is it due?", of_blocks=True))
def due_s(case: Case) -> float | None:
    """How long until the order is due."""
    return case.order.due_in


@fact("order.due_tight_s", number(units.TIME), ORDER)
def due_tight_s(case: Case) -> float | None:
    """From how much press time on the due time is tight: heating up, printing, cooling and breaks come on top."""
    due = case["order.due_s"]
    return None if due is None else round(due * case.limit("order.due_share_tight") / 100, 6)


@fact("order.due_most_s", number(units.TIME), ORDER)
def due_most_s(case: Case) -> float | None:
    """How much press time could at most be made up for with quicker hands before the order is due."""
    due = case["order.due_s"]
    return None if due is None else round(due * case.limit("order.due_share_most") / 100, 6)


@fact("order.makeable", number(units.COUNT), Scope.PRESSING)
def makeable(case: Case) -> float | None:
    """How many pieces the press gets through before the order is due."""
    due, total, count = case["order.due_s"], case["order.total_s"], case["order.quantity"]
    return None if due is None or not total or count is None else float(min(count, count * due // total))


@fact("shop.standing", set_of(STANDING), ORDER)
def standing(case: Case) -> tuple[str, ...]:
    """What is always so at the shop's presses: gloves at hand, extraction running, birds near ..."""
    return case.shop.standing
