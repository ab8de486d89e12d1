"""Inspections that no vane can have had: a slipped digit, a swapped column, another unit.

The bounds are wide [practice]: they are there for what is typed wrongly, not for bad vanes.
"""

import numpy as np

from mixer.ground.drawn_vane.geometry import VaneGeometry
from mixer.ground.inputs.csv_files import Rows
from mixer.ground.inputs.errors import InputError

LARGEST = {
    "duration_s": (3600.0, "s"),
    "chamber_pressure_bar": (500.0, "bar"),
    "station_mm": (2000.0, "mm"),
    "chord_before_mm": (2000.0, "mm"),
    "chord_after_mm": (2000.0, "mm"),
    "mass_before_g": (100_000.0, "g"),
    "mass_after_g": (100_000.0, "g"),
}
SHORTEST_S = 0.1  # a burn; a vane takes longer to be hot enough to wear
LEAST_LEFT = 0.5  # of a chord or a mass: with less left there is no vane to go on with
OTHERS = 2.5  # a chord or a mass over the middle one of its file, or under it
PAST_OTHERS = 10.0  # a recession over the middle one of its file
DRAWN = 1.5  # a chord over the drawn one, or under it
REFERENCE = 4.0  # a burn's pressure over the vehicle's, or under it
PAIRS = (("chord_before_mm", "chord_after_mm"), ("mass_before_g", "mass_after_g"))


def refuse_implausible(rows: Rows, reference_bar: float, calliper_mm: float) -> None:
    """DataError for the first cell that can only be typed wrongly."""
    for column, (most, unit) in LARGEST.items():
        if column in rows:
            for row in np.flatnonzero(np.abs(rows[column]) > most)[:1]:
                raise rows.fault(row, column, f"must be at most {most:g} {unit}")
    if "duration_s" in rows:
        for row in np.flatnonzero(rows["duration_s"] < SHORTEST_S)[:1]:
            raise rows.fault(row, "duration_s", f"must be at least {SHORTEST_S:g} s")
    if "chamber_pressure_bar" in rows:
        refuse_far(rows, "chamber_pressure_bar", reference_bar, REFERENCE, "the vehicle's")
    for before, after in PAIRS:
        if before in rows:
            refuse_far(rows, before, float(np.median(rows[before])), OTHERS, "usual in this file")
            for row in np.flatnonzero(rows[after] < LEAST_LEFT * rows[before])[:1]:
                raise rows.fault(
                    row,
                    after,
                    f"is less than half of {before} = {rows[before][row]:g}; is one of them typed "
                    "wrongly? A vane that has lost half is no vane to predict wear from",
                )
    if PAIRS[0][0] in rows:
        refuse_lone_recession(rows, calliper_mm)


def refuse_far(rows: Rows, column: str, middle: float, factor: float, whose: str) -> None:
    """DataError where a value is so many times over or under what it should be near."""
    values = rows[column]
    far = (values > factor * middle) | (values < middle / factor)
    for row in np.flatnonzero(far)[:1]:
        raise rows.fault(
            row,
            column,
            f"is far from {middle:.4g}, {whose}; is it typed wrongly, or in another unit?",
        )


def refuse_lone_recession(rows: Rows, calliper_mm: float) -> None:
    """DataError where one edge went back many times as far as the middle one of the file."""
    gone_mm = rows["chord_before_mm"] - rows["chord_after_mm"]
    middle_mm = max(float(np.median(gone_mm)), 3.0 * calliper_mm)
    for row in np.flatnonzero(gone_mm > PAST_OTHERS * middle_mm)[:1]:
        raise rows.fault(
            row,
            "chord_after_mm",
            f"is {gone_mm[row]:.3g} mm under chord_before_mm, usual in this file are "
            f"{middle_mm:.3g} mm; is one of them typed wrongly?",
        )


def refuse_undrawn_chord(
    file: object, place: str, station_mm: float, chord_mm: float, geometry: VaneGeometry
) -> None:
    """InputError where a new vane's chord is far from the drawing's at that station."""
    drawn_mm = float(geometry.chord_mm_at(station_mm))
    if not drawn_mm / DRAWN <= chord_mm <= DRAWN * drawn_mm:
        raise InputError(
            f"{file}: {place}: chord_before_mm = {chord_mm:g}; the drawing has {drawn_mm:.4g} mm "
            f"at {station_mm:g} mm: is it typed wrongly, or another vane?"
        )


def refuse_not_finite(file: object, **values: object) -> None:
    """InputError where a result is no number: nothing is written then."""
    for name, value in values.items():
        if not np.isfinite(np.asarray(value, dtype=float)).all():
            raise InputError(
                f"{file}: gives no finite {name.replace('_', ' ')}; its chords, masses, times and "
                "pressures do not go together"
            )
