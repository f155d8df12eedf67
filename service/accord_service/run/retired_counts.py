"""What dead workers counted: one file of sums in place of one for each of them.

prometheus_client leaves a dead worker's counters where they are, since they still count. Workers are replaced again and
again, so that these files would fill the disk, and each look at the metrics would read them all.
"""

from __future__ import annotations

import shutil
from pathlib import Path

# Its names of files, ``<type>_<process id>.db``; sums are read as if they were one more process's.
_TYPES = ("counter", "histogram")
_RETIRED = "retired"


def retire(folder: Path, pid: int) -> None:
    """Add what worker ``pid``, dead by now, counted to the sums of the dead, and take its files away.

    For the one process that has all workers. Who reads between the last two steps counts this worker twice; a reader
    meets that moment hardly ever, and is right again the next time.
    """
    from prometheus_client.mmap_dict import MmapedDict  # not before the folder is known

    for type_ in _TYPES:
        own, sums = folder / f"{type_}_{pid}.db", folder / f"{type_}_{_RETIRED}.db"
        if not own.exists():
            continue
        new = sums.with_suffix(".new")
        if sums.exists():
            shutil.copyfile(sums, new)
        values = MmapedDict(str(new))  # type: ignore[no-untyped-call]
        for key, value, timestamp, _ in MmapedDict.read_all_values_from_file(str(own)):  # type: ignore[no-untyped-call]
            there, _ = values.read_value(key)  # type: ignore[no-untyped-call]
            values.write_value(key, there + value, timestamp)  # type: ignore[no-untyped-call]
        values.close()  # type: ignore[no-untyped-call]
        new.replace(sums)
        own.unlink()
