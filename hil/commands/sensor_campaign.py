"""Does a failing pressure sensor, or an engine that is late, chuffs or goes out, lose a flight?

    python -m hil.commands.sensor_campaign --flights 500 --each-way VEHICLE
    python -m hil.commands.sensor_campaign --flights 500 --engine VEHICLE

Each dispersed flight is flown sound and with one that fails, at a burn time that its seed draws
where it can begin at any; in a way that it draws too, or in every way. CAUTION: these are simulated
flights; none of them is leave to fly.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import click
import numpy as np

from hil.campaigns.failure_campaign import Limits
from hil.campaigns.failures import beginning
from hil.campaigns.plans import FLIGHTS_A_BLOCK, Plan, fly_plans, in_blocks
from hil.faults.faults import Fault
from mixer.ground.command_line.fourvane import FAILED
from mixer.ground.reports.console import output, progress
from mixer.ground.vehicle.vehicle import Vehicle, load_vehicle

WAYS = (
    Fault("pressure", value=0.0),
    Fault("pressure-full-scale"),
    Fault("pressure-frozen"),
    *(Fault("pressure", value=share) for share in (0.3, 0.6, 1.4, 3.0)),
    *(Fault("pressure-intermittent", value=hz) for hz in (1.0, 5.0, 20.0, 50.0)),
)
ENGINE_WAYS = (
    *(Fault("late-ignition", value=seconds) for seconds in (0.5, 2.0, 10.0)),
    *(Fault("chuffing-start", value=times) for times in (1.0, 3.0, 5.0)),
    Fault("early-burn-out"),
)
AS_READ = (0.0, 3.0)  # believed_pressure: an engine reads no more than twice what is expected
TIMES = 20  # of the burn, the first and the last a fortieth of it from its ends
DRAWS = 0x5E4C


@dataclass(frozen=True)
class Found:
    """Of one vehicle's flights: how many there were, and which were lost."""

    flights: int
    lost_true: tuple[Plan, ...]  # with a true sensor; of engines, with one believed as it reads
    lost_failing: tuple[Plan, ...]

    @property
    def lost_by_the_sensor(self) -> tuple[Plan, ...]:
        """Lost with what fails, kept without."""
        lost = {(plan.seed, plan.faults) for plan in self.lost_true}
        return tuple(
            plan
            for plan in self.lost_failing
            if lost.isdisjoint(((plan.seed, ()), (plan.seed, plan.faults)))
        )


def plans_of(vehicle: Vehicle, seeds: Sequence[int], ways: Sequence[Fault] = WAYS) -> list[Plan]:
    """One flight a seed; time and way are drawn."""
    found = []
    for seed in seeds:
        draws = np.random.default_rng([DRAWS, seed])
        share = (draws.integers(TIMES) + 0.5) / TIMES
        way = ways[int(draws.integers(len(ways)))]
        found.append(Plan(seed, (beginning(way, share * vehicle.engine.burn_time_s),)))
    return found


def compare(
    vehicle: Vehicle,
    seeds: Sequence[int],
    each_way: bool = False,
    flown: Callable[[int], None] = lambda flights: None,
) -> Found:
    """Fly each with a true sensor, and with one that fails in the way drawn, or in every way."""
    groups = [(way,) for way in WAYS] if each_way else [WAYS]
    failing = [plan for group in groups for plan in plans_of(vehicle, seeds, group)]
    lost_true = lost_of(vehicle, [Plan(seed) for seed in seeds], flown)
    return Found(len(failing), lost_true, lost_of(vehicle, failing, flown))


def compare_engine(
    vehicle: Vehicle, seeds: Sequence[int], flown: Callable[[int], None] = lambda flights: None
) -> Found:
    """Fly each with an engine that fails in every way, and the same where readings of the pressure
    count as they stand: an engine that is out has lost flights that no steering keeps.
    """
    failing = [plan for way in ENGINE_WAYS for plan in plans_of(vehicle, seeds, (way,))]
    engine = vehicle.engine.model_copy(update={"believed_pressure": np.array(AS_READ)})
    credulous = vehicle.model_copy(update={"engine": engine})
    lost_true = lost_of(credulous, failing, flown)
    return Found(len(failing), lost_true, lost_of(vehicle, failing, flown))


def lost_of(
    vehicle: Vehicle,
    plans: Sequence[Plan],
    done: Callable[[int], None] = lambda flights: None,
) -> tuple[Plan, ...]:
    """Those that were lost."""
    limits, lost = Limits(), []
    for block in in_blocks(plans, FLIGHTS_A_BLOCK):
        flown = fly_plans(vehicle, block, watch_jams=False)
        errors = zip(block, flown["attitude_error_deg"], flown["roll_rate_deg_s"], strict=True)
        lost += [plan for plan, tilt, roll in errors if limits.outcome(tilt, roll) == "lost"]
        done(len(block))
    return tuple(lost)


@click.command()
@click.option("--flights", type=click.IntRange(1), default=500, show_default=True)
@click.option("--first-seed", type=click.IntRange(0), default=1, show_default=True)
@click.option("--each-way", is_flag=True, help="So many flights for every way to fail.")
@click.option("--engine", is_flag=True, help="Engines fail, in every way, with a true sensor.")
@click.argument("vehicle_file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
def sensor_campaign(
    vehicle_file: Path, flights: int, first_seed: int, each_way: bool, engine: bool
) -> None:
    """Fly dispersed flights with a failing pressure sensor, and the same ones with a true one.

    With --engine, engines that are late, chuff or go out, and the same where every reading counts.
    """
    vehicle, seeds = load_vehicle(vehicle_file), range(first_seed, first_seed + flights)
    all_flights = flights * (1 + (len(WAYS) if each_way else 1))
    if engine:
        all_flights = 2 * flights * len(ENGINE_WAYS)
    with progress("Flying", all_flights) as more:
        if engine:
            found = compare_engine(vehicle, seeds, more)
        else:
            found = compare(vehicle, seeds, each_way, more)
    sound, failing = "a true sensor", "a failing one"
    if engine:
        sound, failing = "every reading counted", "doubtful ones replaced"
    output.print(
        f"{found.flights} flights: {len(found.lost_true)} lost with {sound}, "
        f"{len(found.lost_failing)} with {failing}, {len(found.lost_by_the_sensor)} by it"
    )
    for plan in found.lost_by_the_sensor:
        output.print(f"  seed {plan.seed}: {plan.faults[0]}")
    if found.lost_by_the_sensor:
        raise SystemExit(FAILED)


if __name__ == "__main__":
    sensor_campaign()
