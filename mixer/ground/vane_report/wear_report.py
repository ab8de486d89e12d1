"""The report on an inspection of burnt vanes: recession, outline, what the vane still gives."""

from typing import Any

import numpy as np

from mixer.ground.drawn_vane.geometry import VaneGeometry
from mixer.ground.inputs.arrays import Array
from mixer.ground.reports.page import CAUTIONS, Chapter, Picture, Table, render_page
from mixer.ground.reports.pictures import LIMIT, MARKERS, PALETTE, drawing, svg
from mixer.ground.vane_life.life import Life
from mixer.ground.vane_report.page_of_vanes import DUST_CAUTION, ESTIMATE
from mixer.ground.vane_report.pictures import (
    effectiveness_picture,
    hinge_picture,
    planform_picture,
    section_picture,
)
from mixer.ground.vehicle.vehicle import Vehicle
from mixer.ground.wear.prediction import WearPrediction, chord_mm
from mixer.ground.wear.recession import RecessionFit


def recession_picture(fit: RecessionFit) -> str:
    """Every reading as a rate at its station, and the fit with its standard error."""
    with drawing(height_in=3.2) as (figure, axes):
        axis = axes[0, 0]
        seen: set[int] = set()
        for specimen, load in zip(fit.specimens, fit.load_s, strict=True):
            if not len(specimen.station_mm):
                continue
            # Vanes side by side, so that their readings do not cover each other.
            step = 0.006 * float(np.ptp(fit.station_mm) or 10.0)
            axis.plot(
                specimen.station_mm + (specimen.vane - 2.5) * step,
                specimen.recession_mm / load,
                linestyle="none",
                color=PALETTE[specimen.vane - 1],
                marker=MARKERS[specimen.vane - 1],
                alpha=0.6,
                label=None if specimen.vane in seen else f"vane {specimen.vane}",
            )
            seen.add(specimen.vane)
        axis.errorbar(
            fit.station_mm,
            fit.rate_mm_s,
            yerr=fit.rate_error_mm_s,
            color="#23282d",
            linestyle="-",
            capsize=3,
            label="fit, one standard error",
        )
        axis.axhline(0.0, **LIMIT)
        axis.set(xlabel="station from the root, mm", ylabel="recession, mm per s of load")
        axis.legend(ncols=3)
    return svg(figure)


def scatter_words(fit: RecessionFit) -> str:
    """How vanes and burns scatter, in a clause."""
    scatter = fit.scatter
    vanes = f"vanes of a burn scatter by {scatter.vane:.0%}"
    if scatter.burns_told and not scatter.vanes_told:
        return f"burns, each with one vane, scatter by {scatter.burn:.0%}"
    if scatter.vanes == 1:
        return "scatter unknown"
    return f"{vanes}, burns by {scatter.burn:.0%}" if scatter.burns_told else f"{vanes}, burns: ?"


def wear_result(
    fit: RecessionFit, wear: WearPrediction, rows: list[Array], life: Life | None
) -> dict[str, Any]:
    """The numbers of the report, for `--json`."""
    low, high = fit.band
    return {
        "specimens": len(fit.specimens),
        "burns": len(fit.inspection.burns),
        "exponent": fit.exponent,
        "exponent_error": fit.exponent_error,
        "station_mm": fit.station_mm,
        "rate_mm_s": fit.rate_mm_s,
        "rate_error_mm_s": fit.rate_error_mm_s,
        "vane_scatter": fit.scatter.vane if fit.scatter.vanes_told else None,
        "burn_scatter": fit.scatter.burn if fit.scatter.burns_told else None,
        "band": [low, high],
        "vane_factors": {vane: factors.mean() for vane, factors in fit.vane_factors().items()},
        "position_p_value": fit.position_p_value,
        "face_rate_g_s": fit.face_rate_g_s,
        "load_s": wear.load_s,
        "effectiveness": rows[0] if len(rows) == 1 else rows,
        "effectiveness_low": wear.low,
        "effectiveness_high": wear.high,
        "area_mm2": wear.area_mm2,
        "mass_g": wear.mass_g,
        "centre_of_pressure_mm": wear.centre_of_pressure_mm,
        "drag_at_rest_n": wear.drag_at_rest_n,
        "hinge_peak_nm": None if wear.hinge is None else np.abs(wear.hinge.moment_nm).max(axis=1),
        "life_s": None if life is None else life.life_s,
        "notes": fit.notes,
    }


def wear_page(
    vehicle: Vehicle,
    fit: RecessionFit,
    wear: WearPrediction,
    rows: list[Array],
    geometry: VaneGeometry | None,
    life: Life | None,
) -> str:
    """The report as HTML."""
    low, high = fit.band
    exponent = (
        f"{fit.exponent:g}, taken"
        if fit.exponent_error is None
        else f"{fit.exponent:.2f} ± {fit.exponent_error:.2f}, fitted"
    )
    facts = [
        ("vehicle", vehicle.vehicle.name),
        (
            "inspection",
            f"{fit.inspection.file}"
            f"{': A REHEARSAL, no vane was burnt' if fit.inspection.rehearsal else ''}",
        ),
        ("burns, specimens", f"{len(fit.inspection.burns)}, {len(fit.specimens)}"),
        ("mean recession", f"{fit.mean_rate_mm_s:.3g} mm per s of burn load"),
        ("exponent of pressure", exponent),
        ("scatter of the wear", scatter_words(fit)),
        (
            f"effectiveness after {wear.load_s[-1]:.3g} s",
            f"{wear.effectiveness[-1]:.4f} ({wear.low[-1]:.4f} to {wear.high[-1]:.4f} for a vane in"
            " a new burn, 95 %)",
        ),
    ]
    band = (fit.edge(float(wear.load_s[-1]), low), fit.edge(float(wear.load_s[-1]), high))
    if geometry is not None:
        station = np.linspace(geometry.root_station_mm, geometry.span_mm, 60)
        chord, hinge_line = geometry.chord_mm_at(station), geometry.hinge_line_mm
    else:
        station, chord, hinge_line = fit.station_mm, chord_mm(fit), None
    pictures = [
        Picture(
            planform_picture(station, chord, wear.load_s, wear.edges, band, hinge_line),
            "The leading edge over the planned burn. The band holds a vane in a new burn at 95 %.",
        )
    ]
    if geometry is not None:
        ends = [wear.edges[0], wear.edges[-1]]
        pictures.append(
            Picture(section_picture(geometry, ends), "Middle section, new and at the end.")
        )
    chapters = [
        Chapter(
            "How fast the edge recedes",
            [
                "Recession at each station is rate times burn load. Vanes and burns differ by a"
                " factor that is the same along an edge. The vanes of a burn are not independent:"
                " what differs from burn to burn and what from vane to vane of a burn are told"
                " apart (one-way random effects). Both go into the band of a vane in a new burn, a"
                " prediction. The bars in the picture are the standard errors of the"
                " fitted rates, an estimate of the mean and no more.",
                *(f"{note[0].upper()}{note[1:]}." for note in fit.notes),
            ],
            pictures=[Picture(recession_picture(fit), "Every reading, and the fit.")],
        ),
        Chapter("Outline over the burn", pictures=pictures),
        Chapter(
            "What the vane still gives",
            [
                "Forces of the worn vane computed as those of the new one."
                if geometry is not None
                else "Without a drawing, force is taken to go with the area that is left.",
                *_per_vane_words(rows, wear),
            ],
            [_table(wear)],
            [Picture(effectiveness_picture(wear), "Goes into the vehicle file as [erosion].")],
        ),
    ]
    if wear.hinge is not None and geometry is not None:
        chapters.append(
            Chapter(
                "Hinge moment",
                [_hinge_words(wear, geometry)],
                pictures=[
                    Picture(
                        hinge_picture(wear.hinge, geometry.servo_torque_nm),
                        "At reference pressure, as the edge wears.",
                    )
                ],
            )
        )
    if life is not None:
        chapters.append(Chapter("Will it live", [life.sentence, ESTIMATE]))
    return render_page(
        f"Wear of the vanes of {vehicle.vehicle.name}",
        "From inspections of burnt vanes to the erosion table of the vehicle file.",
        chapters,
        facts,
        cautions=(*CAUTIONS, DUST_CAUTION),
    )


def _per_vane_words(rows: list[Array], wear: WearPrediction) -> list[str]:
    if len(rows) == 1:
        return []
    ends = ", ".join(f"vane {i}: {row[-1]:.4f}" for i, row in enumerate(rows, 1))
    return [f"Each vane by its own factor, after {wear.load_s[-1]:.3g} s: {ends}."]


def _hinge_words(wear: WearPrediction, geometry: VaneGeometry) -> str:
    assert wear.hinge is not None
    peaks = np.abs(wear.hinge.moment_nm).max(axis=1)
    words = (
        f"The largest hinge moment goes from {peaks[0]:.3g} to {peaks[-1]:.3g} N·m over the burn."
    )
    if geometry.servo_torque_nm is not None:
        words += f" Servo torque margin {wear.hinge.margin(geometry.servo_torque_nm):.2f}."
    return words


def _table(wear: WearPrediction) -> Table:
    head = ["burn load, s", "effectiveness", "low", "high", "area, mm²"]
    columns = [wear.load_s, wear.effectiveness, wear.low, wear.high, wear.area_mm2]
    formats = [".3g", ".4f", ".4f", ".4f", ".0f"]
    for name, values, how in (
        ("mass of the whole vane, g", wear.mass_g, ".2f"),
        ("centre of pressure, mm", wear.centre_of_pressure_mm, ".1f"),
        ("drag at rest, N", wear.drag_at_rest_n, ".1f"),
    ):
        if values is not None:
            head.append(name)
            columns.append(values)
            formats.append(how)
    rows = [
        [format(float(value), how) for value, how in zip(row, formats, strict=True)]
        for row in zip(*columns, strict=True)
    ]
    return Table(
        head, rows, "Over the planned burn; low to high holds a vane in a new burn at 95 %"
    )
