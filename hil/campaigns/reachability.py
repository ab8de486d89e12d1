"""Whether a vehicle with a jammed vane can be held at all: an exact check, from a healthy flight.

In the healthy flight of the same dispersion every cycle shows the moment that thrust and air put
on the rocket. A jam can be lived with only if, from then to the tail-off, the three other vanes
together with the jammed one can give the opposite of that moment. The reachable set is bounded by
eight half-planes, so that the answer is exact; whether there is enough left to turn the rocket
back from what the jam did before it was noticed is what the flight itself shows.
"""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from hil.campaigns.plans import Plan, flights_of
from hil.flights.fly import Cycle, Flight, fly
from hil.flights.primary_reach import PrimaryReach
from hil.rocket.rocket import Rocket
from mixer.ground.inputs.arrays import Array
from mixer.ground.vehicle.vehicle import Vehicle


class HealthyFlights:
    """What disturbs each of some healthy flights, cycle by cycle."""

    def __init__(self, vehicle: Vehicle, seeds: Sequence[int | None]):
        self._column = {seed: n for n, seed in enumerate(seeds)}
        self._times: list[float] = []
        self._needed: list[Array] = []  # (2, N): pitch and yaw over the lever arm, to hold still
        self._strength: list[Array] = []
        self._judged: list[NDArray[np.bool_]] = []
        self._rocket: Rocket | None = None
        flights: list[Flight] = flights_of(vehicle, [Plan(seed) for seed in seeds])
        fly(vehicle, flights, listener=self._listen)

    def _listen(self, cycle: Cycle) -> None:
        rocket = self._rocket = cycle.rocket
        held = rocket.held_over_step()
        self._times.append(rocket.time_s)
        self._needed.append(-rocket.disturbance_nm[1:] / held.cg_m)
        self._strength.append(held.strength)
        self._judged.append(cycle.glance.counts)

    def used_with(self, plan: Plan) -> float:
        """As `used`, for a plan of one jam at a known angle."""
        (jam,) = plan.faults
        return self.used(plan.seed, jam.vane, jam.value, jam.time_s)

    def used(self, seed: int | None, vane: int, angle_deg: float, time_s: float) -> float:
        """Greatest share of the reach that holding still takes from `time_s` on, one vane jammed.

        Above 1 it cannot be held. 0 where nothing is judged after that time.
        """
        needed_n, low_n, high_n, cosine, sine = self._left(seed, vane, angle_deg, time_s)
        if needed_n.shape[1] == 0:
            return 0.0
        return float(PrimaryReach(cosine, sine).used(needed_n, low_n, high_n).max())

    def instants(
        self, seed: int | None, vane: int, angle_deg: float, time_s: float
    ) -> Iterator[tuple[Array, Array, Array, Array]]:
        """Cycle by cycle: the need (2,), the vanes' limits (4,) and force directions (2, 4)."""
        needed_n, low_n, high_n, cosine, sine = self._left(seed, vane, angle_deg, time_s)
        for n in range(needed_n.shape[1]):
            yield needed_n[:, n], low_n[:, n], high_n[:, n], np.stack([cosine[:, n], sine[:, n]])

    def _left(
        self, seed: int | None, vane: int, angle_deg: float, time_s: float
    ) -> tuple[Array, Array, Array, Array, Array]:
        """What is needed and what is left, a column for each judged cycle from `time_s` on."""
        assert self._rocket is not None  # the flights were flown when this was made
        n = self._column[seed]
        vanes, truth = self._rocket.vanes, self._rocket.truth
        after = (np.array(self._times) >= time_s) & np.array(self._judged)[:, n]
        strength = np.array(self._strength)[after, :, n].T
        needed_n = np.array(self._needed)[after, :, n].T
        low_n, high_n = vanes.reach_n(strength)
        jammed_n = vanes.force_n(strength, np.full_like(strength, angle_deg))[vane - 1]
        low_n[vane - 1] = high_n[vane - 1] = jammed_n
        cycles = strength.shape[1]
        cosine = np.repeat(truth.cos_clocking[:, n : n + 1], cycles, axis=1)
        sine = np.repeat(truth.sin_clocking[:, n : n + 1], cycles, axis=1)
        return needed_n, low_n, high_n, cosine, sine
