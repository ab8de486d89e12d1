"""The page of `fourvane vanes`: what the drawing of a vane promises, in words and pictures."""

import numpy as np

from mixer.ground.drawn_vane.hinge import CENTRE_DOUBT
from mixer.ground.reports.page import CAUTIONS, Chapter, Picture, Table, render_page
from mixer.ground.vane_life.life import Life
from mixer.ground.vane_life.strength import strength_of
from mixer.ground.vane_report.examined import LET_GO, DrawnVane
from mixer.ground.vane_report.from_behind import behind_chapter
from mixer.ground.vane_report.melt_report import melt_chapter
from mixer.ground.vane_report.pictures import (
    after,
    doubts_picture,
    forces_picture,
    heating_picture,
    hinge_picture,
    planform_picture,
    section_picture,
)
from mixer.ground.vane_report.pressure_check import largest_error
from mixer.ground.vane_report.verdict import verdict

ESTIMATE = (
    "An estimate to plan a static test by, not a substitute for one. Left out: radiation of gas and"
    " of the nozzle's hot wall, particles, the flow between vanes, and the shaft as a way out for"
    " heat where the drawing has no heat_sink; of one that it has contacts are taken as perfect."
)
DUST_CAUTION = (
    "Burnt vanes stay hot for long; graphite dust is slippery, conducts, and harms lungs: wet it,"
    " wear a mask, keep it out of the electronics."
)


def vanes_page(found: DrawnVane) -> str:
    """The report as HTML."""
    vehicle, curve, hinge, thrust_n = (
        found.vehicle, found.curve, found.hinge, found.vehicle.engine.thrust_n
    )  # fmt: skip
    loss_n = curve.drag_at_rest_n
    chapters = [
        *_attention(found),
        *behind_chapter(vehicle),
        _forces(found),
        _pressure(found),
        _outline(found),
        _hinge(found),
        _strength(found),
        _heat(found),
        *melt_chapter(found),
    ]
    jet, rated_nm = curve.jet, found.geometry.servo_torque_nm
    return render_page(
        f"Vanes of {vehicle.vehicle.name}",
        "What the drawing promises before anything is cut.",
        chapters,
        [
            ("exit", f"Mach {jet.core.mach:.3f}, {jet.core.pressure_pa / 1e5:.3g} bar, dynamic"
                     f" pressure {jet.core.dynamic_pressure_pa / 1e5:.3g} bar, {jet.expansion}"),
            ("side force at full travel", f"{np.max(np.abs(curve.force_n)):.4g} N a vane"),
            ("thrust lost at rest", f"{4.0 * loss_n / thrust_n:.1%}"),
            ("thrust lost, two vanes deflected",
             f"{2.0 * (loss_n + curve.drag_n.max()) / thrust_n:.1%}"),
            ("thrust lost, all four", f"{4.0 * curve.drag_n.max() / thrust_n:.1%}"),
            ("a sharp flank's shock detaches at", f"{curve.detachment_deg:.1f}°"),
            ("largest hinge moment", f"{hinge.peak_nm:.3g} N·m"),
            ("servo torque margin", "no servo_torque_nm given" if rated_nm is None
             else "{:.2f} to {:.2f}".format(*hinge.margin_band(rated_nm))),
            ("mass of a vane", f"{found.mass_g:.3g} g"),
            ("life", "not computed: solids in the exhaust" if found.solids
             else found.life.sentence),
        ],
        verdict(found),
        (*CAUTIONS, DUST_CAUTION),
    )  # fmt: skip


def _attention(found: DrawnVane) -> list[Chapter]:
    words = [
        f"{sentence[0].upper()}{sentence[1:].removesuffix('.')}." for sentence in found.warnings
    ]
    chapters = [Chapter("To be looked at", words)] if words else []
    if found.assumed:
        chapters.append(
            Chapter(
                "Guesses that decide the figures",
                ["These values are not in the file; give them to be rid of the guess."],
                [Table(("assumed",), [[text] for text in found.assumed])],
            )
        )
    return chapters


def _forces(found: DrawnVane) -> Chapter:
    curve = found.curve
    pick = np.unique(np.linspace(0, len(curve.deflection_deg) - 1, 7).round().astype(int))
    rows = [
        [
            f"{curve.deflection_deg[i]:z.1f}", f"{curve.force_n[i]:z.1f}", f"{curve.drag_n[i]:.1f}",
            f"{curve.normal_force_n[i]:z.1f}", f"{curve.axial_force_n[i]:z.1f}",
            f"{curve.centre_of_pressure_mm[i]:z.1f}", f"{curve.hinge_moment_nm[i]:z.3f}",
        ]
        for i in pick
    ]  # fmt: skip
    head = ("deflection, deg", "side, N", "drag, N", "normal, N", "axial, N",
            "centre of pressure, mm", "hinge, N·m")  # fmt: skip
    return Chapter(
        "Forces of one vane",
        [
            "Shock-expansion on the section with a blunt nose by modified Newtonian pressure,"
            " in strips along the span, with a finite-span correction and turbulent skin"
            " friction. Shock interaction between vanes and the nozzle's boundary layer are"
            " left out: a static test corrects this.",
            *(f"{note[0].upper()}{note[1:]}." for note in curve.notes),
            f"The side force acts {1e3 * curve.roll_arm_m:.1f} mm from the engine axis; the"
            f" vehicle file has {1e3 * found.vehicle.layout.roll_arm_m:.1f} mm as roll arm.",
            f"Chamber pressure, throat and expansion ratio give {found.ideal_thrust_n:.4g} N"
            f" without losses; the vehicle file has {found.vehicle.engine.thrust_n:g} N.",
        ],
        [Table(head, rows, "At reference chamber pressure, new vane")],
        [
            Picture(forces_picture(curve), "Side force and drag act on the vehicle; the centre of"
                    " pressure lies behind the new leading edge. A dashed line marks where a sharp"
                    " flank's shock detaches, if that is within the travel."),
        ],
    )  # fmt: skip


def _pressure(found: DrawnVane) -> Chapter:
    rows = [
        [
            s.condition,
            f"{s.ambient_bar:.3f}",
            s.refused or f"{s.share:.3f}",
            "" if s.share_wetted is None else f"{s.share_wetted:.3f}",
        ]
        for s in found.scaled
    ]
    return Chapter(
        "Does force go with chamber pressure?",
        [
            "In flight a vane's force is taken as κ = pc/pc_ref times the curve above, at any"
            " height. Here the drawing is computed again at other pressures: 1 is what κ"
            f" promises, and the drawing stays within {largest_error(found.scaled):.0%} of it."
            " The last column takes the finite-span correction of the span that is in the jet"
            " then, instead of the drawing's: between the two lies what this model can tell.",
        ],
        [
            Table(
                ("condition", "outside, bar", "force over κ", "span in the jet"), rows,
                "At the reference chamber pressure unless said",
            )
        ],
    )  # fmt: skip


def _outline(found: DrawnVane) -> Chapter:
    geometry, life, edges, hinge = found.geometry, found.life, found.edges, found.hinge
    worn = float(edges[-1].recession_mm[0]) > 0.0 and not found.solids
    station = np.linspace(geometry.root_station_mm, geometry.span_mm, 60)
    words = (
        [
            "The worn outline is what the heat estimate below takes off the leading edge, the"
            " faces and the tail, alike along the span: after"
            f" {found.time_s[-1]:.3g} s {edges[-1].recession_mm[0]:.2g} mm of the edge,"
            f" {edges[-1].face_mm:.2g} mm of each face and {found.tail_lost_mm:.2g} mm of the"
            f" tail, which leaves {found.effectiveness:.1%} of the side force. Inspections of"
            " burnt vanes say better: fourvane erosion fit."
        ]
        if worn
        else []
    )
    return Chapter(
        "Outline and wear",
        words,
        pictures=[
            Picture(
                section_picture(geometry, [edges[0], edges[-1]] if worn else edges[:1]),
                f"Middle section, new and after {hinge.load_s[-1]:.3g} s, to scale."
                if worn
                else f"Middle section, to scale. {life.material.name.capitalize()} keeps its edge"
                f" until {life.material.fails_by}.",
            ),
            Picture(
                planform_picture(station, geometry.chord_mm_at(station), hinge.load_s, edges,
                                 hinge_line_mm=geometry.hinge_line_mm),
                "The part in the jet.",
            ),
        ],
    )  # fmt: skip


def _hinge(found: DrawnVane) -> Chapter:
    hinge = found.hinge
    low, high = hinge.peak_band_nm
    return Chapter(
        "Hinge moment",
        [
            f"The largest hinge moment is {hinge.peak_nm:.3g} N·m at"
            f" {abs(hinge.peak_at[1]):g}° of deflection, {after(hinge.peak_at[0])}; with the"
            f" centre of pressure {CENTRE_DOUBT:.1%} of the chord further forward or aft it is"
            f" {low:.3g} to {high:.3g} N·m. Positive turns the vane towards positive deflection.",
            LET_GO[hinge.let_go],
        ],
        pictures=[Picture(hinge_picture(hinge, found.geometry.servo_torque_nm),
                          "Hinge moment at reference pressure as the vane wears; shaded, what the"
                          " doubt of the centre of pressure makes of the new vane's.")],
    )  # fmt: skip


def _strength(found: DrawnVane) -> Chapter:
    rows = [
        [
            b.place, f"{b.station_mm:.1f}", f"{b.stress_mpa[0]:.3g}", f"{b.stress_mpa[-1]:.3g}",
            f"{b.mean_strength_mpa.min():.3g}", f"{b.margin:.2f}", f"{b.worst_chance:.1g}",
        ]
        for b in found.strength
    ]  # fmt: skip
    hole_mm = found.geometry.shaft_hole_mm
    return Chapter(
        "Will it hold",
        [
            "The force of the part in the jet bends the vane where it leaves the jet and at its"
            " root, at full deflection; beam theory on the section"
            + (f" less a shaft hole of {hole_mm:g} mm." if hole_mm else ", no shaft hole drawn.")
            + " What a shaft, a clamp or a sharp corner adds is left out, and so is a knock on the"
            " bench.",
            f"Strength: {strength_of(found.geometry).source}.",
            "Heat shock at ignition: the material stands"
            f" {found.shock:.2g} times what the film on the faces brings (3 R' over flux times half"
            " thickness): a figure of merit to compare drawings by, not a stress.",
        ],
        [
            Table(
                ("place", "station, mm", "stress new, MPa", "at the end, MPa",
                 "mean strength, MPa", "margin", "chance of breaking"),
                rows,
            )
        ],
    )  # fmt: skip


def _heat(found: DrawnVane) -> Chapter:
    life = found.life
    if found.solids:
        return Chapter(
            "Will it live",
            ["Not computed: the exhaust carries solids, which sand a graphite vane off in seconds"
             " (common practice). Only a burn tells."],
        )  # fmt: skip
    return Chapter(
        "Will it live",
        [
            life.sentence, ESTIMATE, *_heat_words(found),
            *([f"B', the carbon that a unit of diffusing gas can burn: {life.burning.limit:.2g},"
               f" good to a factor of {life.burning.spread:g} ({life.burning.source})."]
              if life.material.receding else []),
            f"Values of {life.material.name}: {life.material.source}.",
        ],
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
    )  # fmt: skip


def _seconds(value: float, life: Life) -> str:
    return f"over {life.horizon_s:g}" if np.isinf(value) else f"{value:.3g}"


def _heat_words(found: DrawnVane) -> list[str]:
    life, end_s = found.life, float(found.time_s[-1])
    words = [
        f"After {end_s:.3g} s the section is at {life.mean_at_k(end_s):.0f} K in the mean; it"
        f" radiates past the next vane to {life.loss.view:.0%} of its view.",
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
