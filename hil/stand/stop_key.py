"""A key that does what Ctrl-C does, for a hand that has to find one in a hurry."""

import _thread
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TextIO


@contextmanager
def enter_stops(keyboard: TextIO) -> Iterator[None]:
    """While this lasts, Enter interrupts as Ctrl-C does; where nobody sits at a terminal, not."""
    if not keyboard.isatty():
        yield
        return
    running = threading.Event()
    running.set()

    def wait() -> None:
        keyboard.readline()
        if running.is_set():
            _thread.interrupt_main()

    threading.Thread(target=wait, name="stop key", daemon=True).start()
    try:
        yield
    finally:
        running.clear()
