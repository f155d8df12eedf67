"""The shapes of answers, as marshmallow schemas: what OpenAPI promises, and what the contract tests hold us to.

The documents themselves are made by ``accord_rules.verdict`` and by the endpoints.
"""

from __future__ import annotations

from typing import Any

from marshmallow import RAISE, Schema, fields, validate

from accord_rules.documents.reading import Object
from accord_rules.governance.house import HouseRules
from accord_rules.orders.shop import Shop
from accord_rules.revision.catalogue import KINDS, Limit, Source
from accord_rules.revision.facts import Kind, Scope
from accord_rules.verdict import LEVELS, VERDICTS
from accord_service.http import wire
from accord_service.http.roles import ROLES


class Shape(Schema):
    """An answer has exactly the fields it promises."""

    class Meta:
        unknown = RAISE


def text(about: str, **more: Any) -> fields.String:
    return fields.String(required=True, metadata={"description": about}, **more)


def texts(about: str) -> fields.List[Any]:
    return fields.List(fields.String(), required=True, metadata={"description": about})


def flag(about: str, *, allow_none: bool = False) -> fields.Boolean:
    return fields.Boolean(required=True, allow_none=allow_none, metadata={"description": about})


def whole(about: str) -> fields.Integer:
    return fields.Integer(required=True, strict=True, metadata={"description": about})


def number(about: str) -> fields.Float:
    return fields.Float(required=True, metadata={"description": about})


def word(about: str, words: tuple[str, ...]) -> fields.String:
    return fields.String(required=True, validate=validate.OneOf(words), metadata={"description": about})


def table(about: str, values: fields.Field[Any] | None = None, **more: Any) -> fields.Dict:
    return fields.Dict(keys=fields.String(), values=values, required=True, metadata={"description": about}, **more)


def several(schema: type[Schema], about: str) -> fields.List[Any]:
    return fields.List(fields.Nested(schema), required=True, metadata={"description": about})


class FaultAnswer(Shape):
    """One thing wrong with the request."""

    pointer = text("JSON Pointer (RFC 6901) to the place; empty for the whole document")
    message = text("what is wrong there")
    allowed = texts("what would be allowed, where that is a list")


class WitnessAnswer(Shape):
    """An order that would slip through."""

    order = table("an order, as POST /v1/validate takes it")
    shared_verdict = word("its verdict under the shared book", VERDICTS)
    house_verdict = word("its verdict under the house rules that were refused", VERDICTS)
    lost = texts("ids of the rules that would no longer find anything")


class RefusalAnswer(Shape):
    """One house rule that can't be taken."""

    pointer = text("JSON Pointer (RFC 6901) to the place")
    message = text("why")
    witness = fields.Nested(
        WitnessAnswer, required=True, allow_none=True, metadata={"description": "null where none was found"}
    )


class ProblemAnswer(Shape):
    """Problem details (RFC 9457)."""

    type = text("address of the page about this type of problem")
    title = text("the type of problem, in a few words")
    status = whole("the HTTP status")
    detail = text("this problem, in a sentence")
    errors = several(FaultAnswer, "every fault found")
    request_id = text("give this to whoever runs the service")
    errors_left_out = fields.Integer(strict=True, metadata={"description": "how many faults more there are"})
    refusals = fields.List(
        fields.Nested(RefusalAnswer), metadata={"description": "house rules that were refused, each with a witness"}
    )


class BookAnswer(Shape):
    """What the answer rests on."""

    revision = whole("revision of the book")
    digest = text("SHA-256 of the book's canonical JSON")


class BasisAnswer(BookAnswer):
    house_digest = text("SHA-256 of the shop's house rules")
    basis = word("live: the book as it is; held: the last good book in memory", ("live", "held"))


class FindingAnswer(Shape):
    """One rule's say about one part of the order."""

    rule = text("id of the rule; /v1/rules/{rule} tells more")
    level = word("how much it matters", LEVELS)
    about = text("JSON Pointer into the order")
    title = text("the rule in a few words")
    because = text("why, with the numbers")
    fix = text("what to do about it; may be empty")
    observed = table("what was found, in the shop's units")
    limit = table("what it was held against, in the shop's units", fields.String())
    sources = texts("ids of sources; /v1/sources/{source} tells more")
    layer = text("shared: the collective's rule; house: the shop's own")


class NeedAnswer(Shape):
    """Something the order does not say that could change the verdict."""

    pointer = text("JSON Pointer to the field to add")
    question = text("the question to ask")
    allowed = texts("possible answers, where they are a list")
    decides = texts("ids of the rules that hang on it")


class AssumptionAnswer(Shape):
    """Something the order does not say, and what was taken to hold."""

    pointer = text("JSON Pointer to the field that would say it")
    value = text("what was assumed")
    why = text("why that is the sensible reading")
    decides = texts("ids of the rules it could turn")


class PressJudgedAnswer(Shape):
    """The press the verdict speaks of, and how the shop's others fared when the order named none."""

    judged_on = text("the press")
    can = texts(
        "presses on which the whole order can be done; where it is still open on a press, that press is not here"
    )
    cannot = table("press to the ids of the rules that block the order on it", fields.List(fields.String()))


class ChangeAnswer(Shape):
    """One field of the order, from what it says to what would work."""

    pointer = text("JSON Pointer into the order")
    before = fields.Raw(
        required=True, allow_none=True, data_key="from", metadata={"description": "null where it is not said"}
    )
    after = fields.Raw(required=True, allow_none=True, data_key="to", metadata={"description": "null to leave it out"})


class RemedyAnswer(Shape):
    """Changes that make the order one that can be done; validated before they are shown."""

    changes = several(ChangeAnswer, "what to change")
    verdict = word("the verdict with the changes made", VERDICTS)
    text = text("the changes, in a sentence")
    cost = number("what the changes cost whoever ordered: 1 turns a dial, 9 takes another blank; a choice of the book")


class VerdictAnswer(BasisAnswer):
    """The verdict on an order."""

    id = text("content address of the code, the book, the house rules and the order")
    verdict = word("the answer", VERDICTS)
    findings = several(FindingAnswer, "what the rules found, gravest first")
    conditions = texts("what must be done for the verdict to hold")
    needs = several(NeedAnswer, "what to ask to settle the verdict")
    assumed = several(AssumptionAnswer, "what was taken to hold because the order does not say")
    press = fields.Nested(PressJudgedAnswer, required=True, allow_none=True)
    settings = fields.List(
        table("settings"),
        required=True,
        metadata={
            "description": "per decoration, as an order writes them; empty unless the verdict is accepted or"
            " conditional, so that nothing is printed that may not be pressed"
        },
    )
    sequence = fields.List(
        fields.Integer(strict=True),
        required=True,
        metadata={"description": "decorations in order of pressing; empty where the settings are"},
    )
    remedies = several(RemedyAnswer, "changes that would make it work; none of them takes back what the order says")
    remedies_complete = flag(
        "whether all the changes there are were tried; if not, that no remedy is offered proves nothing"
    )
    reference = text("the shop's own, echoed", allow_none=True)


class PlannedDecorationAnswer(Shape):
    """One decoration of a plan."""

    transfer = text("the transfer to use")
    family = text("its family")
    settings = table("settings with their windows and what binds them")
    order_settings = table("the same, as an order writes them")
    steps = texts("what to do, in order")


class PlanAnswer(Shape):
    """One way to do it. Put back as an order it validates as accepted or conditional."""

    rank = whole("1 is best")
    press = text("the press to use")
    decorations = several(PlannedDecorationAnswer, "per decoration")
    sequence = fields.List(
        fields.Integer(strict=True), required=True, metadata={"description": "decorations in order of pressing"}
    )
    stack = texts("what lies on what, from the platen down")
    cautions = texts("what to watch")
    conditions = texts("what must be done for the plan to hold")
    reasons = texts("why it is ranked so")
    estimate = table(
        "minutes each; hours, loads of the press and, at full power all the time, kWh in total; heating up not counted",
        fields.Float(),
    )
    verdict = word("the verdict of this plan", VERDICTS)
    id = text("the id of that verdict")


class RuledOutAnswer(Shape):
    """A press and transfers that will not do, and why."""

    press = text("the press; null where the transfers will not do whatever the press", allow_none=True)
    transfers = texts("the transfers")
    findings = several(FindingAnswer, "what blocks them")


_COMPLETE = (
    "whether every combination of transfers and presses was weighed; of many open decorations only the best transfers"
    " are combined, and to find no way then proves nothing"
)
_LEFT_OUT = "how many entries of ruled_out more there are than are given"


class SettlementAnswer(BasisAnswer):
    """Plans, best first, and what was ruled out."""

    plans = several(PlanAnswer, "best first, ten at most; empty if nothing that was weighed will do")
    ruled_out = several(RuledOutAnswer, "what will not do, and why")
    ruled_out_left_out = whole(_LEFT_OUT)
    needs = several(NeedAnswer, "what to ask to settle it")
    complete = flag(_COMPLETE)
    reference = text("the shop's own, echoed", allow_none=True)


class AllowedRangeAnswer(Shape):
    """From least to most, as an order writes them."""

    least = text("the least allowed, in whole steps of the shop's unit where one lies inside")
    most = text("the most allowed")
    below = texts("ids of the rules that stop a step below; empty where the press, not a rule, ends it")
    above = texts("ids of the rules that stop a step above; empty where the press, not a rule, ends it")


class AllowedSizeAnswer(Shape):
    """A largest size: any print no larger both ways will do."""

    width = text("as an order writes it")
    height = text("as an order writes it")


class AllowedGroundAnswer(Shape):
    """Neutral greys that will do as ground, from the darkest to the lightest."""

    least = number("CIELAB lightness of the darkest")
    most = number("CIELAB lightness of the lightest")
    least_colour = text("the darkest in sRGB")
    most_colour = text("the lightest in sRGB")


_SAID = "; null where the order says it"


def ranges(about: str) -> fields.List[Any]:
    return fields.List(
        fields.Nested(AllowedRangeAnswer), required=True, allow_none=True, metadata={"description": about + _SAID}
    )


def choices(about: str) -> fields.List[Any]:
    return fields.List(fields.String(), required=True, allow_none=True, metadata={"description": about + _SAID})


class AllowedDecorationAnswer(Shape):
    """What is allowed for one decoration on one press with one transfer."""

    transfer = text("the transfer the ranges are for")
    temperature = ranges("display settings")
    time = ranges("dwells")
    pressure = choices("pressures in the trade's words")
    gauge = fields.List(
        fields.Nested(AllowedRangeAnswer),
        required=True,
        allow_none=True,
        metadata={"description": "line pressures on the gauge; null without cylinders or where the order says it"},
    )
    peel = choices("peels")
    cover = choices("cover sheets of the shop, or none")
    pad = choices("pads of the shop, or none")
    tape = choices("tapes of the shop, or none")
    size = fields.List(
        fields.Nested(AllowedSizeAnswer),
        required=True,
        allow_none=True,
        metadata={"description": "the largest sizes, looked for up to the largest print the book knows" + _SAID},
    )


class AllowedOnAnswer(Shape):
    """What is allowed on one press."""

    press = text("the press")
    decorations = several(AllowedDecorationAnswer, "per decoration")


class EnvelopeAnswer(BasisAnswer):
    """What is still allowed for what an order leaves open."""

    presses = texts("presses that can do it")
    transfers = fields.List(
        fields.List(fields.String()), required=True, metadata={"description": "per decoration, those that will do"}
    )
    on = several(
        AllowedOnAnswer,
        "per press, with the transfers that are best there; the best presses alone where decorations are many",
    )
    ground = fields.List(
        fields.Nested(AllowedGroundAnswer),
        required=True,
        allow_none=True,
        metadata={"description": "grounds that will do; null where the colour is known or a transfer is open"},
    )
    ruled_out = several(RuledOutAnswer, "what will not do, and why")
    ruled_out_left_out = whole(_LEFT_OUT)
    needs = several(NeedAnswer, "what to ask before more can be said")
    complete = flag(_COMPLETE + "; false too where some press that can do it has no ranges here")
    reference = text("the shop's own, echoed", allow_none=True)


class KindAnswer(Shape):
    """One kind of entry."""

    kind = text("the word in /v1/catalogue/{kind}")
    about = text("what entries of this kind are")
    count = whole("entries of this kind")


class CatalogueAnswer(BookAnswer):
    """The kinds of entry in the book."""

    kinds = several(KindAnswer, "every kind")


_NEXT_PAGE = {"description": "address of the next page; null on the last"}


def entry(*kinds: type) -> fields.Dict:
    """An entry of one of ``kinds``, with units and sources as the book writes them."""
    refs = [{"$ref": f"#/components/schemas/{kind.__name__}"} for kind in dict.fromkeys(kinds)]
    about = "the entry, with units as the book writes them"
    return fields.Dict(required=True, metadata={"description": about, "anyOf": refs})


class CellAnswer(Shape):
    """Reported pieces of one substrate and type of press, and the share that comes out good."""

    substrate = text("the substrate")
    press_type = text("the type of press")
    good = whole("pieces that came out good")
    failed = whole("pieces that failed")
    low = number("lower end of the credible interval of the good share")
    likely = number("good pieces of all")
    high = number("upper end of the credible interval")
    credibility = number("how sure the interval is, 0 to 1")
    failures = table("what failed to how often", fields.Integer(strict=True))


class CatalogueEntryAnswer(BookAnswer):
    """One entry of the catalogue."""

    kind = text("its kind")
    id = text("its name")
    entry = entry(*KINDS.values())
    outcomes = fields.List(
        fields.Nested(CellAnswer), metadata={"description": "for transfers and products: how reported pieces came out"}
    )


class ListedEntryAnswer(Shape):
    """One entry in a list."""

    id = text("its name")
    entry = entry(*KINDS.values())


class CatalogueKindAnswer(BookAnswer):
    """A page of the entries of one kind."""

    kind = text("the kind")
    entries = several(ListedEntryAnswer, "sorted by name")
    next = fields.String(required=True, allow_none=True, metadata=_NEXT_PAGE)


class ListedLimitAnswer(Shape):
    """One limit in a list."""

    id = text("its name")
    entry = wire.field_of(Object(Limit), required=True)


class LimitsAnswer(BookAnswer):
    """A page of the limits."""

    entries = several(ListedLimitAnswer, "sorted by name")
    next = fields.String(required=True, allow_none=True, metadata=_NEXT_PAGE)


class LimitEntryAnswer(BookAnswer):
    """One limit."""

    id = text("its name")
    entry = wire.field_of(Object(Limit), required=True)
    rules = texts("ids of the rules that compare with it")


class ListedSourceAnswer(Shape):
    """One source in a list."""

    id = text("its name")
    entry = wire.field_of(Object(Source), required=True)


class SourcesAnswer(BookAnswer):
    """A page of the sources."""

    entries = several(ListedSourceAnswer, "sorted by name")
    next = fields.String(required=True, allow_none=True, metadata=_NEXT_PAGE)


class SourceEntryAnswer(BookAnswer):
    """One source."""

    id = text("its name")
    entry = wire.field_of(Object(Source), required=True)
    rules = texts("ids of the rules that rest on it")
    limits = texts("ids of the limits that rest on it")


class ListedRuleAnswer(Shape):
    """One rule in a list."""

    id = text("its name")
    topic = text("its topic")
    level = word("what it finds", LEVELS)
    title = text("the rule in a few words")


class RulesAnswer(BookAnswer):
    """A page of the rules."""

    entries = several(ListedRuleAnswer, "sorted by name")
    next = fields.String(required=True, allow_none=True, metadata=_NEXT_PAGE)


class RuleAnswer(BookAnswer):
    """One rule."""

    id = text("its name")
    topic = text("its topic")
    level = word("what it finds", LEVELS)
    limits = texts("ids of the limits it compares with")
    sources = texts("ids of the sources it rests on")
    entry = table("the rule as the book writes it, with orders that make it fire and orders that keep it silent")


class MeasureAnswer(Shape):
    """What a number is of."""

    dimension = text("the dimension, as limits name it")
    unit = text("the unit that its value is in; empty for a plain number without one")
    example = text("how the facts of a rule's example write one")
    plain = flag("conditions compare it with plain numbers too; else with a limit, which has its unit, or a fact")


class FactReadsAnswer(Shape):
    """What a fact is worked out from at first hand."""

    facts = texts("ids of facts")
    inputs = texts(
        "fields of the order, by JSON Pointer ({i}: the decoration in question, {j}: the others); of shop, press, the"
        " settings chosen and the order of pressings, by their names"
    )
    limits = texts("ids of limits")
    kinds = texts("kinds of the catalogue that are looked through")


class RuleReaderAnswer(Shape):
    """A rule that has a fact in its condition or its sentences."""

    id = text("id of the rule")
    level = word("what it finds", LEVELS)


class FactReadByAnswer(Shape):
    """Who looks at a fact at first hand."""

    facts = texts("ids of the facts that are worked out from it")
    choices = texts("settings, and places in the order of pressings, that are found by looking at it")
    rules = several(RuleReaderAnswer, "the book's rules; house rules are their shop's own and not told here")


class UnsaidAnswer(Shape):
    """What holds where the order leaves it unsaid: asked for, assumed, or asked for where nothing can be assumed."""

    pointer = text("where the order would say it")
    question = text("what is asked; empty where it is never asked for")
    value = fields.Raw(
        required=True,
        allow_none=True,
        metadata={"description": "what is assumed, as an order takes it; null where that hangs on what else is said"},
    )
    shown = text("what is assumed, for people")
    why = text("why that is assumed; empty where nothing is")


class FactShape(Shape):
    """One fact: a word of the language that rules are written in."""

    id = text("its name, as conditions and sentences write it")
    type = word(
        "what it is; text may stand in sentences only, and data is for other facts alone",
        tuple(kind.value for kind in Kind),
    )
    scope = word("what has to be settled before it can be known", tuple(scope.value for scope in Scope))
    description = text("what it says")
    measure = fields.Nested(
        MeasureAnswer, required=True, allow_none=True, metadata={"description": "for numbers: what they measure"}
    )
    words = texts("the words it may be one of, or a set of")
    kinds = texts("the kinds of the catalogue whose ids are among these words")
    reads = fields.Nested(FactReadsAnswer, required=True, metadata={"description": "what it is worked out from"})
    read_by = fields.Nested(FactReadByAnswer, required=True, metadata={"description": "who looks at it"})
    unsaid = fields.Nested(
        UnsaidAnswer, required=True, allow_none=True, metadata={"description": "null where it follows from others"}
    )


class FactsAnswer(BookAnswer):
    """A page of the facts."""

    entries = several(FactShape, "sorted by name")
    next = fields.String(required=True, allow_none=True, metadata=_NEXT_PAGE)


class FactAnswer(BookAnswer, FactShape):
    """One fact, with the words and rules of this revision."""


class UnitsAnswer(Shape):
    """The units answers are written in."""

    temperature = text("symbol")
    length = text("symbol")
    pressure = text("symbol")
    area_density = text("symbol")


class CurvePointAnswer(Shape):
    """What the probe found at one display setting."""

    display = text("the display's setting")
    surface = text("the mean surface temperature; linear between two settings")
    spread = text("how far a spot may lie off the mean, no less than the probe itself may be off")


class ColdestSpotAnswer(Shape):
    """Where the platen is furthest below its mean."""

    spot = whole("which reading of the list, counted from 1")
    display = text("the display's setting then")
    surface = text("what the probe read there")
    below_mean = text("how far that is below the mean of all spots")


class PressCalibrationAnswer(Shape):
    """What the probe readings of one press come to."""

    press = text("the press")
    curve = several(CurvePointAnswer, "from the lowest display setting to the highest")
    coldest = fields.Nested(ColdestSpotAnswer, required=True)
    age_days = fields.Integer(
        required=True, strict=True, allow_none=True, metadata={"description": "of the oldest reading; null if undated"}
    )
    stale = flag("older than readings are trusted")


class OwnShopAnswer(Shape):
    """The caller's own shop; nobody sees another's."""

    shop = wire.field_of(Object(Shop), required=True)
    units = fields.Nested(UnitsAnswer, required=True)
    calibration = several(PressCalibrationAnswer, "the presses that were measured")
    version = whole("grows with each change to the shop")
    role = word("the role of the key used", ROLES)
    key = text("the id of the key used")


class OwnHouseRulesAnswer(Shape):
    """A shop's own rules on top of the book."""

    house_rules = wire.field_of(Object(HouseRules), required=True)
    version = whole("grows with each change; 0 if there never were any")


class ShopEntryAnswer(Shape):
    """One shop, for whoever administers the collective."""

    shop = wire.field_of(Object(Shop), required=True)
    version = whole("grows with each change")
    changed_at = text("when it was last changed, UTC")


class ListedShopAnswer(Shape):
    """One shop in a list."""

    id = text("its name in addresses and keys")
    name = text("what it calls itself")
    version = whole("grows with each change")
    changed_at = text("when it was last changed, UTC")


class ShopsAnswer(Shape):
    """A page of the shops."""

    entries = several(ListedShopAnswer, "sorted by id")
    next = fields.String(required=True, allow_none=True, metadata=_NEXT_PAGE)


class KeyAnswer(Shape):
    """One key. The token itself is kept nowhere."""

    id = text("its name; a token begins with it")
    shop = text("the shop it belongs to, or collective")
    role = word("what it may do", ROLES)
    last_four = text("the token's last four characters")
    issued_at = text("when, UTC")
    revoked_at = text("when, UTC; null while it holds", allow_none=True)


class IssuedKeyAnswer(KeyAnswer):
    """A new key."""

    token = text("shown this once; null when only asked (validate_only) or asked again", allow_none=True)


class KeysAnswer(Shape):
    """A page of keys."""

    entries = several(KeyAnswer, "sorted by id")
    next = fields.String(required=True, allow_none=True, metadata=_NEXT_PAGE)
