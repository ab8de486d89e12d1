"""Lone readings of a sweep that are off the others: left out before a curve is drawn, and named."""

from dataclasses import dataclass, replace

import numpy as np

from mixer.ground.inputs.arrays import Array
from mixer.ground.servo_fit.sweep import Sweep

# Times the reading noise: what a reading must be off to be no noise. Six normal deviations are
# passed once in 5e8 readings; eight leave room for a noise estimate from few readings.
OUTLIER_NOISES = 6.0
SMALLEST_NOISE_DEG = 0.005


@dataclass(frozen=True)
class Outlier:
    """One reading that was left out."""

    servo: int
    pulse_us: float
    direction: str
    number: int
    angle_deg: float
    off_deg: float

    def __str__(self) -> str:
        return (
            f"servo {self.servo}, {self.pulse_us:g} µs {self.direction}, pass {self.number}: "
            f"{self.angle_deg:z.2f} deg is {self.off_deg:+z.2f} deg off the other readings there"
        )


def reading_noise_deg(sweep: Sweep) -> float:
    """Standard deviation of one reading, from the bend of neighbours along each traverse.

    The second difference of three neighbours has √6 times a reading's deviation; the median
    of its size is deaf to the few places where the mechanism itself jumps.
    """
    bends = [np.diff(readings, 2) for _, _, readings in sweep.traverses() if len(readings) > 2]
    size = np.abs(np.concatenate(bends)) if bends else np.array([np.nan])
    size = size[np.isfinite(size)]
    if len(size) == 0:
        return SMALLEST_NOISE_DEG
    return max(float(1.4826 * np.median(size) / np.sqrt(6)), SMALLEST_NOISE_DEG)


def without_outliers(sweep: Sweep) -> tuple[Sweep, list[Outlier]]:
    """The sweep with its lone wrong readings taken out, and what they were.

    A reading is lone when it is off the median of its position, and off the straight line
    between its neighbours in its own traverse, while both neighbours are not.
    """
    noise_deg = reading_noise_deg(sweep)
    up_deg, down_deg = sweep.up_deg.copy(), sweep.down_deg.copy()
    found = []
    for direction, number, readings in sweep.traverses():
        table = up_deg if direction == "up" else down_deg
        column = sweep.passes.index(number)
        for row in lone_readings(sweep, direction, readings, noise_deg):
            off_deg = readings[row] - expected_deg(sweep.pulse_us, readings, row)
            found.append(
                Outlier(
                    sweep.servo,
                    float(sweep.pulse_us[row]),
                    direction,
                    number,
                    float(readings[row]),
                    float(off_deg),
                )
            )
            table[row, column] = np.nan
    return replace(sweep, up_deg=up_deg, down_deg=down_deg), found


def lone_readings(sweep: Sweep, direction: str, readings: Array, noise_deg: float) -> list[int]:
    """Rows of one traverse whose reading stands apart from neighbours and from other passes."""
    both = sweep.up_deg if direction == "up" else sweep.down_deg
    usual = np.nanmedian(both, axis=1)
    steps = np.abs(np.diff(usual))
    # Between its neighbours a healthy vane may be late by about half a step of the sweep.
    limit = OUTLIER_NOISES * noise_deg + float(np.nanmedian(steps)) / 2
    rows = []
    for row in range(len(readings)):
        off_line = readings[row] - expected_deg(sweep.pulse_us, readings, row)
        off_others = others_deg(both, readings, row) - readings[row]
        if abs(off_line) > limit and abs(off_others) > limit:
            rows.append(row)
    # A neighbour of a wrong reading looks wrong on the line through it; the worst one is.
    return [row for row in rows if not worse_neighbour(sweep.pulse_us, readings, rows, row)]


def others_deg(both: Array, readings: Array, row: int) -> float:
    """The median of the other passes at one position; the reading itself where it is alone."""
    others = both[row][both[row] != readings[row]]
    others = others[np.isfinite(others)]
    return float(np.median(others)) if len(others) else float(readings[row])


def expected_deg(pulse_us: Array, readings: Array, row: int) -> float:
    """What the two readings before and after (or the two nearest at an end) foretell."""
    if not np.isfinite(readings[row]):
        return float(readings[row])
    good = [i for i in range(len(readings)) if i != row and np.isfinite(readings[i])]
    if len(good) < 2:
        return float(readings[row])
    below = [i for i in good if i < row][-1:]
    above = [i for i in good if i > row][:1]
    pair = below + above
    if len(pair) < 2:
        pair = good[:2] if not below else good[-2:]
    a, b = pair
    slope = (readings[b] - readings[a]) / (pulse_us[b] - pulse_us[a])
    return float(readings[a] + slope * (pulse_us[row] - pulse_us[a]))


def worse_neighbour(pulse_us: Array, readings: Array, rows: list[int], row: int) -> bool:
    def off(i: int) -> float:
        return abs(readings[i] - expected_deg(pulse_us, readings, i))

    return any(i in rows and off(i) > off(row) for i in (row - 1, row + 1))
