"""What heat costs: per stack, building it, the first solve, later solves, a whole estimate, and the likely response
that verdicts and plans go by (for a damp stack, of the dry one that stands in for it).

Run ``python tests/bench/bench_heat.py`` from the repository's root. Each figure is the median CPU time over the rounds
and its ratio to summing the first 20 000 squares in plain Python, taken in the same process in turns, so that figures
from different machines can be compared.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from typing import Any

from accord_rules.documents.files import shipped
from accord_rules.documents.reading import read
from accord_rules.heat import HeatedPlaten, Sheet, Spread, Stack, estimate, linear, sagging, solve, stack_for, time_grid
from accord_rules.heat.response import respond, soaked
from accord_rules.revision.catalogue import Consumable, PressType, Substrate, Transfer

ROUNDS = 30
BOOK = shipped()
TIMES = time_grid(70.0)
SPREAD = Spread(platen_k=5.0)


def entry(kind: str, cls: type[Any], name: str) -> Any:
    return read(cls, BOOK[kind][name])


BOARD, KNIT = (entry("substrates", Substrate, name) for name in ("hardboard", "knit"))
DYE, FILM = (entry("transfers", Transfer, name) for name in ("dye-sublimation", "cut-film"))
BENCH, HAND = (entry("press_types", PressType, name) for name in ("swing-away", "hand-held"))
COVER = Sheet("ptfe-sheet", entry("consumables", Consumable, "ptfe-sheet"))

BUILDS: dict[str, Callable[[], Stack]] = {
    "board, dye, bench press": lambda: stack_for(BOARD, DYE, BENCH, 195.0, cover=COVER),
    "board, dye, bench press that sags": lambda: stack_for(BOARD, DYE, BENCH, 195.0, cover=COVER, sagging=True),
    "shirt, film, bench press": lambda: stack_for(KNIT, FILM, BENCH, 150.0, plies=2),
    "shirt, film, hand-held press": lambda: stack_for(KNIT, FILM, HAND, 150.0, plies=2),
    "damp shirt, film, hand-held press": lambda: stack_for(KNIT, FILM, HAND, 150.0, plies=2, water_share=0.075),
}


def forget() -> None:
    """Drop every kept decomposition and estimate."""
    linear._ready.cache_clear()
    sagging._cut.cache_clear()
    sagging._ready.cache_clear()
    estimate.cache_clear()


def yardstick_work() -> int:
    return sum(i * i for i in range(20_000))


def once(work: Callable[[], object]) -> float:
    begun = time.process_time_ns()
    work()
    return (time.process_time_ns() - begun) / 1e6


def main() -> None:
    print(f"{'':36}{'build':>16}{'first solve':>16}{'later solve':>16}{'estimate':>16}{'response':>16}")
    for name, build in BUILDS.items():
        stack = build()
        platen = isinstance(stack.top, HeatedPlaten)
        history = solve(stack, 22.0, TIMES)
        assert history.interface_c[-1] > 100.0, "a stack that does not warm up would be timed for nothing"
        figures: dict[str, list[float]] = {
            "yardstick": [],
            "build": [],
            "first": [],
            "later": [],
            "estimate": [],
            "response": [],
        }
        stand_in = soaked(stack, 130.0, 22.0)
        for round_ in range(ROUNDS):
            figures["yardstick"].append(once(yardstick_work))
            figures["build"].append(once(build))
            forget()
            figures["first"].append(once(lambda stack=stack: solve(stack, 22.0, TIMES)))
            figures["later"].append(once(lambda stack=stack: solve(stack, 22.0, TIMES)))
            forget()
            start_c = (22.0,) * len(stack.layers)
            figures["response"].append(once(lambda dry=stand_in, start_c=start_c: respond(dry, 22.0, start_c)))
            if round_ < (3 if platen else 10):
                figures["estimate"].append(once(lambda stack=stack: estimate(stack, 22.0, 70.0, 130.0, SPREAD)))
        medians = {what: statistics.median(values) for what, values in figures.items()}
        yardstick = medians.pop("yardstick")
        print(f"{name:36}" + "".join(f"{m:8.2f} ms{m / yardstick:5.1f}" for m in medians.values()))


if __name__ == "__main__":
    main()
