"""The text of a vehicle file that is begun: what is known, and what is to be measured, marked."""

from collections.abc import Iterator

import tomlkit

from mixer.ground.new_vehicle.answers import Answers
from mixer.ground.unfinished.to_be_measured import mark

# A sketch of a vane in shares of the nozzle's exit radius: key, share, what it is. Not a design:
# something of the right size to put one's own drawing in the place of.
SKETCH = (
    ("span_mm", 0.91, "from the shaft's end of the blade to its tip"),
    ("root_chord_mm", 1.59, ""),
    ("tip_chord_mm", 1.42, ""),
    ("thickness_mm", 0.2, "at the root; the same share of the chord all along"),
    ("trailing_edge_thickness_mm", 0.032, "a sharp tail burns back"),
    ("leading_edge_radius_mm", 0.034, ""),
    ("hinge_line_mm", 0.356, "behind the leading edge"),
    ("immersed_span_mm", 0.72, "of the span, from the tip to the exit's radius"),
    ("distance_behind_exit_mm", 0.126, ""),
)
ROLL_ARM = 0.635  # of the exit radius, where such a sketch's force acts
TRAVEL_DEG = 15.0
HEAD = """\
# Begun by fourvane new. Every line marked TO BE MEASURED holds a value to begin with, or none yet;
# the mark says what measures it. Commands that measure take their marks away; where you measure by
# hand, take it away yourself. fourvane handover lists the marks that are left.
# Units stand at the end of each name. Signs and axes: README, "Axes and signs".
"""
TAIL = """\

# What the steering has to give, so that something is judged: take the # away and state your own.
# [requirements]
# pitch_nm =            # within reach both ways, by itself; yaw_nm, roll_nm too
# attitude_error_deg =  # in the simulated flights; roll_rate_deg_s, margin_percent too

# What each servo has to do on the bench (fourvane bench all): see hil/README.md.
# [acceptance]
# backlash_deg =
# latency_ms =
"""
FLOWN = ("mass_kg", "inertia_roll_kg_m2", "inertia_pitch_kg_m2", "diameter_m",
         "centre_of_pressure_m")  # fmt: skip


def begun(known: Answers) -> str:
    """The whole text."""
    return HEAD + "\n".join(lines(known)) + "\n" + TAIL


def lines(known: Answers) -> Iterator[str]:
    """Table by table."""
    yield from ("", "[vehicle]", f"name = {tomlkit.string(known.name).as_string()}", "", "[engine]")
    words = "the reference for every force in this file"
    yield stated("engine.chamber_pressure_bar", known.chamber_pressure_bar, words)
    yield stated("engine.thrust_n", known.thrust_n, "at that pressure, without vanes")
    yield stated("engine.burn_time_s", known.burn_time_s, "the longest")
    yield measured("engine.specific_heat_ratio", 1.2)
    yield stated("engine.throat_diameter_mm", known.throat_diameter_mm, "")
    yield stated("engine.expansion_ratio", known.expansion_ratio, "exit area over throat area")
    yield '# propellants = "lox/ethanol"      # what the exhaust burns of graphite; mixture_ratio'
    yield from layout(known)
    yield from vanes(known)
    yield from ("", "[servos]", measured("servos.slew_deg_s", 250.0))
    yield measured("servos.neutral_us", 1500.0)
    yield measured("servos.us_per_deg", 10.0)
    yield measured("servos.latency_ms", None)
    yield measured("servos.backlash_deg", None)
    yield from (
        "",
        "[control]",
        "rate_hz = 200                      # how often the flight computer sends a demand",
        'policy = "nearest"                 # or "direction": where a demand out of reach goes',
        "demand_timeout_ms = 100            # without a demand for so long: vanes to neutral",
        "",
        "# For the simulated flights: take the # away from all of these.",
        "# [rocket]",
    )
    for key in FLOWN:
        yield measured(f"rocket.{key}", None)


def layout(known: Answers) -> Iterator[str]:
    """[layout]: where the vanes stand."""
    yield from ("", "[layout]")
    first = 45.0 if known.first_vane_deg is None else known.first_vane_deg
    turns = [first + turn for turn in (0.0, 90.0, 180.0, 270.0)]
    if known.first_vane_deg is None:
        yield measured("layout.clocking_deg", turns)
    else:
        yield stated("layout.clocking_deg", turns, "of vanes 1 to 4, from starboard towards down")
    radius_mm = known.exit_radius_mm
    arm_m = None if radius_mm is None else round(1e-3 * ROLL_ARM * radius_mm, 4)
    yield measured("layout.roll_arm_m", arm_m)
    arms = known.lever_arm_m
    if arms is None or len(arms) == 1 or known.burn_time_s is None:
        words = "vane shafts to centre of gravity"
        yield stated("layout.lever_arm_m", None if arms is None else arms[0], words)
    else:
        over_burn = f"{{ time_s = [0.0, {known.burn_time_s!r}], m = {list(arms)!r} }}"
        yield f"lever_arm_m = {over_burn}  # over the burn: vane shafts to centre of gravity"


def vanes(known: Answers) -> Iterator[str]:
    """[vanes]: travel, and a sketch to put a drawing in the place of."""
    yield from ("", "[vanes]", measured("vanes.travel_deg", [-TRAVEL_DEG, TRAVEL_DEG]))
    yield from (
        "",
        "# A sketch in proportion to the nozzle's exit, no design: put your own drawing here.",
        "# fourvane vanes tells what it gives, what it costs and how long it may live.",
        "[vanes.geometry]",
    )
    radius_mm = known.exit_radius_mm
    for key, share, words in SKETCH:
        told = f"# {key} =" if radius_mm is None else f"{key} = {round(share * radius_mm, 1)}"
        yield f"{told:<34} {f'# {words}' if words else ''}".rstrip()
    yield from (
        'section = "double-wedge"           # or "biconvex"',
        'material = "graphite"',
        "# servo_torque_nm =                # what the servo is rated for, at the vane's shaft",
    )


def measured(key: str, value: object) -> str:
    """A line with its mark; commented out where no value is known."""
    name = key.rpartition(".")[2]
    told = f"{name} = {value!r}" if value is not None else f"# {name} ="
    return f"{told:<34} {mark(key)}"


def stated(key: str, value: object, words: str) -> str:
    """A line that was answered for, with a comment; marked where it was left open."""
    if value is None:
        return measured(key, None)
    told = f"{key.rpartition('.')[2]} = {value!r}"
    return f"{told:<34} {f'# {words}' if words else ''}".rstrip()
