"""Hypothesis strategies for a vehicle's steering, for a team's own tests as for `fourvane check`.

    vehicle = load_vehicle("vehicle.toml")
    trial = SteeringOnTrial(vehicle)

    @given(flights(vehicle))
    def test_our_vanes_stay_within_their_travel(flight):
        limits(trial, flight)

Whole numbers in the flight core's units: mN·m, Pa, µs, 0.001°. Simple values come first, so that
what Hypothesis reports is short. Needs the package hypothesis (extra `check`).
"""

import numpy as np
from hypothesis import strategies as st
from hypothesis.strategies import SearchStrategy

from mixer.ground.authority.reach import Reach, reach
from mixer.ground.check.trial_flight import Demand, TrialCycle, TrialFlight
from mixer.ground.inputs.arrays import VANES
from mixer.ground.tables.scales import NO_THRUST_RATIO, PRESSURE_RATIO_MAX
from mixer.ground.vehicle.vehicle import Vehicle

SHARE = 128  # what a vane's force is divided into, as finely as the steering keeps a share back
BEYOND = (1.0, 127 / 128, 1.01, 1.5, 4.0, 25.0)
OUT_OF_RANGE = 2**31  # no vehicle takes such a demand
FARTHEST = 64  # times the authority
MOST_CYCLES = 12


def whole(least: int, most: int) -> SearchStrategy[int]:
    """Whole numbers from `least` to `most`: half of them as `st.integers` draws them, which seldom
    goes far from 0 where the range is wide, half evenly, in two digits to base 128.
    """
    digit = st.integers(0, 127)
    even = st.builds(
        lambda high, low: least + (most - least) * (128 * high + low) // (128**2 - 1), digit, digit
    )
    return st.integers(least, most) | even


def demands(vehicle: Vehicle) -> SearchStrategy[Demand]:
    """Pitch, yaw and roll demands in mN·m: within reach, on its edge, beyond, far beyond, and some
    that are out of range and must be refused.
    """
    reached = reach(vehicle, 0.0)
    arms_m = [float(reached.lever_arm_m)] * 2 + [reached.roll_arm_m]
    most = [
        max(1, round(1000 * arm_m * float(np.abs([reached.lo_n, reached.hi_n]).max(0).sum())))
        for arm_m in arms_m
    ]

    def each(factor: int) -> SearchStrategy[Demand]:
        return st.tuples(*(whole(-factor * size, factor * size) for size in most))

    corners = st.tuples(*[st.integers(-SHARE, SHARE)] * VANES)
    given_by_forces = st.builds(
        lambda shares, times, roll: moments_mnm(reached, shares, times, roll),
        corners,
        st.sampled_from(BEYOND),
        whole(-most[2], most[2]) | st.none(),
    )
    refused = st.tuples(*[st.sampled_from([0, OUT_OF_RANGE, -OUT_OF_RANGE])] * 3)
    return st.one_of(each(1), given_by_forces, given_by_forces, each(FARTHEST), refused)


def moments_mnm(
    reached: Reach, shares: tuple[int, ...], times: float, roll_mnm: int | None
) -> Demand:
    """What the vanes give at a share (of SHARE) of their least or most force, `times` as much."""
    share = np.array(shares) / SHARE
    force_n = np.where(share > 0, share * reached.hi_n, -share * reached.lo_n)
    pitch_n, yaw_n = force_n @ reached.directions
    lever_mm = 1000 * float(reached.lever_arm_m) * times
    given_roll = round(1000 * reached.roll_arm_m * times * float(force_n.sum()))
    return (
        round(lever_mm * pitch_n),
        round(lever_mm * yaw_n),
        (given_roll if roll_mnm is None else roll_mnm),
    )


def pressures(vehicle: Vehicle) -> SearchStrategy[int]:
    """Chamber pressures in Pa: the reference, from none to twice it, and round where the jet is
    too weak to steer with.
    """
    reference_pa = vehicle.engine.chamber_pressure_bar * 1e5
    weakest_pa = round(NO_THRUST_RATIO * reference_pa)
    most_pa = int(PRESSURE_RATIO_MAX * reference_pa)
    return st.one_of(
        st.just(round(reference_pa)),
        whole(0, most_pa),
        st.sampled_from([0, weakest_pa - 2, weakest_pa + 2, most_pa]),
    )


def time_steps(vehicle: Vehicle) -> SearchStrategy[int]:
    """Lengths of a control cycle in µs: the control period, early and late ones, and gaps long
    enough for the vanes to get anywhere.
    """
    period_us = round(1e6 / vehicle.control.rate_hz)
    return st.one_of(
        st.just(period_us),
        st.integers(0, 2 * period_us),
        st.integers(period_us, 100 * period_us),
        st.sampled_from([0, 1, 20 * period_us, 1_000_000]),
    )


def jams(vehicle: Vehicle) -> SearchStrategy[tuple[int, int]]:
    """A vane, 1 to 4, and where within its travel it stands still, in 0.001°."""
    ends = np.round(np.asarray(vehicle.vanes.travel_deg) * 1000).astype(int).tolist()
    return st.integers(1, VANES).flatmap(
        lambda vane: st.tuples(
            st.just(vane), st.integers(*ends[vane - 1]) | st.sampled_from(ends[vane - 1])
        )
    )


def cycles(vehicle: Vehicle) -> SearchStrategy[TrialCycle]:
    """One control cycle: mostly a demand at the reference pressure, at times silence, another
    pressure, a vane that jams or is freed; as long as the control period, or not.
    """

    def seldom(strategy: SearchStrategy) -> SearchStrategy:
        return st.one_of(st.none(), st.none(), strategy)

    return st.builds(
        TrialCycle,
        demand_mnm=st.one_of(demands(vehicle), demands(vehicle), st.none()),
        pressure_pa=seldom(pressures(vehicle)),
        dt_us=st.none() | time_steps(vehicle),
        jam=seldom(jams(vehicle)),
        free=seldom(st.integers(1, VANES)),
    )


def flights(vehicle: Vehicle, most_cycles: int = MOST_CYCLES) -> SearchStrategy[TrialFlight]:
    """Short flights that begin at ignition, or later and more or less worn."""
    burn_us = round(1e6 * vehicle.engine.burn_time_s)
    return st.builds(
        TrialFlight,
        cycles=st.lists(cycles(vehicle), min_size=1, max_size=most_cycles).map(tuple),
        time_us=st.just(0) | whole(0, burn_us),
        load_us=st.just(0) | whole(0, 2 * burn_us),
    )
