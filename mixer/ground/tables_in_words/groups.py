"""Flight tables told word by word: what each number is called, what it means, in which unit.

Only the tables themselves are read, so tables that a board sent back can be told as well.
"""

from collections.abc import Iterator

from mixer.flight import FlightTables
from mixer.flight import layout as at
from mixer.ground.inputs.arrays import VANES
from mixer.ground.tables_in_words.fields import Field, Group, Reader

Q14, Q16, Q28 = 2.0**-14, 2.0**-16, 2.0**-28
TICK_S = 2.0**at.TICK * 1e-6
COUNT = 1 / 8  # forces stand in eighths of a count
RATE_CELLS = 64
ENDS = 1 + at.LEAP  # of a table that is searched by leaps: records besides its points
POLICIES = ("nearest", "direction")
PER_LINE = 8


def dump(tables: FlightTables) -> list[Group]:
    """All words of flight tables in groups, every word in exactly one field."""
    read = Reader(tables)
    return [
        Group("room for the steering state", (read.field("not used", 0, at.STATE_WORDS),)),
        control(read),
        pressure(read),
        jam_watch(read),
        demands(read),
        layout(read),
        effort(read),
        *edges(read),
        places(read),
        read.table(
            "burn-load rate over pressure ratio, 1/32 apart from 0 on",
            tables.words[at.RATE_OFF],
            RATE_CELLS,
            ("rate", "", Q14),
            ("rise to the next", "", Q14),
        ),
        *vanes(read),
        *over_burn(read),
    ]


def control(read: Reader) -> Group:
    policy = read.words[at.POLICY]
    named = POLICIES[policy] if 0 <= policy < len(POLICIES) else "unknown"
    return Group(
        "control",
        (
            Field("policy", at.POLICY, (policy,), (named,)),
            read.field("control period", at.PERIOD_US, unit="µs"),
            read.field("demand timeout", at.TIMEOUT_US, unit="µs"),
        ),
    )


def pressure(read: Reader) -> Group:
    return Group(
        "pressure",
        (
            read.field("shift before multiplying", at.PA_SHIFT, unit="bits"),
            read.field("pressure to ratio, multiplier", at.PA_MANT),
            read.field("highest pressure counted", at.PA_MAX, unit="Pa"),
            read.field("no thrust below", at.PA_MIN, unit="Pa"),
            read.field("believed from, share of what is expected", at.BELIEVED_LOW, scale=Q14),
            read.field("believed to", at.BELIEVED_HIGH, scale=Q14),
            read.field("counts as it stands after", at.TRUST_US, unit="s", scale=1e-6),
        ),
    )


def jam_watch(read: Reader) -> Group:
    return Group(
        "jam watch",
        (
            read.field("a healthy vane comes within", at.WATCH_BAND, VANES, "deg", 1e-3),
            read.field("and stands still no longer than", at.WATCH_WAIT_US, VANES, "ms", 1e-3),
        ),
    )


def demands(read: Reader) -> Group:
    return Group(
        "demands and moments",
        (
            read.field("largest pitch or yaw taken", at.MNM_MAX, unit="N·m", scale=1e-3),
            read.field("largest roll taken", at.ROLL_MNM_MAX, unit="N·m", scale=1e-3),
            read.field("pitch and yaw to force, fraction bits", at.GAIN_EXP, unit="bits"),
            read.field("force to pitch and yaw, fraction bits", at.MOMENT_EXP, unit="bits"),
            read.field("roll to force, multiplier", at.ROLL_GAIN),
            read.field("roll to force, fraction bits", at.ROLL_GAIN_EXP, unit="bits"),
            read.field("force to roll, multiplier", at.ROLL_MOMENT),
            read.field("force to roll, fraction bits", at.ROLL_MOMENT_EXP, unit="bits"),
        ),
    )


def layout(read: Reader) -> Group:
    return Group(
        "vanes 1 to 4",
        (
            read.field("cosine of clocking", at.COS, VANES, scale=Q14),
            read.field("sine of clocking", at.SIN, VANES, scale=Q14),
            read.field("cosine, low half", at.COS_LOW, VANES, scale=Q28),
            read.field("sine, low half", at.SIN_LOW, VANES, scale=Q28),
            read.field("slew, whole part", at.SLEW_HIGH, VANES, "deg/s"),
            read.field("slew, what is left", at.SLEW_LOW, VANES, "deg/s", 1e-3),
            read.field("travel from", at.TRAVEL_LO, VANES, "deg", 1e-3),
            read.field("travel to", at.TRAVEL_HI, VANES, "deg", 1e-3),
        ),
    )


def effort(read: Reader) -> Group:
    bits = read.words[at.ROW_Q : at.ROW_Q + VANES]
    own = [2.0**-q for q in bits]
    pairs = [pair for n in range(read.words[at.N_PAIRS]) for pair in pair_fields(read, n)]
    after = at.PAIRS + read.words[at.N_PAIRS] * at.PAIR_STRIDE
    return Group(
        "roll and effort, vanes 1 to 4",
        (
            read.field("fraction bits of the next four", at.ROW_Q, VANES, "bits"),
            read.field("least effort, part of pitch/L", at.ROW_X, VANES, scale=own),
            read.field("least effort, part of yaw/L", at.ROW_Y, VANES, scale=own),
            read.field("least effort, part of roll/R", at.ROW_ROLL, VANES, scale=own),
            read.field("width of a vane's strip", at.WIDTH, VANES, scale=own),
            read.field("null vector", at.NULL, VANES, scale=Q14),
            read.field("null vector over its square", at.NULL_EFFORT, VANES, scale=Q14),
            read.field("pairs of vanes that roll moves apart", at.N_PAIRS),
            *pairs,
            read.field("not used", after, at.N_EDGES - after),
        ),
    )


def pair_fields(read: Reader, n: int) -> Iterator[Field]:
    """One pair of vanes that roll moves apart."""
    first = at.PAIRS + n * at.PAIR_STRIDE
    i, j, _, apart_bits, _, roll_bits, _ = read.words[first : first + at.PAIR_STRIDE]
    yield Field(f"pair {n + 1}, vanes", first, (i, j), (i + 1, j + 1))
    yield read.field(f"pair {n + 1}, how far 1 of roll moves it", first + 2, scale=2.0**-apart_bits)
    yield read.field(f"pair {n + 1}, fraction bits", first + 3, unit="bits")
    yield read.field(f"pair {n + 1}, roll that closes 1 apart", first + 4, scale=2.0**-roll_bits)
    yield read.field(f"pair {n + 1}, fraction bits", first + 5, unit="bits")
    yield read.field(f"pair {n + 1}, largest excess", first + 6)


def edges(read: Reader) -> Iterator[Group]:
    count = read.words[at.N_EDGES]
    after = at.EDGES + count * at.EDGE_STRIDE
    yield Group(
        "edges of the pitch and yaw polygon",
        (
            read.field("directions", at.N_EDGES),
            read.field("not used", after, at.CURVE_OFF - after),
        ),
    )
    for n in range(count):
        first = at.EDGES + n * at.EDGE_STRIDE
        yield Group(f"edge {n + 1}", (
            read.field("normal, pitch and yaw", first, 2, scale=Q14),
            read.field("normal, low halves", first + at.EDGE_LOW, 2, scale=Q28),
            read.field("vanes along the normal, size", first + at.EDGE_SUPPORT, VANES, scale=Q14),
            read.field("vanes along the edge", first + at.EDGE_MIDDLE, VANES, scale=Q14),
            read.field("vanes that make the edge", first + at.EDGE_HALF, VANES, scale=Q14),
            read.field("vanes along the normal", first + at.EDGE_ACROSS, VANES, scale=Q14),
            read.field("vanes along the normal, low halves", first + at.EDGE_ACROSS_LOW, VANES,
                       scale=Q28),
        ))  # fmt: skip


def places(read: Reader) -> Group:
    return Group(
        "where the tables below stand",
        (
            read.field("fraction bits of pulse per deflection", at.PULSE_Q, unit="bits"),
            read.field("burn-load rate, first word", at.RATE_OFF),
            read.field("force curves, first words", at.CURVE_OFF, VANES),
            read.field("force curves, points", at.CURVE_N, VANES),
            read.field("servo tables, first words", at.SERVO_OFF, VANES),
            read.field("servo tables, points", at.SERVO_N, VANES),
            read.field("force curves by deflection, word of cell 0", at.CURVE_CELLS, VANES),
            read.field("force curves by force, word of cell 0", at.FORCE_CELLS, VANES),
            read.field("servo tables by deflection, word of cell 0", at.SERVO_CELLS, VANES),
            read.field("wear, first word", at.WEAR_OFF),
            read.field("wear, points", at.WEAR_N),
            read.field("lever arm, first word", at.LEVER_OFF),
            read.field("lever arm, points", at.LEVER_N),
            read.field("expected pressure, first word", at.EXPECTED_OFF),
            read.field("expected pressure, points", at.EXPECTED_N),
        ),
    )


def vanes(read: Reader) -> Iterator[Group]:
    """Force curves and servo tables, a line for the start of each straight piece.

    Below and above a force curve the deflection stands still; its last piece ends 0.001° late, so
    that the end of travel still belongs to it. Vanes that are alike share one table.
    """
    words = read.words
    for vane in first_of_each(read, at.CURVE_OFF):
        yield read.records(
            f"vane {vane + 1}, force curve",
            words[at.CURVE_OFF + vane],
            words[at.CURVE_N + vane] + 2,
            ("deflection", "deg", 1e-3),
            ("force", "counts", COUNT),
            ("counts per deg", "counts/deg", Q14 * COUNT * 1e3),
            ("deg per count", "deg/count", Q16 / COUNT * 1e-3),
        )
        yield Group(
            f"vane {vane + 1}, where on the curve a search begins",
            (
                angle_cells(read, vane, at.CURVE_CELLS),
                read.field("by force", words[at.FORCE_CELLS + vane], at.FORCE_CELLS_MASK + 1),
            ),
        )
    per_deg = 2.0 ** -words[at.PULSE_Q]
    for vane in first_of_each(read, at.SERVO_OFF):
        yield read.records(
            f"servo {vane + 1}", words[at.SERVO_OFF + vane], words[at.SERVO_N + vane],
            ("deflection", "deg", 1e-3), ("pulse", "µs", 1e-3), ("µs per deg", "µs/deg", per_deg),
        )  # fmt: skip
        begins = angle_cells(read, vane, at.SERVO_CELLS)
        yield Group(f"servo {vane + 1}, where in the table a search begins", (begins,))


def first_of_each(read: Reader, where: int) -> Iterator[int]:
    """The vanes, 0 to 3, without those whose table an earlier one has."""
    offsets = read.words[where : where + VANES].tolist()
    return (vane for vane in range(VANES) if offsets.index(offsets[vane]) == vane)


def angle_cells(read: Reader, vane: int, where: int) -> Field:
    """The first records of a vane's cells of deflection."""
    lo, hi = (read.words[end + vane] >> at.ANGLE_CELL for end in (at.TRAVEL_LO, at.TRAVEL_HI))
    return read.field("by deflection", read.words[where + vane] + lo, hi - lo + 1)


def over_burn(read: Reader) -> Iterator[Group]:
    """Wear, lever arm and expected pressure, a line for the start of each straight piece; flat at
    both ends, the last of which stands several times, for a search that leaps.
    """
    words = read.words
    wear = [("burn load", "s", TICK_S)]
    for vane in range(1, VANES + 1):
        wear += [(f"vane {vane}", "", Q14), (f"vane {vane} per s", "1/s", Q14 * Q16 / TICK_S)]
    yield read.records("effectiveness", words[at.WEAR_OFF], words[at.WEAR_N] + ENDS, *wear)
    force, moment = COUNT * 2.0 ** -words[at.GAIN_EXP] * 1e3, 2.0 ** -words[at.MOMENT_EXP] * 2e-3
    yield read.records(
        "lever arm",
        words[at.LEVER_OFF],
        words[at.LEVER_N] + ENDS,
        ("burn time", "s", TICK_S),
        ("force for a moment", "counts/(N·m)", force),
        ("per s", "counts/(N·m·s)", force / TICK_S),
        ("moment for a force", "N·m/count", moment),
        ("per s of it", "N·m/(count·s)", moment * 2.0**-15 / TICK_S),
    )
    yield read.records(
        "expected pressure",
        words[at.EXPECTED_OFF],
        words[at.EXPECTED_N] + ENDS,
        ("burn time", "s", TICK_S),
        ("ratio", "", Q14),
        ("ratio per s", "1/s", Q14 * 2.0**-15 / TICK_S),
    )
