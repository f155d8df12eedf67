from __future__ import annotations

from flask import Response, render_template, request

from accord_service.api.endpoint import dump
from accord_service.http.problems import PROBLEMS, NotFound, Problem


def problem_pages() -> str:
    """Every type of problem."""
    return render_template("problems.html", problems=PROBLEMS.values())


def problem_page(slug: str) -> Response | str:
    """One type of problem, as a page or (Accept: application/json) as a document."""
    if slug not in PROBLEMS:
        raise NotFound(f"There is no problem type {slug:.60}.")
    problem = PROBLEMS[slug]
    best = request.accept_mimetypes.best_match(("text/html", "application/json"), "text/html")
    if best == "application/json":
        return Response(dump(_document(problem)), mimetype="application/json", headers={"Vary": "Accept"})
    return Response(render_template("problem.html", problem=problem), headers={"Vary": "Accept"})


def _document(problem: type[Problem]) -> dict[str, str | int]:
    return {
        "type": f"/problems/{problem.slug}",
        "title": problem.title,
        "status": problem.status,
        "meaning": problem.meaning,
        "remedy": problem.remedy,
    }
