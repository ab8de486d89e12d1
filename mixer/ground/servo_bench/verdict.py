"""Pass or fail for a servo, and for the four together, with every reason."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from mixer.ground.inputs.arrays import VANES
from mixer.ground.servo_bench.data import BenchData
from mixer.ground.servo_bench.diagnosis import Diagnosis, diagnose
from mixer.ground.servo_bench.figures import ServoFigures, servo_figures
from mixer.ground.servo_bench.match import Match, match
from mixer.ground.vehicle.acceptance import Judgement, Outcome, judge, outcome_of
from mixer.ground.vehicle.vehicle import Vehicle

SENSOR_UNKNOWN = (
    "the angle sensor is taken as exact: its own non-linearity is not stated in [acceptance]"
)
TOGETHER = ("roll_trim_nm",)  # of the limits, those that the four servos meet or miss together


@dataclass(frozen=True)
class ServoVerdict:
    """Everything found out about one servo, and what to think of it.

    `open`: the limits that belong to runs which were not made. `doubts`: what a pass rests on
    without being known. `sensor_deg`: the angle sensor's own non-linearity, ±, where it is stated.
    """

    data: BenchData
    figures: ServoFigures
    judgements: list[Judgement]
    findings: list[Diagnosis]
    open: list[Judgement]
    doubts: list[str]
    sensor_deg: float | None

    @property
    def outcome(self) -> Outcome:
        return outcome_of(self.passed, bool(self.judgements), bool(self.open))

    @property
    def servo(self) -> int:
        return self.figures.servo

    @property
    def passed(self) -> bool:
        return not self.findings and not self.refused and all(j.passed for j in self.judgements)

    @property
    def refused(self) -> bool:
        """A sweep was measured and no table could be drawn through it."""
        return bool(self.figures.refusal)

    @property
    def reasons(self) -> list[str]:
        """Why it fails, one sentence each; empty where it passes."""
        missing = [judgement for judgement in self.judgements if judgement.value is None]
        failed = [str(j) for j in self.judgements if not j.passed and j not in missing]
        if len(missing) > 1:
            failed.append(f"not measured: {', '.join(j.figure for j in missing)}")
        else:
            failed += map(str, missing)
        found = [f"{finding.name}: {finding.seen}" for finding in self.findings]
        refusal = [self.figures.refusal] if self.refused and not found else []
        return found + refusal + failed


def servo_verdict(
    vehicle: Vehicle,
    data: BenchData,
    timer_us: float,
    only: tuple[str, ...] = (),
) -> ServoVerdict:
    """The verdict on one servo. `only`: the runs that were made, where not all were asked for.

    Limits of the other runs stay open; where all were asked for, what was not measured fails.
    """
    low, high = vehicle.vanes.travel_deg[data.servo - 1]
    travel_deg = (float(low), float(high))
    accepted = vehicle.acceptance
    sensor_deg = accepted.sensor_nonlinearity_deg if accepted else None
    figures = servo_figures(data, travel_deg, timer_us, sensor_deg)
    ends_us = vehicle.servos[data.servo - 1].pulse_us(list(travel_deg))
    us_per_deg = float((ends_us[1] - ends_us[0]) / (high - low))
    names = [name for name in figures.figures if not only or runs_of(name) in only]
    rest = [name for name in figures.figures if name not in names]
    limited, left = (
        judge(figures.values(), accepted, part) if part else [] for part in (names, rest)
    )
    doubts = [SENSOR_UNKNOWN] if sensor_deg is None and has_limit(limited, "accuracy_deg") else []
    found = diagnose(data, us_per_deg, travel_deg)
    return ServoVerdict(data, figures, limited, found, left, doubts, sensor_deg)


def has_limit(judgements: Sequence[Judgement], figure: str) -> bool:
    return any(judgement.figure == figure for judgement in judgements)


RUN_OF = {
    "dead_band_us": "deadband",
    "resolution_us": "deadband",
    "latency_ms": "step",
    "rise_ms": "step",
    "overshoot_percent": "step",
    "settling_ms": "step",
    "slew_deg_s": "step",
    "sag_v": "step",
    "bandwidth_hz": "frequency",
    "quarter_turn_hz": "frequency",
    "drift_deg": "endurance",
    "hold_deg": "hold",
}


def runs_of(figure: str) -> str:
    """The run that a figure comes from."""
    return RUN_OF.get(figure, "sweep")


@dataclass(frozen=True)
class ModuleVerdict:
    """The four servos together; `match` is None where not all four have a table.

    `open`: the limits that the servos meet or miss together, where not all four were swept.
    """

    vehicle: Vehicle
    servos: dict[int, ServoVerdict]
    match: Match | None
    judgements: list[Judgement]
    open: list[Judgement]

    @property
    def open_limits(self) -> list[str]:
        """The limits that stay open for any servo, or for all together."""
        each = [judgement for servo in self.servos.values() for judgement in servo.open]
        return list(dict.fromkeys(judgement.figure for judgement in [*each, *self.open]))

    @property
    def absent(self) -> list[int]:
        """The servos that were not measured at all."""
        return [number for number in range(1, VANES + 1) if number not in self.servos]

    @property
    def outcome(self) -> Outcome:
        asked = any(servo.judgements for servo in self.servos.values()) or bool(self.judgements)
        return outcome_of(self.passed, asked, bool(self.open_limits or self.absent))

    @property
    def passed(self) -> bool:
        together = all(judgement.passed for judgement in self.judgements)
        return together and all(servo.passed for servo in self.servos.values())

    @property
    def reasons(self) -> list[str]:
        each = [
            f"servo {number}: {reason}"
            for number, servo in self.servos.items()
            for reason in servo.reasons
        ]
        return each + [str(judgement) for judgement in self.judgements if not judgement.passed]


def module_verdict(vehicle: Vehicle, servos: Mapping[int, ServoVerdict]) -> ModuleVerdict:
    """The verdict on the servos measured; roll is judged only where all four were."""
    found = match(vehicle, {number: servo.figures for number, servo in servos.items()})
    values = {"roll_trim_nm": found.roll_nm if found else None}
    swept = len(servos) == VANES and all(servo.data.sweep is not None for servo in servos.values())
    together = judge(values, vehicle.acceptance, TOGETHER)
    judged, left = (together, []) if swept else ([], together)
    return ModuleVerdict(vehicle, dict(sorted(servos.items())), found, judged, left)
