"""Many simulated static tests, each with a truth of its own: how good are the claimed errors?"""

import multiprocessing
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np

from mixer.ground.identification.fit import identify
from mixer.ground.inputs.arrays import Array
from mixer.ground.static_test.simulation import StandNoise
from tests.support.static_tests import CURVE, FULL_SCALE, drawn_truth, made_log, vehicle_on_stand

# Noise of 1 % of full scale and a drift of 1 % (a walk and a slope each) at the usual rates;
# then noise that hangs together, and a stand that rings.
KINDS: dict[str, tuple[float, StandNoise]] = {
    "100 Hz": (100.0, StandNoise(FULL_SCALE)),
    "200 Hz": (200.0, StandNoise(FULL_SCALE)),
    "1 kHz": (1000.0, StandNoise(FULL_SCALE)),
    "1 kHz, 30 ms of memory": (1000.0, StandNoise(FULL_SCALE, memory_s=0.03)),
    "200 Hz, stand rings at 12 Hz": (200.0, StandNoise(FULL_SCALE, memory_s=0.01, ring_share=0.5)),
}
WORKERS = 2


@dataclass(frozen=True)
class Outcome:
    """One test: error of each quantity over its claimed standard error, (n,) by name."""

    seed: int
    off: dict[str, Array]


def one_test(job: tuple[int, str]) -> Outcome:
    """Simulate, fit and compare with the truth."""
    seed, kind = job
    rate_hz, noise = KINDS[kind]
    given = vehicle_on_stand()
    truth, effectiveness = drawn_truth(seed, given)
    found = identify(made_log(seed, given, truth, noise=noise, rate_hz=rate_hz), given)
    true = {
        "effectiveness": effectiveness(found.unknowns.load_points_s),
        "clocking_deg": truth.clocking_deg,
        "zero_deg": truth.zero_deg,
        "roll_arm_m": [truth.roll_arm_m],
        "thrust_n": [truth.thrust_n - 4 * CURVE["drag_n"][2]],
    }
    off = {
        name: ((found.value(name) - value) / found.error(name)).ravel()
        for name, value in true.items()
    }
    return Outcome(seed, off)


def many_tests(seeds: Iterable[int], *kinds: str) -> list[Outcome]:
    """Outcomes of many seeds under each kind of noise, on some processes."""
    jobs = [(seed, kind) for kind in kinds for seed in seeds]
    with ProcessPoolExecutor(WORKERS, multiprocessing.get_context("spawn")) as pool:
        return list(pool.map(one_test, jobs, chunksize=4))


def stacked(outcomes: list[Outcome], name: str) -> Array:
    """Error over claimed error of one quantity, (tests, n)."""
    return np.stack([outcome.off[name] for outcome in outcomes])
