"""The report of one simulated flight, as a page and as facts for other programs."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from hil.ascent import pictures as draw
from hil.ascent.history import Ascent, History
from hil.engine.nozzle import nozzle_of
from hil.faults.faults import Fault
from hil.flights.cautions import FLYING_CAUTION, LEFT_OUT, NOTHING_REQUIRED
from hil.flights.verdict import Judgement
from hil.rocket.dispersion import drawn, nominal
from hil.rocket.draws import DRAWS
from mixer.flight.layout import DOUBTED_PRESSURE, FLAG_NAMES
from mixer.ground.reports.page import CAUTIONS, Chapter, Picture, Table, Verdict, render_page
from mixer.ground.reports.pictures import svg
from mixer.ground.vehicle.requirements import Requirements
from mixer.ground.vehicle.vehicle import Vehicle


def separation_words(vehicle: Vehicle, ascent: Ascent) -> str:
    """From when on in the tail-off the vanes stand in a jet that has left the nozzle's wall."""
    nozzle, history = nozzle_of(vehicle), ascent.history
    height_m = history.height_m[-1] + vehicle.needs_rocket().launch_altitude_m
    least_bar = nozzle.separation_bar(float(height_m))
    if least_bar is None:
        return (
            "Where in the tail-off the flow leaves the nozzle's wall cannot be told: the vehicle "
            "file has no expansion_ratio and specific_heat_ratio. There the vanes promise nothing."
        )
    lit = history.time_s > vehicle.needs_rocket().start_up_s
    low = np.flatnonzero(lit & (history.true_pressure_bar < least_bar))
    when = f"from {history.time_s[low[0]]:.2f} s on" if len(low) else "after the last cycle here"
    return (
        f"Under {least_bar:.1f} bar of chamber pressure, {when}, the flow leaves the nozzle's wall "
        "(exit pressure below 0.4 of the ambient at that height, Summerfield's rule [memory]): the "
        "jet wanders, which is not in this flight, and what the vanes give there is not promised."
    )


def facts(ascent: Ascent, judgements: Sequence[Judgement]) -> dict[str, Any]:
    """The figures of a flight, by names that tell their units."""
    tally, history = ascent.tally, ascent.history
    judged = max(int(tally.cycles[0]), 1)
    return {
        "passes": passes(judgements),
        "left_the_rail": bool(tally.cycles[0]),
        "attitude_error_deg": judgements[0].value,
        "attitude_error_time_s": judgements[0].time_s,
        "roll_rate_deg_s": judgements[1].value,
        "roll_rate_time_s": judgements[1].time_s,
        "margin_percent": judgements[2].value,
        "margin_time_s": judgements[2].time_s,
        "height_m": float(tally.height_m[0]),
        "cycles": len(history.time_s),
        "demand_frames_lost": int(tally.frames_lost[0]),
        "flagged_percent": {
            name: round(100.0 * int(count) / judged, 2)
            for name, count in zip(FLAG_NAMES, tally.flagged[:, 0], strict=True)
        },
    }


def passes(judgements: Sequence[Judgement]) -> bool | None:
    """Whether all that was required was met; None where nothing was."""
    found = verdict(judgements).outcome
    return None if found == "open" else found == "pass"


def verdict(judgements: Sequence[Judgement]) -> Verdict:
    """Pass or fail, and why."""
    if not np.isfinite(judgements[0].value):
        return Verdict("fail", "The rocket never left the rail under thrust.")
    failed = [row for row in judgements if not row.passes]
    if failed:
        return Verdict("fail", "; ".join(sentence(row) for row in failed) + ".")
    judged = [row for row in judgements if row.limit is not None]
    if not judged:
        return Verdict("open", NOTHING_REQUIRED, "not judged")
    return Verdict("pass", "; ".join(sentence(row) for row in judged) + ".")


def sentence(row: Judgement) -> str:
    """One requirement in words."""
    limit = "" if row.limit is None else f" ({'at most' if row.most else 'at least'} {row.limit:g})"
    return f"{row.name} {row.value:z.2f} {row.unit} at {row.time_s:.2f} s{limit}"


def pressure_words(history: History) -> str:
    """What the picture of the pressure shows, and for how long a reading was not believed."""
    doubted = (history.flags.astype(int) & DOUBTED_PRESSURE) != 0
    if not doubted.any():
        return "The pressure is what the sensor says; every reading was believed."
    time_s = history.time_s
    seconds = float(np.diff(time_s, append=time_s[-1])[doubted].sum())
    instead = "; what counted instead is drawn beside it"
    return (
        f"The pressure is what the sensor says. For {seconds:.2f} s, first at "
        f"{time_s[doubted][0]:.2f} s, it was not believed"
        f"{instead if np.isfinite(history.counted_bar).all() else ''}."
    )


def draw_chapter(vehicle: Vehicle, seed: int | None) -> list[Chapter]:
    """How this seed's flight differs from the vehicle file; none without dispersion."""
    if seed is None:
        return []
    drawn_truth, file = drawn(vehicle, seed), nominal(vehicle)
    rows = [
        (name, f"{float(size(file)[0]):.4g}", f"{float(size(drawn_truth)[0]):.4g}")
        for name, size in DRAWS.items()
    ]
    text = (
        "1 is as the file says for what is a share; lengths in m, angles in rad (vane angles in "
        "deg), wind in m/s, time in s. Of vanes and servos the one that is off farthest."
    )
    head = ("", "in the file", "in this flight")
    return [Chapter(f"What seed {seed} drew", [text], [Table(head, rows)])]


def page(
    vehicle: Vehicle,
    ascent: Ascent,
    judgements: Sequence[Judgement],
    steered_by: str,
    seed: int | None,
    faults: Sequence[Fault],
) -> str:
    """The HTML report."""
    limits = vehicle.requirements or Requirements()
    history = ascent.history
    figures = facts(ascent, judgements)
    cells = [
        (
            row.name,
            f"{row.value:z.2f} {row.unit}",
            f"{row.time_s:.2f} s",
            "not judged"
            if row.limit is None
            else f"{'at most' if row.most else 'at least'} {row.limit:g} {row.unit}",
            "pass" if row.passes else "FAIL",
        )
        for row in judgements
    ]
    flagged = [(name, f"{share} %") for name, share in figures["flagged_percent"].items()]
    return render_page(
        f"Simulated ascent: {vehicle.vehicle.name}",
        "One flight of the steering code with a simulated rocket round it, from ignition through "
        "the tail-off. Grey: on the rail, and after the tail-off began; not judged.",
        [
            Chapter(
                "What was required",
                tables=[Table(("", "reached", "when", "required", ""), cells)],
            ),
            Chapter(
                "Attitude",
                pictures=[Picture(svg(draw.attitude(history, limits)), "Tilt and its rates.")],
            ),
            Chapter(
                "Roll",
                pictures=[
                    Picture(
                        svg(draw.roll(history, limits)),
                        "Roll is the axis that gives way first.",
                    )
                ],
            ),
            Chapter(
                "Pitch and yaw moments",
                pictures=[
                    Picture(
                        svg(draw.moments(history)),
                        "What was asked for, what the true vanes gave, and what disturbed.",
                    )
                ],
            ),
            Chapter(
                "Vanes",
                pictures=[
                    Picture(
                        svg(draw.deflections(history, vehicle)),
                        "Commanded and true deflection; dotted: travel.",
                    )
                ],
            ),
            Chapter(
                "Authority margin",
                ["How much of the pitch and yaw that the true vanes can reach was left unused."],
                tables=[Table(("flag", "share of the judged cycles"), flagged)],
                pictures=[Picture(svg(draw.margin(history, limits)), "0 %: on the edge of reach.")],
            ),
            Chapter(
                "Flight path",
                [separation_words(vehicle, ascent)],
                pictures=[Picture(svg(draw.path(history)), pressure_words(history))],
            ),
            *draw_chapter(vehicle, seed),
            Chapter("What this flight does not tell", LEFT_OUT),
        ],
        facts=[
            ("Vehicle file", vehicle.path),
            ("Steered by", steered_by),
            ("Dispersion", "none" if seed is None else f"seed {seed}"),
            ("Failures", "; ".join(map(str, faults)) or "none"),
            ("Control cycles", f"{len(history.time_s)} at {vehicle.control.rate_hz:g} Hz"),
            ("Height when the tail-off began", f"{figures['height_m']:.0f} m"),
        ],
        verdict=verdict(judgements),
        cautions=(FLYING_CAUTION, *CAUTIONS),
    )
