from __future__ import annotations

from dataclasses import asdict

from accord_rules.derive.glossary import Glossary
from accord_service.api.answers import FactsAnswer
from accord_service.api.endpoint import Asked, endpoint
from accord_service.http.paging import PageQuery, page_of
from accord_service.http.writing import Answer


@endpoint("GET", "/v1/facts", tag="Book", as_of=True, answers=FactsAnswer, query=PageQuery)
def get_facts(asked: Asked) -> Answer:
    """List the facts that rules may speak of, page by page: what each is, whence it comes, who looks at it.

    Facts come with the program; their words, and the rules that read them, are of the revision.
    """
    book, facts = asked.book, Glossary(asked.book)
    page = page_of(facts, asked.query, "/v1/facts", asked.kept_filters)
    return Answer(
        {
            "revision": book.revision,
            "digest": book.digest,
            "entries": [asdict(facts[each]) for each in page.ids],
            "next": page.next,
        }
    )
