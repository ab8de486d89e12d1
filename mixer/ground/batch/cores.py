"""Rows shared out among the cores of this computer."""

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import TypeVar

Result = TypeVar("Result")


def core_count() -> int:
    """How many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def in_parts(rows: int, least: int, work: Callable[[slice], Result]) -> list[Result]:
    """`work` on parts of the rows, of at least `least` rows each, in threads side by side."""
    count = min(core_count(), rows // least) if rows >= 2 * least else 1
    if count == 1:
        return [work(slice(0, rows))]
    ends = [rows * part // count for part in range(count + 1)]
    parts = [slice(first, last) for first, last in pairwise(ends)]
    with ThreadPoolExecutor(count) as threads:
        return list(threads.map(work, parts))
