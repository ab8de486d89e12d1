"""`fourvane erosion`: the wear of burnt vanes into the vehicle file, and what a chip does."""

from pathlib import Path

import click

from mixer.ground.command_line.fourvane import emit, result_option
from mixer.ground.command_line.next_step import next_step
from mixer.ground.command_line.path_options import RESULT, SOURCE, beside
from mixer.ground.commands.vanes import DrawingError, widest_travel
from mixer.ground.drawn_vane.geometry import VaneGeometry
from mixer.ground.evidence.evidence import evidence_of
from mixer.ground.evidence.on_page import write_page
from mixer.ground.inputs.arrays import Array
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.reports.console import output, progress
from mixer.ground.vane_life.life import vane_life
from mixer.ground.vane_report.wear_report import scatter_words, wear_page, wear_result
from mixer.ground.vehicle.vehicle import Vehicle, load_vehicle, parse_vehicle
from mixer.ground.wear.chip import Chip, chip_effect
from mixer.ground.wear.form import Burn, write_form, write_rehearsed
from mixer.ground.wear.inspection import CALLIPER_MM, Inspection, read_inspection
from mixer.ground.wear.plausible_wear import refuse_not_finite, refuse_undrawn_chord
from mixer.ground.wear.prediction import WearPrediction, effectiveness_for, predict_wear
from mixer.ground.wear.recession import RecessionFit, fit_recession
from mixer.ground.wear.worn_vehicle import add_scatter, with_erosion


class ErosionError(InputError):
    """An option that the inspection cannot serve."""


@click.group()
def erosion() -> None:
    """Wear of the vanes: fit it from inspections, ask what a chip does.

    CAUTION: burnt vanes stay hot for long, and graphite dust harms lungs and electronics.

    Example: fourvane erosion fit inspection.csv --vehicle vehicle.toml --out worn.toml
    """


def refuse_past_the_tip(inspection: Inspection, geometry: VaneGeometry | None, file: Path) -> None:
    """ErosionError for a station that the drawn vane does not have."""
    if geometry is None:
        return
    for specimen in inspection.specimens:
        for station_mm in specimen.station_mm[specimen.station_mm > geometry.span_mm]:
            raise ErosionError(
                f"{file}: burn {specimen.burn.number}, vane {specimen.vane}: station_mm = "
                f"{station_mm:g}; must be at most {geometry.span_mm:g}, the span of the drawing"
            )
        place = f"burn {specimen.burn.number}, vane {specimen.vane}"
        for station_mm, chord_mm in zip(specimen.station_mm, specimen.chord_before_mm, strict=True):
            refuse_undrawn_chord(file, place, float(station_mm), float(chord_mm), geometry)


def rows_by_vane(
    fit: RecessionFit,
    wear: WearPrediction,
    vehicle: Vehicle,
    geometry: VaneGeometry | None,
    per_vane: bool,
) -> list[Array]:
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
@click.argument("vehicle_file", metavar="VEHICLE", type=SOURCE)
@click.option("--out", type=RESULT, default=Path("inspection.csv"), show_default=True,
              help="The form to write; one that is there already stays.")  # fmt: skip
@click.option("--burns", type=click.IntRange(1, 100), default=2, show_default=True,
              help="How many burns it has room for.")  # fmt: skip
@click.option(
    "--rehearse",
    is_flag=True,
    help="Fill it as if the vanes had been burnt; marked as a rehearsal.",
)
@click.option("--seed", type=click.IntRange(0), default=0, help="Of the rehearsal's scatter. [0]")
@result_option
def form(
    vehicle_file: Path, out: Path, burns: int, rehearse: bool, seed: int, as_json: bool
) -> None:
    """Write the form of an inspection, a row for each station of each vane, for `erosion fit`.

    Fill in what was measured; needs [vanes.geometry]. With --rehearse the drawn vane's model of
    life fills it, vanes and burns scattering. A column says in every row that it is a rehearsal:
    what is fitted from it is marked so, in the vehicle file, on its page and in the hand-over.

    CAUTION: burnt vanes stay hot for long, and graphite dust harms lungs and electronics. A
    rehearsed wear is a model's; no vane that flies may rest on it.

    Example: fourvane erosion form vehicle.toml --rehearse --out inspection.csv
    """
    vehicle = load_vehicle(vehicle_file)
    geometry, engine = vehicle.vanes.geometry, vehicle.engine
    if geometry is None:
        raise DrawingError(f"{vehicle_file}: vanes.geometry: missing; stations are on the drawing")
    if out.exists():
        raise ErosionError(f"{out}: is there already, and stays as it is; name another with --out")
    if rehearse:
        with progress("a burn's wear", 1.0) as done:
            life = vane_life(geometry, engine, max(120.0, 2.0 * engine.burn_time_s), done=done)
        burn = Burn(engine.burn_time_s, engine.chamber_pressure_bar)
        rows = write_rehearsed(out, geometry, life, [burn] * burns, seed)
    else:
        rows = write_form(out, geometry, burns)
    following = (
        f"{'' if rehearse else 'fill it in after the burns, then '}fourvane erosion fit {out} "
        f"--vehicle {vehicle_file} --out worn.toml"
    )
    word = "REHEARSAL, nothing was burnt: filled" if rehearse else "to be filled in"
    result = {"form": out, "rows": rows, "burns": burns, "rehearsal": rehearse}
    evidence = evidence_of("erosion form", vehicle, rehearsal=rehearse)
    emit(
        result,
        as_json,
        lambda: output.print(f"{word}, {rows} rows: {out}", soft_wrap=True),
        following,
        evidence.plain,
    )


@erosion.command()
@click.argument("inspection_file", metavar="INSPECTION", type=SOURCE)
@click.option("--vehicle", "vehicle_file", required=True, type=SOURCE,
              help="Vehicle file the vanes belong to.")  # fmt: skip
@click.option("--out", required=True, type=RESULT, help="Vehicle file to write.")
@click.option(
    "--report", type=RESULT, help="HTML report to write; by default beside --out, ending in .html."
)
@click.option(
    "--planned-load-s",
    type=click.FloatRange(0, 3600, min_open=True),
    help="Burn load to predict to; by default the vehicle's burn time.",
)
@click.option("--calliper-mm", type=click.FloatRange(0, 5, min_open=True), default=CALLIPER_MM,
              show_default=True, help="Standard error of one chord reading.")  # fmt: skip
@click.option("--per-vane", is_flag=True, help="Write a row for each vane by its own wear.")
@result_option
def fit(
    inspection_file: Path,
    vehicle_file: Path,
    out: Path,
    report: Path | None,
    planned_load_s: float | None,
    calliper_mm: float,
    per_vane: bool,
    as_json: bool,
) -> None:
    """Fit the wear of burnt vanes; write the vehicle file with its wear, and a report.

    Into [erosion] goes what a vane gives as it wears, into [uncertainty] how far the vanes of a new
    burn may be off it (vane_scatter, burn_scatter): fourvane envelope counts with both.

    INSPECTION is a CSV with a row for each station of a vane after a burn: burn,vane and
    duration_s or pressure_log (and chamber_pressure_bar), station_mm with chord_before_mm and
    chord_after_mm, thickness_before_mm and thickness_after_mm, mass_before_g and mass_after_g.

    Example: fourvane erosion fit inspection.csv --vehicle vehicle.toml --out worn.toml
    """
    page = report or beside(out, ".html")
    vehicle = load_vehicle(vehicle_file)
    geometry, engine = vehicle.vanes.geometry, vehicle.engine
    planned_s = engine.burn_time_s if planned_load_s is None else planned_load_s
    inspection = read_inspection(inspection_file, engine.chamber_pressure_bar, calliper_mm)
    refuse_past_the_tip(inspection, geometry, inspection_file)
    found = fit_recession(inspection, engine.chamber_pressure_bar, geometry, calliper_mm)
    with progress("worn vanes", 1.0) as done:
        wear = predict_wear(found, planned_s, geometry, engine, widest_travel(vehicle), done=done)
        rows = rows_by_vane(found, wear, vehicle, geometry, per_vane)
    refuse_not_finite(
        inspection_file,
        recession=found.rate_mm_s,
        effectiveness=wear.effectiveness,
        band_of_effectiveness=[wear.low, wear.high],
        rows=rows,
    )
    life = None
    if geometry is not None:
        low, high = found.band
        with progress("heat", 1.0) as done:
            life = vane_life(
                geometry, engine, max(120.0, 2.0 * engine.burn_time_s),
                float(found.rate_mm_s.max()), 0.5 * (high - low), done,
            )  # fmt: skip
    file = with_erosion(vehicle, wear.load_s, rows, inspection.origin)
    add_scatter(file, found, wear, vehicle.uncertainty, inspection.origin)
    worn = parse_vehicle(file.text(out), str(out))  # refused, if it must be, before the report
    says = wear_words(wear, planned_s)
    evidence = evidence_of(
        "erosion fit", vehicle, says=says, made=worn, files=[inspection_file],
        rehearsal=inspection.rehearsal,
    )  # fmt: skip
    write_page(page, lambda: wear_page(vehicle, found, wear, rows, geometry, life), evidence)
    file.write(out)
    result = wear_result(found, wear, rows, life)
    result.update(vehicle=out, report=str(page))

    def show() -> None:
        if inspection.rehearsal:
            output.print("REHEARSAL: no vane was burnt; the wear is the model's, with scatter")
        output.print(
            f"{len(found.specimens)} vanes after {len(inspection.burns)} burns: the edge recedes"
            f" {found.mean_rate_mm_s:.3g} mm per s of burn load ({scatter_words(found)})",
            soft_wrap=True,
        )
        output.print(wear_words(wear, planned_s), soft_wrap=True)
        for sentence in (*found.notes, *([life.sentence] if life else [])):
            output.print(sentence, soft_wrap=True)
        output.print(f"vehicle: {out}\nreport: {page}")

    following = next_step(worn, out, "erosion fit")
    emit(result, as_json, show, following, evidence.plain)


def wear_words(wear: WearPrediction, planned_s: float) -> str:
    """What is left of a vane's force after a burn, in a sentence."""
    return (
        f"effectiveness after {planned_s:.3g} s: {wear.effectiveness[-1]:.4f}"
        f" ({wear.low[-1]:.4f} to {wear.high[-1]:.4f} for a vane in a new burn, 95 %)"
    )


@erosion.command()
@click.argument("vehicle_file", metavar="VEHICLE", type=SOURCE)
@click.option("--station-mm", type=float, required=True, help="Its middle, from the root.")
@click.option("--width-mm", type=float, required=True, help="Along the span.")
@click.option("--depth-mm", type=float, required=True, help="Along the chord.")
@click.option("--height-mm", type=float, help="Off one face only, by so much of the thickness.")
@result_option
def chip(
    vehicle_file: Path,
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
                f"effectiveness {effect.effectiveness:.4f}, the mean over the travel; at its end,"
                f" where it differs, the vane gives {effect.force_lost_n:.3g} N"
                f" ({effect.force_lost_share:.2%})"
                f" less, which leaves {effect.roll_at_full_nm:.3g} N·m of roll and takes"
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

    evidence = evidence_of("erosion chip", vehicle).plain
    emit(effect.__dict__, as_json, show, next_step(vehicle, vehicle_file, "erosion chip"), evidence)
