"""An independent account of the pulses a node owes its servos where vanes are declared jammed.

It reads no servo table: what pulse belongs to a deflection it asks a Steering of its own, all of
whose vanes it declares to stand there.
"""

from collections.abc import Sequence
from typing import Protocol

from mixer.flight import FlightTables, Steering
from mixer.flight import layout as at


class Steered(Protocol):
    """What is needed of a steering."""

    @property
    def pulse_ns(self) -> Sequence[int]: ...
    @property
    def deflection_mdeg(self) -> Sequence[int]: ...
    @property
    def jammed(self) -> int: ...


class LedPulses:
    """What goes out beside a Steering that is told the same; `pulse_ns` (4)."""

    def __init__(self, tables: FlightTables):
        self._words = tables.words
        self._table = Steering(tables)
        self._shown: dict[int, int] = {}  # vanes not yet where the steering has them: 0.001°
        self.pulse_ns = list(self._table.pulse_ns)

    def told(self, vane: int, deflection_mdeg: int) -> None:
        """The steering, whose vane was here, is about to hear that it stands or moves again."""
        self._shown.setdefault(vane, deflection_mdeg)

    def cycle(self, steering: Steered, dt_us: int, armed: bool) -> None:
        """The steering has run a cycle."""
        self.pulse_ns = list(steering.pulse_ns)
        for vane, shown in list(self._shown.items()):
            i = vane - 1
            jammed = steering.jammed >> i & 1
            goal = steering.deflection_mdeg[i] if armed else shown if jammed else 0
            most = (
                (1000 * self._words[at.SLEW_HIGH + i] + self._words[at.SLEW_LOW + i])
                * min(dt_us, at.LONGEST_DT_US)
                // 1_000_000
            )
            shown = min(max(goal, shown - most), shown + most)
            self._shown[vane] = shown
            if shown == steering.deflection_mdeg[i]:
                del self._shown[vane]
            else:
                self.pulse_ns[i] = self._pulse(vane, shown)

    def _pulse(self, vane: int, deflection_mdeg: int) -> int:
        self._table.jam(vane, deflection_mdeg)
        self._table.step(0, 1)
        return self._table.pulse_ns[vane - 1]
