"""Processor time of calls: what other programs do meanwhile does not count."""

import time
from collections.abc import Callable, Sequence

LEAST_S = 0.05  # a pass shorter than this is repeated
PASSES = 5


def seconds_each(call: Callable, arguments: Sequence, passes: int = PASSES) -> float:
    """Seconds of one `call(argument)`, from the fastest pass over all arguments."""
    best = float("inf")
    for _ in range(passes):
        calls, started = 0, time.process_time()
        while True:
            for argument in arguments:
                call(argument)
            calls += len(arguments)
            spent = time.process_time() - started
            if spent >= LEAST_S:
                break
        best = min(best, spent / calls)
    return best


def seconds_once(call: Callable[[], object], passes: int = PASSES) -> float:
    """Seconds of one long call, the fastest of several."""
    best = float("inf")
    for _ in range(passes):
        started = time.process_time()
        call()
        best = min(best, time.process_time() - started)
    return best
