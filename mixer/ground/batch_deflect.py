"""From forces to deflections and pulses for many rows: `mixer.flight.deflect`."""

import numpy as np

from mixer.ground.batch_box import Box
from mixer.ground.batch_tables import VANES, BatchTables
from mixer.ground.batch_words import Reals, Scratch, Words, clamp


class Deflecting:
    """Looks up each force in the curve of a new vane, and each deflection in its servo's table.

    The flight core divides, f = ⌊(2^14·F + ⌊κ/2⌋) / κ⌋. Here (2^14·F + ⌊κ/2⌋ + ½) / κ, in double
    precision, is cut off behind the point: that half keeps the true quotient at least 1/2κ, or
    2^-16, away from every whole number, and rounding moves it by less than 2^-30.
    """

    def __init__(self, t: BatchTables, box: Box, scratch: Scratch):
        self.t, self.box, self.scratch = t, box, scratch
        self.gain, self.start = np.zeros((4, box.columns)), np.zeros((4, box.columns))

    def prepare(self) -> None:
        """Work out what depends on the box alone."""
        kappa = self.box.kappa
        np.divide(16384, kappa, out=self.gain)
        np.add(kappa >> 1, 0.5, out=self.start)
        self.start /= kappa
        for i in VANES:
            self.start[i] -= self.t.least_force[i]

    def answer(self, force: Words, deflection_deg: Reals, pulse_us: Reals) -> None:
        """Set deflection and pulse as reals from force, where all rows share one box; (4, n)."""
        windows = np.hstack([self.box.window_lo, self.box.window_hi]).tolist()
        for i, (lo, hi) in enumerate(windows):
            answers = self.t.answers(i, (lo, hi))
            place = self._place(i, force[i])
            answers.deflection_deg.take(place, out=deflection_deg[i], mode="clip")
            answers.pulse_us.take(place, out=pulse_us[i], mode="clip")

    def deflect(self, force: Words, deflection: Words, pulse: Words) -> None:
        """Set deflection, 0.001°, and pulse, ns, from force; all (4, n)."""
        t, box = self.t, self.box
        for i in VANES:
            place = self._place(i, force[i])
            t.deflection_of[i].take(place, out=deflection[i], mode="clip")
            clamp(deflection[i], box.window_lo[i], box.window_hi[i])
            np.subtract(deflection[i], t.travel_lo[i], out=place)
            t.pulse_of[i].take(place, out=pulse[i], mode="clip")

    def _place(self, i: int, force: Words) -> Words:
        """Where in the tables the force of a new vane stands that gives this force."""
        place, real = self.scratch.words[0], self.scratch.reals
        np.multiply(force, self.gain[i], out=real)
        real += self.start[i]
        np.copyto(place, real, casting="unsafe")
        return place
