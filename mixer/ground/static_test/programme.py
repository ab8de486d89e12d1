"""A deflection programme for a static test that tells everything apart.

Each vane follows its own pair of Walsh functions over frames of 16 slots: one turns it to and fro,
one sets whether far or near. Products of Walsh functions are Walsh functions; the four triples
below (to-and-fro, far-or-near, their product) share no member, being lines of a spread of PG(3,2).
So over a frame no vane's force, its even part or its drag looks like another's, or like anything
that stands still or creeps: all sums of products are nought.
"""

from dataclasses import dataclass

import numpy as np

from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.inputs.csv_files import FilePath, InputError, write_whole
from mixer.ground.static_test.log import VANE_COLUMNS
from mixer.ground.vehicle.vehicle import Vehicle

SLOTS = 16
TO_AND_FRO = (3, 5, 11, 14)
FAR_OR_NEAR = (1, 10, 6, 9)
FAR, NEAR = 0.9, 0.36  # of the travel
SLEW_SHARE = 0.8  # of what the servos can do, since the supply sags when four move at once
EDGE_SHARE = 0.5  # most of a slot that moving from end to end may take
LONGEST_SLOT_S = 0.4
REST_S = 0.5  # all vanes at neutral at either end: thrust loss at rest
IGNITION_S = 0.5  # after which the pressure stands


@dataclass(frozen=True)
class Programme:
    """Deflections (n, 4) at burn times (n,), at the control rate; length of a slot; frames."""

    time_s: Array
    deflection_deg: Array
    slot_s: float
    frames: int


def walsh(index: int) -> Array:
    """The Walsh function of this index over the slots, in Hadamard's order: +1 or -1, (16,)."""
    return np.array([(-1.0) ** (index & slot).bit_count() for slot in range(SLOTS)])


def frame() -> Array:
    """One frame: deflection of each vane in each slot as a share of its travel, (16, 4)."""
    columns = [
        walsh(turn) * np.where(walsh(reach) > 0, FAR, NEAR)
        for turn, reach in zip(TO_AND_FRO, FAR_OR_NEAR, strict=True)
    ]
    return np.column_stack(columns)


def plan(vehicle: Vehicle, burn_s: float | None = None) -> Programme:
    """A programme for a burn (the vehicle's, if not said otherwise), slew and travel respected.

    InputError where the burn is too short for one frame of the vehicle's servos.
    """
    burn_s = vehicle.engine.burn_time_s if burn_s is None else burn_s
    travel = vehicle.vanes.travel_deg
    slew = SLEW_SHARE * np.array([servo.slew_deg_s for servo in vehicle.servos])
    shortest_slot_s = float((FAR * np.ptp(travel, axis=1) / slew).max()) / EDGE_SHARE
    moving_s = burn_s - IGNITION_S - 2 * REST_S
    frames = int(moving_s / (SLOTS * shortest_slot_s))
    if frames < 1:
        needed_s = IGNITION_S + 2 * REST_S + SLOTS * shortest_slot_s
        raise InputError(
            f"{vehicle.path}: a burn of {burn_s:g} s is too short for one round of the programme "
            f"at this slew: {needed_s:.3g} s are needed"
        )
    frames = min(frames, max(round(moving_s / (SLOTS * LONGEST_SLOT_S)), 1))
    slot_s = moving_s / (SLOTS * frames)
    levels = np.vstack([np.zeros(VANES), *[frame()] * frames, np.zeros(VANES)])
    targets = np.where(levels > 0, levels * travel[:, 1], -levels * travel[:, 0])
    starts = IGNITION_S + REST_S + slot_s * np.arange(len(levels) - 1, dtype=float)
    time_s = np.arange(int(burn_s * vehicle.control.rate_hz) + 1) / vehicle.control.rate_hz
    moves = [edges(starts, targets[:, vane], slew[vane]) for vane in range(VANES)]
    return Programme(
        time_s,
        np.column_stack([np.interp(time_s, at_s, to_deg) for at_s, to_deg in moves]),
        slot_s,
        frames,
    )


def edges(starts_s: Array, targets_deg: Array, slew_deg_s: float) -> tuple[Array, Array]:
    """Corner times and deflections of a vane that slews to each target when its slot starts."""
    ends_s = starts_s + np.abs(np.diff(targets_deg)) / slew_deg_s
    at_s = np.column_stack([starts_s, np.maximum(ends_s, starts_s + 1e-9)]).ravel()
    return at_s, np.column_stack([targets_deg[:-1], targets_deg[1:]]).ravel()


def write_programme(path: FilePath, programme: Programme) -> None:
    """Write a programme as CSV: time_s and a column for each vane; whole or not at all."""
    table = np.column_stack([programme.time_s, np.round(programme.deflection_deg, 3) + 0.0])
    with write_whole(path) as stream:
        stream.write(",".join(("time_s", *VANE_COLUMNS)) + "\n")
        np.savetxt(stream, table, fmt=["%.6f", *["%.3f"] * VANES], delimiter=",")
