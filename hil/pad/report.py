"""The page of a control check: each vane's way out and back, and what its sensor or an eye told."""

from collections.abc import Iterable, Sequence

from firmware_port.control_check import OFF_MDEG, SLOW_MDEG_MS, STAY_US
from hil.pad.pad_check import ANSWERED, NOT_THROUGH, VaneFound
from mixer.ground.reports.page import Chapter, Picture, Table, Verdict, render_page
from mixer.ground.reports.pictures import MARKERS, SHADE, drawing, series, svg
from mixer.ground.servo_bench.report import rehearsed
from mixer.ground.vehicle.vehicle import Vehicle

CAUTIONS = (
    "A control check turns powered servos by itself, one after the other. Igniters not connected, "
    "no propellant, nobody at nozzle, vanes or linkage; look from where the range's safety officer "
    "lets you stand.",
    "It shows that each vane goes out and back, slowly and without load; not that it holds in a "
    "jet. A sensor that is reversed together with its servo is not found so: an eye on the vanes "
    "is. Local law, the range's safety officer and licensed people decide about tests and flights.",
)
STAY_S = STAY_US / 1e6
UNMEASURED = "Nothing was measured: no angle sensor told anything. Drawn is what was commanded."


def verdict_of(vanes: Sequence[VaneFound], faults: Sequence[str], seen: str | None) -> Verdict:
    """Passed or not, and by whose word: sensors', eyes' or nobody's."""
    if faults:
        return Verdict("fail", "; ".join(faults))
    told = [found.words for found in vanes if found.outcome == ANSWERED]
    silent = listed(found.vane for found in vanes if found.outcome != ANSWERED)
    if silent and seen is not None:
        told.append(f"seen to turn, not measured: {silent}")
    elif silent:
        told.append(f"commanded, neither measured nor seen: {silent}")
    return Verdict("pass", "; ".join(told))


def listed(vanes: Iterable[int]) -> str:
    """Vanes by their numbers; empty where there are none."""
    numbers = ", ".join(map(str, vanes))
    return f"vane {numbers}" if numbers else ""


def check_page(
    vehicle: Vehicle,
    vanes: Sequence[VaneFound],
    deflection_deg: float,
    seen: str | None,
    found: Verdict,
    facts: Sequence[tuple[str, object]],
    rehearsal: bool,
) -> str:
    """The page as HTML."""
    head = ("Vane", "Commanded", "Its sensor", "Seen by eye", "")
    rows = [row_of(each, deflection_deg, seen) for each in vanes]
    note = "Positive is clockwise as seen from outside along the shaft."
    return render_page(
        f"{'Rehearsal: control' if rehearsal else 'Control'} check on the pad",
        f"The vanes of {vehicle.vehicle.name}, each out and back in its turn, slowly, over the "
        "flight computer's line.",
        [
            Chapter("What each vane did", (), [Table(head, rows, note)]),
            Chapter("Out and back", pictures=[picture(vehicle, vanes, deflection_deg)]),
        ],
        facts,
        rehearsed(found) if rehearsal else found,
        CAUTIONS,
    )


def row_of(each: VaneFound, deflection_deg: float, seen: str | None) -> tuple[object, ...]:
    """A vane's row."""
    by_eye = "–" if seen is None else "turned" if str(each.vane) in seen else "did not turn"
    sensor = "–" if each.turned_deg is None else signed(each.turned_deg)
    return each.vane, signed(deflection_deg), sensor, by_eye, each.words.partition(": ")[2]


def signed(angle_deg: float) -> str:
    return f"{angle_deg:+.2f}°".replace("-", "−")


def way_of(vehicle: Vehicle, vane: int, deflection_deg: float) -> tuple[list[float], list[float]]:
    """The corners of a vane's way out, its stay, its way back, its rest: s from its own start, deg.

    The node's own timetable: `firmware_port/control_check.py`.
    """
    slew_deg_s = min(float(SLOW_MDEG_MS), vehicle.servos[vane - 1].slew_deg_s)
    out_s = abs(deflection_deg) / slew_deg_s
    times_s = [0.0, out_s, out_s + STAY_S, 2 * out_s + STAY_S, 2 * out_s + 2 * STAY_S]
    return times_s, [0.0, deflection_deg, deflection_deg, 0.0, 0.0]


def picture(vehicle: Vehicle, vanes: Sequence[VaneFound], deflection_deg: float) -> Picture:
    """Commanded ways over time, and what each sensor told at the end of the vane's stay."""
    measured = any(found.turned_deg is not None for found in vanes)
    off_deg = OFF_MDEG / 1e3
    start_s = 0.0
    with drawing(1, 1, height_in=3.2) as (figure, axes):
        panel = axes[0, 0]
        for found in vanes:
            times_s, way_deg = way_of(vehicle, found.vane, deflection_deg)
            label, looks = f"vane {found.vane}", series(found.vane - 1)
            at_s = [start_s + each for each in times_s]
            if found.outcome == NOT_THROUGH:
                told = f"{label}:\nnot through"
            else:
                told = label
                panel.plot(at_s, way_deg, **looks)
                if measured:
                    span_deg = deflection_deg - off_deg, deflection_deg + off_deg
                    panel.fill_between(at_s[1:3], *span_deg, **SHADE)
            if found.turned_deg is not None:
                mark = MARKERS[found.vane - 1]
                panel.plot(at_s[2], found.turned_deg, mark, color=looks["color"], markersize=8)
            middle_s = 0.5 * (at_s[1] + at_s[2])
            panel.annotate(
                told, (middle_s, 1.02), xycoords=("data", "axes fraction"), ha="center", va="bottom"
            )
            start_s = at_s[-1]
        panel.axhline(0.0, color="#5b6770", linewidth=0.7)
        panel.set(xlabel="time since the check began, s", ylabel="deflection, deg")
    says = (
        "Lines: what the node commanded, by its timetable. Marks: what each vane's sensor had "
        f"turned by when it was read, once, at the end of the stay; within ±{off_deg:g}°, shaded, "
        "it agrees."
        if measured
        else UNMEASURED
    )
    return Picture(svg(figure), says)
