"""A vehicle file corrected by a static test; the user's comments and order stay.

What the test did not tell stays as it was. A vane's new effectiveness becomes the scale of its
force curve, so that wear starts from 1; an edge-on off neutral becomes the servo's neutral.
"""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from mixer.ground.identification.findings import thrust_lost
from mixer.ground.identification.fit import Identification, IdentifyError
from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.static_test.excitation import listed
from mixer.ground.vehicle.servo_table import table_values
from mixer.ground.vehicle_edits.edge_on import covered_travel, moved_tables, surely_off_deg
from mixer.ground.vehicle_edits.keys import Edit, alike, decimals, significant
from mixer.ground.vehicle_edits.text import VehicleText

WEAR_ROWS = 9
BEND_POINTS = 9
LEAST_EFFECTIVENESS = 0.05
ORIGIN = "standard errors, from the static test"


@dataclass
class Corrected:
    """The new file, and what changed, in words."""

    file: VehicleText
    changes: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def corrected(
    found: Identification, out: Path, origin: str, keep_neutrals: bool = False
) -> Corrected:
    """The vehicle file with what the test told; nothing is written yet. IdentifyError where a vane
    gave next to nothing.

    keep_neutrals: the servos' neutrals stay where the jig set them (see `edge_on`).
    """
    refuse_dead_vanes(found)
    result = Corrected(VehicleText(found.vehicle))
    edit = Edit(result.file, result.changes)
    correct_layout(found, edit)
    new = correct_curves(found, edit, result.notes)
    correct_wear(found, edit, new, result.notes)
    kept_deg = correct_zeros(found, edit, result.notes, keep_neutrals)
    write_uncertainty(found, edit, new, origin, kept_deg)
    return result


def refuse_dead_vanes(found: Identification) -> None:
    """IdentifyError where a vane is as good as gone: no table can steer by it."""
    value, _ = found.effectiveness_at(np.linspace(0, found.blocks.full_load_s, WEAR_ROWS))
    for vane in np.flatnonzero(told_vanes(found) & (value.min(axis=0) < LEAST_EFFECTIVENESS)):
        raise IdentifyError(
            f"{found.blocks.log.file}: {listed([vane])} gave only {value[:, vane].min():.1%} of "
            "its force in the file: is it there, does its shaft turn with its sensor? At least "
            f"{LEAST_EFFECTIVENESS:.0%} is needed to steer by it"
        )


def correct_layout(found: Identification, edit: Edit) -> None:
    told = found.told("clocking_deg")
    if told.any():
        old = found.vehicle.layout.clocking_deg
        values = np.where(told, found.value("clocking_deg").round(3), old)
        edit.put("layout", "clocking_deg", values.tolist())
    if found.told("roll_arm_m")[0]:
        edit.put("layout", "roll_arm_m", round(float(found.value("roll_arm_m")[0]), 6))


def told_vanes(found: Identification) -> np.ndarray:
    """Vanes whose effectiveness was told all over the burn, (4,) of bool."""
    return np.asarray(found.told("effectiveness").all(axis=0))


def correct_curves(found: Identification, edit: Edit, notes: list[str]) -> Array:
    """Scale the force curves to what the new vanes gave; return the scales that remain for the
    wear table, (4,): 1 where the curve took them.
    """
    scale = np.where(told_vanes(found), found.value("effectiveness")[0], 1.0)
    if edit.file.get("vanes", "force_n") is None:
        notes.append(
            "forces are computed from the drawing: what the new vanes gave stands as the first row "
            "of the wear table, and drag and the shape of the curve stay as computed"
        )
        return scale
    deflections, forces = [], []
    bend = found.value("bend") * (found.told("bend") if "bend" in found.unknowns.places else 0.0)
    for vane, curve in enumerate(found.vehicle.vanes.curves):
        deflection = curve.deflection_deg
        if bend.any():
            low, high = found.vehicle.vanes.travel_deg[vane]
            even = np.linspace(low, high, BEND_POINTS)
            deflection = np.unique(np.concatenate([deflection, even.round(3)]))
        relative = deflection / found.blocks.reach_deg[vane]
        bent = 1.0 + bend[vane] * (relative**2 - 0.5)
        deflections.append(deflection)
        forces.append(scale[vane] * bent * curve.force_at(deflection))
    if bend.any():
        edit.put("vanes", "deflection_deg", alike([row.tolist() for row in deflections]))
    edit.put(
        "vanes",
        "force_n",
        alike([significant(row) for row in forces]),
        f"scaled by {decimals(scale)}" + (" and bent" if bend.any() else ""),
    )
    if edit.file.get("vanes", "drag_n") is not None:
        drags = new_drags(found, deflections)
        rest_n = [float(np.interp(0.0, *pair)) for pair in zip(deflections, drags, strict=True)]
        edit.put(
            "vanes",
            "drag_n",
            alike([significant(row) for row in drags]),
            f"{sum(rest_n):.4g} N for all four at rest, and what deflection adds",
        )
    return np.ones(VANES)


def new_drags(found: Identification, deflections: list[Array]) -> list[Array]:
    """Drag curves: at rest the file's shares of the loss found, growing with deflection squared."""
    curves = found.vehicle.vanes.curves
    rest_n = np.array([float(curve.drag_at(0.0)) for curve in curves])
    lost = thrust_lost(found)
    if lost.told and lost.found > 0:
        share = rest_n / rest_n.sum() if rest_n.sum() > 0 else np.full(VANES, 1 / VANES)
        new_rest_n = lost.found * share
    else:
        new_rest_n = rest_n
    growth_n, told = found.value("growth_n"), found.told("growth_n")
    drags = []
    for vane, deflection in enumerate(deflections):
        if told[vane]:
            more = growth_n[vane] * (deflection / found.blocks.reach_deg[vane]) ** 2
        else:
            more = curves[vane].drag_at(deflection) - rest_n[vane]
        drags.append(np.maximum(new_rest_n[vane] + more, 0.0))
    return drags


def correct_wear(found: Identification, edit: Edit, scale: Array, notes: list[str]) -> None:
    """The wear table: what was found up to the burn load of the test, the file's shape beyond."""
    told, end_s = told_vanes(found), found.blocks.full_load_s
    loads_s = np.linspace(0, end_s, WEAR_ROWS)
    value, _ = found.effectiveness_at(loads_s)
    old_loads_s = found.vehicle.erosion.load_s if found.vehicle.erosion else np.zeros(0)
    beyond_s = old_loads_s[old_loads_s > end_s * 1.001]
    loads_s = np.append(loads_s, beyond_s)
    before, at_end = found.vehicle.effectiveness(loads_s), found.vehicle.effectiveness(end_s)
    later = value[-1] * before[WEAR_ROWS:] / at_end
    rows = np.where(told, scale * np.vstack([value, later]) / value[0], before)
    edit.put(
        "erosion", "load_s", loads_s.round(3).tolist(), f"{len(loads_s)} loads to {loads_s[-1]:.4g}"
    )
    edit.put(
        "erosion",
        "effectiveness",
        alike(rows.T.round(4).tolist()),
        f"{decimals(rows[-1])} at the end, was {decimals(before[-1])}",
    )
    burn_s = found.vehicle.engine.burn_time_s
    if end_s < 0.95 * burn_s:
        how = "goes on as the file had it" if len(beyond_s) else "is held as it was at the end"
        notes.append(
            f"the test ended at {end_s:.3g} s of burn load, the flight burns {burn_s:g} s: "
            f"beyond the test, wear {how} and is not measured"
        )


def correct_zeros(found: Identification, edit: Edit, notes: list[str], keep: bool) -> Array:
    """Move the servos' neutrals so that 0 is edge-on to the jet again, by the rule of `edge_on`;
    return what stays off neutral all the same, (4,).
    """
    value, error = found.value("zero_deg"), found.error("zero_deg")
    zero_deg = surely_off_deg(value, error, found.told("zero_deg"))
    within = np.flatnonzero(found.told("zero_deg") & (value != 0.0) & (zero_deg == 0.0))
    if len(within):
        notes.append(
            f"edge-on of {listed(within)} was found within two standard errors of neutral "
            f"({np.abs(value[within]).max():.2g} deg at most): neutral stays there"
        )
    if not zero_deg.any():
        return zero_deg
    off = ", ".join(f"{deg:+z.2f}" for deg in zero_deg)
    if keep:
        notes.append(
            f"--keep-neutrals: the jig's neutrals stay, although edge-on is {off} deg off them "
            "(vanes 1 to 4); the errors of [uncertainty] hold that"
        )
        return zero_deg
    servos, travel = found.vehicle.servo_table, found.vehicle.vanes.travel_deg
    if servos.table is None:
        assert servos.neutral_us is not None and servos.us_per_deg is not None
        neutral_us = (servos.neutral_us - servos.us_per_deg * zero_deg).round(2)
        edit.put("servos", "neutral_us", neutral_us.tolist())
    else:
        tables = moved_tables(servos.table, zero_deg)
        told = "the servo tables, moved to edge-on, from now on in the vehicle file itself"
        edit.put("servos", "table", [table_values(table) for table in tables], told)
        covered = covered_travel(travel, tables)
        if (covered != travel).any():
            edit.put("vanes", "travel_deg", covered.tolist())
            notes.append("travel ends where the shifted servo tables end")
    before = np.zeros(VANES) if servos.edge_on_deg is None else servos.edge_on_deg
    edit.put("servos", "edge_on_deg", (before + zero_deg).round(3).tolist())
    notes.append(
        f"the static test wins over the jig: neutral has moved by {off} deg (vanes 1 to 4, kept as "
        "edge_on_deg for servos measured later): check that the linkages still reach both ends of "
        "travel; --keep-neutrals keeps the jig's"
    )
    return np.zeros(VANES)


def write_uncertainty(
    found: Identification, edit: Edit, scale: Array, origin: str, kept_deg: Array
) -> None:
    """[uncertainty], in the units of the corrected file; `kept_deg`: known to be off neutral."""
    loads_s = np.linspace(0, found.blocks.full_load_s, WEAR_ROWS)
    value, error = found.effectiveness_at(loads_s)
    relative = np.where(told_vanes(found), scale / value[0], 1.0)
    values = {
        "load_s": loads_s.round(3).tolist(),
        "effectiveness": (error * relative).T.round(5).tolist(),
        "clocking_deg": found.error("clocking_deg").round(4).tolist(),
        "zero_deg": np.hypot(found.error("zero_deg"), kept_deg).round(4).tolist(),
        "roll_arm_m": round(float(found.error("roll_arm_m")[0]), 7),
    }
    # How vanes and burns scatter is no finding of this test: it is carried to the new loads.
    stated = found.vehicle.uncertainty
    for key in ("vane_scatter", "burn_scatter"):
        scatter = None if stated is None else getattr(stated, key)
        if stated is not None and scatter is not None and stated.load_s is not None:
            values[key] = np.interp(loads_s, stated.load_s, scatter).round(5).tolist()
    for key, value in values.items():
        edit.file.put("uncertainty", key, value)
    edit.file.remark("uncertainty", f"{ORIGIN} {origin}", unless=ORIGIN)
    edit.changes.append("uncertainty: standard errors of all of these")
