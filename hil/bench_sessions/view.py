"""What the terminal shows while the bench works: how far it is, and the last readings."""

from collections import deque
from typing import Any

from rich.console import Group
from rich.live import Live
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from hil.bench.item import Item
from mixer.ground.reports.console import messages

ROWS = 8
WIDTH = 41  # of the strip on which the angle is shown
STRIP_DEG = 20.0


class BenchView:
    """A live view on standard error; a context manager. `show` takes each record as it comes."""

    def __init__(self, servo: int, total: int, off: bool = False) -> None:
        self._off = off
        self._rows: deque[tuple[str, str, str]] = deque(maxlen=ROWS)
        self._bar = Progress(
            TextColumn("{task.description}", markup=False),
            BarColumn(),
            TextColumn("{task.completed:.0f} of {task.total:.0f}"),
            TimeRemainingColumn(),
            console=messages,
        )
        self._task = self._bar.add_task(f"servo {servo}", total=total)
        self._servo = servo
        self._live = Live(console=messages, transient=True, auto_refresh=False)
        self._done = 0

    def __enter__(self) -> "BenchView":
        if not self._off and messages.is_terminal:
            self._live.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._live.stop()

    def show(self, done: int, item: Item, record: dict[str, Any]) -> None:
        """One more record; `done` is not used, items of several runs are counted here."""
        self._done += 1
        self._bar.update(self._task, completed=self._done, description=self._title(item))
        self._rows.append((item.key.replace(":", " "), *reading(record)))
        if self._live.is_started:
            self._live.update(Group(self._bar, self._table()), refresh=True)

    def _title(self, item: Item) -> str:
        return f"servo {self._servo}, {item.run}"

    def _table(self) -> Table:
        strip = f"−{STRIP_DEG:g}°{'0':^{WIDTH - 8}}+{STRIP_DEG:g}°"
        table = Table("point", "angle", strip, box=None, pad_edge=False)
        for row in self._rows:
            table.add_row(*row)
        return table


def reading(record: dict[str, Any]) -> tuple[str, str]:
    """A record's angle in words and as a mark on a strip; a trace shows its last angle."""
    angle = record.get("angle_deg", record.get("up", {}).get("angle_deg"))
    if isinstance(angle, list):
        angle = angle[-1] if angle else None
    if angle is None:
        gain = record.get("gain")
        return (f"gain {gain:.3f}" if gain is not None else "–"), ""
    place = round((max(-1.0, min(1.0, angle / STRIP_DEG)) + 1) / 2 * (WIDTH - 1))
    strip = ["·"] * WIDTH
    strip[WIDTH // 2] = "|"
    strip[place] = "●"
    return f"{angle:+z.2f}°", "".join(strip)
