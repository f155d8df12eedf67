from __future__ import annotations

from accord_rules.derive.glossary import Glossary
from accord_service.api.answers import Fact
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.http.problems import NotFound
from accord_service.http.writing import Answer


@endpoint(
    "GET",
    "/v1/facts/{name}",
    operation_id="readFact",
    tag="Book",
    as_of=True,
    answers=Fact,
    parameters={"name": "name of the fact"},
    examples=(Example("A fact", path=lambda book: {"name": min(Glossary(book))}),),
)
def get_fact(call: Call) -> Answer:
    """Give one fact: what it is, what it is worked out from, what holds when it is unsaid, and who looks at it."""
    book, name = call.book, call.path["name"]
    facts = Glossary(book)
    if name not in facts:
        raise NotFound.in_book("fact", "fact", name, facts)
    return Answer(Fact(book.revision, book.digest, fact=facts[name]).document())
