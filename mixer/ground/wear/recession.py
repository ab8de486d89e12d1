"""How fast the leading edge burns away, from inspections, and what that does to the vane.

Recession at each station is rate times burn load (the integral of (pc/pc_ref)^n over the burn,
n 0.8 after Bartz 1957, or fitted where burns at different pressures tell it). Vanes and burns
differ by a factor that is the same all along an edge; how it scatters between burns and between the
vanes of a burn (`wear_scatter`) gives the band for a vane in a new burn.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from mixer.ground.drawn_vane.gas import root_between
from mixer.ground.drawn_vane.geometry import VaneGeometry, WornEdge, vane_volume_m3
from mixer.ground.inputs.arrays import Array
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.vane_life.materials import MATERIALS
from mixer.ground.wear.inspection import CALLIPER_MM, Inspection, Specimen
from mixer.ground.wear.rates import (
    EXPONENT,
    burn_loads_s,
    pressure_exponent,
    rate_errors,
    specimen_factors,
    station_rates,
)
from mixer.ground.wear.scatter import (
    ASSUMED,
    Scatter,
    position_p_value,
    quantile,
    scatter_of,
)

UNLIKELY = 0.01  # chance below which a difference between vane positions is told of
SIGNIFICANT = 3.0  # standard errors by which a recession must stand out of the calliper's noise


class WearError(InputError):
    """Inspections that cannot tell the wear, or wear past what can be described."""


@dataclass(frozen=True)
class RecessionFit:
    """Recession of the leading edge per second of burn load.

    `station_mm`, `rate_mm_s`, `rate_error_mm_s` (n,): a station's rate and its standard error.
    `factor` (k,): each specimen's recession over the fit's, in the order of the inspection.
    `exponent_error` is None where the exponent was taken as 0.8. `face_rate_g_s` is mass per
    second of burn load that the leading edge does not explain; None without masses and drawing.
    """

    station_mm: Array
    rate_mm_s: Array
    rate_error_mm_s: Array
    factor: Array
    load_s: Array
    exponent: float
    exponent_error: float | None
    face_rate_g_s: float | None
    inspection: Inspection
    notes: list[str] = field(default_factory=list)

    @property
    def specimens(self) -> list[Specimen]:
        return self.inspection.specimens

    @property
    def burn_numbers(self) -> NDArray[np.int64]:
        """The burn of each specimen, (k,)."""
        return np.array([s.burn.number for s in self.specimens])

    @property
    def scatter(self) -> Scatter:
        """How the factors scatter; the mean has long burns weigh as the fit has them weigh."""
        spent = 0 if self.exponent_error is None else 1
        return scatter_of(self.factor, self.burn_numbers, self.load_s**2, spent)

    @property
    def band(self) -> tuple[float, float]:
        """Factors between which the wear of one more vane in one more burn lies at 95 %."""
        half = self.scatter.half_width
        if len(self.factor) == 1:  # the calliper is not yet in the scatter
            error = float(np.mean(self.rate_error_mm_s) / np.mean(self.rate_mm_s))
            half = float(np.hypot(half, quantile(np.inf) * error))
        return max(1.0 - half, 0.0), 1.0 + half

    @property
    def mean_rate_mm_s(self) -> float:
        return float(np.mean(self.rate_mm_s))

    def edge(self, load_s: float, factor: float = 1.0) -> WornEdge:
        """The leading edge after a burn load."""
        recession_mm = np.maximum(self.rate_mm_s, 0.0) * load_s * factor
        return WornEdge(self.station_mm, recession_mm)

    def vane_factors(self) -> dict[int, Array]:
        """The factors of each vane position that was inspected."""
        vanes = np.array([s.vane for s in self.specimens])
        return {int(v): self.factor[vanes == v] for v in np.unique(vanes)}

    @property
    def position_p_value(self) -> float | None:
        """Chance that vane positions differing no more than by scatter look as these do."""
        return position_p_value(self.factor, self.burn_numbers, [s.vane for s in self.specimens])


def fit_recession(
    inspection: Inspection,
    reference_bar: float,
    geometry: VaneGeometry | None = None,
    calliper_mm: float = CALLIPER_MM,
) -> RecessionFit:
    """Fit the wear of burnt vanes. WearError, in words, where the burns are too short to tell."""
    if inspection.has_chords:
        stations = np.unique(np.concatenate([s.station_mm for s in inspection.specimens]))
        depth = np.full((len(inspection.specimens), len(stations)), np.nan)
        for row, specimen in zip(depth, inspection.specimens, strict=True):
            row[np.searchsorted(stations, specimen.station_mm)] = specimen.recession_mm
        error_mm = np.sqrt(2.0) * calliper_mm
    else:
        stations, depth, error_mm = _from_masses(inspection, geometry)
    _long_enough(inspection, depth, error_mm, reference_bar)
    notes: list[str] = []
    exponent, exponent_error = pressure_exponent(inspection, depth, reference_bar, notes)
    load = burn_loads_s(inspection, reference_bar, exponent)
    rate = station_rates(depth, load)
    factor = specimen_factors(depth, load, rate)
    fit = RecessionFit(
        stations,
        rate,
        rate_errors(depth, load, rate, error_mm, [s.burn.number for s in inspection.specimens]),
        factor,
        load,
        exponent,
        exponent_error,
        _face_rate(inspection, geometry, stations, rate, load, notes),
        inspection,
        notes,
    )
    notes += _scatter_notes(fit.scatter)
    chance = fit.position_p_value
    if chance is not None and chance < UNLIKELY:
        notes.append(
            f"vane positions wear differently (analysis of variance, p = {chance:.2g}): a table"
            " for each vane is worth having"
        )
    return fit


def _scatter_notes(scatter: Scatter) -> list[str]:
    """What the inspections cannot tell of the scatter, and what was taken instead."""
    if scatter.burns_told:
        if scatter.vanes_told:
            return []
        return ["one vane a burn: what differs by burn and what by vane cannot be told apart"]
    alone = quantile(np.inf) * ASSUMED * np.sqrt(1.0 + scatter.burn_weights_squared)
    taken = (
        f"{ASSUMED:.0%} between burns is assumed, which alone is ± {alone:.0%} of the wear; inspect"
        " a second burn"
    )
    if scatter.vanes == 1:
        return [
            "one vane after one burn: its scatter cannot be told, burn-to-burn scatter is unknown;"
            f" {ASSUMED:.0%} between vanes and {taken}"
        ]
    return [f"one burn: burn-to-burn scatter unknown; {taken}"]


def _long_enough(
    inspection: Inspection, depth_mm: Array, error_mm: float, reference_bar: float
) -> None:
    load = burn_loads_s(inspection, reference_bar, EXPONENT)
    seen = ~np.isnan(depth_mm)
    mean_rate = float(np.nansum(load[:, None] * depth_mm) / np.sum(seen * load[:, None] ** 2))
    error = error_mm / np.sqrt(np.sum(seen * load[:, None] ** 2))
    if mean_rate >= SIGNIFICANT * error:
        return
    longest, readings = float(load.max()), int(seen.sum())
    advice = ""
    if mean_rate > error:
        advice = f" (about {SIGNIFICANT * error / mean_rate:.1f} times as long)"
    raise WearError(
        f"{inspection.file}: the burns are too short for the noise of the measurement: at most"
        f" {longest:.3g} s of burn load took {mean_rate * longest:.2g} mm off the leading edge on"
        f" average, and {readings} readings good to {error_mm:.2g} mm let"
        f" {SIGNIFICANT * error * longest:.2g} mm pass as chance; burn longer{advice}, measure at"
        " more stations, or measure finer"
    )


def _density_g_m3(geometry: VaneGeometry) -> float:
    return 1e3 * MATERIALS[geometry.material].density_kg_m3


def _from_masses(
    inspection: Inspection, geometry: VaneGeometry | None
) -> tuple[Array, Array, float]:
    """Recession that explains each mass loss if it were even along the edge.

    Stations (2,), recession (k, 2), and the error in mm of a loss weighed to 0.1 % of the vane.
    """
    if geometry is None:
        raise WearError(
            f"{inspection.file}: masses alone tell the recession only with the vane's drawing:"
            " add chords at stations, or [vanes.geometry] to the vehicle file"
        )
    stations = np.array([geometry.root_station_mm, geometry.span_mm])
    grams = _density_g_m3(geometry)

    def loss_g(recession_mm: float) -> float:
        edge = WornEdge(stations, np.full(2, recession_mm))
        return grams * (vane_volume_m3(geometry) - vane_volume_m3(geometry, edge))

    deepest = geometry.largest_recession_mm
    depths = []
    for specimen in inspection.specimens:
        lost = specimen.mass_loss_g
        assert lost is not None
        if lost > loss_g(deepest):
            raise WearError(
                f"{inspection.file}: vane {specimen.vane} after burn {specimen.burn.number} lost"
                f" {lost:g} g, more than its whole front half of {loss_g(deepest):.3g} g"
            )
        depths.append(root_between(lambda e, m=lost: loss_g(e) - m, 0.0, deepest) if lost else 0.0)
    weighed_mm = root_between(
        lambda e: loss_g(e) - 1e-3 * grams * vane_volume_m3(geometry), 0.0, deepest
    )
    return stations, np.repeat(np.array(depths)[:, None], 2, axis=1), weighed_mm


def _face_rate(
    inspection: Inspection,
    geometry: VaneGeometry | None,
    stations: Array,
    rate_mm_s: Array,
    load_s: Array,
    notes: list[str],
) -> float | None:
    """Mass per second of load that went elsewhere than from the leading edge."""
    if geometry is None or not inspection.has_masses or not inspection.has_chords:
        return None
    grams = _density_g_m3(geometry)
    deepest = geometry.largest_recession_mm
    losses = np.array([s.mass_loss_g for s in inspection.specimens], dtype=float)
    from_edge = []
    for specimen in inspection.specimens:
        drawn = geometry.chord_mm_at(specimen.station_mm)
        before, after = (
            vane_volume_m3(
                geometry, WornEdge(specimen.station_mm, np.clip(drawn - chord, 0.0, deepest))
            )
            for chord in (specimen.chord_before_mm, specimen.chord_after_mm)
        )
        from_edge.append(grams * (before - after))
    extra = losses - np.array(from_edge)
    rate = float(load_s @ extra / (load_s @ load_s))
    error = float(np.std(extra / load_s, ddof=1) / np.sqrt(len(extra))) if len(extra) > 1 else 0.0
    share = rate * load_s.sum() / losses.sum() if losses.sum() > 0.0 else 0.0
    if rate < -2.0 * error:
        notes.append(
            f"the vanes lost less mass than their leading edges explain ({-share:.0%} less):"
            " check density, drawing and scale"
        )
    elif rate > 2.0 * error and share > 0.02:
        notes.append(f"{share:.0%} of the mass lost went from faces and trailing edge")
    return max(rate, 0.0)


def spent_at_s(fit: RecessionFit, deepest_mm: Sequence[float] | Array, factor: float) -> float:
    """Burn load at which the recession first reaches the deepest that can be described, (n,)."""
    rate = np.maximum(fit.rate_mm_s, 1e-12) * factor
    return float(np.min(np.asarray(deepest_mm) / rate)) if factor > 0.0 else np.inf
