"""The figures of one servo, each with its unit, its method and the standard it is named after."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from mixer.ground.inputs.arrays import Array
from mixer.ground.servo_bench.data import BenchData, StepTrace
from mixer.ground.servo_bench.response import (
    FrequencyFigures,
    NoStepError,
    StepFigures,
    frequency_figures,
    step_figures,
)
from mixer.ground.servo_fit.accuracy import held_out, iso_230_2_lacks, standard_name
from mixer.ground.servo_fit.fit import ServoFit, ServoRefusedError, SweepError, fit_servo
from mixer.ground.servo_fit.metrology import dead_band, resolution

LEAST_CHANGE_NOISES = 4.0  # of the mean of a reading's samples: what counts as moved
LEAST_CHANGE_DEG = 0.03


@dataclass(frozen=True)
class Figure:
    """One figure: `value` is None where it was not measured or does not exist."""

    name: str
    value: float | None
    unit: str
    method: str


@dataclass(frozen=True)
class ServoFigures:
    """All of one servo: the fit of its sweep or why there is none, and the figures by name."""

    servo: int
    fit: ServoFit | None
    refusal: str
    steps: tuple[tuple[StepTrace, StepFigures], ...]
    frequency: FrequencyFigures | None
    figures: dict[str, Figure]

    def values(self) -> dict[str, float | None]:
        return {name: figure.value for name, figure in self.figures.items()}


def servo_figures(
    data: BenchData,
    travel_deg: tuple[float, float],
    timer_us: float,
    sensor_deg: float | None = None,
) -> ServoFigures:
    """Figures of everything that was measured; what was not is None.

    sensor_deg: the angle sensor's own non-linearity, ±, where it is known.
    """
    fit, refusal = fitted(data, travel_deg, timer_us)
    steps = judged_steps(data.steps)
    frequency = frequency_figures(data.sines) if len(data.sines) > 2 else None
    figures = [
        *sweep_figures(data, fit, sensor_deg),
        Figure(
            "dead_band_us",
            worse_way(data, data.reversal, dead_band),
            "µs",
            "IEC 61298-2 dead band: change of the pulse on reversal of its direction, at neutral, "
            "that moved nothing; the worse direction",
        ),
        Figure(
            "resolution_us",
            worse_way(data, data.staircase, with_play_taken_up),
            "µs",
            "largest change of the pulse in one direction that moved nothing, play taken up "
            "before; the worse direction",
        ),
        *step_response_figures(steps),
        *frequency_response_figures(frequency),
        Figure(
            "drift_deg",
            drift_deg(data),
            "deg",
            "endurance: largest shift of neutral since the first look, mean of both approaches",
        ),
        Figure("hold_deg", hold_deg(data), "deg", "give at neutral under the load hung on"),
        Figure("sag_v", sag_v(data.steps), "V", "largest drop of the supply in any step"),
    ]
    return ServoFigures(
        data.servo, fit, refusal, steps, frequency, {figure.name: figure for figure in figures}
    )


def fitted(
    data: BenchData, travel_deg: tuple[float, float], timer_us: float
) -> tuple[ServoFit | None, str]:
    """The fit, or the words with which it was refused."""
    if data.sweep is None:
        return None, ""
    try:
        return fit_servo(data.sweep, travel_deg, timer_us), ""
    except (ServoRefusedError, SweepError) as error:
        # Whoever shows it names the servo.
        return None, str(error).removeprefix(f"servo {data.servo}: ")


def sweep_figures(data: BenchData, fit: ServoFit | None, sensor_deg: float | None) -> list[Figure]:
    """What the sweep says, after both standards."""
    positions = fit.positions if fit else None
    name = "after ISO 230-2:"
    if fit:
        lacks = iso_230_2_lacks(fit.deflection_deg, fit.passes, sensor_deg is not None)
        name = standard_name(lacks, fit.passes)
    sensor = (
        "the angle sensor taken as exact, its own non-linearity not being stated"
        if sensor_deg is None
        else f"with the angle sensor's own ± {sensor_deg:g} deg"
    )
    return [
        Figure(
            "backlash_deg",
            positions.reversal if positions else None,
            "deg",
            f"{name} reversal value B: largest difference between both approaches",
        ),
        Figure(
            "repeatability_deg",
            positions.repeatability if positions else None,
            "deg",
            f"{name} bidirectional repeatability R, whole width, 2 s on either side",
        ),
        Figure(
            "accuracy_deg",
            accuracy_deg(data, fit, sensor_deg),
            "deg",
            f"{name} bidirectional accuracy A, whole width, each pass against a table of the "
            f"others, {sensor}",
        ),
        Figure(
            "hysteresis_percent",
            fit.hysteresis_percent if fit else None,
            "%",
            "IEC 61298-2 hysteresis with dead band, of the output span",
        ),
        Figure(
            "nonlinearity_percent",
            fit.nonlinearity.percent_of_span if fit else None,
            "%",
            "IEC 61298-2 independent non-linearity of pulse to angle, of the output span",
        ),
    ]


def accuracy_deg(data: BenchData, fit: ServoFit | None, sensor_deg: float | None) -> float | None:
    """A of the table, whole width; what the sensor itself may be off by counts on either side."""
    if fit is None or data.sweep is None:
        return None
    return held_out(data.sweep, fit).accuracy + 2 * (sensor_deg or 0.0)


def with_play_taken_up(pulse_us: Array, angle_deg: Array, least_deg: float) -> float:
    """The resolution of a staircase from where it begins to move: before is the approach."""
    moved = np.flatnonzero(np.abs(angle_deg - angle_deg[0]) >= least_deg)
    begin = int(moved[0]) if len(moved) else 0
    return resolution(pulse_us[begin:], angle_deg[begin:], least_deg)


def worse_way(
    data: BenchData,
    steps: Mapping[str, tuple[Array, Array]],
    width_us: Callable[[Array, Array, float], float],
) -> float | None:
    """The worse of both directions; None where one of them moved nothing at all."""
    noise_deg = float(np.median([look.scatter_deg for look in data.looks] or [0.0])) / 4
    least_deg = max(LEAST_CHANGE_NOISES * noise_deg, LEAST_CHANGE_DEG)
    widths = []
    for pulse_us, angle_deg in steps.values():
        good = np.isfinite(angle_deg)
        if good.sum() > 2:
            widths.append(width_us(pulse_us[good], angle_deg[good], least_deg))
    return max(widths) if widths and np.isfinite(widths).all() else None


def judged_steps(traces: Sequence[StepTrace]) -> tuple[tuple[StepTrace, StepFigures], ...]:
    """The mean trace of each size and direction, with its figures where it can be judged."""
    judged = []
    for trace in mean_traces(traces):
        good = np.isfinite(trace.angle_deg)
        try:
            judged.append((trace, step_figures(trace.time_s[good], trace.angle_deg[good])))
        except NoStepError:
            continue
    return tuple(judged)


def mean_traces(traces: Sequence[StepTrace]) -> list[StepTrace]:
    """One trace for all repeats of a size and direction: their mean, reading by reading."""
    alike: dict[tuple[float, str, int], list[StepTrace]] = {}
    for trace in traces:
        alike.setdefault((trace.size_deg, trace.direction, len(trace.time_s)), []).append(trace)
    return [
        replace(group[0], angle_deg=np.mean([trace.angle_deg for trace in group], axis=0))
        for group in alike.values()
    ]


def step_response_figures(steps: Sequence[tuple[StepTrace, StepFigures]]) -> list[Figure]:
    """The worst over sizes and directions; latency and slew of the largest steps alone."""
    largest_deg = max((trace.size_deg for trace, _ in steps), default=0.0)
    every = [figures for _, figures in steps]
    largest = [figures for trace, figures in steps if trace.size_deg == largest_deg]
    latencies_s = [step.latency_s for step in largest if step.latency_s is not None]
    return [
        Figure(
            "latency_ms",
            1000 * max(latencies_s) if latencies_s else None,
            "ms",
            "command to the start of the motion in the largest step, if that is large against "
            "noise and resolution: square root of the response led back to zero",
        ),
        Figure(
            "rise_ms",
            1000 * max(step.rise_s for step in every) if every else None,
            "ms",
            "10 to 90 % of the step, the slowest step",
        ),
        Figure(
            "overshoot_percent",
            max(step.overshoot_percent for step in every) if every else None,
            "%",
            "of the step, the largest of all steps",
        ),
        Figure(
            "settling_ms",
            1000 * max(step.settling_s for step in every) if every else None,
            "ms",
            "to stay within 2 % of the step (or the noise, where that is wider), the slowest step",
        ),
        Figure(
            "slew_deg_s",
            min(step.slew_deg_s for step in largest) if largest else None,
            "deg/s",
            "mean rate from 25 to 75 % of the largest step, the slower direction",
        ),
    ]


def frequency_response_figures(frequency: FrequencyFigures | None) -> list[Figure]:
    return [
        Figure(
            "bandwidth_hz",
            frequency.bandwidth_hz if frequency else None,
            "Hz",
            "stepped sine: gain 3 dB below that of the lowest frequency",
        ),
        Figure(
            "quarter_turn_hz",
            frequency.quarter_turn_hz if frequency else None,
            "Hz",
            "stepped sine: phase lag of 90 deg",
        ),
    ]


def drift_deg(data: BenchData) -> float | None:
    """Largest shift of neutral; None where there was no endurance run."""
    if len(data.cycles) < 2:
        return None
    middle = (data.neutral_up_deg + data.neutral_down_deg) / 2
    shift = np.abs(middle - middle[0])
    return float(np.nanmax(shift)) if np.isfinite(shift[1:]).any() else None


def hold_deg(data: BenchData) -> float | None:
    if data.hold is None:
        return None
    gives = np.abs(np.array([data.hold.loaded_deg, data.hold.later_deg]) - data.hold.before_deg)
    return float(np.max(gives)) if np.isfinite(gives).all() else None


def sag_v(steps: Sequence[StepTrace]) -> float | None:
    drops = [trace.sag_v for trace in steps if trace.sag_v is not None]
    return max(drops) if drops else None
