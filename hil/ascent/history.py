"""One flight with everything written down: what `fourvane ascent` shows."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from hil.flights.attitude_hold import roll_angle, tilt
from hil.flights.extremes import Tally
from hil.flights.fly import WAIT_S, Cycle, Flight, Listener, MakeSteering, fly, laptop
from hil.rocket.rocket import POSITION, QUATERNION, RATE, VELOCITY
from mixer.ground.inputs.arrays import Array
from mixer.ground.vehicle.vehicle import Vehicle


class History:
    """Every cycle of one flight, a row each; filled while it flies, read as arrays after."""

    COLUMNS: ClassVar[dict[str, int]] = {
        "time_s": 1,
        "tilt_deg": 2,  # about pitch and yaw
        "roll_deg": 1,  # since the rail, ±180
        "rate_deg_s": 3,  # about roll, pitch, yaw
        "demand_nm": 3,  # pitch, yaw, roll
        "commanded_nm": 3,  # what the code says its deflections give
        "true_nm": 3,  # what the true vanes give
        "disturbance_nm": 3,  # thrust and air
        "commanded_deg": 4,
        "true_deg": 4,
        "pulse_us": 4,
        "pressure_bar": 1,  # as the sensor reads it
        "counted_bar": 1,  # as steered by; not-a-number where that is not told
        "true_pressure_bar": 1,
        "margin_percent": 1,
        "height_m": 1,
        "speed_m_s": 1,
        "flags": 1,
        "judged": 1,
    }

    def __init__(self) -> None:
        self._rows: list[Array] = []
        self._whole: Array | None = None

    def __call__(self, cycle: Cycle) -> None:
        """The listener of a flight."""
        self._rows.append(np.concatenate([np.ravel(part) for part in self._parts(cycle)]))

    def __getattr__(self, name: str) -> Array:
        """A column by its name: (cycles,), or (cycles, n) where it has n parts."""
        if name not in self.COLUMNS:
            raise AttributeError(name)
        if self._whole is None or len(self._whole) != len(self._rows):
            self._whole = np.array(self._rows)
        names = list(self.COLUMNS)
        start = sum(self.COLUMNS[before] for before in names[: names.index(name)])
        width = self.COLUMNS[name]
        column = self._whole[:, start : start + width]
        return column[:, 0] if width == 1 else column

    @staticmethod
    def _parts(cycle: Cycle) -> list[Any]:
        rocket, commands = cycle.rocket, cycle.steering.commands
        state = rocket.state[:, 0]
        velocity = state[VELOCITY]
        held = rocket.held_over_step()
        force_n = rocket.vanes.force_n(held.strength, rocket.vane_deg)
        moment_nm, _, _ = rocket.vanes.loads(force_n, held.cg_m)
        roll_nm, pitch_nm, yaw_nm = moment_nm[:, 0]
        about_roll, about_pitch, about_yaw = rocket.disturbance_nm[:, 0]
        ratio_q14 = cycle.steering.ratio_q14
        counted = np.nan if ratio_q14 is None else float(ratio_q14[0])
        half_roll = np.clip(0.5 * roll_angle(rocket.state[QUATERNION]), -1.0, 1.0)
        return [
            rocket.time_s,
            np.degrees(np.arcsin(np.clip(tilt(rocket.axes), -1.0, 1.0))),
            np.degrees(2.0 * np.arcsin(half_roll)),
            np.degrees(state[RATE]),
            1e-3 * cycle.demand_mnm[:, 0],
            1e-3 * commands.moment_mnm[:, 0],
            np.array([pitch_nm, yaw_nm, roll_nm]),
            np.array([about_pitch, about_yaw, about_roll]),
            1e-3 * commands.deflection_mdeg[:, 0],
            rocket.vane_deg[:, 0],
            1e-3 * commands.pulse_ns[:, 0],
            1e-5 * float(cycle.pressure_pa[0]),
            rocket.chamber_bar * counted / 16384,
            rocket.chamber_bar * float(rocket.pressure_share[0]),
            100.0 * (1.0 - cycle.glance.used),
            state[POSITION.start],
            float(np.sqrt(velocity @ velocity)),
            float(commands.flags[0]),
            float(cycle.glance.counts[0]),
        ]


@dataclass(frozen=True)
class Ascent:
    """A flown flight: its history, and the extremes that it is judged by."""

    history: History
    tally: Tally


def fly_ascent(
    vehicle: Vehicle,
    flight: Flight,
    make_steering: MakeSteering = laptop,
    watch_jams: bool = True,
    listeners: Sequence[Listener] = (),
    wait_s: float = WAIT_S,
) -> Ascent:
    """Fly one flight and write everything down from ignition on, `wait_s` after power-on."""
    history = History()

    def listen(cycle: Cycle) -> None:
        history(cycle)
        for listener in listeners:
            listener(cycle)

    tally = fly(vehicle, [flight], make_steering, watch_jams, listen, wait_s)
    return Ascent(history, tally)
