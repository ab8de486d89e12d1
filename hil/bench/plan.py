"""What a bench run does to one servo: pulses, step sizes, frequencies, counts; as plain data."""

from dataclasses import dataclass

import numpy as np

from mixer.ground.inputs.arrays import Array
from mixer.ground.servo_fit.accuracy import ISO_RUNS
from mixer.ground.vehicle.vehicle import Vehicle

BEYOND_TRAVEL = 0.08  # of the travel, swept on either side so that its ends are inside
SLEW_SHARE = 0.45  # of the vehicle's slew that a sine's fastest moment may take
LEAST_SINE_DEG = 0.8  # below it play and dead band make up too much of the answer
LOWEST_HZ, HIGHEST_HZ = 1.0, 30.0
FREQUENCIES = 14
UNEVEN_SHARE = 0.3  # of a step of the sweep, either way


@dataclass(frozen=True)
class BenchPlan:
    """Everything that decides what is measured; stands in the journal's header.

    `us_per_deg` is what the vehicle file says, with its sign; it turns sizes in degrees into
    pulses and is no result.
    """

    servo: int
    neutral_us: float
    us_per_deg: float
    low_us: float
    high_us: float
    slew_deg_s: float
    timer_us: float = 0.5
    positions: int = 35
    passes: int = 3
    settle_s: float = 0.3
    step_sizes_deg: tuple[float, ...] = (3.0, 8.0, 20.0)
    step_repeats: int = 3
    sine_deg: float = 3.0
    blocks: int = 10
    cycles_per_block: int = 10
    load_nm: float = 0.0

    @property
    def overrun_us(self) -> float:
        """How far beyond a position an approach starts, to take up play: 3 deg of pulse."""
        return abs(3.0 * self.us_per_deg)

    @property
    def sweep_step_us(self) -> float:
        """From one position of the sweep to the next, about."""
        return (self.high_us - self.low_us) / (self.positions - 1)

    @property
    def sweep_us(self) -> Array:
        """The pulses of the sweep (positions,), on the timer's grid.

        With as many passes as ISO 230-2 asks for they are uneven, as it asks too, so that no
        periodic error is met at the same phase every time: always the same ones.
        """
        pulses = np.linspace(self.low_us, self.high_us, self.positions)
        if self.passes >= ISO_RUNS:
            shifts = np.random.default_rng(self.positions).uniform(-1, 1, self.positions - 2)
            pulses[1:-1] += UNEVEN_SHARE * self.sweep_step_us * shifts
        return np.unique(np.round(pulses / self.timer_us) * self.timer_us)

    @property
    def span_deg(self) -> float:
        """What the sweep should turn the vane by, after the vehicle file."""
        return abs((self.high_us - self.low_us) / self.us_per_deg)

    @property
    def dead_band_step_us(self) -> float:
        """What the dead band is felt for with: fine, but not more points than a run can take."""
        return max(self.timer_us, 0.5)

    def pulse_us(self, deflection_deg: Array | float) -> Array:
        """Pulses for deflections after the vehicle file, held within the sweep."""
        pulses = self.neutral_us + self.us_per_deg * np.asarray(deflection_deg, dtype=float)
        return np.clip(pulses, self.low_us, self.high_us)

    def sine_amplitude_deg(self, frequency_hz: float) -> float:
        """Small enough that the fastest moment, 2π f A, stays below 45 % of the slew."""
        return min(self.sine_deg, SLEW_SHARE * self.slew_deg_s / (2 * np.pi * frequency_hz))

    @property
    def frequencies_hz(self) -> list[float]:
        """Even on a logarithmic scale, up to where the amplitude would drown in the play."""
        every = np.geomspace(LOWEST_HZ, HIGHEST_HZ, FREQUENCIES)
        return [
            round(float(hz), 3) for hz in every if self.sine_amplitude_deg(hz) >= LEAST_SINE_DEG
        ]


def plan_for(vehicle: Vehicle, servo: int, **settings: object) -> BenchPlan:
    """The plan for one of a vehicle's servos (1 to 4); `settings` replace what is derived."""
    described = vehicle.servos[servo - 1]
    low_deg, high_deg = vehicle.vanes.travel_deg[servo - 1]
    ends_us = described.pulse_us([low_deg, high_deg])
    slope = float((ends_us[1] - ends_us[0]) / (high_deg - low_deg))
    margin_us = BEYOND_TRAVEL * abs(ends_us[1] - ends_us[0])
    derived: dict[str, object] = {
        "servo": servo,
        "neutral_us": float(described.neutral_us),
        "us_per_deg": slope,
        "low_us": float(np.min(ends_us) - margin_us),
        "high_us": float(np.max(ends_us) + margin_us),
        "slew_deg_s": float(described.slew_deg_s),
    }
    given = {name: value for name, value in settings.items() if value is not None}
    return BenchPlan(**{**derived, **given})  # type: ignore[arg-type]
