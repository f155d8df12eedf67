"""What every room's tests share: the shipped book, loaded once, an authority over it, collectives in real stores."""

from __future__ import annotations

import fcntl
import gc
import hashlib
import marshal
import math
import os
import pickle
import shutil
import time
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from weakref import WeakSet

import pytest
from flask import Response, request
from hypothesis import settings
from tests.markers import pytest_collection_modifyitems, pytest_ignore_collect, pytest_runtest_setup

from accord_rules.authority import Authority
from accord_rules.documents import files
from accord_rules.documents.files import BookError, Documents
from accord_rules.governance import changes
from accord_rules.governance.comparison import EdgeOrder
from accord_rules.infer import engine
from accord_rules.load import loader
from accord_rules.load.loader import from_documents, load_book
from accord_rules.revision.book import Book
from accord_service import app
from accord_service.api.v1 import ENDPOINTS
from accord_service.http.problems import Problem
from accord_service.run.config import SEAL_KEY_FILE, Config
from accord_service.serving import first_start
from accord_service.steps import effects
from accord_service.store import EmbeddedServer, Seals, Store
from accord_service.store.watch import HeadWatch
from accord_service.worker import edition, trials
from accord_service.worker.collector import spare_the_book

__all__ = ["pytest_collection_modifyitems", "pytest_ignore_collect", "pytest_runtest_setup"]


BOOKS_HELD = 8
PAGE = "https://checkout.example"  # the origin that storefronts' keys are for


def _parse_texts_once() -> None:
    """A text of TOML that was parsed before is not parsed anew: tests read the book's 600 files again and again, most
    of them as they were. Each reader has a copy of its own."""

    @cache
    def parsed(text: str) -> bytes:
        return pickle.dumps(tomllib.loads(text))

    def loads(text: str) -> dict[str, Any]:
        return pickle.loads(parsed(text))

    files.tomllib = SimpleNamespace(loads=loads, TOMLDecodeError=tomllib.TOMLDecodeError)


def _draw_the_same_by_day() -> None:
    """What hypothesis draws is the same in every run, so that none fails by chance; by night it is new each time."""
    settings.register_profile("by day", derandomize=True, database=None)
    if os.environ.get("ACCORD_NIGHTLY") != "1":
        settings.load_profile("by day")


def pytest_configure(config: pytest.Config) -> None:
    """Load the shipped book. Its examples are tried by the first processes of a run of ``suite.py``; those of its later
    runs rely on that, as programs do that were started once before (``worker/trials.py``)."""
    _parse_texts_once()
    _draw_the_same_by_day()
    folder = os.environ.get("ACCORD_TESTS_FOLDER")
    if folder is None or (config.getoption("dist", "no") != "no" and not hasattr(config, "workerinput")):
        return  # it is loaded when it is needed; what hands out tests to others needs none
    # What is wrong with a book is told where tests load it.
    with pytest.MonkeyPatch.context() as patch, suppress(BookError), ExitStack() as first:
        patch.setenv("XDG_CACHE_HOME", str(Path(folder, "cache")))
        load_untried = partial(loader.load_folder, passed=partial(_tried_by_another, first, folder))
        patch.setattr(loader, "load_folder", load_untried)
        trials.remember(trials.EXAMPLES, load_book().documents)


def _tried_by_another(first: ExitStack, folder: str, documents: Documents) -> bool:
    """Whether another process of the run tried the examples. While one tries them, the others wait for it; that one is
    told no, and has ``first`` to close when it is done."""
    with ExitStack() as waiting:
        lock = waiting.enter_context(Path(folder, "examples.lock").open("w"))
        fcntl.flock(lock, fcntl.LOCK_EX)  # until it is closed
        if not trials.passed(trials.EXAMPLES, documents):
            first.push(waiting.pop_all())
            return False
    return True


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Iterator[None]:
    """All that collecting makes stays, and there is ever more of it to be looked through in vain."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.enable()


@pytest.fixture(scope="session")
def of_the_run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that all processes of this run share; the runs of ``suite.py`` have one together."""
    if named := os.environ.get("ACCORD_TESTS_FOLDER"):
        return Path(named)
    own = tmp_path_factory.getbasetemp()
    return own.parent if "PYTEST_XDIST_WORKER" in os.environ else own


@pytest.fixture(scope="session", autouse=True)
def cache_of_its_own(of_the_run: Path) -> Iterator[None]:
    """What the tests' programs remember of books that they tried lies in the run's folder, not in the user's cache."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(of_the_run / "cache"))
        yield


@pytest.fixture(scope="session", autouse=True)
def seal_key_of_the_run(of_the_run: Path) -> Iterator[Path]:
    """One key seals every audit of this run, so that a test can open any store behind its service's back."""
    file = of_the_run / "seal-key.pem"
    Seals.made_at(file)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(SEAL_KEY_FILE, str(file))
        yield file


@pytest.fixture(scope="session", autouse=True)
def garbage_looked_for_as_in_workers() -> None:
    """Applications are made and asked in this process, and hold as much as a worker does."""
    load_book()
    spare_the_book()


@pytest.fixture(scope="session", autouse=True)
def rules_tried_once() -> Iterator[None]:
    """Rules that passed their trial in a throw-away process are not tried again: each application would, for the same
    book. Rules that were not tried yet are. The authority's own test of a book that an effect is of asks a sample of
    its rules, once for each book: that it asks all of them is held in ``service/worker/test_tried.py``, and what comes
    of a red one in ``service/steps/test_effect_faults.py``."""
    passed: set[str] = set()
    tested: dict[str, str] = {}

    def test_once(book: Book) -> str:
        if book.digest not in tested:
            with pytest.MonkeyPatch.context() as patch:
                patch.setattr(edition, "_self_test", lambda authority, one_in: self_test(authority, edition.SAMPLED))
                tested[book.digest] = edition.tried_by(book)
        return tested[book.digest]

    def try_once(*arguments: Any) -> None:
        question = repr(arguments)
        if question not in passed:
            engine.try_out(*arguments)
            passed.add(question)

    self_test = edition._self_test
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(edition, "try_out", try_once)
        patch.setattr(effects, "tried_by", test_once)
        yield


@pytest.fixture(scope="session", autouse=True)
def edges_found_once() -> Iterator[None]:
    """The orders at edges between the same two books are found once for all effects that tests have worked out."""
    # A book's number is no part of its digest, and no order at an edge hangs on it.
    found: dict[tuple[str, str, int], tuple[tuple[EdgeOrder, ...], int]] = {}

    def find_once(old: Book, new: Book, most: int) -> tuple[tuple[EdgeOrder, ...], int]:
        name = old.digest, new.digest, most
        if name not in found:
            found[name] = edge_orders(old, new, most)
        return found[name]

    edge_orders = effects.edge_orders
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(effects, "edge_orders", find_once)
        yield


@pytest.fixture(scope="session", autouse=True)
def changes_weighed_once() -> Iterator[None]:
    """That what makes one book of another is not too dear is found once for all effects that tests have worked out;
    what is too dear is refused anew each time."""
    cheap: set[tuple[str, str]] = set()

    def refuse_once(old: Book, new: Book, touched: Iterable[changes.EntryChange]) -> None:
        name = old.digest, new.digest
        if name not in cheap:
            refuse_dear_changes(old, new, touched)
            cheap.add(name)

    refuse_dear_changes = effects.refuse_dear_changes
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(effects, "refuse_dear_changes", refuse_once)
        yield


@pytest.fixture(scope="session", autouse=True)
def books_loaded_once() -> Iterator[None]:
    """The few books met last are not loaded again for each application and each step of a proposal: the same documents
    make the same book, and nothing can change one. What does not load is refused anew each time.

    This process has tried every example of the shipped book, so that of a book like it only what a difference can reach
    is tried (``load/affected.py``; its own tests hold that to trying all). A book whose examples were taken as tried by
    somebody else never stands in for one whose examples are to be tried."""
    shipped = load_book().documents
    loaded: dict[tuple[bytes, int, bool, bool], Book] = {}

    def sum_of(documents: Documents) -> bytes:
        """Tells 1 from 1.0 and from true, as the canonical form does, and takes a fifth of its time."""
        return hashlib.sha256(marshal.dumps(documents, 2)).digest()  # the version that knows no references

    def load_once(
        documents: Documents, revision: int = 1, *, tried: Documents | None = None, superseded: bool = False
    ) -> Book:
        in_full = sum_of(documents), revision, superseded, True
        name = in_full if tried is None or in_full in loaded else (*in_full[:3], False)
        book = loaded.pop(name, None) or from_documents(
            documents, revision, tried=shipped if tried is None else tried, superseded=superseded
        )
        loaded[name] = book  # the one met last comes last
        for oldest in [*loaded][:-BOOKS_HELD]:
            del loaded[oldest]
        return book

    with pytest.MonkeyPatch.context() as patch:
        for room in (changes, edition, first_start):
            patch.setattr(room, "from_documents", load_once)
        yield


@pytest.fixture(scope="session", autouse=True)
def problems_declared() -> Iterator[None]:
    """An endpoint that answers with a type of problem that it does not declare fails, whatever is tested there: the
    description would not list it."""
    endpoints = {endpoint.name: endpoint for endpoint in ENDPOINTS}
    answer = app._problem

    def answer_declared(problem: Problem) -> Response:
        endpoint = endpoints.get(request.endpoint or "")
        declared = endpoint is None or type(problem) in endpoint.problems
        assert declared, f"{request.endpoint} does not declare {type(problem).__name__}"
        return answer(problem)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(app, "_problem", answer_declared)
        yield


@pytest.fixture(scope="session", autouse=True)
def settled_at_once() -> Iterator[None]:
    """Whoever asks an application of this process next is answered from what the store holds, without the second's wait
    for workers of other processes: all watches of this one ask anew. That a write waits where workers are served, and
    for how long, is held in ``store/test_watch.py`` and by the tests that start a service."""
    watches: WeakSet[HeadWatch] = WeakSet()

    def make(watch: HeadWatch, *arguments: Any, **options: Any) -> None:
        made(watch, *arguments, **options)
        watches.add(watch)

    def settle(watch: HeadWatch) -> None:
        if watch._sleep is not time.sleep:  # of a test with a clock of its own
            waited(watch)
            return
        for other in [*watches]:
            with other._asking:  # what is being asked was asked before
                other._asked_s = other._seen_s = -math.inf

    made, waited = HeadWatch.__init__, HeadWatch.settle
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(HeadWatch, "__init__", make)
        patch.setattr(HeadWatch, "settle", settle)
        yield


@pytest.fixture(scope="session")
def book() -> Book:
    return load_book()


@pytest.fixture(scope="session")
def authority(book: Book) -> Iterator[Authority]:
    opened = Authority(book)
    yield opened
    opened.close()


@dataclass(frozen=True)
class Collective:
    """A running store with a book, shops and keys. ``tokens``: (shop, role) to the bearer token of its key."""

    server: EmbeddedServer
    data: Path
    tokens: Mapping[tuple[str, str], str]

    @property
    def config(self) -> Config:
        """For ``create_app`` in this process."""
        return Config(store_url=self.server.url, data=self.data, log_level="WARNING")

    def headers(self, shop: str, role: str) -> dict[str, str]:
        """What a request of this key says."""
        said = {"Authorization": f"Bearer {self.tokens[shop, role]}"}
        return said | ({"Origin": PAGE} if role == "storefront" else {})


OpenCollective = Callable[[Iterable[str], Iterable[tuple[str, str]]], Collective]


@pytest.fixture(scope="session")
def seeded_data(of_the_run: Path, seal_key_of_the_run: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The data folder that a first start leaves: the shipped book as revision 1, an admin's key. To be copied.

    Made by whichever process of the run wants it first.
    """
    seeded = of_the_run / "seeded"
    with (of_the_run / "seeded.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # until it is closed
        if not seeded.exists():
            data = tmp_path_factory.mktemp("seeded-by-this")
            shutil.copy(seal_key_of_the_run, data / "seal-key.pem")
            server = EmbeddedServer.start(data / "store")
            try:
                first_start.furnish(server.url, data)
            finally:
                server.stop()
            shutil.move(data, seeded)
    return seeded


@pytest.fixture(scope="session")
def open_collective(seeded_data: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[OpenCollective]:
    """Starts a store of its own, on a copy of the seeded one, for shops (TOML) and keys (shop, role)."""
    opened: list[EmbeddedServer] = []

    def open_one(shops: Iterable[str], keys: Iterable[tuple[str, str]]) -> Collective:
        data = tmp_path_factory.mktemp("data")
        shutil.copytree(seeded_data, data, dirs_exist_ok=True)
        server = EmbeddedServer.start(data / "store")
        opened.append(server)
        store = Store.at(server.url, timeout_s=5.0)
        for text in shops:
            document = tomllib.loads(text)
            store.shops.create(document["id"], document, who="test")
        tokens = {
            (shop, role): store.keys.issue(
                shop,
                role,
                holder=f"The {role} of {shop}",
                who="test",
                origins=[PAGE] if role == "storefront" else [],
            ).token
            for shop, role in keys
        }
        store.close()
        return Collective(server, data, tokens)

    yield open_one
    for collective in opened:
        collective.stop()
