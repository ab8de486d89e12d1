"""What faults can strike in a block of flights, and what they leave of it: arrays with one column
per flight, so that a cycle costs the same with faults or without.
"""

import heapq
from collections.abc import Callable, Sequence
from itertools import count

import numpy as np
from numpy.typing import NDArray

from hil.faults.pressure_sensor import PressureSensors
from hil.rocket.rocket import Rocket
from hil.steering.pseudo_inverse import PA_PER_BAR
from hil.steering.steering_block import SteeringBlock
from mixer.ground.inputs.arrays import VANES

Act = Callable[[], None]


class Struck:
    """Rocket, steering, sensors and line of N flights, as a fault gets hold of them."""

    def __init__(self, seeds: Sequence[int], rocket: Rocket, steering: SteeringBlock):
        flights = len(seeds)
        self.rocket, self.steering = rocket, steering
        self.sensors = PressureSensors(seeds, PA_PER_BAR * rocket.chamber_bar)
        self.silent = np.zeros(flights, np.int64)  # how many faults keep the demands away
        self.damage = np.zeros(flights)  # share of demand frames
        self.out = np.zeros(flights, np.int64)  # how many faults keep the board from running
        self.periods = np.ones(flights, np.int64)  # from one cycle to the next
        self.since = np.zeros(flights, np.int64)  # periods since the last cycle that ran
        self.servo_of_vane = np.repeat(np.arange(VANES)[:, None], flights, axis=1)
        self.reversed = np.zeros((VANES, flights), bool)
        self.now_s = 0.0
        self._due: list[tuple[float, int, Act]] = []
        self._order = count()

    def later(self, time_s: float, act: Act) -> None:
        """Let this happen at that time, behind what was planned before for the same time."""
        heapq.heappush(self._due, (time_s, next(self._order), act))

    def at(self, time_s: float) -> None:
        """Let everything happen that is due by now."""
        while self._due and self._due[0][0] <= time_s + 1e-9:
            self.now_s, _, act = heapq.heappop(self._due)
            act()


def put(array: NDArray, index: int | tuple[int, int], value: float, sound: float) -> Act:
    """Write a value; returns how to write the sound one."""
    array[index] = value
    return lambda: array.__setitem__(index, sound)


def one_more(array: NDArray, index: int) -> Act:
    """Count one more; returns how to count it off again."""
    array[index] += 1
    return lambda: array.__setitem__(index, array[index] - 1)
