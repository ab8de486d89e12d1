"""The force boxes of a batch: one for each row, or one that all rows share."""

import numpy as np

from mixer.ground.batch_tables import VANES, BatchTables
from mixer.ground.batch_words import LARGEST, words


class Box:
    """What the vanes can do: arrays (4, columns), `unit` (columns,); a column a row, or just one.

    `window_lo`, `window_hi`: reachable angles, 0.001°. `kappa`: the force gain of pressure and
    wear, Q14. `lo`, `hi`: the forces of the window, eighths of a count, as `mixer.flight.box` has
    them. `rest`: the forces nearest to none. `unit`: the allocator's unit is an eighth << unit.
    """

    def __init__(self, columns: int):
        self.columns = columns
        self.window_lo, self.window_hi = words(4, columns), words(4, columns)
        self.kappa, self.unit = words(4, columns), np.ones(columns, np.int32)
        self.lo, self.hi, self.rest = words(4, columns), words(4, columns), words(4, columns)

    def work_out(self, t: BatchTables) -> None:
        """Set `lo` and `hi` from windows and kappa."""
        for force, window in ((self.lo, self.window_lo), (self.hi, self.window_hi)):
            for i in VANES:
                t.force_of[i].take(window[i] - t.travel_lo[i], out=force[i], mode="clip")
            force *= self.kappa
            force >>= 14

    def find_rest(self) -> None:
        """Set `rest` from `lo` and `hi`."""
        np.clip(self.lo, 0, LARGEST, out=self.rest)
        np.minimum(self.rest, self.hi, out=self.rest)
