"""What this machine could do at best: single operations on columns in cache, and memory."""

import numpy as np

from tests.bench.clock import seconds_once

IN_CACHE = 8192  # 32-bit words: three columns of them stay in the first two caches
BEYOND_CACHE = 1 << 26  # bytes
PASSES = 15


def seconds_an_operation() -> float:
    """One 32-bit addition, multiplication or shift of numpy's, an element, in cache."""
    rng = np.random.default_rng(1)
    a, b = rng.integers(-30_000, 30_000, (2, IN_CACHE), dtype=np.int32)
    out = np.empty_like(a)

    def call() -> None:
        for _ in range(500):
            np.add(a, b, out=out)
            np.multiply(a, b, out=out)
            np.right_shift(a, 5, out=out)

    return seconds_once(call, PASSES) / (1500 * IN_CACHE)


def bytes_a_second() -> float:
    """Reading and writing memory far larger than the caches, bytes of both together."""
    source = np.ones(BEYOND_CACHE // 8)
    target = np.empty_like(source)
    return 2 * source.nbytes / seconds_once(lambda: np.copyto(target, source), PASSES)
