"""What people see while they wait, and the tables they read. Progress goes to standard error."""

import contextlib
import time
from collections.abc import Callable, Iterator

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

# Markup is off: names out of a user's files may hold square brackets.
messages = Console(stderr=True, markup=False, highlight=False)
output = Console(markup=False, highlight=False)

QUIET_S = 0.5


@contextlib.contextmanager
def progress(label: str, total: float | None) -> Iterator[Callable[[float], None]]:
    """A progress bar on standard error for work of size `total` (None where it is not known).

    Gives a function that takes how much is done so far, counted from the start. Work that is
    over within half a second shows no bar.
    """
    bar = Progress(
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TaskProgressColumn(),
        TimeRemainingColumn(),
        console=messages,
    )
    task = bar.add_task(label, total=total)
    started_s = time.monotonic()
    shown = False

    def done(amount: float) -> None:
        nonlocal shown
        bar.update(task, completed=amount)
        if not shown and time.monotonic() - started_s > QUIET_S:
            bar.start()
            shown = True

    try:
        yield done
    finally:
        if shown:
            bar.stop()
