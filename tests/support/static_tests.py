"""Simulated static tests for tests: a vehicle, a truth that differs from it, and a log."""

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np

from mixer.ground.inputs.arrays import Array
from mixer.ground.static_test.log import StandLog
from mixer.ground.static_test.programme import Programme, plan
from mixer.ground.static_test.simulation import StandNoise, StandTruth, simulate_test, truth_of
from mixer.ground.vehicle.vehicle import Vehicle
from tests.support.vehicles import vehicle

BURN_S = 26.0
# Load cells are bought a good deal larger than the load: side forces here reach 450 N, roll 40 N m.
FULL_SCALE = np.array([1000.0, 1000.0, 60.0, 10_000.0])
CURVE = {
    "deflection_deg": [-15.0, -7.5, 0.0, 7.5, 15.0],
    "force_n": [-200.0, -108.0, 0.0, 108.0, 200.0],
    "drag_n": [140.0, 125.0, 120.0, 125.0, 140.0],
}


def vehicle_on_stand(**changes: Any) -> Vehicle:
    """A vehicle whose force curves bend, as real ones do."""
    return vehicle(vanes={**CURVE, **changes.pop("vanes", {})}, **changes)


@cache
def its_programme() -> Programme:
    """The proposed programme for the tested vehicle."""
    return plan(vehicle_on_stand())


def worn(start: Array, lost: Array, bow: Array) -> Callable[[Array], Array]:
    """Effectiveness over burn load: `start`, less `lost` of it by the end, along a parabola."""

    def effectiveness(load_s: Array) -> Array:
        share = np.asarray(load_s)[:, None] / BURN_S
        return start * (1 - lost * ((1 - bow) * share + bow * share**2))

    return effectiveness


def drawn_truth(seed: int, given: Vehicle) -> tuple[StandTruth, Callable[[Array], Array]]:
    """A truth that differs from the vehicle file in everything, and its effectiveness."""
    rng = np.random.default_rng([seed, 1])
    effectiveness = worn(
        rng.uniform(0.85, 1.1, 4), rng.uniform(0.02, 0.12, 4), rng.uniform(0, 1, 4)
    )
    truth = truth_of(
        given,
        effectiveness,
        clocking_deg=given.layout.clocking_deg + rng.normal(0, 1, 4),
        zero_deg=rng.normal(0, 0.4, 4),
        roll_arm_m=given.layout.roll_arm_m * rng.uniform(0.9, 1.1),
        side_n=rng.normal(0, 15, 2),
        swirl_nm=rng.normal(0, 0.5),
        lag_s=rng.uniform(0, 0.01),
    )
    return truth, effectiveness


def made_log(
    seed: int = 0,
    given: Vehicle | None = None,
    truth: StandTruth | None = None,
    programme: Programme | None = None,
    noise: StandNoise | None = None,
    rate_hz: float = 200.0,
    **burn: float,
) -> StandLog:
    """The log of a simulated test; by default of a vehicle as its file says, fully excited."""
    given = given or vehicle_on_stand()
    return simulate_test(
        given,
        truth or truth_of(given),
        programme or its_programme(),
        noise or StandNoise(FULL_SCALE),
        np.random.default_rng([seed, 2]),
        rate_hz,
        **burn,
    )


def with_angles(change: Callable[[Array], Array]) -> Programme:
    """The programme with its deflections (n, 4) changed."""
    programme = its_programme()
    return replace(programme, deflection_deg=change(programme.deflection_deg.copy()))
