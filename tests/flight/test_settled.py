"""A held demand comes to rest at the exact answer of travel alone, whatever slew and rate.

Random vehicles, worn and late in the burn so that wear and lever arm stand still; the vanes start
from wherever an earlier demand has brought them, then one demand is held until slew has had time.
"""

from dataclasses import dataclass

import numpy as np
import pytest

from mixer.flight import Steering
from tests.oracle.judge import PRIMARY_COUNTS, ROLL_COUNTS, judge
from tests.support.flown_truth import (
    COARSE_COUNTS,
    FlownRule,
    FlownTruth,
    Maker,
    narrow_and_nearly_parallel,
    random_demand,
    rule_of_window,
    sines_between,
)
from tests.support.random_vehicles import RandomVehicle, random_vehicles

SEED = 20_261_129
VEHICLES = {"long": 2000, "ci": 120, "laptop": 5}
TRAVELS = 2.0  # the time to come to rest, in turns of the slowest vane over its whole travel
SPARE_CYCLES = 20
NARROW_PRIMARY_COUNTS = 16.0  # where a slew window is narrow and opposite vanes nearly parallel
# Rounding may move a primary by a count from cycle to cycle. Where roll is at its end, vanes that
# are nearly parallel move by that over the sine of the angle between them.
RESTLESS_COUNTS = 4.0
MOST_RESTLESS_COUNTS = 64.0


@dataclass(frozen=True)
class Rest:
    """Where a vehicle came to rest: its errors in counts, and what a vane still moves by."""

    where: str
    policy: str
    primary: float
    primary_edge: float
    roll: float
    moves: float
    narrow: bool
    worth: float  # counts of a vane that a count of primary is worth
    grain: float  # counts that 0.001° is worth


def at_rest(one: RandomVehicle, flown: FlownTruth) -> Rest:
    """Hold a random demand from a random start, and judge what is there in the end."""
    rng = np.random.default_rng([SEED, one.number])
    cycle = flown.cycle(dt_us=0)
    flown.ask(random_demand(rng, cycle.instant))
    for _ in range(rng.integers(0, 4)):
        flown.cycle(dt_us=300_000)
    flown.ask(random_demand(rng, cycle.instant))
    step = np.floor(flown.numbers.slew_mdeg_s * flown.period_us / 1e6)
    slowest = float((np.ptp(flown.numbers.travel_mdeg, axis=0) / step).max())
    cycles = int(np.ceil(TRAVELS * slowest)) + SPARE_CYCLES
    flown.hold(cycles)
    before = flown.cycle().forces
    cycle = flown.cycle()
    verdict = judge(*cycle.instant.at_rest, cycle.forces)
    return Rest(
        f"seed {SEED}, vehicle {one.number} ({one.policy}), {cycles} cycles",
        one.policy,
        float(verdict.primary_error_counts.max()),
        float(verdict.primary_edge_error_counts.max()),
        verdict.roll_error_counts,
        float(np.abs(cycle.forces - before).max()),
        narrow_and_nearly_parallel(cycle.instant),
        1 / min(sines_between(cycle.instant.clocking_deg)),
        float(cycle.instant.kappa.max()) * flown.numbers.steepest_counts(),
    )


def late(one: RandomVehicle) -> dict[str, float]:
    """A start beyond the last burn time and load of the file's tables."""
    burn_s = one.data["engine"]["burn_time_s"]
    return {"time_s": burn_s, "load_s": 1.5 * burn_s}


@pytest.fixture(scope="module")
def maker() -> Maker:
    """What makes a steering from tables."""
    return Steering


@pytest.fixture(scope="module")
def rests(size, maker) -> list[Rest]:
    return [
        at_rest(one, FlownTruth(one, maker, **late(one)))
        for one in random_vehicles(VEHICLES[size], SEED)
    ]


@pytest.mark.parametrize("policy", ["nearest", "direction"])
def test_pitch_and_yaw_rest_within_four_counts_of_the_exact_answer(rests, policy, record_property):
    """Those of "direction" that leave at a grazing angle against edges one count off. Where a
    window is narrow and opposite vanes nearly parallel, a step gains less than rounding may lose:
    such vehicles are counted, and rest within NARROW_PRIMARY_COUNTS. Where 0.001°, the step of a
    command, is worth more than COARSE_COUNTS of force, within four counts and that."""
    mine = [one for one in rests if one.policy == policy and one.grain <= COARSE_COUNTS]
    coarse = [one for one in rests if one.policy == policy and one.grain > COARSE_COUNTS]
    stuck = [one for one in mine if one.narrow and one.primary_edge > PRIMARY_COUNTS]
    found = [one for one in mine if one not in stuck]
    grazing = [one for one in found if one.primary > PRIMARY_COUNTS >= one.primary_edge]
    strict = max((one for one in found if one not in grazing), key=lambda one: one.primary)
    worst = max((one.primary_edge for one in stuck), default=0.0)
    record_property(
        "shown",
        f"at rest, {policy}: {len(found)} vehicles, primary within {strict.primary:.2f} counts "
        f"({len(coarse)} coarse ones apart), "
        f"{len(grazing)} grazing; {len(stuck)} of {sum(one.narrow for one in mine)} with a narrow "
        f"window of nearly parallel vanes not, worst {worst:.2f}",
    )
    assert all(one.primary <= PRIMARY_COUNTS + one.grain for one in coarse)
    assert worst <= NARROW_PRIMARY_COUNTS
    assert len(stuck) <= max(1, len(mine) // 200)
    assert strict.primary <= PRIMARY_COUNTS, strict
    assert len(grazing) <= len(found) * (0.002 if policy == "direction" else 0)


def test_roll_rests_within_eight_counts_by_the_fair_measure(rests, record_property):
    most = max(rests, key=lambda one: one.roll)
    record_property("shown", f"at rest: roll within {most.roll:.2f} counts")
    assert most.roll <= ROLL_COUNTS, most


def test_vanes_that_have_come_to_rest_stay_there(rests, record_property):
    """From one cycle to the next, but for what a count of primary is worth."""
    most = max(rests, key=lambda one: one.moves)
    still, restless = (sum(one.moves <= bound for one in rests) for bound in (1.0, RESTLESS_COUNTS))
    record_property(
        "shown",
        f"at rest: from cycle to cycle {still} of {len(rests)} vehicles stay within a count, "
        f"{len(rests) - restless} move by more than {RESTLESS_COUNTS:g}, worst {most.moves:.2f}",
    )
    for one in rests:
        assert one.moves <= max(RESTLESS_COUNTS, min(one.worth, MOST_RESTLESS_COUNTS)), one
    assert len(rests) - restless <= max(1, len(rests) // 200)


def test_this_judgement_finds_the_rule_of_the_window_wrong(campaign):
    """In floats, on the first vehicles whose slew is quick enough to come to rest in few cycles
    and slow enough for the window to matter."""
    found: list[Rest] = []
    for one in random_vehicles(60, SEED):
        travel_s = np.ptp(one.data["vanes"]["travel_deg"]) / min(one.data["servos"]["slew_deg_s"])
        if 6 < travel_s * one.data["control"]["rate_hz"] < 60:
            found.append(at_rest(one, FlownRule(one, rule_of_window, **late(one))))
    for policy in ("nearest", "direction"):
        off = [one for one in found if one.policy == policy and one.primary_edge > PRIMARY_COUNTS]
        print(f"{policy}: {len(off)} of {len(found)} off, {[round(one.primary) for one in off]}")
        assert off
