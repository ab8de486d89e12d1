"""A vehicle file with the wear of inspected vanes; the user's comments and order stay."""

import numpy as np

from mixer.ground.inputs.arrays import Array
from mixer.ground.vehicle.uncertainty import Uncertainty
from mixer.ground.vehicle.vehicle import Vehicle
from mixer.ground.vehicle_edits.text import VehicleText
from mixer.ground.wear.prediction import WearPrediction
from mixer.ground.wear.recession import RecessionFit

SCATTER_COMMENT = "of effectiveness in a new burn, two hold 95 %; from"


def with_erosion(vehicle: Vehicle, load_s: Array, rows: list[Array], origin: str) -> VehicleText:
    """The vehicle file's text with its [erosion] set; every comment stays."""
    file = VehicleText(vehicle)
    rounded = [row.round(4).tolist() for row in rows]
    file.put("erosion", "load_s", load_s.round(3).tolist())
    file.put("erosion", "effectiveness", rounded[0] if len(rows) == 1 else rounded)
    if vehicle.erosion is None:
        file.remark("erosion", f"fitted from {origin}")
    return file


def add_scatter(
    file: VehicleText,
    fit: RecessionFit,
    wear: WearPrediction,
    stated: Uncertainty | None,
    origin: str,
) -> None:
    """Set `vane_scatter` and `burn_scatter` of [uncertainty].

    The standard errors of effectiveness that stand there already are carried to the new loads: they
    are of the force curve's scale, which no inspection tells.
    """
    vane, burn = effectiveness_scatter(fit, wear)
    file.put("uncertainty", "load_s", wear.load_s.round(3).tolist())
    if stated is not None and stated.effectiveness is not None:
        rows = stated.effectiveness_at(wear.load_s).T.round(5).tolist()
        file.put("uncertainty", "effectiveness", rows)
    file.put("uncertainty", "vane_scatter", vane.round(5).tolist())
    file.put("uncertainty", "burn_scatter", burn.round(5).tolist())
    if stated is None:
        file.remark("uncertainty", f"{SCATTER_COMMENT} {origin}")


def effectiveness_scatter(fit: RecessionFit, wear: WearPrediction) -> tuple[Array, Array]:
    """Standard deviations of effectiveness at `wear.load_s`, each (m,): of a vane among its burn's,
    and of what all vanes of a new burn share (how burns differ, and the error of the mean).

    What sets positions apart counts as scatter here, also where each has a row of its own, which
    makes the band of such a file wide rather than narrow. From few burns a standard deviation says
    too little, so both are widened until two of them hold what the 95 % band holds.
    """
    scatter, (low, high) = fit.scatter, fit.band
    if high == low:
        return np.zeros_like(wear.load_s), np.zeros_like(wear.load_s)
    slope = (wear.high - wear.low) / (high - low)  # of effectiveness on the factor of recession
    wider = max(1.0, scatter.half_width / (2.0 * np.sqrt(scatter.new_vane_variance)))
    return slope * wider * scatter.vane, slope * wider * np.sqrt(scatter.shared_variance)
