"""Where the mechanism of a servo does wrong in a sweep: it turns back, sticks or slips.

That is refused with the place, since no table can put it right.
"""

from dataclasses import dataclass

import numpy as np

from mixer.ground.inputs.arrays import Array
from mixer.ground.servo_fit.lone_readings import reading_noise_deg
from mixer.ground.servo_fit.sweep import Sweep

REGION_NOISES = 8.0
SLIP_DEG = 0.4  # below it, wandering of a healthy geartrain
SLIP_READINGS = 4
ABRUPT_SHARE = 0.75  # of a fall, in one interval
STALL_DEG = 0.35  # motion that failed to come before it is called sticking
STALL_SHARE = 0.3  # of the expected motion: the vane stands still
CATCH_UP_SHARE = 1.6  # of the expected motion: the vane has torn itself loose
TREND_INTERVALS = 8  # on either side; expected motion is the median over these


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
