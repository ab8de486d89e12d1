"""What is wrong with a servo on the bench, by name, with what was seen and what to look at."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from mixer.ground.inputs.arrays import Array
from mixer.ground.servo_bench.data import TYPED, BenchData, Look
from mixer.ground.servo_fit.fit import ServoFit, ServoRefusedError, SweepError, fit_servo
from mixer.ground.servo_fit.sweep import Sweep

STILL_DEG = 0.5  # less answer than this to a look of several degrees is none
LOOSE_DEG = 1.0  # play beyond what worn gears have, at most positions alike
SHIFT_DEG = 0.6  # of neutral from one endurance block to the next: no creep, a slip

REMEDY = {
    "dead encoder": "check its plug, supply and address, and the magnet on the shaft",
    "servo does not move": "check the servo's plug and supply, and the horn's screw",
    "reversed lead": "the vane turns against the sign convention: turn the linkage round, or keep "
    "the mirrored table if the module is meant so",
    "loose horn": "tighten the horn's screw, look at the spline and the ball joints",
    "sticking band": "look for rubbing, a bent push rod, dirt or a notch in the gears there",
    "stripped tooth": "replace the geartrain; do not fly it",
    "turns back": "look for a linkage past its dead centre",
}


@dataclass(frozen=True)
class Diagnosis:
    """One named fault and the evidence for it."""

    name: str
    seen: str

    @property
    def remedy(self) -> str:
        return REMEDY[self.name]

    def __str__(self) -> str:
        return f"{self.name}: {self.seen}; {self.remedy}"


REGION_NAMES = {"slips": "stripped tooth", "sticks": "sticking band", "turns back": "turns back"}


def diagnose(
    data: BenchData, us_per_deg: float, travel_deg: tuple[float, float]
) -> list[Diagnosis]:
    """Every fault that the measurements show. `us_per_deg` is what the vehicle file expects.

    A reader that gives no true angle, or a servo that does not move, hides everything else.
    """
    if blind := reader_findings(data.looks):
        return blind
    findings = reversed_findings(data, us_per_deg)
    if data.sweep is not None:
        findings += sweep_findings(data.sweep, travel_deg)
    findings += endurance_findings(data)
    unique = {finding.name: finding for finding in reversed(findings)}
    return list(reversed(unique.values()))


def reader_findings(looks: Iterable[Look]) -> list[Diagnosis]:
    """What the first looks say of reader and servo; empty where the angle follows the pulse."""
    looks = list(looks)
    if not looks:
        return []
    read = np.array([look.angle_deg for look in looks])
    if not np.isfinite(read).any():
        return [Diagnosis("dead encoder", "it does not answer")]
    if sum(look.trouble == "no magnet" for look in looks) > len(looks) / 2:
        return [Diagnosis("dead encoder", "it reports that it sees no magnet")]
    if np.nanmax(read) - np.nanmin(read) > STILL_DEG or np.ptp([k.pulse_us for k in looks]) == 0:
        return []
    exact = all(look.scatter_deg == 0 and look.trouble != TYPED for look in looks)
    if exact and np.ptp(read) == 0:
        seen = f"it reads {read[0]:.2f} deg whatever the pulse, every sample the same"
        return [Diagnosis("dead encoder", seen)]
    return [
        Diagnosis(
            "servo does not move",
            f"the angle stays within {np.ptp(read):.2f} deg in the first look",
        )
    ]


def reversed_findings(data: BenchData, us_per_deg: float) -> list[Diagnosis]:
    """Whether the vane turns the other way than the vehicle file says."""
    pulses = np.array([look.pulse_us for look in data.looks])
    read = np.array([look.angle_deg for look in data.looks])
    if data.sweep is not None:
        pulses = np.repeat(data.sweep.pulse_us, 2 * len(data.sweep.passes))
        read = np.hstack((data.sweep.up_deg, data.sweep.down_deg)).ravel()
    good = np.isfinite(read)
    if good.sum() < 2 or np.ptp(pulses[good]) == 0:
        return []
    slope = np.polyfit(pulses[good], read[good], 1)[0]
    if slope * us_per_deg >= 0:
        return []
    return [
        Diagnosis(
            "reversed lead",
            f"longer pulses turn it by {slope:+.3f} deg/µs, the vehicle file says "
            f"{1 / us_per_deg:+.3f}",
        )
    ]


def endurance_findings(data: BenchData) -> list[Diagnosis]:
    """A neutral that jumps from one block to the next, from either side alike."""
    up, down = np.diff(data.neutral_up_deg), np.diff(data.neutral_down_deg)
    both = np.where(np.sign(up) == np.sign(down), np.minimum(np.abs(up), np.abs(down)), 0.0)
    if len(both) == 0 or not np.nanmax(both) > SHIFT_DEG:
        return []
    block = int(np.nanargmax(both))
    return [
        Diagnosis(
            "stripped tooth",
            f"neutral jumped by {up[block]:+.1f} deg between {data.cycles[block]:.0f} and "
            f"{data.cycles[block + 1]:.0f} cycles",
        )
    ]


def sweep_findings(sweep: Sweep, travel_deg: tuple[float, float]) -> list[Diagnosis]:
    """What the sweep shows: regions no table can describe, or play beyond that of gears."""
    try:
        fit = fit_servo(sweep, travel_deg)
    except ServoRefusedError as refusal:
        return [Diagnosis(REGION_NAMES[region.kind], str(region)) for region in refusal.regions]
    except SweepError:
        return []
    return loose_findings(fit)


def loose_findings(fit: ServoFit) -> list[Diagnosis]:
    play: Array = np.abs(fit.positions.reversal_at)
    typical = float(np.median(play))
    if typical < LOOSE_DEG:
        return []
    return [Diagnosis("loose horn", f"{typical:.1f} deg of play at every position")]
