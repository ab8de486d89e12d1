"""What the page shows: told by the run, read by whoever looks; a run never waits for readers."""

import threading
import time
from collections import deque
from collections.abc import Sequence
from typing import Any

from mixer.ground.inputs.arrays import VANES

SAMPLES_MOST = 4000  # kept for those who look: the last seconds
Angles = Sequence[float | None]  # four vanes in deg; None where it is not known


class LiveState:
    """State, progress and the last samples of one run; any thread may tell and any may read.

    travel_deg: (4, 2) limits, for the drawing.
    """

    def __init__(
        self, title: str, cautions: Sequence[str], travel_deg: Sequence[Sequence[float]]
    ) -> None:
        self._lock = threading.Lock()
        self.title, self.cautions = title, list(cautions)
        self._about = {"travel_deg": [[float(end) for end in ends] for ends in travel_deg]}
        self._stage = "about to begin"
        self._ended = False
        self._done: float = 0
        self._total: float | None = None
        self._began_s = self._told_s = time.monotonic()
        self._progress_from: tuple[float, float] | None = None
        self._commanded: list[float | None] = [None] * VANES
        self._sensed: list[float | None] = [None] * VANES
        self._samples: deque[tuple[int, list[float | None]]] = deque(maxlen=SAMPLES_MOST)
        self._count = 0

    def say(self, stage: str, done: float | None = None, total: float | None = None) -> None:
        """What the run is doing now, and how much of it is done."""
        with self._lock:
            now_s = self._told_s = time.monotonic()
            self._stage = stage
            if total is not None:
                self._total = total
            if done is not None:
                if self._progress_from is None or done < self._done:
                    self._progress_from = now_s, done
                self._done = done

    def vanes(self, commanded_deg: Angles | None = None, sensed_deg: Angles | None = None) -> None:
        """Where the vanes are led, and where sensors see them; None leaves what stood before."""
        with self._lock:
            self._told_s = time.monotonic()
            if commanded_deg is not None:
                self._commanded = rounded(commanded_deg)
            if sensed_deg is not None:
                self._sensed = rounded(sensed_deg)
            at_s = round(self._told_s - self._began_s, 3)
            self._samples.append((self._count, [at_s, *self._commanded, *self._sensed]))
            self._count += 1

    def end(self, how: str) -> None:
        """The run is over; the page says how."""
        with self._lock:
            self._ended, self._stage = True, how

    def about(self) -> dict[str, Any]:
        """What stays the same."""
        return self._about

    def since(self, count: int) -> dict[str, Any]:
        """What is so now, and the samples from a count on, as JSON knows them.

        A sample: time s, commanded four, sensed four.
        """
        with self._lock:
            now_s = time.monotonic()
            fresh = [row for number, row in self._samples if number >= count]
            return {
                "stage": self._stage,
                "ended": self._ended,
                "done": self._done,
                "total": self._total,
                "left_s": self._left_s(now_s),
                "silent_s": round(now_s - self._told_s, 1),
                "running_s": round(now_s - self._began_s, 1),
                "commanded_deg": self._commanded,
                "sensed_deg": self._sensed,
                "next": self._count,
                "samples": fresh,
            }

    def _left_s(self, now_s: float) -> float | None:
        """What remains, by the pace so far; None where that is not known."""
        if self._total is None or self._progress_from is None or self._ended:
            return None
        from_s, from_done = self._progress_from
        gone = self._done - from_done
        if gone <= 0 or now_s - from_s < 1.0:
            return None
        return round((now_s - from_s) / gone * max(self._total - self._done, 0.0), 1)


def rounded(angles_deg: Angles) -> list[float | None]:
    """As JSON knows them: what is not a number is null."""
    return [
        None if angle is None or angle != angle else round(float(angle), 3) for angle in angles_deg
    ]
