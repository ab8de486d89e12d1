"""The faults of a block of flights at work: what arrives, is read, runs and reaches the servos."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from hil.faults.faults import EVER, Fault
from hil.faults.strikes import nothing
from hil.faults.struck import Struck
from hil.rocket.rocket import Rocket
from hil.steering.steering_block import Integers, SteeringBlock
from mixer.ground.inputs.arrays import Array

FRAME_DRAWS = 0xF7A3  # keeps a flight's frame draws apart from its dispersion draws


class FaultsAtWork:
    """Faults of N flights: `faults[n]` go wrong in flight n; its `seed` draws damaged frames."""

    def __init__(
        self,
        faults: Sequence[Sequence[Fault]],
        seeds: Sequence[int],
        rocket: Rocket,
        steering: SteeringBlock,
    ):
        self._struck = Struck(seeds, rocket, steering)
        self._neutral_ns = steering.commands.pulse_ns.copy()
        self._draws = [np.random.default_rng([FRAME_DRAWS, seed]) for seed in seeds]
        self.at = self._struck.at
        for flight, several in enumerate(faults):
            for fault in several:
                self._plan(flight, fault)

    def _plan(self, flight: int, fault: Fault) -> None:
        """Put its begin and its end on the time line."""
        time_s = -EVER if fault.row.built_in else fault.time_s
        end = nothing

        def begin() -> None:
            nonlocal end
            end = fault.row.begins(self._struck, flight, fault.vane - 1, fault.value)

        self._struck.later(time_s, begin)
        if fault.lasts_s < EVER:
            self._struck.later(time_s + fault.lasts_s, lambda: end())

    def frames(self) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """(N,) each: whose demand frame arrives whole this cycle, and whose arrives damaged."""
        struck = self._struck
        arrives = (struck.silent == 0) & (struck.out == 0)
        damaged = np.zeros_like(arrives)
        for flight in np.flatnonzero(struck.damage):
            # One draw a cycle whatever else happens, so that pairs of faults stay comparable.
            damaged[flight] = self._draws[flight].random() < struck.damage[flight]
        return arrives & ~damaged, arrives & damaged

    def pressure_pa(self, true_pa: Array, time_s: float, dt_s: float) -> Integers:
        """What the sensors say, whole pascals, `dt_s` after the last time."""
        return self._struck.sensors.read(true_pa, time_s, dt_s)

    def elapsed_us(self, period_us: int) -> Integers:
        """(N,): time since each flight's last cycle, 0 where none runs now."""
        struck = self._struck
        struck.since += 1
        runs = (struck.since >= struck.periods) & (struck.out == 0)
        elapsed = np.where(runs, struck.since * period_us, 0)
        struck.since[runs] = 0
        return elapsed

    def pulses_us(self, pulse_ns: Integers) -> Array:
        """The pulses (4, N) that reach the servos, by wiring and mounting."""
        wired = np.take_along_axis(pulse_ns, self._struck.servo_of_vane, axis=0)
        mirrored = 2 * self._neutral_ns - wired
        return 1e-3 * np.where(self._struck.reversed, mirrored, wired)
