"""A fault planted in an engine's networks, to show that the judge overrules it and that somebody notices."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from accord_rules.infer.engine import Engine
from accord_rules.weigh.scales import Scales


@contextmanager
def contradicting(engine: Engine, rule: str) -> Iterator[None]:
    """The engine's networks say the opposite of what they find out about one rule, as long as the block runs.

    Nothing that was answered before is remembered when it begins.
    """
    place = engine._rules.index(rule)
    networks = [network for network in engine._networks if place in network._place.values()]
    assert networks, f"no network holds {rule}"
    engine._answers.clear()
    asks = [network._ask for network in networks]
    for network, ask in zip(networks, asks, strict=True):
        network._ask = lambda number, body, ask=ask: ask(number, body) ^ {place}  # type: ignore[method-assign,misc]
    try:
        yield
    finally:
        for network, ask in zip(networks, asks, strict=True):
            network._ask = ask  # type: ignore[method-assign]


@contextmanager
def wrong_about(scales: Scales, rule: str) -> Iterator[None]:
    """The same for the engine that the scales ask about a rule; nor do they remember any answer."""
    sections = [section for section in (*scales._enforced, *scales._watching) if rule in section.rules]
    engines = [inference._engine for section in sections for inference in section.inferences]
    (engine,) = (engine for engine in engines if rule in engine._rules)
    scales._answered.clear()
    with contradicting(engine, rule):
        yield
