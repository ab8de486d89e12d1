"""Pass or fail for a servo, and for the four together, with every reason."""

from collections.abc import Mapping
from dataclasses import dataclass

from mixer.ground.acceptance import Judgement, judge
from mixer.ground.bench_data import BenchData
from mixer.ground.diagnosis import Finding, diagnose
from mixer.ground.quantities import VANES
from mixer.ground.servo_figures import ServoFigures, servo_figures
from mixer.ground.servo_match import Match, match
from mixer.ground.vehicle import Vehicle

TOGETHER = ("roll_trim_nm",)  # of the limits, those that the four servos meet or miss together


@dataclass(frozen=True)
class ServoVerdict:
    """Everything found out about one servo, and what to think of it."""

    data: BenchData
    figures: ServoFigures
    judgements: list[Judgement]
    findings: list[Finding]

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
        failed = [str(judgement) for judgement in self.judgements if not judgement.passed]
        found = [f"{finding.name}: {finding.seen}" for finding in self.findings]
        refusal = [self.figures.refusal] if self.refused and not found else []
        return found + refusal + failed


def servo_verdict(
    vehicle: Vehicle,
    data: BenchData,
    timer_us: float,
    only: tuple[str, ...] = (),
) -> ServoVerdict:
    """The verdict on one servo. `only`: the runs that were made, where not all were asked for."""
    low, high = vehicle.vanes.travel_deg[data.servo - 1]
    travel_deg = (float(low), float(high))
    figures = servo_figures(data, travel_deg, timer_us)
    ends_us = vehicle.servos[data.servo - 1].pulse_us(list(travel_deg))
    us_per_deg = float((ends_us[1] - ends_us[0]) / (high - low))
    names = [name for name in figures.figures if not only or runs_of(name) in only]
    limited = judge(figures.values(), vehicle.acceptance, names) if names else []
    return ServoVerdict(data, figures, limited, diagnose(data, us_per_deg, travel_deg))


RUN_OF = {
    "dead_band_us": "deadband",
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
    """The four servos together; `match` is None where not all four have a table."""

    vehicle: Vehicle
    servos: dict[int, ServoVerdict]
    match: Match | None
    judgements: list[Judgement]

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
    together = judge(values, vehicle.acceptance, TOGETHER) if swept else []
    return ModuleVerdict(vehicle, dict(sorted(servos.items())), found, together)
