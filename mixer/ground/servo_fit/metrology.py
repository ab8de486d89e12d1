"""What a sweep says of a servo, in the figures of two standards.

ISO 230-2:2014 judges how truly and how repeatably a position is reached, from several
approaches to each target position in both directions. IEC 61298-2 judges a device by its
input-output curve: hysteresis, non-linearity, dead band, in per cent of the output span.
Both are given as remembered, their texts were not at hand. Under which conditions a figure may go
by ISO 230-2's name is in `servo_accuracy`.
"""

from dataclasses import dataclass

import numpy as np
import scipy

from mixer.ground.inputs.arrays import Array

COVERAGE = 2.0  # standard deviations on either side of a mean, ISO 230-2


@dataclass(frozen=True)
class Positioning:
    """The figures of ISO 230-2 in the unit of the deviations; arrays have one entry a position.

    `reversal`, `repeatability` and so on are the largest over the positions;
    `up` and `down` are the two directions of approach.
    """

    mean_up: Array
    mean_down: Array
    spread_up: Array
    spread_down: Array

    @property
    def reversal_at(self) -> Array:
        """B_i: what the direction of approach makes at each position."""
        return self.mean_up - self.mean_down

    @property
    def reversal(self) -> float:
        """B, the largest |B_i|."""
        return float(np.max(np.abs(self.reversal_at)))

    @property
    def repeatability_at(self) -> Array:
        """R_i = max(2 s_i↑ + 2 s_i↓ + |B_i|, R_i↑, R_i↓)."""
        both = COVERAGE * (self.spread_up + self.spread_down) + np.abs(self.reversal_at)
        one_way = 2 * COVERAGE * np.maximum(self.spread_up, self.spread_down)
        return np.maximum(both, one_way)

    @property
    def repeatability(self) -> float:
        """R, the bidirectional repeatability: the whole width, not ±."""
        return float(np.max(self.repeatability_at))

    @property
    def accuracy(self) -> float:
        """A: from the lowest x̄_i − 2 s_i to the highest x̄_i + 2 s_i of both directions."""
        means = np.concatenate((self.mean_up, self.mean_down))
        spreads = COVERAGE * np.concatenate((self.spread_up, self.spread_down))
        return float(np.max(means + spreads) - np.min(means - spreads))


def positioning(up: Array, down: Array) -> Positioning:
    """ISO 230-2 from deviations (actual minus target), each (positions, passes).

    A missing reading is not-a-number. ValueError where a position has fewer than two readings
    in a direction: a spread cannot be told from one.
    """
    for name, deviations in (("up", up), ("down", down)):
        counts = np.sum(np.isfinite(deviations), axis=1)
        if np.any(counts < 2):
            place = int(np.flatnonzero(counts < 2)[0])
            raise ValueError(
                f"position {place + 1} has {counts[place]} reading(s) {name}; at least 2 are needed"
            )
    return Positioning(
        np.nanmean(up, axis=1),
        np.nanmean(down, axis=1),
        np.nanstd(up, axis=1, ddof=1),
        np.nanstd(down, axis=1, ddof=1),
    )


@dataclass(frozen=True)
class Conformity:
    """How far a curve is from a straight line (IEC 61298-2): the line, the worst place."""

    deviation: float
    percent_of_span: float
    at_input: float
    slope: float
    intercept: float


def independent_nonlinearity(inputs: Array, outputs: Array) -> Conformity:
    """Non-linearity against the line that makes the largest deviation least (both (n,)).

    IEC 61298-2 calls it independent. The line is the solution of a small linear program:
    least t with −t ≤ output − slope·input − intercept ≤ t.
    """
    scale, middle = np.ptp(inputs) / 2, (np.max(inputs) + np.min(inputs)) / 2
    unit = (inputs - middle) / scale
    ones = np.ones_like(unit)
    rows = np.vstack((np.column_stack((unit, ones, -ones)), np.column_stack((-unit, -ones, -ones))))
    bounds = [(None, None), (None, None), (0, None)]
    found = scipy.optimize.linprog(
        [0, 0, 1], rows, np.concatenate((outputs, -outputs)), bounds=bounds
    )
    slope = found.x[0] / scale
    return conformity(inputs, outputs, slope, found.x[1] - slope * middle)


def terminal_nonlinearity(inputs: Array, outputs: Array) -> Conformity:
    """Non-linearity against the line through both end points (IEC 61298-2: terminal-based)."""
    first, last = np.argmin(inputs), np.argmax(inputs)
    slope = (outputs[last] - outputs[first]) / (inputs[last] - inputs[first])
    return conformity(inputs, outputs, slope, outputs[first] - slope * inputs[first])


def conformity(inputs: Array, outputs: Array, slope: float, intercept: float) -> Conformity:
    """The largest deviation from a given line, and where it is."""
    deviations = np.abs(outputs - slope * inputs - intercept)
    worst = int(np.argmax(deviations))
    span = float(np.ptp(outputs))
    return Conformity(
        float(deviations[worst]),
        float(100 * deviations[worst] / span) if span > 0 else np.inf,
        float(inputs[worst]),
        float(slope),
        float(intercept),
    )


def hysteresis(mean_up: Array, mean_down: Array) -> tuple[float, float]:
    """Largest difference of the two traverses at the same input (IEC 61298-2).

    Returns it in the unit of the output and in per cent of the output span. It contains the
    dead band.
    """
    widest = float(np.max(np.abs(mean_up - mean_down)))
    span = float(np.ptp(np.concatenate((mean_up, mean_down))))
    return widest, 100 * widest / span if span > 0 else np.inf


def resolution(inputs: Array, outputs: Array, smallest_change: float) -> float:
    """Largest change of the input in one direction that leaves the output where it was, with play
    taken up.

    `inputs` (n,) is a staircase in one direction, `outputs` (n,) what was read at rest after
    each step; a change of output counts from `smallest_change` on, which must lie above the
    noise of the reading. Infinite where the output never changes.
    """
    largest, held = 0.0, 0
    for i in range(1, len(inputs)):
        if abs(outputs[i] - outputs[held]) >= smallest_change:
            largest = max(largest, abs(float(inputs[i - 1] - inputs[held])))
            held = i
    if held == 0:
        return np.inf
    return max(largest, abs(float(inputs[-1] - inputs[held])))


def dead_band(inputs: Array, outputs: Array, smallest_change: float) -> float:
    """Change of the input, on reversal of its direction, that moves nothing (IEC 61298-2,
    ISA-51.1): play and what the device itself ignores.

    `inputs` (n,) begins at the turning point, with play taken up on the way there, and goes back
    step by step; `outputs` (n,) as for `resolution`. Infinite where the output never changes.
    """
    moved = np.flatnonzero(np.abs(outputs - outputs[0]) >= smallest_change)
    return abs(float(inputs[moved[0] - 1] - inputs[0])) if len(moved) else np.inf
