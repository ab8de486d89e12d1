"""The flight core's allocation for n rows at once, equal to it bit for bit."""

import numpy as np

from mixer.ground.batch_along import Along
from mixer.ground.batch_box import Box
from mixer.ground.batch_deflect import Deflecting
from mixer.ground.batch_nearest import Nearest
from mixer.ground.batch_secondary import Secondary
from mixer.ground.batch_tables import BatchTables
from mixer.ground.batch_words import Reals, Scratch, words


class BatchAllocator:
    """Set `box` and call `prepare`; set `want` and call `allocate`, any number of times.

    columns: 1 where all rows share one box, else n. Arrays, (…, n): `want` pitch/L, yaw/L, roll/R
    and `force` in eighths of a count, `deflection_mdeg`, `pulse_ns`, and the masks
    `primary_limited` and `roll_limited`. `force` may be replaced by an array elsewhere.
    """

    def __init__(self, t: BatchTables, n: int, columns: int):
        self.t = t
        self.box = Box(columns)
        scratch = Scratch(n)
        self._primary = (Along if t.along_segment else Nearest)(t, self.box, scratch)
        self._secondary = Secondary(t, self.box, scratch)
        self._deflecting = Deflecting(t, self.box, scratch)
        self.want, self._point = words(3, n), words(2, n)
        self.force, self.deflection_mdeg, self.pulse_ns = words(4, n), words(4, n), words(4, n)
        self.primary_limited, self.roll_limited = np.zeros((2, n), np.bool_)

    def prepare(self) -> None:
        """Take the box's windows, κ and unit."""
        self.box.work_out(self.t)
        self.prepare_forces()

    def prepare_forces(self) -> None:
        """Take the box's `lo` and `hi` as they stand, κ and unit."""
        self.box.find_rest()
        self._primary.prepare()
        self._secondary.prepare()
        self._deflecting.prepare()

    def allocate(self) -> None:
        """Work out forces, deflections, pulses and what was limited."""
        self.share_out()
        self._deflecting.deflect(self.force, self.deflection_mdeg, self.pulse_ns)

    def allocate_reals(self, deflection_deg: Reals, pulse_us: Reals) -> None:
        """The same where all rows share one box, deflections in deg and pulses in µs, (4, n)."""
        self.share_out()
        self._deflecting.answer(self.force, deflection_deg, pulse_us)

    def share_out(self) -> None:
        """Work out the forces and what was limited."""
        self._primary.find(self.want[:2], self._point, self.primary_limited)
        self._secondary.share_out(self.want[2], self._point, self.force, self.roll_limited)
