"""Pictures of a servo: calibration, steps, frequency response, endurance."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from mixer.ground.reports.page import Picture
from mixer.ground.reports.pictures import LIMIT, drawing, series, svg
from mixer.ground.servo_bench.data import BenchData
from mixer.ground.servo_bench.figures import ServoFigures
from mixer.ground.servo_bench.match import Match
from mixer.ground.servo_bench.response import FrequencyFigures
from mixer.ground.servo_fit.fit import ServoFit
from mixer.ground.servo_fit.sweep import Sweep

if TYPE_CHECKING:
    from matplotlib.axes import Axes

READING = {"linestyle": "none", "markersize": 3.2}


def calibration_picture(fit: ServoFit) -> Picture:
    """The sweep with its table, and what is left beside the table in either direction."""
    with drawing(1, 2, width_in=9.0, height_in=3.6) as (figure, axes):
        curve, rest = axes[0]
        for index, (name, readings) in enumerate(both_ways(fit.up_deg, fit.down_deg)):
            mean = np.nanmean(readings, axis=1)
            curve.plot(fit.pulse_us, mean, label=f"going {name}", **READING, **marker(index))
            off_deg = readings - fit.deflection_deg[:, None]
            for column in off_deg.T:
                rest.plot(fit.pulse_us, column, alpha=0.55, **READING, **marker(index))
            rest.plot(fit.pulse_us, np.nanmean(off_deg, axis=1), label=name, **series(index))
        curve.plot(fit.table.pulse_us, fit.table.deflection_deg, label="table", **series(5))
        half_deg = fit.repeatability_deg / 2
        for edge_deg in (-half_deg, half_deg):
            rest.axhline(edge_deg, **LIMIT)
        rest.annotate(
            f"promised by the table: ±{half_deg:.2f}°, (R + one timer step)/2",
            (0.98, half_deg),
            xytext=(0, 3),
            xycoords=("axes fraction", "data"),
            textcoords="offset points",
            ha="right",
            va="bottom",
            fontsize=8,
        )
        low_deg, high_deg = rest.get_ylim()
        # Room for those words above the line, and for the legend below the readings.
        rest.set_ylim(low_deg - 0.22 * (high_deg - low_deg), high_deg + 0.1 * (high_deg - low_deg))
        labelled(curve, "pulse, µs", "deflection, deg", "Calibration")
        labelled(
            rest, "pulse, µs", "reading minus table, deg", "What the table leaves", "lower right"
        )
        return Picture(
            svg(figure),
            "Left: mean readings of both directions and the servo table through their middle. "
            "Right: every reading against the table; the lines are the means of each direction, "
            "their gap is the reversal value. Dotted: what the table promises "
            "either way, half of the repeatability R and of one timer step.",
        )


def loop_picture(sweep: Sweep) -> Picture:
    """The raw sweep, also where no table could be drawn through it, and its hysteresis loop."""
    with drawing(1, 2, width_in=9.0, height_in=3.4) as (figure, axes):
        curve, loop = axes[0]
        means = [np.nanmean(table, axis=1) for table in (sweep.up_deg, sweep.down_deg)]
        line = np.polyfit(np.tile(sweep.pulse_us, 2), np.concatenate(means), 1)
        for index, (name, readings) in enumerate(both_ways(sweep.up_deg, sweep.down_deg)):
            for column in readings.T:
                curve.plot(sweep.pulse_us, column, alpha=0.6, **READING, **marker(index))
            off_deg = means[index] - np.polyval(line, sweep.pulse_us)
            loop.plot(sweep.pulse_us, off_deg, label=f"going {name}", **series(index, marker=True))
        labelled(curve, "pulse, µs", "angle, deg", "Every reading", legend=False)
        labelled(loop, "pulse, µs", "angle minus straight line, deg", "Hysteresis loop")
        return Picture(
            svg(figure),
            "Left: every reading of the sweep. Right: the means of each direction against the best "
            "straight line through all of them, which shows play and bends alike.",
        )


def step_picture(figures: ServoFigures) -> Picture:
    """All steps, scaled to their size, laid over each other."""
    with drawing(1, 2, width_in=9.0, height_in=3.6, sharey=True) as (figure, axes):
        sizes = sorted({trace.size_deg for trace, _ in figures.steps})
        for column, direction in enumerate(("up", "down")):
            axis = axes[0][column]
            for trace, step in figures.steps:
                if trace.direction == direction:
                    scaled = (trace.angle_deg - step.start_deg) / step.size_deg
                    label = f"{abs(step.size_deg):.1f}°"
                    if step.latency_s is not None:
                        label += f", latency {1000 * step.latency_s:.0f} ms"
                    look = series(sizes.index(trace.size_deg))
                    axis.plot(1000 * trace.time_s, scaled, label=label, **look)
            for level in (0.98, 1.02):
                axis.axhline(level, **LIMIT)
            axis.set_xlim(-20, 250)
            title = f"Steps {direction}"
            labelled(axis, "time since the command, ms", "share of the step", title, "lower right")
        return Picture(
            svg(figure),
            "Mean of all repeats of each size, as a share of the step. Dotted: ±2 %, the band of "
            "the settling time.",
        )


def frequency_picture(frequency: FrequencyFigures) -> Picture:
    """Gain and phase over frequency, −3 dB and −90° marked."""
    with drawing(2, 1, width_in=8.0, height_in=4.6, sharex=True) as (figure, axes):
        gain, phase = axes[:, 0]
        hz = frequency.frequency_hz
        gain.semilogx(hz, 20 * np.log10(frequency.gain), **series(0, marker=True))
        phase.semilogx(hz, frequency.phase_deg, **series(0, marker=True))
        gain.axhline(-3.0103, **LIMIT)
        phase.axhline(-90, **LIMIT)
        marked(gain, frequency.bandwidth_hz, -3.0103, "−3 dB")
        marked(phase, frequency.quarter_turn_hz, -90, "−90°")
        phase.set_yticks(np.arange(0, min(frequency.phase_deg.min(), -90) - 45, -45))
        for axis in (gain, phase):
            axis.xaxis.set_major_formatter("{x:g}")
        labelled(gain, "", "gain, dB", "Frequency response", legend=False)
        labelled(phase, "frequency, Hz", "phase, deg", "", legend=False)
        return Picture(
            svg(figure),
            "Stepped sines about neutral, gain relative to the lowest frequency. The amplitude of "
            "each is small enough that the servo need not slew; the table states it.",
        )


def endurance_picture(data: BenchData) -> Picture:
    """Where neutral stood, from either side, over the cycles."""
    with drawing(1, 1, width_in=8.0, height_in=2.8) as (figure, axes):
        axis = axes[0][0]
        for index, (name, angles) in enumerate(
            both_ways(data.neutral_up_deg, data.neutral_down_deg)
        ):
            axis.plot(data.cycles, angles, label=f"reached {name}", **series(index, marker=True))
        labelled(axis, "cycles over the travel", "angle at neutral, deg", "Endurance")
        return Picture(
            svg(figure),
            "The angle at the neutral pulse, reached from either side, after every block of "
            "cycles: a common shift is drift, a growing gap is play.",
        )


def kick_picture(match: Match) -> Picture:
    """The roll that a pitch demand makes while four unlike servos are on their way."""
    assert match.kick is not None
    with drawing(1, 1, width_in=8.0, height_in=2.6) as (figure, axes):
        axis = axes[0][0]
        axis.plot(1000 * match.kick.time_s, match.kick.roll_nm, **series(0))
        labelled(axis, "time since the demand, ms", "roll, N·m", "Roll kick", legend=False)
        return Picture(
            svg(figure),
            "Roll that is left while a pure pitch demand goes from one end of the travel to the "
            "other, at reference pressure with new vanes: the servos' slews and latencies differ.",
        )


def both_ways(up: np.ndarray, down: np.ndarray) -> list[tuple[str, np.ndarray]]:
    return [("up", up), ("down", down)]


def marker(index: int) -> dict[str, Any]:
    """Colour and marker of a direction, for readings without a line."""
    look = series(index, marker=True)
    return {"color": look["color"], "marker": look["marker"]}


def marked(axis: Axes, frequency_hz: float | None, level: float, name: str) -> None:
    """A point where a response falls through a level, named; or that it was not reached."""
    if frequency_hz is None:
        axis.annotate(
            f"{name} not reached", (0.02, level), xycoords=("axes fraction", "data"), va="bottom"
        )
        return
    axis.plot([frequency_hz], [level], linestyle="none", **marker(1))
    axis.annotate(
        f"{name} at {frequency_hz:.1f} Hz",
        (frequency_hz, level),
        xytext=(-8, -10),
        textcoords="offset points",
        ha="right",
        va="top",
    )


def labelled(axis: Axes, x: str, y: str, title: str, legend: str | bool = "best") -> None:
    """Axis labels with units, a title, and a legend where there is something to tell apart."""
    axis.set_xlabel(x)
    axis.set_ylabel(y)
    if title:
        axis.set_title(title)
    if legend:
        place: Any = legend
        axis.legend(loc=place)
