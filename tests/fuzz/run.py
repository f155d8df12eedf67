"""Coverage-guided fuzzing of one target: ``python tests/fuzz/run.py orders --seconds 120``.

atheris (libFuzzer) watches which branches of the readers an input reaches, and goes on from those that reach new ones.
What fails is made smaller and kept in tests/fuzz/inputs, where ``tests/fuzz/test_fuzz.py`` asks it again with every
change. Exits 1 with the input if one failed, 2 if the search broke off. It needs ``pip install -r tests/nightly.lock``.
"""

from __future__ import annotations

import argparse
import hashlib
import multiprocessing
import os
import random
import sys
import tempfile
import time
import traceback
from pathlib import Path

import atheris

sys.path[:0] = [str(Path(__file__).parents[2])]
# What is watched slows down several times, so that of the loader only the files are that read what a proposal says.
WATCHED = {
    "proposals": [
        "accord_rules.governance.changes",
        "accord_rules.load.loader",
        "accord_rules.revision.condition",
        "accord_rules.revision.sentences",
    ]
}
EVERY_READER = ["accord_rules.documents", "accord_rules.orders", "accord_rules.revision", "accord_service.http"]
with atheris.instrument_imports(include=WATCHED.get("".join(sys.argv[1:2]), EVERY_READER)):
    from tests.fuzz.mutations import mutated, shrunk
    from tests.fuzz.targets import TARGETS, Target

INPUTS = Path(__file__).with_name("inputs")
SHARE_OF_BYTES = 0.2  # of the changes, those made by libFuzzer byte by byte
ANSWER_MOST_CPU_S = 20  # a single input that takes longer is a failure
STUCK_S = 120  # when libFuzzer gives an input up: on a busy machine that says nothing of the input alone
MEMORY_MOST_MB = 2048
SEEDS_MOST = 60  # each is asked before the first is changed; parts are taken of all
INPUT_MOST_BYTES = 64 * 1024


def fuzz(name: str, seconds: int, seed: int, corpus: Path) -> None:
    """Never returns: libFuzzer ends the process, with another status than 0 where an input failed."""
    target = TARGETS[name]
    pool = list(target.seeds())
    for seed_input in pool[:: -(-len(pool) // SEEDS_MOST)]:
        (corpus / hashlib.sha256(seed_input).hexdigest()[:16]).write_bytes(seed_input)

    target.ask(pool[0])  # the book is loaded by now

    def mutate(data: bytes, most: int, seed: int) -> bytes:
        rng = random.Random(seed)
        if rng.random() < SHARE_OF_BYTES:
            return bytes(atheris.Mutate(data, most))
        return mutated(data, rng, pool, is_json=target.is_json)[:most]

    words = [
        sys.argv[0],
        str(corpus),
        f"-max_total_time={seconds}",
        f"-seed={seed}",
        f"-timeout={STUCK_S}",
        f"-rss_limit_mb={MEMORY_MOST_MB}",
        f"-max_len={INPUT_MOST_BYTES}",
        f"-artifact_prefix={corpus}/failed-",
        "-print_final_stats=1",
    ]
    seen: set[str] = set()

    def ask(data: bytes) -> None:
        """What fails is written down, once a kind, and does not end the search."""
        kind = failure(target, data)
        if kind is not None and kind not in seen:
            seen.add(kind)
            (corpus / f"failed-{len(seen)}").write_bytes(data)

    atheris.Setup(words, ask, custom_mutator=mutate)
    atheris.Fuzz()


def failure(target: Target, data: bytes) -> str | None:
    """The kind and the place of what an input ends in."""
    begun_s = time.process_time()
    try:
        target.ask(data)
    except Exception as error:
        place = traceback.extract_tb(error.__traceback__)[-1]
        return f"{type(error).__name__} at {Path(place.filename).name}:{place.lineno}"
    return "too slow" if time.process_time() - begun_s > ANSWER_MOST_CPU_S else None


def keep(name: str, data: bytes) -> bool:
    """Makes an input that fails smaller, keeps it and prints it; False for one that fails no more."""
    target = TARGETS[name]
    kind = failure(target, data)
    if kind is None:
        return False
    data = shrunk(data, lambda less: failure(target, less) == kind, is_json=target.is_json)
    folder = INPUTS / name
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / hashlib.sha256(data).hexdigest()[:12]
    file.write_bytes(data)
    print(f"failed: {kind}: {file}: {data[:2000]!r}")
    return True


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("target", choices=list(TARGETS))
    parser.add_argument("--seconds", type=int, default=120)
    parser.add_argument("--seed", type=int, default=int.from_bytes(os.urandom(3)) + 1)
    words = parser.parse_args()
    until_s, failed = time.monotonic() + words.seconds, 0
    with tempfile.TemporaryDirectory(prefix="accord-fuzz-") as folder:
        corpus = Path(folder)
        while not failed and (seconds := round(until_s - time.monotonic())) > 0:
            process = multiprocessing.get_context("fork").Process(
                target=fuzz, args=(words.target, seconds, words.seed, corpus)
            )
            process.start()
            process.join()
            artifacts = sorted(corpus.glob("failed-*"))
            failed = sum(keep(words.target, file.read_bytes()) for file in artifacts)
            if process.exitcode != 0 and not artifacts:
                print(f"the search itself broke off with status {process.exitcode}")
                return 2
            for file in artifacts:
                file.unlink()
    print(f"{words.target}: seed {words.seed}, {failed} failed")
    return int(bool(failed))


if __name__ == "__main__":
    sys.exit(main())
