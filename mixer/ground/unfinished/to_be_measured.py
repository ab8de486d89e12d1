"""What of a vehicle file is still to be measured: how each value is got, and the mark beside it.

`fourvane new` writes the marks, whatever measures a value takes its mark away, and a file that is
refused for want of a value says how to get it.
"""

import re
from collections.abc import Collection, Iterator

MARK = "TO BE MEASURED"
BENCH = "fourvane bench all, then fourvane servo adopt"
STATIC = "fourvane identify, from a static test (fourvane identify --plan tells which)"
CURVE = "a static test; or draw the vane in [vanes.geometry]: fourvane vanes computes the curve"
WEIGHED = "weighed or computed from the drawing, full tanks and empty tanks"
HOW = {
    "engine.chamber_pressure_bar": "the chamber's own static burns, without vanes",
    "engine.thrust_n": "a static burn without vanes, at that pressure",
    "engine.burn_time_s": "a static burn with full tanks",
    "engine.throat_diameter_mm": "the nozzle's drawing, or a plug gauge",
    "engine.expansion_ratio": "the nozzle's drawing: exit area over throat area",
    "engine.specific_heat_ratio": "the exhaust's, from the propellants; about 1.2",
    "layout.clocking_deg": "the drawing; fourvane bench wiggle checks it, fourvane identify finds "
    "misclocking",
    "layout.roll_arm_m": "fourvane vanes, from the drawing; then " + STATIC,
    "layout.lever_arm_m": "balance the rocket, full and empty: vane shafts to centre of gravity",
    "vanes.travel_deg": "the linkage's stops; fourvane vanes tells what it costs",
    "vanes.deflection_deg": CURVE,
    "vanes.force_n": CURVE,
    "vanes.geometry": "draw the vane; fourvane vanes then computes what it gives",
    "erosion.effectiveness": "fourvane erosion fit, from vanes inspected after a burn",
    "servos.slew_deg_s": BENCH,
    "servos.neutral_us": BENCH,
    "servos.us_per_deg": BENCH,
    "servos.latency_ms": BENCH,
    "servos.backlash_deg": BENCH,
    "rocket": "mass_kg, inertia_roll_kg_m2, inertia_pitch_kg_m2, diameter_m and "
    "centre_of_pressure_m, " + WEIGHED,
    "rocket.mass_kg": WEIGHED,
    "rocket.inertia_roll_kg_m2": "swung on two wires, or computed, full tanks and empty tanks",
    "rocket.inertia_pitch_kg_m2": "swung on two wires, or computed, full tanks and empty tanks",
    "rocket.diameter_m": "the drawing",
    "rocket.centre_of_pressure_m": "the airframe's drawing, by the method of your choice",
}
LINE = re.compile(
    rf"^\s*(?P<off>#\s*)?(?P<key>[A-Za-z0-9_]+)\s*=.*?#\s*{MARK}(?::\s*(?P<words>.*))?$"
)
TABLE = re.compile(r"^\s*(?:#\s*)?\[(?P<name>[A-Za-z_.]+)\]")


def mark(key: str) -> str:
    """The comment beside a value that is still to be measured."""
    return f"# {MARK}: {HOW[key]}"


def how_to_get(key: str) -> str:
    """How a value is got, to stand behind what is said of its lack; empty where it is chosen."""
    table = key.rpartition(".")[0]
    known = key if key in HOW else table if table == "vanes.geometry" else ""
    return f"; to be measured: {HOW[known]}" if known else ""


def marked_lines(text: str) -> Iterator[tuple[int, str, str]]:
    """Every mark in a vehicle file: its line, the key, and how that is measured."""
    table = ""
    for number, line in enumerate(text.splitlines(), 1):
        if head := TABLE.match(line):
            table = f"{head['name']}."
        if found := LINE.match(line):
            yield number, f"{table}{found['key']}", f"{MARK}: {found['words'] or 'how is not said'}"


def unmarked(text: str, keys: Collection[str]) -> str:
    """The text without the marks of keys that have been measured."""
    done = {number for number, key, _ in marked_lines(text) if key in keys}
    if not done:
        return text
    kept = []
    for number, line in enumerate(text.splitlines(keepends=True), 1):
        found = LINE.match(line.rstrip("\r\n"))
        if number not in done or found is None:
            kept.append(line)
        elif not found["off"]:
            end = line[len(line.rstrip("\r\n")) :]
            kept.append(line.partition(f"# {MARK}")[0].rstrip() + end)
    return "".join(kept)
