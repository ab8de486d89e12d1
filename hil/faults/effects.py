"""The faults of a block of flights at work: what the link, sensors, servos and vanes suffer.

Each fault becomes a start and an end on one time line; between them it stands in arrays with one
column per flight, so that a cycle costs the same with faults or without.
"""

import heapq
from collections.abc import Callable, Sequence
from itertools import count

import numpy as np
from numpy.typing import NDArray

from hil.faults.faults import BUILT_IN, Fault
from hil.faults.pressure_sensor import PressureSensors
from hil.rocket.rocket import Rocket
from hil.steering.pseudo_inverse import PA_PER_BAR
from hil.steering.steering_block import Integers, SteeringBlock
from mixer.ground.inputs.arrays import VANES, Array

FRAME_DRAWS = 0xF7A3  # keeps a flight's frame draws apart from its dispersion draws


class Conditions:
    """Faults of N flights: `faults[n]` go wrong in flight n; its `seed` draws damaged frames."""

    def __init__(
        self,
        faults: Sequence[Sequence[Fault]],
        seeds: Sequence[int],
        rocket: Rocket,
        steering: SteeringBlock,
    ):
        flights = len(faults)
        self._rocket, self._steering = rocket, steering
        self._sensors = PressureSensors(seeds, PA_PER_BAR * rocket.chamber_bar)
        self._silent = np.zeros(flights, np.int64)  # how many faults keep the demands away
        self._damage = np.zeros(flights)
        self._out = np.zeros(flights, np.int64)  # how many faults keep the board from running
        self._periods = np.ones(flights, np.int64)
        self._since = np.zeros(flights, np.int64)  # periods since the last cycle that ran
        self._servo_of_vane = np.repeat(np.arange(VANES)[:, None], flights, axis=1)
        self._reversed = np.zeros((VANES, flights), bool)
        self._neutral_ns = steering.commands.pulse_ns.copy()
        self._draws = [np.random.default_rng([FRAME_DRAWS, seed]) for seed in seeds]
        self._line: list[tuple[float, int, Callable[[], None]]] = []
        self._order = count()
        for flight, several in enumerate(faults):
            for fault in several:
                self._plan(flight, fault)

    def at(self, time_s: float) -> None:
        """Let everything happen that is due by now."""
        while self._line and self._line[0][0] <= time_s + 1e-9:
            heapq.heappop(self._line)[2]()

    def frames(self) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """(N,) each: whose demand frame arrives whole this cycle, and whose arrives damaged."""
        arrives = (self._silent == 0) & (self._out == 0)
        damaged = np.zeros_like(arrives)
        for flight in np.flatnonzero(self._damage):
            # One draw a cycle whatever else happens, so that pairs of faults stay comparable.
            damaged[flight] = self._draws[flight].random() < self._damage[flight]
        return arrives & ~damaged, arrives & damaged

    def pressure_pa(self, true_pa: Array, time_s: float, dt_s: float) -> Integers:
        """What the sensors say, whole pascals, `dt_s` after the last time."""
        return self._sensors.read(true_pa, time_s, dt_s)

    def elapsed_us(self, period_us: int) -> Integers:
        """(N,): time since each flight's last cycle, 0 where none runs now."""
        self._since += 1
        runs = (self._since >= self._periods) & (self._out == 0)
        elapsed = np.where(runs, self._since * period_us, 0)
        self._since[runs] = 0
        return elapsed

    def pulses_us(self, pulse_ns: Integers) -> Array:
        """The pulses (4, N) that reach the servos, by wiring and mounting."""
        wired = np.take_along_axis(pulse_ns, self._servo_of_vane, axis=0)
        mirrored = 2 * self._neutral_ns - wired
        return 1e-3 * np.where(self._reversed, mirrored, wired)

    def _plan(self, flight: int, fault: Fault) -> None:
        begin, end = self._effects(flight, fault)
        time_s = -np.inf if fault.kind in BUILT_IN else fault.time_s
        heapq.heappush(self._line, (time_s, next(self._order), begin))
        if np.isfinite(fault.lasts_s):
            heapq.heappush(self._line, (time_s + fault.lasts_s, next(self._order), end))

    def _effects(self, flight: int, fault: Fault) -> tuple[Callable[[], None], Callable[[], None]]:
        """What the fault does when it begins and when it ends."""
        vane = fault.vane - 1
        servos, vanes, sensors = self._rocket.servos, self._rocket.vanes, self._sensors

        def put(array: NDArray, index: int | tuple[int, int], value: float) -> Callable[[], None]:
            return lambda: array.__setitem__(index, value)

        def add(array: NDArray, value: int) -> Callable[[], None]:
            return lambda: array.__setitem__(flight, array[flight] + value)

        def hold_here() -> None:
            servos.held_deg[vane, flight] = self._rocket.vane_deg[vane, flight]

        def slow(share: float) -> Callable[[], None]:
            def change() -> None:
                servos.slew_deg_s[vane, flight] *= share
                servos.lag_s[vane, flight] /= share

            return change

        def swap() -> None:
            column, other = self._servo_of_vane[:, flight], round(fault.value) - 1
            column[[vane, other]] = column[[other, vane]]

        def lose_power() -> None:
            self._out[flight] += 1
            heapq.heappush(self._line, (fault.time_s + fault.value, next(self._order), restart))

        def restart() -> None:
            self._out[flight] -= 1
            self._since[flight] = 0
            self._steering.reset(flight)

        def nothing() -> None:
            pass

        match fault.kind:
            case "jam":
                return put(servos.held_deg, (vane, flight), fault.value), put(
                    servos.held_deg, (vane, flight), np.nan
                )
            case "jam-in-place":
                return hold_here, put(servos.held_deg, (vane, flight), np.nan)
            case "lost-vane":
                return put(vanes.alive, (vane, flight), 0.0), put(vanes.alive, (vane, flight), 1.0)
            case "slow-servo":
                return slow(fault.value), slow(1.0 / fault.value)
            case "swapped-servos":
                return swap, swap
            case "reversed-servo":
                return put(self._reversed, (vane, flight), True), put(
                    self._reversed, (vane, flight), False
                )
            case "pressure":
                return put(sensors.scale, flight, fault.value), put(sensors.scale, flight, 1.0)
            case "pressure-frozen":
                return lambda: sensors.freeze(flight), put(sensors.frozen_pa, flight, np.nan)
            case "pressure-full-scale":
                return put(sensors.full, flight, True), put(sensors.full, flight, False)
            case "pressure-intermittent":
                sensors.off_since_s[flight] = fault.time_s
                return put(sensors.off_hz, flight, fault.value), put(sensors.off_hz, flight, 0.0)
            case "pressure-noise":
                return put(sensors.noise, flight, fault.value), put(sensors.noise, flight, 0.0)
            case "pressure-bias":
                return put(sensors.bias, flight, fault.value), put(sensors.bias, flight, 0.0)
            case "pressure-slow":
                return put(sensors.lag_s, flight, fault.value), put(sensors.lag_s, flight, 0.0)
            case "link-dropout":
                return add(self._silent, 1), add(self._silent, -1)
            case "link-damage":
                return put(self._damage, flight, fault.value), put(self._damage, flight, 0.0)
            case "board-reset":
                return lose_power, nothing
            case "late-cycles":
                return put(self._periods, flight, round(fault.value)), put(self._periods, flight, 1)
            case "wear-table" | "clocking-sign":  # in the tables that the steering believes
                return nothing, nothing
