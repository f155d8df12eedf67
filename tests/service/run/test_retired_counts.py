"""Dead workers' counts are kept in one file, and nothing of them is lost or counted twice."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.mmap_dict import MmapedDict, mmap_key
from prometheus_client.multiprocess import MultiProcessCollector

from accord_service.run.retired_counts import retire


def count(folder: Path, kind: str, pid: int, sample: str, **values: float) -> None:
    """As a worker does: the file of its kind and process, with one series for each name."""
    file: Any = MmapedDict(str(folder / f"{kind}_{pid}.db"))  # type: ignore[no-untyped-call]
    for name, value in values.items():
        family = sample.removesuffix("_total").removesuffix("_bucket")
        file.write_value(mmap_key(family, sample, ["le"], [name], "Of a test"), value, 0.0)  # type: ignore[no-untyped-call]
    file.close()


def shown(folder: Path) -> bytes:
    registry = CollectorRegistry()
    MultiProcessCollector(registry, path=str(folder))  # type: ignore[no-untyped-call]
    return bytes(generate_latest(registry))


def test_what_the_dead_counted_still_counts_and_their_files_are_gone(tmp_path: Path) -> None:
    for pid in range(1, 6):
        count(tmp_path, "counter", pid, "asked_total", a=pid, **{f"only-of-{pid}": 1.0})
        count(tmp_path, "histogram", pid, "seconds_bucket", **{"0.5": 2.0 * pid, "+Inf": 1.0})
    before = shown(tmp_path)
    assert b'asked_total{le="a"} 15.0' in before
    for pid in range(1, 5):
        retire(tmp_path, pid)
        assert sorted(shown(tmp_path).splitlines()) == sorted(before.splitlines())
    names = {file.name for file in tmp_path.iterdir()}
    assert names == {"counter_retired.db", "histogram_retired.db", "counter_5.db", "histogram_5.db"}


def test_who_counted_nothing_leaves_nothing(tmp_path: Path) -> None:
    retire(tmp_path, 7)
    assert list(tmp_path.iterdir()) == []


def test_a_disk_that_can_not_be_written_leaves_the_files_as_they_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    count(tmp_path, "counter", 1, "asked_total", a=1.0)
    retire(tmp_path, 1)
    count(tmp_path, "counter", 2, "asked_total", a=2.0)
    before = shown(tmp_path)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("shutil.copyfile", full)
    with pytest.raises(OSError, match="No space"):
        retire(tmp_path, 2)
    assert shown(tmp_path) == before
