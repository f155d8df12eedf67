"""Who will use the piece and for what, what the shop vouches for, and the order as a whole."""

from __future__ import annotations

from collections.abc import Callable

from accord_rules.documents import units
from accord_rules.orders.order import CUTS, EVIDENCE, USES
from accord_rules.orders.shop import STANDING
from accord_rules.orders.sizes import size_named
from accord_rules.revision.catalogue import Blank, Substrate
from accord_rules.revision.facts import (
    BOOL,
    DATA,
    TEXT,
    Ask,
    Assume,
    Scope,
    fact,
    later,
    limit,
    maybe,
    number,
    one_of,
    read,
    set_of,
    source,
)

ORDER, DECORATION = Scope.ORDER, Scope.DECORATION
GROWN_UP, NEWBORN = 18.0, 0.0  # years


def youngest_unsaid(
    oldest: float | None = maybe("use.age_to"), small_parts_age: float = limit("children.small_parts_age")
) -> float | None:
    """An oldest age says that nobody is older, and nothing of how young they are: below three it makes no difference,
    above it has to be asked."""
    if oldest is None:
        return GROWN_UP
    return NEWBORN if oldest < small_parts_age else None


def why_youngest(oldest: float | None = maybe("use.age_to")) -> str:
    """Nothing said of ages, or only the oldest."""
    if oldest is None:
        return "for grown-ups unless said"
    return "an oldest age alone: for the youngest too"


@fact("use.age_to", number(units.COUNT), ORDER)
def age_to(said: float | None = source("/use/age_to"), largest: str | None = source("/use/size_to")) -> float | None:
    """The oldest age the piece is meant for, in years: the lower of what the ages and the sizes of the order say."""
    size = size_named(largest)
    fits_to = None if size is None else size.age_to
    return min((age for age in (said, fits_to) if age is not None), default=None)


@fact(
    "use.age_from",
    number(units.COUNT),
    ORDER,
    Assume(
        "/use/age_from",
        youngest_unsaid,
        why_youngest,
        "How old is the youngest who will use it, in years?",
        taken="the youngest user is {shown}",
    ),
)
def age_from(
    said: float | None = source("/use/age_from"),
    oldest: float | None = maybe("use.age_to"),
    smallest: str | None = source("/use/size_from"),
    largest: str | None = source("/use/size_to"),
    blank: Blank | None = maybe("blank.entry"),
) -> float | None:
    """The youngest age the piece is meant for, in years: the lowest of what ages, sizes and a children's blank say.

    A largest size alone says of the youngest that an age above it is wrong. A blank's age above the oldest that the
    order says is no answer.
    """
    built_for = blank.age_from if blank is not None else None
    size = size_named(smallest if smallest is not None or said is None else largest)
    fits_from = None if size is None or (smallest is None and said is None) else size.age_from
    youngest = min((age for age in (said, fits_from, built_for) if age is not None), default=None)
    return None if youngest is not None and oldest is not None and youngest > oldest else youngest


@fact("use.age_words", TEXT, ORDER)
def age_words(
    youngest: float | None = maybe("use.age_from"),
    oldest: float | None = maybe("use.age_to"),
    sizes: str | None = maybe("use.size_words"),
) -> str | None:
    """The ages in words: "6 to 9 years", "6 years and up", "any age up to 2 years"; with the sizes, where said."""
    ages = _age_words(youngest, oldest)
    return f"{ages}, {sizes}" if ages and sizes else ages


def _age_words(youngest: float | None, oldest: float | None) -> str | None:
    if oldest is None:
        return None if youngest is None else f"{youngest:.3g} years and up"
    if youngest in (None, NEWBORN):
        return f"any age up to {oldest:.3g} years"
    return f"{youngest:.3g} years" if youngest == oldest else f"{youngest:.3g} to {oldest:.3g} years"


@fact("use.size_words", TEXT, ORDER)
def size_words(smallest: str | None = source("/use/size_from"), largest: str | None = source("/use/size_to")) -> str:
    """The sizes that the order says, in words: "sizes 2T to 6X"; empty where it says none."""
    said = [size for size in (smallest, largest) if size is not None]
    if len(said) == 2 and said[0] != said[1]:
        return f"sizes {said[0]} to {said[1]}"
    if smallest is None and largest is not None:
        return f"sizes up to {largest}"
    return f"size {smallest}" + (" and up" if largest is None else "") if smallest is not None else ""


@fact("use.height_mm", number(units.LENGTH), ORDER)
def height_mm(
    smallest: str | None = source("/use/size_from"), largest: str | None = source("/use/size_to")
) -> float | None:
    """The body height of the smallest size, where its label says one."""
    size = size_named(smallest or largest)
    return None if size is None else size.height_mm


@fact("use.cut", one_of(CUTS), ORDER, Assume("/use/cut", "loose", "loose unless said", strict=True))
def cut(said: str | None = source("/use/cut")) -> str | None:
    """How nightwear is cut."""
    return said


@fact("use.age_contradicts_blank", BOOL, ORDER)
def age_contradicts_blank(
    said: float | None = source("/use/age_from"),
    blank: Blank | None = maybe("blank.entry"),
    toddlers_under: float = limit("children.small_parts_age"),
    child_age: float = limit("children.age_most"),
) -> bool:
    """Whether the order makes a piece for toddlers one for children, or a children's piece one for grown-ups."""
    built_for = blank.age_from if blank is not None else None
    if said is None or built_for is None:
        return False
    return built_for < toddlers_under <= said or built_for <= child_age < said


@fact("use.child", BOOL, ORDER)
def child(
    age: float | None = maybe("use.age_from"),
    oldest: float | None = maybe("use.age_to"),
    child_age: float = limit("children.age_most"),
) -> bool | None:
    """Whether it is a children's product: meant for 12 years or younger."""
    if age is None:
        # Whoever the youngest is, nobody is older than a child.
        return True if oldest is not None and oldest <= child_age else None
    return age <= child_age


@fact("use.under_three", BOOL, ORDER)
def under_three(
    age: float | None = maybe("use.age_from"),
    oldest: float | None = maybe("use.age_to"),
    small_parts_age: float = limit("children.small_parts_age"),
) -> bool | None:
    """Whether it is meant for children under 3."""
    if age is None:
        return True if oldest is not None and oldest < small_parts_age else None
    return age < small_parts_age


def usual_kinds(
    cloth: bool | None = maybe("item.protective_cloth"),
    look: bool | None = maybe("item.high_visibility_look"),
    material: Substrate | None = maybe("substrate.entry"),
    blank: Blank | None = maybe("blank.entry"),
) -> tuple[str, ...] | None:
    """None, unless cloth, colour or tape tell of wear that protects, or a piece that no blank tells is mostly eaten
    from, or may be what somebody hangs by."""
    telling = blank is None and material is not None and (material.eaten_from or material.load_bearing)
    return None if cloth or look or telling else ()


@fact(
    "use.kinds",
    set_of(USES),
    ORDER,
    Assume(
        "/use/kinds",
        usual_kinds,
        "none unless said",
        "Is it worn to protect somebody or to be seen (flame, cuts, falls, high visibility, medical), or does food"
        " touch it? Say so too if nothing of this holds.",
        taken="it is no protective wear",
    ),
)
def kinds(
    said: tuple[str, ...] | None = source("/use/kinds"), blank: Blank | None = maybe("blank.entry")
) -> tuple[str, ...] | None:
    """What the piece is used for: what the order says and what the blank is made for."""
    built_in = blank.uses if blank is not None else ()
    if said is None:
        return built_in or None
    return tuple(sorted({*said, *built_in}))


@fact("use.worn", BOOL, ORDER)
def worn(
    goods: str = read("item.kind"),
    cloth: bool | None = maybe("item.textile"),
    uses: tuple[str, ...] | None = maybe("use.kinds"),
) -> bool:
    """Whether people wear it: garments, headwear, scarves, bibs and the like. Of metal on those, laws ask whatever is
    worn beneath."""
    worn_besides = goods == "accessory" and bool(cloth) and not {"pet", "toy"} & set(uses or ())
    return goods in ("garment", "headwear") or worn_besides


@fact(
    "use.worn_over",
    BOOL,
    ORDER,
    Assume("/use/worn_over", False, "on the skin unless it is said to go over other clothes", strict=True),
)
def worn_over(
    said: bool | None = source("/use/worn_over"),
    blank: Blank | None = maybe("blank.entry"),
    material: Substrate | None = maybe("substrate.entry"),
) -> bool | None:
    """Whether it is worn over other clothes: as the order says, else as such a blank is, or cloth that lies over other
    clothes by its nature. Of a piece that is only described it is not known."""
    if said is not None:
        return said
    if any(entry.worn_over for entry in (blank, material) if entry is not None):
        return True
    return None if blank is None else False


@fact("use.skin_contact", BOOL, DECORATION)
def skin_contact(
    is_worn: bool = read("use.worn"),
    shape: str | None = maybe("item.shape"),
    over: Callable[[], bool | None] = later("use.worn_over"),
    principle: str | None = maybe("transfer.principle"),
    where: Callable[[], str | None] = later("place.placement"),
) -> bool | None:
    """Whether the print lies on the skin for longer than ten minutes at a time (REACH, Annex XVII, entry 51(3)): it is
    worn, and not over other clothes or on the stiff front of a cap; a print or a label inside lies on the skin of
    whatever is worn."""
    if not is_worn:
        return False
    if principle == "label" or where() == "inside":
        return True
    if shape == "cap":
        return False
    lies_over = over()
    return None if lies_over is None else not lies_over


@fact("use.food_side", BOOL, ORDER)
def food_side(uses: tuple[str, ...] | None = maybe("use.kinds"), goods: str | None = maybe("item.kind")) -> bool | None:
    """Whether the piece holds or touches food or drink."""
    if goods == "drinkware":
        return True
    return None if uses is None or goods is None else bool({"food-contact", "drinkware"} & set(uses))


@fact("order.quantity", number(units.COUNT), ORDER, Assume("/quantity", 1.0, "one piece unless said"))
def quantity(said: int | None = source("/quantity")) -> float | None:
    """How many pieces."""
    return None if said is None else float(said)


@fact("order.evidence", set_of(EVIDENCE), ORDER, Assume("/evidence", (), "none on record unless said", strict=True))
def evidence(said: tuple[str, ...] | None = source("/evidence")) -> tuple[str, ...] | None:
    """Tests and consents that are on record for this order."""
    return said


@fact("order.decorations", number(units.COUNT), ORDER)
def decorations(count: int = source("/decorations")) -> float:
    """How many decorations the order has."""
    return float(count)


@fact("order.total_s", number(units.TIME), Scope.PRESSING, blamed=("order.timing",))
def total_s(total: float | None = source("sequence/total_s")) -> float | None:
    """Time at the press for all decorations over the whole quantity."""
    return total


@fact("order.timing", DATA, Scope.PRESSING)
def timing(
    total: float | None = source("sequence/total_s", absent=None),
    window: Callable[[], bool | None] = later("window.exists"),
) -> bool:
    """Whether that time is known; where it is not, what keeps the settings open is looked at, to be blamed."""
    if total is None:
        window()
    return total is not None


@fact("order.due_given", BOOL, ORDER)
def due_given(due: float | None = source("/due_in")) -> bool:
    """Whether the order says when it is due."""
    return due is not None


@fact("order.due_s", number(units.TIME), ORDER, Ask("/due_in", "In how much time is it due?", of_blocks=True))
def due_s(due: float | None = source("/due_in")) -> float | None:
    """How long until the order is due."""
    return due


@fact("order.due_tight_s", number(units.TIME), ORDER)
def due_tight_s(due: float = read("order.due_s"), share: float = limit("order.due_share_tight")) -> float:
    """From how much press time on the due time is tight: heating up, printing, cooling and breaks come on top."""
    return round(due * share / 100, 6)


@fact("order.due_most_s", number(units.TIME), ORDER)
def due_most_s(due: float = read("order.due_s"), share: float = limit("order.due_share_most")) -> float:
    """How much press time could at most be made up for with quicker hands before the order is due."""
    return round(due * share / 100, 6)


@fact("order.makeable", number(units.COUNT), Scope.PRESSING)
def makeable(
    time: float = read("order.due_tight_s"), total: float = read("order.total_s"), count: float = read("order.quantity")
) -> float | None:
    """How many pieces the press gets through before the order is due, with time left for all that comes on top."""
    return None if not total else float(min(count, count * time // total))


@fact("shop.standing", set_of(STANDING), ORDER)
def standing(standing: tuple[str, ...] = source("shop/standing")) -> tuple[str, ...]:
    """What is always so at the shop's presses: gloves at hand, extraction running, birds near ..."""
    return standing
