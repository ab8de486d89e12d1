"""The form of an inspection: what is measured of every vane after a burn, a row for each station.

Empty, to be filled by hand; or filled for a rehearsal, by the model of the vane's life with some
scatter. Every row of a rehearsal says so, and whatever is fitted from it passes that on.
"""

from dataclasses import dataclass

import numpy as np

from mixer.ground.drawn_vane.geometry import VaneGeometry
from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.inputs.csv_files import REHEARSAL, FilePath, write_whole
from mixer.ground.vane_life.life import Life
from mixer.ground.wear.inspection import CALLIPER_MM, CHORDS
from mixer.ground.wear.recession import WearError

COLUMNS = ("burn", "vane", "duration_s", "chamber_pressure_bar", *CHORDS)
STATIONS = 5
VANE_SCATTER, BURN_SCATTER = 0.1, 0.05  # of a rehearsal's recession; invented
ROOT_SHARE = 0.5  # of the tip's recession at the jet's edge, where the flow is slower; invented
DEEPEST_SHARE = 0.6  # of what the section can lose: a rehearsal is no test to destruction


@dataclass(frozen=True)
class Burn:
    """A burn to inspect: how long, and at which mean chamber pressure."""

    duration_s: float
    chamber_pressure_bar: float


def stations_mm(geometry: VaneGeometry) -> Array:
    """Where to measure: evenly over the part in the jet, not at its very ends."""
    ends = geometry.root_station_mm, geometry.span_mm
    return np.round(np.interp(np.linspace(0.05, 0.95, STATIONS), [0, 1], ends), 1)


def write_form(path: FilePath, geometry: VaneGeometry, burns: int) -> int:
    """Write the empty form; the number of its rows."""
    keys = [
        f"{burn},{vane},,,{station:g},,"
        for burn in range(1, burns + 1)
        for vane in range(1, VANES + 1)
        for station in stations_mm(geometry)
    ]
    write_rows(path, COLUMNS, keys)
    return len(keys)


def write_rehearsed(
    path: FilePath, geometry: VaneGeometry, life: Life, burns: list[Burn], seed: int
) -> int:
    """Write the form filled as if the vanes had been burnt; the number of its rows.

    life: of the drawn vane, whose edge recedes as the model says, more at the tip than at the jet's
    edge. WearError where by that model nothing, or nearly everything, would be gone.
    """
    rng = np.random.default_rng([seed, 7])
    station = stations_mm(geometry)
    rate_mm_s = 1e3 * float(life.heating.recession_m[-1] / life.heating.time_s[-1])
    if rate_mm_s <= 0.0:
        raise WearError(f"{geometry.material} does not burn away by the model: nothing to rehearse")
    profile = np.interp(station, station[[0, -1]], [ROOT_SHARE, 1.0])
    rows = []
    for number, burn in enumerate(burns, 1):
        shared = rng.normal(1.0, BURN_SCATTER)
        for vane in range(1, VANES + 1):
            factor = max(shared * rng.normal(1.0, VANE_SCATTER), 0.1)
            gone_mm = factor * rate_mm_s * burn.duration_s * profile
            if gone_mm.max() > DEEPEST_SHARE * geometry.largest_recession_mm:
                raise WearError(
                    f"a burn of {burn.duration_s:g} s would take {gone_mm.max():.3g} mm off the "
                    "leading edge by the model, too much to go on with: look at fourvane vanes"
                )
            drawn_mm = geometry.chord_mm_at(station)
            before = drawn_mm + CALLIPER_MM * rng.standard_normal(len(station))
            after = drawn_mm - gone_mm + CALLIPER_MM * rng.standard_normal(len(station))
            rows += [
                f"{number},{vane},{burn.duration_s:g},{burn.chamber_pressure_bar:g},"
                f"{at:g},{was:.2f},{now:.2f},1"
                for at, was, now in zip(station, before, after, strict=True)
            ]
    write_rows(path, (*COLUMNS, REHEARSAL), rows)
    return len(rows)


def write_rows(path: FilePath, columns: tuple[str, ...], rows: list[str]) -> None:
    """Header and rows, whole or not at all."""
    with write_whole(path) as stream:
        stream.write("\n".join([",".join(columns), *rows]) + "\n")
