"""Flights as plans: small enough to send to any worker, flown there, brought back as columns."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from hil.faults.faults import Fault
from hil.faults.wrong_tables import believed, in_tables
from hil.flights.extremes import Tally
from hil.flights.fly import Flight, Listener, fly, laptop
from hil.rocket.dispersion import drawn, nominal
from hil.steering.pseudo_inverse import ClippedBlock
from hil.steering.steering_block import SteeringBlock
from mixer.flight.layout import FLAG_NAMES
from mixer.ground.vehicle.vehicle import Vehicle

Columns = dict[str, NDArray]
Steered = Literal["flight-core", "clipped"]
# Of a campaign: a cycle of 512 flights takes a third more time than one of 256.
FLIGHTS_A_BLOCK = 512
PLANS_A_BLOCK = 256  # of a few hundred: small enough for every worker to get some


@dataclass(frozen=True)
class Plan:
    """One flight: the seed that its dispersion is drawn by (None: no dispersion), its faults."""

    seed: int | None = None
    faults: tuple[Fault, ...] = ()


def in_blocks(plans: Sequence[Plan], size: int = PLANS_A_BLOCK) -> list[Sequence[Plan]]:
    """The plans in blocks of `size`, the last one smaller."""
    return [plans[start : start + size] for start in range(0, len(plans), size)]


def clipped(vehicle: Vehicle, flights: Sequence[Flight]) -> SteeringBlock:
    """The rival's steering for a block. ValueError unless all of it believes the same tables."""
    wrong = {in_tables(flight.faults) for flight in flights}
    if len(wrong) > 1:
        raise ValueError("the flights of a block that the rival steers must share their tables")
    return ClippedBlock(believed(vehicle, wrong.pop()), len(flights))


def flights_of(vehicle: Vehicle, plans: Sequence[Plan]) -> list[Flight]:
    """The planned flights, their dispersion drawn."""
    return [
        Flight(
            nominal(vehicle) if plan.seed is None else drawn(vehicle, plan.seed),
            plan.seed or 0,
            plan.faults,
        )
        for plan in plans
    ]


def fly_plans(
    vehicle: Vehicle,
    plans: Sequence[Plan],
    steered: Steered = "flight-core",
    watch_jams: bool = True,
    listener: Listener | None = None,
) -> Columns:
    """Fly a block of plans; one row per plan in every column."""
    make_steering = laptop if steered == "flight-core" else clipped
    tally = fly(vehicle, flights_of(vehicle, plans), make_steering, watch_jams, listener)
    seeds = np.array([-1 if plan.seed is None else plan.seed for plan in plans], np.int64)
    return {"seed": seeds, **columns(tally)}


@dataclass(frozen=True)
class Task:
    """One block of flights for some worker; a rival's must share their flight tables."""

    vehicle: Vehicle
    plans: tuple[Plan, ...]
    watch_jams: bool
    steered: Steered = "flight-core"


def fly_task(task: Task) -> Columns:
    """What a worker does."""
    return fly_plans(task.vehicle, task.plans, task.steered, task.watch_jams)


def columns(tally: Tally) -> Columns:
    """What is kept of a block, names telling units. Not-a-number where nothing could be judged."""
    judged = tally.cycles > 0

    def seen(values: NDArray) -> NDArray:
        return np.where(judged, values, np.nan)

    flagged = 100.0 * tally.flagged / np.maximum(tally.cycles, 1)
    return {
        "judged_cycles": tally.cycles,
        "attitude_error_deg": seen(tally.attitude_error_deg),
        "attitude_error_time_s": seen(tally.tilt.time_s),
        "roll_rate_deg_s": seen(tally.roll_rate_deg_s),
        "roll_rate_time_s": seen(tally.roll_rate.time_s),
        "margin_percent": seen(tally.margin_percent),
        "margin_time_s": seen(tally.used.time_s),
        "height_m": tally.height_m,
        "frames_lost": tally.frames_lost,
        **{
            name.replace("-", "_") + "_percent": share
            for name, share in zip(FLAG_NAMES, flagged, strict=True)
        },
    }
