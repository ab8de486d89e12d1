"""`fourvane vanes`: what the drawing of a vane promises, as a report and as numbers."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click
import numpy as np

from mixer.ground.command_line.fourvane import FAILED, emit, result_option
from mixer.ground.command_line.next_step import next_step
from mixer.ground.command_line.path_options import RESULT, SOURCE
from mixer.ground.evidence.evidence import evidence_of
from mixer.ground.evidence.on_page import stamped, write_page
from mixer.ground.inputs.csv_files import write_whole
from mixer.ground.reports.console import output, progress
from mixer.ground.vane_report.comparison import (
    comparison_page,
    comparison_result,
    comparison_rows,
)
from mixer.ground.vane_report.examined import (
    DrawingError,
    DrawnVane,
    drawing_of,
    examine,
    widest_travel,
)
from mixer.ground.vane_report.melt_report import melt_sentence
from mixer.ground.vane_report.page_of_vanes import DUST_CAUTION, ESTIMATE, vanes_page
from mixer.ground.vane_report.verdict import vane_result, verdict
from mixer.ground.vehicle.vehicle import load_vehicle

__all__ = ["DUST_CAUTION", "ESTIMATE", "DrawingError", "vanes", "widest_travel"]


@click.command()
@click.argument("vehicle_files", metavar="VEHICLE...", nargs=-1, required=True, type=SOURCE)
@click.option("--out", type=RESULT, help="HTML report to write.")
@result_option
def vanes(vehicle_files: tuple[Path, ...], out: Path | None, as_json: bool) -> None:
    """Compute what drawn vanes give: forces, thrust loss, hinge moment, wear, melt, life, strength.

    Several vehicle files are compared side by side, for which drawing to mill; that passes no
    verdict of its own.

    Needs [vanes.geometry] and the engine's throat, expansion and heat ratio in the vehicle file.
    Exit status 1 where the estimated life is under the burn time, the servo too weak, the vane too
    thin, or no flight tables come of the file; "not sure" where a band or a missing model leaves it
    open.

    Example: fourvane vanes vehicle.toml --out vanes.html
    """
    loaded = [(load_vehicle(file), file) for file in vehicle_files]
    drawings = [(vehicle, drawing_of(vehicle, file)) for vehicle, file in loaded]
    examined: list[DrawnVane] = []
    with progress("vanes", float(len(drawings))) as done:
        for vehicle, geometry in drawings:
            before = len(examined)
            examined.append(examine(vehicle, geometry, lambda s, n=before: done(n + s)))
    if len(examined) > 1:
        compare(vehicle_files, examined, out, as_json)
        return
    found = examined[0]
    result = vane_result(found)
    evidence = evidence_of("vanes", found.vehicle, verdict(found))
    if out is not None:
        write_page(out, lambda: vanes_page(found), evidence)
        result["report"] = str(out)
    following = next_step(found.vehicle, vehicle_files[0], "vanes", result["passed"] is not False)
    emit(result, as_json, lambda: show(found, result), following, evidence.plain)
    if result["passed"] is False:
        raise SystemExit(FAILED)


def compare(
    files: Sequence[Path], examined: Sequence[DrawnVane], out: Path | None, as_json: bool
) -> None:
    """Tell and write the drawings side by side."""
    stems = [file.stem for file in files]
    names = stems if len(set(stems)) == len(stems) else [str(file) for file in files]
    rows = comparison_rows(examined)
    result = comparison_result(rows, names, [vane_result(found) for found in examined])
    evidence = [evidence_of("vanes", found.vehicle, verdict(found)) for found in examined]
    if out is not None:
        page = comparison_page(names, examined, rows)
        for each in evidence:
            page = stamped(page, each)
        with write_whole(out) as stream:
            stream.write(page)
        result["report"] = str(out)

    def tell() -> None:
        width = max(len(cell) for row in [["", *names], *rows] for cell in row[1:]) + 2
        for row in [["", *names], *rows]:
            cells = "".join(f"{cell:<{width}}" for cell in row[1:])
            output.print(f"{row[0]:<35}{cells}".rstrip(), soft_wrap=True)
        if out is not None:
            output.print(f"report: {out}")

    emit(result, as_json, tell, evidence=[each.plain for each in evidence])


def show(found: DrawnVane, result: dict[str, Any]) -> None:
    """The result on the terminal."""
    told, curve, low_high = verdict(found), found.curve, found.hinge.peak_band_nm
    word = (told.word or told.outcome).upper()
    output.print(f"{word}. {found.vehicle.vehicle.name}: {told.reason}", soft_wrap=True)
    for sentence in found.warnings:
        output.print(f"  LOOK: {sentence}", soft_wrap=True)
    facts = [
        ("side force at full travel", f"{np.max(np.abs(curve.force_n)):.4g} N a vane"),
        ("thrust lost at rest", f"{result['thrust_loss_at_rest']:.1%}"),
        ("thrust lost, all four deflected", f"{result['thrust_loss_all_deflected']:.1%}"),
        (
            "largest hinge moment",
            "{:.3g} N·m ({:.3g} to {:.3g})".format(found.hinge.peak_nm, *low_high),
        ),
        ("mass of a vane", f"{found.mass_g:.3g} g"),
        *(
            (f"bending at the {b.place}", f"{b.stress_mpa.max():.3g} MPa, margin {b.margin:.2f}")
            for b in found.strength
        ),
    ]
    for name, value in facts:
        output.print(f"  {name:<32}{value}")
    melt = [sentence] if (sentence := melt_sentence(found)) else []
    life = [] if found.solids else [found.life.sentence, *melt, ESTIMATE]
    for sentence in (*curve.notes, *life):
        output.print(f"  {sentence}", soft_wrap=True)
    if found.assumed:
        output.print(f"  assumed, not in the file: {'; '.join(found.assumed)}", soft_wrap=True)
    if "report" in result:
        output.print(f"report: {result['report']}")
