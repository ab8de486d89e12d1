"""How true a servo table is, by readings that did not make it, and under which standard's name.

Readings that a table was drawn through lie near it whatever the table is worth. So each pass is
held against a table made of the other passes; what is left is what the next approach would find.
"""

import numpy as np

from mixer.ground.inputs.arrays import Array
from mixer.ground.servo_fit.fit import ServoFit, deflection_deg, monotone_curve
from mixer.ground.servo_fit.lone_readings import without_outliers
from mixer.ground.servo_fit.metrology import Positioning, positioning
from mixer.ground.servo_fit.sweep import Sweep

ISO_RUNS = 5  # of each target in each direction
ISO_TARGETS = ((90.0, 3), (180.0, 5), (360.0, 8))  # up to so many degrees, at least so many
UNEVEN = 0.1  # of the mean spacing: targets more alike than that catch a periodic error or miss it


def held_out(sweep: Sweep, fit: ServoFit) -> Positioning:
    """Each pass against a table of the others, at the positions that `fit` judges.

    The table of the others is the table itself, moved by what leaving the pass out moves the curve.
    """
    clean, _ = without_outliers(sweep)
    whole = monotone_curve(clean)
    kept = np.isin(clean.pulse_us, fit.pulse_us)
    table_deg = deflection_deg(fit.table, fit.pulse_us)
    up, down = (np.full((len(fit.pulse_us), len(clean.passes)), np.nan) for _ in range(2))
    for place in range(len(clean.passes)):
        others = without_pass(clean, place)
        moved_deg = monotone_curve(others).deflection_at(fit.pulse_us)
        target_deg = table_deg + moved_deg - whole.deflection_at(fit.pulse_us)
        up[:, place] = clean.up_deg[kept, place] - target_deg
        down[:, place] = clean.down_deg[kept, place] - target_deg
    return positioning(up, down)


def without_pass(sweep: Sweep, place: int) -> Sweep:
    """The sweep without one of its passes; positions that nothing else was read at go too."""
    up, down = (np.delete(table, place, axis=1) for table in (sweep.up_deg, sweep.down_deg))
    read = np.isfinite(up).any(axis=1) & np.isfinite(down).any(axis=1)
    passes = tuple(number for i, number in enumerate(sweep.passes) if i != place)
    return Sweep(sweep.servo, sweep.pulse_us[read], passes, up[read], down[read])


def iso_230_2_lacks(targets_deg: Array, runs: int, sensor_stated: bool) -> list[str]:
    """What ISO 230-2:2014 asks for and a sweep does not have; empty where its name may be used.

    Recalled, the text was not at hand: five runs each way, targets at uneven distances, for a
    rotary axis at least 3 up to 90°, 5 up to 180°, 8 up to 360°, and a stated uncertainty of the
    measurement.
    """
    lacks = []
    if runs < ISO_RUNS:
        lacks.append(f"{runs} runs each way, not {ISO_RUNS}")
    turned_deg = float(np.ptp(targets_deg))
    least = next((count for most_deg, count in ISO_TARGETS if turned_deg <= most_deg), 8)
    if len(targets_deg) < least:
        lacks.append(f"{len(targets_deg)} targets, not {least}")
    spacing_deg = np.abs(np.diff(targets_deg))
    if np.ptp(spacing_deg) < UNEVEN * spacing_deg.mean():
        lacks.append("targets evenly spaced")
    if not sensor_stated:
        lacks.append("uncertainty of the angle sensor not stated")
    return lacks


def standard_name(lacks: list[str], runs: int) -> str:
    """How a figure of the sweep may be called."""
    return f"after ISO 230-2, {runs} runs," if lacks else "ISO 230-2"
