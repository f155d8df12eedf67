from __future__ import annotations

from dataclasses import dataclass

from accord_rules.documents.reading import Choice, optional
from accord_rules.verdict import STAGES
from accord_service.api.answers import ListedStep, Steps
from accord_service.api.endpoint import Call, endpoint
from accord_service.http.paging import PageQuery, page_of
from accord_service.http.writing import Answer


@dataclass(frozen=True, slots=True)
class StepsQuery(PageQuery):
    """Which steps."""

    stage: str | None = optional(Choice(STAGES), about="only steps of this stage")


@endpoint("GET", "/v1/steps", operation_id="listSteps", tag="Book", as_of=True, answers=Steps, query=StepsQuery)
def get_steps(call: Call) -> Answer:
    """List the steps that plans are made of, page by page; of one stage if wished."""
    book, query = call.book, call.query
    wanted = [name for name, step in book.steps.items() if query.stage in (None, step.stage)]
    page = page_of(wanted, query, "/v1/steps", {**call.kept_filters, "stage": query.stage})
    steps = [book.steps[name] for name in page.items]
    entries = tuple(ListedStep(step.id, step.stage, step.rank, step.text.text) for step in steps)
    return Answer(Steps(book.revision, book.digest, entries=entries, next=page.next).document())
