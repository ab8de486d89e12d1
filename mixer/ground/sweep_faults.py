"""What is wrong with a sweep before any curve is drawn through it: readings and regions.

A lone reading off the others is left out and named. What the mechanism does wrong (turning
back, sticking, slipping) is refused with the place, since no table can put it right.
"""

from dataclasses import dataclass, replace

import numpy as np

from mixer.ground.quantities import Array
from mixer.ground.sweep import Sweep

# Times the reading noise: what a reading must be off to be no noise. Six normal deviations are
# passed once in 5e8 readings; eight leave room for a noise estimate from few readings.
OUTLIER_NOISES = 6.0
REGION_NOISES = 8.0
SLIP_DEG = 0.4  # below it, wandering of a healthy geartrain
SLIP_READINGS = 4
ABRUPT_SHARE = 0.75  # of a fall, in one interval
STALL_DEG = 0.35  # motion that failed to come before it is called sticking
STALL_SHARE = 0.3  # of the expected motion: the vane stands still
CATCH_UP_SHARE = 1.6  # of the expected motion: the vane has torn itself loose
TREND_INTERVALS = 8  # on either side; expected motion is the median over these
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
            f"{self.angle_deg:.2f} deg is {self.off_deg:+.2f} deg off the other readings there"
        )


@dataclass(frozen=True)
class Region:
    """A place where the mechanism does what no table can describe.

    `kind` is "turns back", "sticks" or "slips"; the text says what was seen.
    """

    servo: int
    kind: str
    from_us: float
    to_us: float
    near_deg: float
    text: str

    def __str__(self) -> str:
        return (
            f"servo {self.servo} {self.kind} between {self.from_us:g} and {self.to_us:g} µs "
            f"(near {self.near_deg:.1f} deg): {self.text}"
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


def bad_regions(sweep: Sweep) -> list[Region]:
    """Every place that turns back, sticks or slips, in the order of the pulses."""
    noise_deg = reading_noise_deg(sweep)
    sign = turning_sign(sweep)
    # A slip shifts the means and a turning back stands still on its way: the plainer name first.
    found = slips(sweep, noise_deg) or turns_back(sweep, sign, noise_deg)
    found = found or stalls(sweep, sign, noise_deg)
    return sorted(found, key=lambda region: region.from_us)


def middle_deg(sweep: Sweep) -> Array:
    """The mean of both directions at each position (m,)."""
    return (np.nanmean(sweep.up_deg, axis=1) + np.nanmean(sweep.down_deg, axis=1)) / 2


def turning_sign(sweep: Sweep) -> float:
    """+1 where longer pulses turn the vane positive, −1 where negative, over the whole sweep."""
    middle = middle_deg(sweep)
    return 1.0 if middle[-1] >= middle[0] else -1.0


def slips(sweep: Sweep, noise_deg: float) -> list[Region]:
    """Traverses that leave the others' level at a place and do not come back to it."""
    limit = max(REGION_NOISES * noise_deg, SLIP_DEG)
    found = []
    for direction, number, readings in sweep.traverses():
        both = sweep.up_deg if direction == "up" else sweep.down_deg
        off = readings - np.nanmedian(both, axis=1)
        away = np.flatnonzero(np.abs(off) > limit)
        if len(away) < SLIP_READINGS:
            continue
        first, last = int(away[0]), int(away[-1])
        from_start, to_end = first <= 1, last >= len(off) - 2
        unbroken = len(away) >= 0.8 * (last - first + 1)
        one_sided = abs(np.sum(np.sign(off[away]))) == len(away)
        if not (unbroken and one_sided and (from_start or to_end)):
            continue
        level = f"reads {np.nanmedian(off[away]):+.1f} deg off the other passes"
        if from_start and to_end:
            a, b, text = 0, len(off) - 1, f"the whole of pass {number} {direction} {level}"
        else:
            edge = last if from_start else first - 1
            a, b = edge, edge + 1
            side = "below" if from_start else "above"
            text = f"{side} that, pass {number} {direction} {level}"
        near_deg = float(np.nanmedian(both[(a + b) // 2]))
        pulses_us = float(sweep.pulse_us[a]), float(sweep.pulse_us[b])
        found.append(Region(sweep.servo, "slips", *pulses_us, near_deg, text))
    return found


def stalls(sweep: Sweep, sign: float, noise_deg: float) -> list[Region]:
    """Places where the vane stands while the pulse goes on, then catches up in one go.

    Asked for in at least half of the traverses of one direction, so that a single odd reading
    does not make a sticking region.
    """
    trend = expected_motion_deg(sweep, sign)
    limit = max(REGION_NOISES * noise_deg, STALL_DEG)
    places: dict[str, list[tuple[int, int]]] = {"up": [], "down": []}
    for direction, _, readings in sweep.traverses():
        motion = sign * np.diff(readings)
        if direction == "down":
            places["down"] += [
                (len(motion) - 1 - b, len(motion) - 1 - a)
                for a, b in stalls_in(motion[::-1], trend[::-1], limit)
            ]
        else:
            places["up"] += stalls_in(motion, trend, limit)
    found = []
    for direction, stood in places.items():
        if len(stood) >= max(2, len(sweep.passes) / 2):
            a, b = min(a for a, _ in stood), max(b for _, b in stood)
            found.append(
                Region(
                    sweep.servo,
                    "sticks",
                    float(sweep.pulse_us[a]),
                    float(sweep.pulse_us[b + 1]),
                    float(middle_deg(sweep)[(a + b + 1) // 2]),
                    f"going {direction} the vane stood still {len(stood)} times in "
                    f"{len(sweep.passes)} passes while the pulse went on, then jumped",
                )
            )
    return found


def expected_motion_deg(sweep: Sweep, sign: float) -> Array:
    """Motion each interval should bring (m−1,): the median slope of the intervals around it."""
    motions = np.array([sign * np.diff(readings) for _, _, readings in sweep.traverses()])
    widths = np.diff(sweep.pulse_us)
    slopes = motions / widths
    centres = range(len(widths))
    around = [slopes[:, max(0, i - TREND_INTERVALS) : i + TREND_INTERVALS + 1] for i in centres]
    return np.array([np.nanmedian(slope) for slope in around]) * widths


def stalls_in(motion: Array, trend: Array, limit: float) -> list[tuple[int, int]]:
    """First and last interval of each stall with its catch-up, along one traverse.

    The first intervals of a traverse are let off: play is taken up there.
    """
    found = []
    i = int(np.argmax(motion > STALL_SHARE * trend)) if len(motion) else 0
    while i < len(motion):
        start, missed = i, 0.0
        while i < len(motion) and motion[i] < STALL_SHARE * trend[i]:
            missed += trend[i] - motion[i]
            i += 1
        caught_up = any(
            motion[k] > CATCH_UP_SHARE * trend[k] for k in range(i, min(i + 2, len(motion)))
        )
        if missed > limit and caught_up:
            found.append((start, min(i, len(motion) - 1)))
        i = max(i, start + 1)
    return found


def turns_back(sweep: Sweep, sign: float, noise_deg: float) -> list[Region]:
    """Places where the mean curve goes back by more than the noise of the means explains.

    A linkage past its dead centre turns back over many positions; a fall from one position to
    the next, with the vane going on before and after, is a slip that happens on every pass.
    """
    rising = sign * middle_deg(sweep)
    highest = np.maximum.accumulate(rising)
    readings = 2 * len(sweep.passes)
    limit = max(REGION_NOISES * noise_deg / np.sqrt(readings), 0.02)
    back = highest - rising
    if np.max(back) <= limit:
        return []
    worst = int(np.argmax(back))
    top = int(np.argmax(rising[: worst + 1]))
    steepest = float(np.max(-np.diff(rising[top : worst + 1])))
    at_once = steepest > ABRUPT_SHARE * back[worst] and back[worst] > SLIP_DEG
    return [
        Region(
            sweep.servo,
            "slips" if at_once else "turns back",
            float(sweep.pulse_us[top]),
            float(sweep.pulse_us[worst]),
            float(sign * rising[top]),
            f"from {sign * rising[top]:.2f} to {sign * rising[worst]:.2f} deg on every pass",
        )
    ]
