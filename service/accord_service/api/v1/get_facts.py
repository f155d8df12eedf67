from __future__ import annotations

from accord_rules.derive.glossary import Glossary
from accord_service.api.answers import Facts
from accord_service.api.endpoint import Call, endpoint
from accord_service.http.paging import PageQuery, page_of
from accord_service.http.writing import Answer


@endpoint("GET", "/v1/facts", operation_id="listFacts", tag="Book", as_of=True, answers=Facts, query=PageQuery)
def get_facts(call: Call) -> Answer:
    """List the facts that rules may speak of, page by page: what each is, whence it comes, who looks at it.

    Facts come with the program; their words, and the rules that read them, are of the revision.
    """
    book, facts = call.book, Glossary(call.book)
    page = page_of(facts, call.query, "/v1/facts", call.kept_filters)
    entries = tuple(facts[name] for name in page.items)
    return Answer(Facts(book.revision, book.digest, entries=entries, next=page.next).document())
