"""A vehicle file with the wear of inspected vanes; the user's comments and order stay."""

from typing import Any

import numpy as np
import tomlkit
from numpy.typing import NDArray
from tomlkit.items import Array, Table

from mixer.ground.uncertainty_section import Uncertainty
from mixer.ground.wear import RecessionFit
from mixer.ground.wear_prediction import WearPrediction

FloatArray = NDArray[np.float64]

SCATTER_COMMENT = "of effectiveness in a new burn, two hold 95 %; from"


def with_erosion(text: str, load_s: FloatArray, rows: list[FloatArray], origin: str) -> str:
    """The text of a vehicle file with its [erosion] table set; every comment stays."""
    rounded = [row.round(4).tolist() for row in rows]
    values: dict[str, Any] = {
        "load_s": load_s.round(3).tolist(),
        "effectiveness": rounded[0] if len(rows) == 1 else row_by_row(rounded),
    }
    return with_table(text, "erosion", values, f"fitted from {origin}")


def with_scatter(
    text: str,
    fit: RecessionFit,
    wear: WearPrediction,
    stated: Uncertainty | None,
    origin: str,
) -> str:
    """The text with `vane_scatter` and `burn_scatter` of [uncertainty] set.

    The standard errors of effectiveness that stand there already are carried to the new loads: they
    are of the force curve's scale, which no inspection tells.
    """
    vane, burn = effectiveness_scatter(fit, wear)
    values: dict[str, Any] = {"load_s": wear.load_s.round(3).tolist()}
    if stated is not None and stated.effectiveness is not None:
        rows = stated.effectiveness_at(wear.load_s).T.round(5).tolist()
        values["effectiveness"] = row_by_row(rows)
    values["vane_scatter"] = vane.round(5).tolist()
    values["burn_scatter"] = burn.round(5).tolist()
    return with_table(text, "uncertainty", values, f"{SCATTER_COMMENT} {origin}")


def effectiveness_scatter(fit: RecessionFit, wear: WearPrediction) -> tuple[FloatArray, FloatArray]:
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


def with_table(text: str, name: str, values: dict[str, Any], origin: str) -> str:
    """The text with keys of one table set; a table that is new gets the comment `origin`."""
    document = tomlkit.parse(text)
    present = document.get(name)
    table = present if isinstance(present, Table) else tomlkit.table()
    if present is None:
        table.add(tomlkit.comment(origin))
        document.add(tomlkit.nl())
    for key, value in values.items():
        table[key] = value
    if present is None:
        document.add(name, table)
    return tomlkit.dumps(document)


def row_by_row(rows: list[list[float]]) -> Array:
    """A TOML list of lists, each on a line of its own."""
    array = tomlkit.array()
    array.extend(rows)
    return array.multiline(True)
