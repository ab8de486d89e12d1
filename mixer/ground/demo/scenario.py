"""The demands of an invented flight, and what happens in it.

Nothing is simulated here: the moments are made up over time, as a flight computer might ask for
them. Roll, pitch and yaw disturbances come with a sudden front and die away.
"""

from dataclasses import dataclass
from importlib.resources import files
from typing import IO

import numpy as np

from mixer.ground.allocation.run import Jam
from mixer.ground.inputs.arrays import Array

RATE_HZ = 200
END_S = 26.5
JAM = Jam(vane=3, time_s=21.6)
GARBLED_S = (18.5, 18.56)
GARBLED_NM = 9e9


@dataclass(frozen=True)
class Phase:
    """Some seconds of the flight, and what they bring."""

    name: str
    from_s: float
    to_s: float


PHASES = (
    Phase("ignition, a steady climb", 0.0, 4.0),
    Phase("a gust from the side", 4.0, 7.0),
    Phase("a roll disturbance", 9.0, 12.0),
    Phase("a pitch-over too hard for the vanes, with roll asked for too", 14.0, 16.5),
    Phase("a garbled demand", *GARBLED_S),
    Phase(f"a gust; vane {JAM.vane} jams at {JAM.time_s:g} s", 21.0, 24.0),
    Phase("the last of the burn, one vane jammed", 24.0, 25.6),
    Phase("burn-out", 25.6, END_S),
)


def vehicle_toml() -> str:
    """The text of the invented vehicle's file."""
    return files("mixer.ground.demo").joinpath("demo.toml").read_text(encoding="utf-8")


def inspection_csv() -> str:
    """The text of the invented inspection that the vehicle's wear was fitted from."""
    return files("mixer.ground.demo").joinpath("inspection.csv").read_text(encoding="utf-8")


def times_s() -> Array:
    """A row for each control cycle."""
    return np.arange(round(END_S * RATE_HZ) + 1) / RATE_HZ


def demands_nm(time_s: Array) -> Array:
    """Pitch, yaw and roll demanded at burn times (n,): shape (n, 3)."""

    def sway(hz: float, phase: float) -> Array:
        return np.sin(2 * np.pi * hz * time_s + phase)

    def swing(from_s: float, hz: float, dies_s: float) -> Array:
        """A swing that begins at a time and dies away."""
        since_s = np.maximum(time_s - from_s, 0.0)
        return np.exp(-since_s / dies_s) * np.sin(2 * np.pi * hz * since_s)

    def push(from_s: float, to_s: float, front_s: float = 0.12) -> Array:
        """From 0 to 1 and back with fronts that are not vertical."""
        return np.clip(np.minimum(time_s - from_s, to_s - time_s) / front_s, 0.0, 1.0)

    pitch = 70 * sway(0.31, 0.0) + 30 * sway(0.93, 1.0)
    yaw = 60 * sway(0.27, 2.0) + 35 * sway(0.81, 0.4)
    roll = 1.1 * sway(0.6, 0.3) + 0.5 * sway(1.7, 0.0)
    yaw += 1150 * swing(4.2, 0.9, 0.7)
    pitch += 420 * swing(4.2, 1.1, 0.6)
    roll += 22 * push(9.2, 9.9) - 10 * swing(9.9, 0.8, 0.6)
    pitch += 2300 * push(14.2, 15.1) - 1900 * push(15.1, 15.9)
    roll += 10 * push(14.0, 16.2, 0.3)
    yaw += 700 * swing(21.35, 0.8, 0.8)
    pitch += 550 * swing(21.35, 0.9, 0.7)
    roll += 4 * swing(21.35, 0.9, 0.8)
    return np.column_stack([pitch, yaw, roll])


def chamber_pressure_bar(time_s: Array) -> Array:
    """Start-up in a quarter of a second, a slow sag, and a tail-off after 25.3 s: shape (n,)."""
    steady = 20.4 - 0.07 * time_s
    start, end = 1 - np.exp(-time_s / 0.08), np.exp(-np.maximum(time_s - 25.3, 0.0) / 0.12)
    return steady * start * np.where(end < 0.002, 0.0, end)


def write_demands(stream: IO[str]) -> None:
    """The demand file of the flight."""
    time_s = times_s()
    demands = demands_nm(time_s)
    demands[(time_s >= GARBLED_S[0]) & (time_s < GARBLED_S[1])] = GARBLED_NM
    stream.write("time_s,pitch_nm,yaw_nm,roll_nm,chamber_pressure_bar\n")
    rows = np.column_stack([time_s, demands, chamber_pressure_bar(time_s)])
    np.savetxt(stream, rows, fmt="%.3f", delimiter=",")
