"""Ctrl-C, and a polite end from outside, held back while something must not be cut in two."""

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

SIGNALS = (signal.SIGINT, signal.SIGTERM)


@contextmanager
def held_back() -> Iterator[None]:
    """Let them wait until the block is over. Only the main thread hears of them at all."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[int] = []
    before: dict[signal.Signals, Any] = {}
    try:
        for number in SIGNALS:
            before[number] = signal.signal(number, lambda number, frame: came.append(number))
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        if came:
            signal.raise_signal(came[0])
