"""A vehicle whose steering is judged: flying it, and its numbers in the promises' units.

What the vanes did is told by deflections alone; forces are worked out from them with the curves,
wear and arms of the vehicle file, never taken from the flight core's own words.
Counts: 4096 are the largest force of any new vane at the reference pressure within its travel.
"""

from collections.abc import Sequence
from functools import cache, cached_property

import numpy as np

from mixer.flight.layout import DOUBTED_PRESSURE, LONGEST_DT_US, TICK
from mixer.ground.authority.reach import Reach, forces_n
from mixer.ground.batch.listed_steering import ListedSteering
from mixer.ground.check.trial_flight import BreachError, Demand, FlownCycle, Four, TrialFlight
from mixer.ground.exact_policy.policy import Exact, exact_policy
from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.tables.build import flight_tables
from mixer.ground.tables.scales import COUNTS, PRESSURE_RATIO_MAX, Q14, TICK_S, largest_force_n
from mixer.ground.vehicle.vehicle import Vehicle

FIRST_SHARE = 31 / 32  # of the slew: the rest is left to roll and effort


class SteeringOnTrial:
    """A vehicle, and what is needed to fly and judge its steering, worked out once."""

    def __init__(self, vehicle: Vehicle) -> None:
        self.vehicle = vehicle
        self.tables = flight_tables(vehicle)
        self.count_n = largest_force_n(vehicle) / COUNTS
        self.reference_pa = vehicle.engine.chamber_pressure_bar * 1e5
        self.period_us = round(1e6 / vehicle.control.rate_hz)
        travel = np.round(np.asarray(vehicle.vanes.travel_deg) * 1000, 6)
        self.travel_mdeg = np.column_stack([np.ceil(travel[:, 0]), np.floor(travel[:, 1])])
        self._slew_mdeg_s = np.round([1000 * servo.slew_deg_s for servo in vehicle.servos], 6)
        self.step_mdeg = cache(self._step_mdeg)

    def fly(self, flight: TrialFlight) -> list[FlownCycle]:
        """Fly with a new steering. BreachError where the flight core stops with an exception.

        The pressure told of a cycle is the one that counts: of a doubted reading what stands in.
        """
        steering = ListedSteering(self.tables)
        steering.start(flight.time_us, flight.load_us)
        jammed = [False] * VANES
        demand: Demand = (0, 0, 0)
        age_us: int | None = None
        flown = []
        for number, cycle in enumerate(flight.cycles, 1):
            pressure_pa, dt_us = cycle.pressure_pa, cycle.dt_us
            pressure_pa = round(self.reference_pa) if pressure_pa is None else pressure_pa
            dt_us = self.period_us if dt_us is None else dt_us
            if cycle.jam is not None:
                steering.jam(*cycle.jam)
                jammed[cycle.jam[0] - 1] = True
            if cycle.free is not None:
                steering.free(cycle.free)
                jammed[cycle.free - 1] = False
            before, taken = four(steering.deflection_mdeg), False
            try:
                if cycle.demand_mnm is not None and steering.demand(*cycle.demand_mnm):
                    demand, age_us, taken = cycle.demand_mnm, 0, True
                flags = steering.step(pressure_pa, dt_us)
            except Exception as error:
                what = f"{type(error).__name__}: {error}"
                raise BreachError(f"cycle {number}: the flight core stopped with {what}") from error
            if flags & DOUBTED_PRESSURE:
                pressure_pa = round(steering.ratio_q14 / Q14 * self.reference_pa)
            pitch, yaw, roll = steering.moment_mnm
            flown.append(
                FlownCycle(
                    demand_mnm=demand,
                    age_us=age_us,
                    taken=taken,
                    pressure_pa=pressure_pa,
                    dt_us=dt_us,
                    jammed=tuple(jammed),
                    before_mdeg=before,
                    after_mdeg=four(steering.deflection_mdeg),
                    pulse_ns=four(steering.pulse_ns),
                    moment_mnm=(pitch, yaw, roll),
                    flags=flags,
                    time_us=steering.time_us,
                    load_us=steering.load_us,
                )
            )
            age_us = None if age_us is None else age_us + dt_us
        return flown

    @cached_property
    def directions(self) -> Array:
        """The vanes' unit vectors in pitch and yaw, shape (4, 2)."""
        return self._reach(np.zeros((1, VANES)), np.zeros((1, VANES))).directions

    def _step_mdeg(self, dt_us: int) -> Array:
        """How far each vane may turn in a cycle, shape (4,): whole steps, never too fast."""
        return np.floor(self._slew_mdeg_s * min(dt_us, LONGEST_DT_US) / 1e6)

    def limits_mdeg(self, flown: Sequence[FlownCycle]) -> tuple[Array, Array]:
        """Travel of each cycle, or where a jammed vane stands: least and most, both (n, 4)."""
        before = np.array([one.before_mdeg for one in flown], dtype=float)
        jammed = np.array([one.jammed for one in flown])
        low, high = (np.where(jammed, before, ends) for ends in self.travel_mdeg.T)
        return low, high

    def window_mdeg(self, flown: Sequence[FlownCycle], share: float = 1.0) -> tuple[Array, Array]:
        """The angles within reach of each cycle with this share of the slew, whole 0.001°: least
        and most, both (n, 4).
        """
        before = np.array([one.before_mdeg for one in flown], dtype=float)
        step = np.floor(share * np.stack([self.step_mdeg(one.dt_us) for one in flown]))
        low, high = self.limits_mdeg(flown)
        return np.maximum(before - step, low), np.minimum(before + step, high)

    def gain(self, flown: Sequence[FlownCycle]) -> Array:
        """κ of each cycle and vane, (n, 4); the flight arithmetic holds it below 2."""
        ratio = np.array([max(one.pressure_pa, 0) for one in flown]) / self.reference_pa
        load_s = np.array([one.load_us >> TICK for one in flown]) * TICK_S
        worn = self.vehicle.effectiveness(load_s)
        return np.minimum(np.minimum(ratio, PRESSURE_RATIO_MAX)[:, None] * worn, PRESSURE_RATIO_MAX)

    def force_counts(self, flown: Sequence[FlownCycle], mdeg: Array) -> Array:
        """Forces of the vanes at deflections (n, 4) in 0.001°, shape (n, 4)."""
        return self.gain(flown) * forces_n(self.vehicle, mdeg / 1000) / self.count_n

    def grain_counts(self, flown: Sequence[FlownCycle]) -> Array:
        """The most that 0.001° moves each vane's force, shape (n, 4)."""
        steepest = [
            np.max(np.diff(curve.force_n) / np.diff(curve.deflection_deg))
            for curve in self.vehicle.vanes.curves
        ]
        return self.gain(flown) * np.array(steepest) / 1000 / self.count_n

    def reach_counts(self, flown: Sequence[FlownCycle]) -> Reach:
        """What is within reach of each cycle, by travel, slew and jams: the policy's W. Moments as
        in `moments_counts`.
        """
        return self._reach_between(flown, self.window_mdeg(flown))

    def first_reach_counts(self, flown: Sequence[FlownCycle]) -> Reach:
        """What of it the primary may use: the policy's W′."""
        return self._reach_between(flown, self.window_mdeg(flown, FIRST_SHARE))

    def travel_reach_counts(self, flown: Sequence[FlownCycle]) -> Reach:
        """What the slew lets be reached in time, with the jams of each cycle: the policy's T."""
        return self._reach_between(flown, self.limits_mdeg(flown))

    def exact(self, flown: Sequence[FlownCycle]) -> Exact:
        """What the policy gives in each cycle, counts."""
        demand = self.demand_counts(flown)
        return exact_policy(
            self.reach_counts(flown),
            demand[:, :2],
            demand[:, 2],
            self.vehicle.control.policy,
            travel=self.travel_reach_counts(flown),
            first=self.first_reach_counts(flown),
        )

    def exact_at_rest(self, flown: Sequence[FlownCycle]) -> Exact:
        """What the policy gives once the slew has had time, counts."""
        demand = self.demand_counts(flown)
        policy = self.vehicle.control.policy
        return exact_policy(self.travel_reach_counts(flown), demand[:, :2], demand[:, 2], policy)

    def full_reach_counts(self, flown: Sequence[FlownCycle]) -> Reach:
        """What free vanes reach in time under each cycle's pressure and wear."""
        low, high = (np.tile(ends, (len(flown), 1)) for ends in self.travel_mdeg.T)
        return self._reach_between(flown, (low, high))

    def _reach_between(self, flown: Sequence[FlownCycle], ends_mdeg: tuple[Array, Array]) -> Reach:
        low, high = (self.force_counts(flown, ends) for ends in ends_mdeg)
        return self._reach(low, high)

    def _reach(self, low: Array, high: Array) -> Reach:
        """Forces in counts and both arms 1: its moments are counts too."""
        return Reach(self.vehicle.layout.clocking_deg, low, high, np.ones(len(low)), 1.0)

    def per_count_mnm(self, flown: Sequence[FlownCycle]) -> Array:
        """What one count is of pitch, yaw and roll: (n, 3) mN·m."""
        lever_m = self.vehicle.lever_arm_m_at(
            np.array([one.time_us >> TICK for one in flown]) * TICK_S
        )
        roll_arm_m = np.full(len(flown), self.vehicle.layout.roll_arm_m)
        return 1000 * self.count_n * np.column_stack([lever_m, lever_m, roll_arm_m])

    def moments_counts(self, flown: Sequence[FlownCycle], moments_mnm: Sequence[Demand]) -> Array:
        """Moments as pitch/L, yaw/L and roll/R in counts, shape (n, 3)."""
        return np.array(moments_mnm) / self.per_count_mnm(flown)

    def demand_counts(self, flown: Sequence[FlownCycle]) -> Array:
        """The demands that hold, as `moments_counts`."""
        return self.moments_counts(flown, [one.demand_mnm for one in flown])

    def delivered_counts(self, flown: Sequence[FlownCycle]) -> Array:
        """What the vanes gave, as `moments_counts`."""
        after = np.array([one.after_mdeg for one in flown], dtype=float)
        force = self.force_counts(flown, after)
        return np.column_stack([force @ self.directions, force.sum(-1)])


def four(values: Sequence[int]) -> Four:
    return values[0], values[1], values[2], values[3]
