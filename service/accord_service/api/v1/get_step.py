from __future__ import annotations

from accord_rules.revision.spoken import lines_of
from accord_service.api.answers import Step
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.examples import first_of
from accord_service.http.problems import NotFound
from accord_service.http.writing import Answer


@endpoint(
    "GET",
    "/v1/steps/{name}",
    operation_id="readStep",
    tag="Book",
    as_of=True,
    answers=Step,
    parameters={"name": "id of the step"},
    examples=(Example("A step", path=lambda book: {"name": first_of(book, "steps")}),),
)
def get_step(call: Call) -> Answer:
    """Give one step: when a plan has it, what it says, why, what it rests on, and orders that show it."""
    book, name = call.book, call.path["name"]
    if name not in book.steps:
        raise NotFound.in_book("step", "step", name, book.steps)
    step = book.steps[name]
    entry = Step(
        book.revision,
        book.digest,
        id=step.id,
        stage=step.stage,
        limits=step.limits,
        sources=step.sources,
        rules=tuple(sorted(rule.id for rule in book.rules.values() if rule.step == name)),
        in_words=() if step.always else lines_of(step.condition.tree, book.catalogue),
        entry=book.documents["steps"][name],
    )
    return Answer(entry.document())
