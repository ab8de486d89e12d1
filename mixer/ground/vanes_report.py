"""`fourvane vanes`: what the drawing of a vane promises, as a report and as numbers."""

from pathlib import Path
from typing import Any

import click
import numpy as np

from mixer.ground.command import FAILED, emit, result_option
from mixer.ground.console import output, progress
from mixer.ground.files import InputError, write_whole
from mixer.ground.geometry import VaneGeometry, WornEdge
from mixer.ground.heat import Life, vane_life
from mixer.ground.hinge import HingeTable, hinge_table
from mixer.ground.page import CAUTIONS, Picture, Section, Table, Verdict, render_page
from mixer.ground.path_options import RESULT, SOURCE
from mixer.ground.vane_forces import VaneCurve, computed_curve
from mixer.ground.vane_pictures import (
    after,
    doubts_picture,
    forces_picture,
    heating_picture,
    hinge_picture,
    planform_picture,
    section_picture,
)
from mixer.ground.vehicle import Vehicle, load_vehicle

HINGE_LOADS = 5
ESTIMATE = (
    "An estimate to plan a static test by, not a substitute for one: gas radiation, particles, the"
    " shaft as a way out for heat and the flow between vanes are left out."
)
DUST_CAUTION = (
    "Burnt vanes stay hot for long; graphite dust is slippery, conducts, and harms lungs: wet it,"
    " wear a mask, keep it out of the electronics."
)


OUTWARDS = {
    "nowhere": "The gas everywhere brings the vane back to neutral.",
    "in places": "In places the gas drives the vane outwards, against the servo; a hinge line"
    " nearer the leading edge changes that.",
    "everywhere": "The gas drives the vane outwards wherever it stands, against the servo: if the"
    " servo lets go, the vane goes hard over. A hinge line nearer the leading edge changes that.",
}


class DrawingError(InputError):
    """A vehicle whose forces are measured has nothing to compute."""


def widest_travel(vehicle: Vehicle) -> tuple[float, float]:
    """The travel that holds those of all four vanes."""
    travel = np.asarray(vehicle.vanes.travel_deg)
    return float(travel[:, 0].min()), float(travel[:, 1].max())


def worn_by(life: Life, geometry: VaneGeometry, time_s: float) -> WornEdge:
    """The leading edge after a time at reference pressure, receded alike all along."""
    heating = life.heating
    depth_mm = 1e3 * float(np.interp(time_s, heating.time_s, heating.recession_m))
    ends = np.array([geometry.root_station_mm, geometry.span_mm])
    return WornEdge(ends, np.full(2, min(depth_mm, geometry.largest_recession_mm)))


def vane_result(
    vehicle: Vehicle, curve: VaneCurve, hinge: HingeTable, life: Life, rated_nm: float | None
) -> dict[str, Any]:
    """The numbers of the report, for `--json`."""
    thrust, burn_s = vehicle.engine.thrust_n, vehicle.engine.burn_time_s
    core = curve.jet.core
    load_s, deflection_deg = hinge.peak_at
    margin = None if rated_nm is None else hinge.margin(rated_nm)
    return {
        "vehicle": vehicle.vehicle.name,
        "jet": {
            "mach": core.mach,
            "pressure_bar": core.pressure_pa / 1e5,
            "dynamic_pressure_bar": core.dynamic_pressure_pa / 1e5,
            "expansion": curve.jet.expansion,
            "exit_over_ambient": curve.jet.exit_over_ambient,
        },
        "deflection_deg": curve.deflection_deg,
        "force_n": curve.force_n,
        "drag_n": curve.drag_n,
        "normal_force_n": curve.normal_force_n,
        "axial_force_n": curve.axial_force_n,
        "centre_of_pressure_mm": curve.centre_of_pressure_mm,
        "hinge_moment_nm": curve.hinge_moment_nm,
        "detachment_deg": curve.detachment_deg,
        "roll_arm_m": curve.roll_arm_m,
        "thrust_loss_at_rest": 4.0 * curve.drag_at_rest_n / thrust,
        "thrust_loss_two_deflected": 2.0 * (curve.drag_at_rest_n + curve.drag_n.max()) / thrust,
        "thrust_loss_all_deflected": 4.0 * float(curve.drag_n.max()) / thrust,
        "hinge_peak_nm": hinge.peak_nm,
        "hinge_peak_at_load_s": load_s,
        "hinge_peak_at_deg": deflection_deg,
        "servo_torque_margin": margin,
        "life_s": life.life_s,
        "life_low_s": life.low_s,
        "life_high_s": life.high_s,
        "life_ends_by": life.ends_by,
        "local_failure_s": life.local_s,
        "bulk_failure_s": life.bulk_s,
        "dominating_uncertainty": life.dominating.name,
        "burn_time_s": burn_s,
        "notes": list(curve.notes),
        "passed": life.life_s >= burn_s and (margin is None or margin >= 1.0),
    }


def verdict(result: dict[str, Any]) -> Verdict:
    """Pass or fail; open where the vane lives long enough, but at its worst does not."""
    if not result["passed"]:
        return Verdict("fail", reason(result))
    if result["life_low_s"] < result["burn_time_s"]:
        return Verdict("open", reason(result), "not sure")
    return Verdict("pass", reason(result))


def reason(result: dict[str, Any]) -> str:
    """Why the vane passed or not, in a sentence."""
    burn_s = result["burn_time_s"]
    doubt = f", {result['life_low_s']:.3g} s at worst" if result["life_low_s"] < burn_s else ""
    life = (
        f"estimated life {result['life_s']:.3g} s against a burn of {burn_s:g} s{doubt}"
        if np.isfinite(result["life_s"])
        else f"outlives the burn of {burn_s:g} s by the estimate{doubt}"
    )
    margin = result["servo_torque_margin"]
    servo = "no servo torque given" if margin is None else f"servo torque margin {margin:.2f}"
    return f"{life}; {servo}."


def vanes_page(
    vehicle: Vehicle,
    geometry: VaneGeometry,
    curve: VaneCurve,
    hinge: HingeTable,
    life: Life,
    result: dict[str, Any],
) -> str:
    """The report as HTML."""
    edges = [worn_by(life, geometry, float(s)) for s in hinge.load_s]
    depth_mm = float(edges[-1].recession_mm[0])
    station = np.linspace(geometry.root_station_mm, geometry.span_mm, 60)
    pick = np.unique(np.linspace(0, len(curve.deflection_deg) - 1, 7).round().astype(int))
    rows = [
        [
            f"{curve.deflection_deg[i]:.1f}", f"{curve.force_n[i]:.1f}", f"{curve.drag_n[i]:.1f}",
            f"{curve.normal_force_n[i]:.1f}", f"{curve.axial_force_n[i]:.1f}",
            f"{curve.centre_of_pressure_mm[i]:.1f}", f"{curve.hinge_moment_nm[i]:.3f}",
        ]
        for i in pick
    ]  # fmt: skip
    head = ("deflection, deg", "side, N", "drag, N", "normal, N", "axial, N",
            "centre of pressure, mm", "hinge, N·m")  # fmt: skip
    arm = vehicle.layout.roll_arm_m
    sections = [
        Section(
            "Forces of one vane",
            [
                "Shock-expansion on the section with a blunt nose by modified Newtonian pressure,"
                " in strips along the span, with a finite-span correction and turbulent skin"
                " friction. Shock interaction between vanes and the nozzle's boundary layer are"
                " left out: a static test corrects this.",
                *(f"{note[0].upper()}{note[1:]}." for note in curve.notes),
                f"The side force acts {1e3 * curve.roll_arm_m:.1f} mm from the engine axis;"
                f" the vehicle file has {1e3 * arm:.1f} mm as roll arm.",
            ],
            [Table(head, rows, "At reference chamber pressure, new vane")],
            [
                Picture(forces_picture(curve), "Side force and drag act on the vehicle; the centre"
                        " of pressure lies behind the new leading edge. A dashed line marks where"
                        " the shock detaches, if that is within the travel."),
            ],
        ),
        Section(
            "Outline and wear",
            [] if depth_mm == 0.0 else
            ["The worn outline is what the heat estimate below takes off the leading edge, alike"
             " along the span. Inspections of burnt vanes say better: fourvane erosion fit."],
            pictures=[
                Picture(
                    section_picture(geometry, [0.0, depth_mm] if depth_mm > 0.0 else [0.0]),
                    f"Middle section, new and after {hinge.load_s[-1]:.3g} s, to scale."
                    if depth_mm > 0.0
                    else f"Middle section, to scale. {life.material.name.capitalize()} keeps its"
                    f" edge until {life.material.fails_by}.",
                ),
                Picture(
                    planform_picture(station, geometry.chord_mm_at(station), hinge.load_s, edges,
                                     hinge_line_mm=geometry.hinge_line_mm),
                    "The part in the jet.",
                ),
            ],
        ),
        Section(
            "Hinge moment",
            [
                f"The largest hinge moment is {hinge.peak_nm:.3g} N·m at"
                f" {abs(hinge.peak_at[1]):g}° of deflection, {after(hinge.peak_at[0])}. Positive"
                " turns the vane towards positive deflection.",
                OUTWARDS[hinge.turns_outwards],
            ],
            pictures=[Picture(hinge_picture(hinge, geometry.servo_torque_nm),
                              "Hinge moment at reference pressure as the edge wears.")],
        ),
        Section(
            "Will it live",
            [life.sentence, ESTIMATE, *_heat_words(life), "Values of"
             f" {life.material.name}: {life.material.source}."],
            [
                Table(
                    ("uncertain", "life at its worse end, s", "at its better end, s"),
                    [[d.name, _seconds(d.low_s, life), _seconds(d.high_s, life)]
                     for d in life.doubts],
                )
            ],
            [
                Picture(heating_picture(life), "Conduction along the chord of the middle section."),
                Picture(doubts_picture(life), "Each input at either end of its range, the others"
                        " as they are; the dashed line is the estimate."),
            ],
        ),
    ]  # fmt: skip
    jet = result["jet"]
    return render_page(
        f"Vanes of {vehicle.vehicle.name}",
        "What the drawing promises before anything is cut.",
        sections,
        [
            ("exit", f"Mach {jet['mach']:.3f}, {jet['pressure_bar']:.3g} bar, dynamic pressure"
                     f" {jet['dynamic_pressure_bar']:.3g} bar, {jet['expansion']}"),
            ("side force at full travel", f"{np.max(np.abs(curve.force_n)):.4g} N a vane"),
            ("thrust lost at rest", f"{result['thrust_loss_at_rest']:.1%}"),
            ("thrust lost, two vanes deflected", f"{result['thrust_loss_two_deflected']:.1%}"),
            ("thrust lost, all four", f"{result['thrust_loss_all_deflected']:.1%}"),
            ("shock detaches at", f"{curve.detachment_deg:.1f}°"),
            ("largest hinge moment", f"{hinge.peak_nm:.3g} N·m"),
            ("servo torque margin", "no servo_torque_nm given"
             if result["servo_torque_margin"] is None else f"{result['servo_torque_margin']:.2f}"),
            ("life", life.sentence),
        ],
        verdict(result),
        (*CAUTIONS, DUST_CAUTION),
    )  # fmt: skip


def _seconds(value: float, life: Life) -> str:
    return f"over {life.horizon_s:g}" if np.isinf(value) else f"{value:.3g}"


def _heat_words(life: Life) -> list[str]:
    words = [
        f"Biot number {life.biot_nose:.2g} across the nose and {life.biot_chord:.2g} along half"
        " the chord: " + (
            "the edge runs ahead of the rest." if life.biot_chord >= 0.1
            else "the vane is at nearly one temperature."
        )
    ]  # fmt: skip
    if life.ends_by.startswith("the trailing"):
        words.append(
            "The section is drawn with a sharp tail, which is thin and heated from both faces: a"
            " tail a millimetre or two thick lives longer."
        )
    if np.isfinite(life.bulk_s) and np.isfinite(life.local_s):
        words.append(
            f"First local {life.material.fails_by} after {life.local_s:.3g} s; the whole vane, at"
            f" one temperature, would take {life.bulk_s:.3g} s."
        )
    return words


@click.command()
@click.argument("vehicle_file", metavar="VEHICLE", type=SOURCE)
@click.option("--out", type=RESULT, help="HTML report to write.")
@result_option
def vanes(vehicle_file: Path, out: Path | None, as_json: bool) -> None:
    """Compute what the drawn vanes give: forces, thrust loss, hinge moment, wear, life.

    Needs [vanes.geometry] and the engine's throat, expansion and heat ratio in the vehicle file.
    Exit status 1 where the estimated life is under the burn time or the servo too weak.

    Example: fourvane vanes vehicle.toml --out vanes.html
    """
    vehicle = load_vehicle(vehicle_file)
    geometry = vehicle.vanes.geometry
    if geometry is None:
        raise DrawingError(
            f"{vehicle_file}: vanes.geometry: missing; forces are computed from a drawing, and"
            " this file has a measured curve"
        )
    engine, travel = vehicle.engine, widest_travel(vehicle)
    horizon_s = max(120.0, 2.0 * engine.burn_time_s)
    curve = computed_curve(geometry, engine, travel)
    with progress("heat", 1.0) as done:
        life = vane_life(geometry, engine, horizon_s, done=done)
    loads = np.linspace(0.0, min(engine.burn_time_s, life.heating.time_s[-1]), HINGE_LOADS)
    hinge = hinge_table(
        geometry, engine, travel, [float(s) for s in loads],
        lambda s: worn_by(life, geometry, s),
    )  # fmt: skip
    result = vane_result(vehicle, curve, hinge, life, geometry.servo_torque_nm)
    if out is not None:
        with write_whole(out) as stream:
            stream.write(vanes_page(vehicle, geometry, curve, hinge, life, result))
        result["report"] = str(out)

    def show() -> None:
        found = verdict(result)
        word = (found.word or found.outcome).upper()
        output.print(f"{word}. {vehicle.vehicle.name}: {found.reason}", soft_wrap=True)
        for name, value in (
            ("side force at full travel", f"{np.max(np.abs(curve.force_n)):.4g} N a vane"),
            ("thrust lost at rest", f"{result['thrust_loss_at_rest']:.1%}"),
            ("thrust lost, all four deflected", f"{result['thrust_loss_all_deflected']:.1%}"),
            ("largest hinge moment", f"{hinge.peak_nm:.3g} N·m"),
        ):
            output.print(f"  {name:<32}{value}")
        for sentence in (*curve.notes, life.sentence, ESTIMATE):
            output.print(f"  {sentence}", soft_wrap=True)
        if out is not None:
            output.print(f"report: {out}")

    emit(result, as_json, show)
    if not result["passed"]:
        raise SystemExit(FAILED)
