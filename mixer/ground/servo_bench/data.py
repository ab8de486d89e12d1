"""What a bench run measured, put in order for whoever computes figures from it.

Records come by key from the bench's journal (or a saved results file); `run` is the part of the
key before the first colon.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from mixer.ground.inputs.arrays import Array
from mixer.ground.servo_bench.response import FrequencyPoint
from mixer.ground.servo_fit.sweep import Sweep

TYPED = "typed"  # the trouble of a reading that a person typed in: none, and no scatter either
REVERSAL = "reversal-"  # in the key of fine steps back from a turning point
Records = Mapping[str, Mapping[str, Any]]


@dataclass(frozen=True)
class Look:
    """One reading at rest; `angle_deg` is not-a-number where the reader gave none."""

    pulse_us: float
    angle_deg: float
    scatter_deg: float
    trouble: str


@dataclass(frozen=True)
class StepTrace:
    """One recorded step: `time_s`, `angle_deg` (n,), the command at time 0."""

    size_deg: float
    direction: str
    time_s: Array
    angle_deg: Array
    sag_v: float | None


@dataclass(frozen=True)
class Hold:
    """Angles before, under and after a load, deg."""

    load_nm: float
    before_deg: float
    loaded_deg: float
    later_deg: float
    after_deg: float


@dataclass(frozen=True)
class BenchData:
    """Everything measured on one servo; an empty part was not measured.

    `staircase`: pulses and angles in one direction, play taken up; `reversal`: from a turning point
    back. Both by the direction that came first.
    """

    servo: int
    looks: tuple[Look, ...]
    sweep: Sweep | None
    staircase: dict[str, tuple[Array, Array]]
    reversal: dict[str, tuple[Array, Array]]
    steps: tuple[StepTrace, ...]
    sines: tuple[FrequencyPoint, ...]
    hold: Hold | None
    cycles: Array
    neutral_up_deg: Array
    neutral_down_deg: Array


def bench_data(servo: int, records: Records) -> BenchData:
    """The records of one servo, whatever of them is there."""
    endurance = [record for _, record in of_run(records, "endurance")]
    return BenchData(
        servo=servo,
        looks=tuple(look(record) for _, record in of_run(records, "ready")),
        sweep=sweep_of(servo, [record for _, record in of_run(records, "sweep")]),
        staircase={
            name: stairs for name, stairs in fine_steps(records) if not name.startswith(REVERSAL)
        },
        reversal={
            name.removeprefix(REVERSAL): stairs
            for name, stairs in fine_steps(records)
            if name.startswith(REVERSAL)
        },
        steps=tuple(step_trace(key, record) for key, record in of_run(records, "step")),
        sines=tuple(
            FrequencyPoint(
                record["frequency_hz"],
                record["amplitude_deg"],
                record["gain"],
                record["phase_deg"],
                record["residual_deg"],
            )
            for _, record in of_run(records, "frequency")
            if record["gain"] is not None
        ),
        hold=next((hold_of(record) for _, record in of_run(records, "hold")), None),
        cycles=np.array([record["cycles"] for record in endurance], dtype=float),
        neutral_up_deg=angles([record["up"]["angle_deg"] for record in endurance]),
        neutral_down_deg=angles([record["down"]["angle_deg"] for record in endurance]),
    )


def fine_steps(records: Records) -> Iterator[tuple[str, tuple[Array, Array]]]:
    """The fine steps through neutral, by the name of each."""
    for key, record in of_run(records, "deadband"):
        yield key.split(":")[1], (np.array(record["pulse_us"]), angles(record["angle_deg"]))


def only_swept(sweep: Sweep) -> BenchData:
    """A servo of which nothing is there but a sweep, by hand perhaps."""
    return replace(bench_data(sweep.servo, {}), sweep=sweep)


def of_run(records: Records, run: str) -> Iterator[tuple[str, Mapping[str, Any]]]:
    for key, record in records.items():
        if key.split(":")[0] == run:
            yield key, record


def angles(values: list[float | None]) -> Array:
    """Angles (n,), not-a-number where there is none."""
    return np.array([np.nan if value is None else value for value in values], dtype=float)


def look(record: Mapping[str, Any]) -> Look:
    angle = record["angle_deg"]
    return Look(
        record["pulse_us"],
        np.nan if angle is None else angle,
        record["scatter_deg"],
        record["trouble"],
    )


def sweep_of(servo: int, records: list[Mapping[str, Any]]) -> Sweep | None:
    """The readings of a sweep as a table; None where there are none."""
    if not records:
        return None
    pulse_us = np.unique([record["pulse_us"] for record in records])
    passes = sorted({record["pass"] for record in records})
    tables = {d: np.full((len(pulse_us), len(passes)), np.nan) for d in ("up", "down")}
    for record in records:
        row = int(np.searchsorted(pulse_us, record["pulse_us"]))
        angle = record["angle_deg"]
        tables[record["direction"]][row, passes.index(record["pass"])] = (
            np.nan if angle is None else angle
        )
    return Sweep(servo, pulse_us, tuple(passes), tables["up"], tables["down"])


def step_trace(key: str, record: Mapping[str, Any]) -> StepTrace:
    angle_deg = angles(record["angle_deg"])
    time_s = (np.arange(len(angle_deg)) - record["before"]) * record["interval_s"]
    first, lowest = record["first_supply_v"], record["lowest_supply_v"]
    sag_v = None if first is None else first - lowest
    return StepTrace(record["size_deg"], key.split(":")[-1], time_s, angle_deg, sag_v)


def hold_of(record: Mapping[str, Any]) -> Hold:
    names = ("before", "loaded", "later", "after")
    return Hold(record["load_nm"], *angles([record[name]["angle_deg"] for name in names]))
