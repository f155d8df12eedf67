"""``accord rule`` and ``accord rules``: checked against the book's own files."""

from __future__ import annotations

import json
from typing import Any

import pytest

from accord_rules.documents.spelling import as_word
from accord_rules.revision.book import Book


def with_a_limit(book: Book) -> str:
    """A rule that compares with a limit and has examples given as bare facts."""
    return next(rule.id for rule in book.rules.values() if rule.limits and any("facts" in e for e in rule.fires))


def test_a_rule_is_told_whole(accord: Any, book: Book) -> None:
    rule = book.rules[with_a_limit(book)]
    done = accord("rule", rule.id)
    assert done.exit_code == 0
    page = " ".join(done.stdout.split())
    assert f"{rule.level.upper()} {rule.title}" in page
    assert " ".join(rule.when.split()) in page
    for name in rule.limits:
        assert book.limits[name].title in page
        assert f"A shop may only make it {book.limits[name].stricter}." in page
    for name in rule.sources:
        source = book.sources[name]
        assert f"{source.kind.replace('-', ' ')}: {source.title} [{name}]" in page
    assert "Finds something in" in page
    assert "Stays silent in" in page
    assert "{" not in done.stdout


@pytest.mark.parametrize("local", [True, False])
def test_each_number_says_what_kind_of_source_it_rests_on(local: bool, accord: Any, alone: Any) -> None:
    """As the sources' texts have it: the birds' threshold is a choice, the cords' rows are law that was seen or not."""

    def page(name: str) -> str:
        return " ".join((alone("rule", "--shipped", name) if local else accord("rule", name)).stdout.split())

    assert "[people.ptfe_birds_from; choice: ptfe-fumes, project-choice]" in page("birds-near-hot-ptfe")
    cords = page("cord-in-childs-hood")
    assert "hood cords in the market us [published: drawstrings-us]" in cords
    assert "hood cords in the market uk [secondary: cords-eu, cords-uk]" in cords


def test_the_edges_are_told_when_wished(accord: Any, book: Book) -> None:
    rule = book.rules[with_a_limit(book)]
    plain, whole = accord("rule", rule.id).stdout, accord("rule", "--edges", rule.id).stdout
    assert "(--edges)" in plain
    assert "(--edges)" not in whole
    assert whole.count("    - ") > plain.count("    - ")


def test_the_same_here(accord: Any, alone: Any, book: Book) -> None:
    id_ = with_a_limit(book)
    assert alone("rule", "--shipped", id_).stdout == accord("rule", id_).stdout


@pytest.mark.parametrize("local", [True, False])
def test_a_wrong_name_brings_close_ones(accord: Any, alone: Any, book: Book, local: bool) -> None:
    id_ = with_a_limit(book)
    done = alone("rule", "--shipped", id_ + "x") if local else accord("rule", id_ + "x")
    assert done.exit_code == 2
    assert id_ in done.stderr


def test_every_rule_is_listed_once(accord: Any, book: Book) -> None:
    done = accord("rules", "--json")
    assert done.exit_code == 0
    assert sorted(rule["id"] for rule in json.loads(done.stdout)) == sorted(book.rules)
    listed = accord("rules").stdout.split()
    assert all(listed.count(rule_id) == 1 for rule_id in book.rules)


def test_rules_about_a_word(accord: Any, book: Book) -> None:
    """As ``accord limits WORD``: it stands in the id, the topic or the title."""
    topic = next(iter(book.rules.values())).topic
    for word in ("nylon", topic, topic.replace("-", " ").upper()):
        listed = json.loads(accord("rules", word, "--json").stdout)
        wanted = as_word(word)
        assert {rule["id"] for rule in listed} == {
            rule.id for rule in book.rules.values() if wanted in as_word(f"{rule.id} {rule.topic} {rule.title}")
        }
        assert 0 < len(listed) < len(book.rules)
    blocking = json.loads(accord("rules", "nylon", "--level", "blocks", "--json").stdout)
    assert {rule["level"] for rule in blocking} == {"blocks"}
    wrong = accord("rules", "dye-on-natural-fibrex")
    assert wrong.exit_code == 2
    assert "Did you mean dye-on-natural-fibre" in " ".join(wrong.stderr.split())


@pytest.mark.parametrize("who", ["service", "here"])
def test_rules_of_a_level_and_topic(accord: Any, alone: Any, book: Book, who: str) -> None:
    some = next(iter(book.rules.values()))
    wanted = sorted(r.id for r in book.rules.values() if (r.topic, r.level) == (some.topic, some.level))
    arguments = ["rules", "--json", "--topic", some.topic, "--level", some.level]
    done = accord(*arguments) if who == "service" else alone(*arguments, "--shipped")
    assert [rule["id"] for rule in json.loads(done.stdout)] == wanted
    wrong = ["rules", "--topic", "no-such-topic"]
    done = accord(*wrong) if who == "service" else alone(*wrong, "--shipped")
    assert done.exit_code == 2
    assert some.topic in done.stderr
