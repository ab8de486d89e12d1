"""What people see while they wait, and the tables they read. Progress goes to standard error."""

import contextlib
import threading
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
    over within half a second shows no bar; longer work does, whether it tells how far it is or not.
    """
    bar = Progress(
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TaskProgressColumn(),
        TimeRemainingColumn(),
        console=messages,
        transient=total is None,  # a bar that tells no share says nothing once it is over
    )
    task = bar.add_task(label, total=total)
    patience = threading.Timer(QUIET_S, bar.start)
    patience.daemon = True
    patience.start()
    try:
        yield lambda amount: bar.update(task, completed=amount)
    finally:
        patience.cancel()
        patience.join()  # or it would begin a bar that nobody ends
        if bar.live.is_started:
            bar.stop()
