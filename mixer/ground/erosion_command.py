"""`fourvane erosion`: the wear of burnt vanes into the vehicle file, and what a chip does."""

from pathlib import Path
from typing import Any

import click
import numpy as np
import tomlkit
from numpy.typing import NDArray
from tomlkit.items import Array, Table

from mixer.ground.chip import Chip, chip_effect
from mixer.ground.command import emit, result_option
from mixer.ground.console import output, progress
from mixer.ground.files import InputError, keep_apart, write_whole
from mixer.ground.geometry import VaneGeometry
from mixer.ground.heat import vane_life
from mixer.ground.inspection import CALLIPER_MM, Inspection, read_inspection
from mixer.ground.vanes_report import DrawingError, widest_travel
from mixer.ground.vehicle import Vehicle, load_vehicle, parse_vehicle
from mixer.ground.wear import RecessionFit, fit_recession
from mixer.ground.wear_prediction import WearPrediction, effectiveness_for, predict_wear
from mixer.ground.wear_report import wear_page, wear_result

FloatArray = NDArray[np.float64]


class ErosionError(InputError):
    """An option that the inspection cannot serve."""


@click.group()
def erosion() -> None:
    """Wear of the vanes: fit it from inspections, ask what a chip does.

    CAUTION: burnt vanes stay hot for long, and graphite dust harms lungs and electronics.

    Example: fourvane erosion fit inspection.csv --vehicle vehicle.toml --out worn.toml
    """


def with_erosion(text: str, load_s: FloatArray, rows: list[FloatArray], origin: str) -> str:
    """The text of a vehicle file with its [erosion] table set; every comment stays."""
    document = tomlkit.parse(text)
    rounded = [row.round(4).tolist() for row in rows]
    values: dict[str, Any] = {
        "load_s": load_s.round(3).tolist(),
        "effectiveness": rounded[0] if len(rows) == 1 else row_by_row(rounded),
    }
    present = document.get("erosion")
    table = present if isinstance(present, Table) else tomlkit.table()
    if present is None:
        table.add(tomlkit.comment(f"fitted from {origin}"))
        document.add(tomlkit.nl())
    for key, value in values.items():
        table[key] = value
    if present is None:
        document.add("erosion", table)
    return tomlkit.dumps(document)


def row_by_row(rows: list[list[float]]) -> Array:
    """A TOML list of lists, each on a line of its own."""
    array = tomlkit.array()
    array.extend(rows)
    return array.multiline(True)


def refuse_past_the_tip(inspection: Inspection, geometry: VaneGeometry | None, file: str) -> None:
    """ErosionError for a station that the drawn vane does not have."""
    if geometry is None:
        return
    for specimen in inspection.specimens:
        for station_mm in specimen.station_mm[specimen.station_mm > geometry.span_mm]:
            raise ErosionError(
                f"{file}: burn {specimen.burn.number}, vane {specimen.vane}: station_mm = "
                f"{station_mm:g}; must be at most {geometry.span_mm:g}, the span of the drawing"
            )


def rows_by_vane(
    fit: RecessionFit,
    wear: WearPrediction,
    vehicle: Vehicle,
    geometry: VaneGeometry | None,
    per_vane: bool,
) -> list[FloatArray]:
    """Effectiveness for all vanes alike (one row), or for each by its own factor (four)."""
    if not per_vane:
        return [wear.effectiveness]
    factors = fit.vane_factors()
    missing = [vane for vane in (1, 2, 3, 4) if vane not in factors]
    if missing:
        raise ErosionError(
            f"{fit.inspection.file}: --per-vane needs every vane inspected; missing:"
            f" {', '.join(map(str, missing))}"
        )
    travel_deg = widest_travel(vehicle)
    return [
        effectiveness_for(
            fit, wear.load_s, float(factors[vane].mean()), geometry, vehicle.engine, travel_deg
        )
        for vane in (1, 2, 3, 4)
    ]


@erosion.command()
@click.argument("inspection_file", metavar="INSPECTION", type=click.Path(dir_okay=False))
@click.option("--vehicle", "vehicle_file", required=True, type=click.Path(dir_okay=False),
              help="Vehicle file the vanes belong to.")  # fmt: skip
@click.option("--out", required=True, type=click.Path(dir_okay=False),
              help="Vehicle file to write.")  # fmt: skip
@click.option("--report", type=click.Path(dir_okay=False),
              help="HTML report to write; by default beside --out, ending in .html.")  # fmt: skip
@click.option("--planned-load-s", type=click.FloatRange(0, 3600, min_open=True),
              help="Burn load to predict to; by default the vehicle's burn time.")  # fmt: skip
@click.option("--calliper-mm", type=click.FloatRange(0, 5, min_open=True), default=CALLIPER_MM,
              show_default=True, help="Standard error of one chord reading.")  # fmt: skip
@click.option("--per-vane", is_flag=True, help="Write a row for each vane by its own wear.")
@result_option
def fit(
    inspection_file: str,
    vehicle_file: str,
    out: str,
    report: str | None,
    planned_load_s: float | None,
    calliper_mm: float,
    per_vane: bool,
    as_json: bool,
) -> None:
    """Fit the wear of burnt vanes; write the vehicle file with its [erosion], and a report.

    INSPECTION is a CSV with a row for each station of a vane after a burn: burn,vane and
    duration_s or pressure_log (and chamber_pressure_bar), station_mm with chord_before_mm and
    chord_after_mm, thickness_before_mm and thickness_after_mm, mass_before_g and mass_after_g.

    Example: fourvane erosion fit inspection.csv --vehicle vehicle.toml --out worn.toml
    """
    page = Path(report) if report else Path(out).with_suffix(".html")
    keep_apart([Path(out), page], [Path(vehicle_file), Path(inspection_file)])
    vehicle = load_vehicle(vehicle_file)
    geometry, engine = vehicle.vanes.geometry, vehicle.engine
    planned_s = engine.burn_time_s if planned_load_s is None else planned_load_s
    inspection = read_inspection(inspection_file, engine.chamber_pressure_bar, calliper_mm)
    refuse_past_the_tip(inspection, geometry, inspection_file)
    found = fit_recession(inspection, engine.chamber_pressure_bar, geometry, calliper_mm)
    with progress("worn vanes", 1.0) as done:
        wear = predict_wear(found, planned_s, geometry, engine, widest_travel(vehicle), done=done)
        rows = rows_by_vane(found, wear, vehicle, geometry, per_vane)
    life = None
    if geometry is not None:
        low, high = found.band
        with progress("heat", 1.0) as done:
            life = vane_life(
                geometry, engine, max(120.0, 2.0 * engine.burn_time_s),
                float(found.rate_mm_s.max()), 0.5 * (high - low), done,
            )  # fmt: skip
    text = with_erosion(vehicle.text, wear.load_s, rows, Path(inspection_file).name)
    parse_vehicle(text, out)  # what is written can be read again, from where it is written
    result = wear_result(found, wear, rows, life)
    with write_whole(page) as stream:
        stream.write(wear_page(vehicle, found, wear, rows, geometry, life))
    with write_whole(out) as stream:
        stream.write(text)
    result.update(vehicle=out, report=str(page))

    def show() -> None:
        output.print(
            f"{len(found.specimens)} vanes after {len(inspection.burns)} burns: the edge recedes"
            f" {found.mean_rate_mm_s:.3g} mm per s of burn load (scatter {found.scatter:.0%})",
            soft_wrap=True,
        )
        output.print(
            f"effectiveness after {planned_s:.3g} s: {wear.effectiveness[-1]:.4f}"
            f" ({wear.low[-1]:.4f} to {wear.high[-1]:.4f})"
        )
        for sentence in (*found.notes, *([life.sentence] if life else [])):
            output.print(sentence, soft_wrap=True)
        output.print(f"vehicle: {out}\nreport: {page}")

    emit(result, as_json, show)


@erosion.command()
@click.argument("vehicle_file", metavar="VEHICLE", type=click.Path(dir_okay=False))
@click.option("--station-mm", type=float, required=True, help="Its middle, from the root.")
@click.option("--width-mm", type=float, required=True, help="Along the span.")
@click.option("--depth-mm", type=float, required=True, help="Along the chord.")
@click.option("--height-mm", type=float, help="Off one face only, by so much of the thickness.")
@result_option
def chip(
    vehicle_file: str,
    station_mm: float,
    width_mm: float,
    depth_mm: float,
    height_mm: float | None,
    as_json: bool,
) -> None:
    """Tell what a chip in one leading edge does to that vane's force and to roll trim.

    Needs [vanes.geometry] in the vehicle file.

    Example: fourvane erosion chip vehicle.toml --station-mm 25 --width-mm 6 --depth-mm 4
    """
    vehicle = load_vehicle(vehicle_file)
    geometry = vehicle.vanes.geometry
    if geometry is None:
        raise DrawingError(f"{vehicle_file}: vanes.geometry: missing; a chip needs the drawing")
    effect = chip_effect(
        geometry,
        vehicle.engine,
        widest_travel(vehicle),
        Chip(station_mm, width_mm, depth_mm, height_mm),
        vehicle.layout.roll_arm_m,
    )

    def show() -> None:
        if height_mm is None:
            told = (
                f"effectiveness over the travel {effect.effectiveness:.4f}; at full travel the vane"
                f" gives {effect.force_lost_n:.3g} N ({effect.force_lost_share:.2%}) less, which"
                f" leaves {effect.roll_at_full_nm:.3g} N·m of roll and takes"
                f" {effect.roll_trim_deg:.2g}° of all four vanes to hold"
            )
        else:
            told = (
                f"at zero deflection the vane pushes {effect.offset_n:.3g} N to the side and rolls"
                f" {effect.offset_roll_nm:.3g} N·m; {effect.trim_deg:.2g}° of its own deflection"
                " trims both (what a chip in one face takes off the slope of the force is not"
                " computed)"
            )
        output.print(told, soft_wrap=True)

    emit(effect.__dict__, as_json, show)
