"""Every word of the steering state after every command and cycle, as the kernels gave it at first.

Holds one run of the kernels against another in the same process: nothing by itself, but a quick
judge of a kernel changed in between (`python -m tests.tools.mutation`). What the words ought to be
tell the tests of the oracle, of the compiled core and of C.
"""

from array import array
from itertools import product
from random import Random

import pytest

from mixer.flight import FlightTables, commands
from mixer.flight import layout as at
from mixer.flight.cycle import cycle
from mixer.flight.deflect import deflect
from mixer.flight.interpolate import deflection_at, force_at, pulse_at
from mixer.flight.unfit import unfit_word
from mixer.flight.zonotope import of_halves, set_zonotope
from mixer.ground.tables.build import words_of
from tests.support.recorded_cycles import command, conditions, random_demand
from tests.support.unlike_vehicles import POLICIES, UNLIKE
from tests.support.vehicles import vehicle
from tests.tools.table_mutants import mutate

CYCLES = 280
FALLS = 20  # cycles a random walk of one kind lasts
MUTANTS = 250
NAMES = ("unequal", "closely clustered", "fan", "long tables", "short arms")


def tables_of(name: str, policy: str) -> FlightTables:
    """Without the overflow proof, which reads the kernels' text."""
    changes = UNLIKE[name]
    control = {**changes.get("control", {}), "policy": policy}
    return FlightTables(words_of(vehicle(**{**changes, "control": control})))


def flown(tables: FlightTables, seed: int) -> list[bytes]:
    """The state after each cycle, and what each cycle said."""
    source = Random(seed)
    w = array("i", tables.words)
    commands.reset(w)
    seen = []
    demand = (0, 0, 0)
    for n in range(CYCLES):
        if n % FALLS == 0:
            demand = random_demand(tables, source)
        if n % (2 * FALLS) == FALLS:
            edges = (at.MNM_MAX, at.MNM_MAX, at.ROLL_MNM_MAX)
            demand = tuple(source.choice((-1, 1, 0)) * tables.words[edge] for edge in edges)
        command(w, source, demand)
        seen.append(bytes(w[: at.STATE_WORDS]))
        pressure_pa, dt_us = conditions(tables, source)
        said = cycle(w, pressure_pa, dt_us)
        seen.append(bytes(w[: at.STATE_WORDS]) + bytes([said]))
    commands.demand(
        w, *(tables.words[word] + 1 for word in (at.MNM_MAX, at.MNM_MAX, at.ROLL_MNM_MAX))
    )
    seen.append(bytes(w[: at.STATE_WORDS]))
    seen += told(tables) + rounded(tables) + halved(tables) + at_limits(w, tables)
    commands.reset(w)
    return [*seen, bytes(w[: at.STATE_WORDS])]


def at_limits(w: array, tables: FlightTables) -> list[bytes]:
    """Pressures about the steps of the scales, steps of time about their longest."""
    most_pa = tables.words[at.PA_MAX]
    fine_pa = max(most_pa >> 15, 1)
    about = [most_pa // 2 + n * fine_pa for n in range(-4, 9)]
    seen = []
    for load_us in (0, 5_000_000):
        commands.reset(w)
        commands.start(w, 0, load_us)
        commands.demand(w, 20_000, -9_000, 500)
        for pressure_pa in (*about, most_pa - 1, most_pa, most_pa + 1, 0, -1, -(1 << 20), 1 << 30):
            cycle(w, pressure_pa, 5000)
            seen.append(bytes(w[: at.STATE_WORDS]))
    for dt_us in (499_999, 500_001, 15_999_999, 16_000_001, -1, 0, 1):
        cycle(w, most_pa // 2, dt_us)
        seen.append(bytes(w[: at.STATE_WORDS]))
    for start_us in (at.LAST_US - 1, at.LAST_US):
        commands.start(w, start_us, start_us)
        for dt_us in (1, 1000):
            cycle(w, most_pa, dt_us)
            seen.append(bytes(w[: at.STATE_WORDS]))
    return seen


def changed_and_taken(tables: FlightTables) -> FlightTables:
    """Tables that the check takes though their edges of Z do not go round in order."""
    mutant = FlightTables(tables.words)
    for place in range(at.EDGES, at.EDGES + 2):
        other = place + at.EDGE_STRIDE
        mutant.words[place], mutant.words[other] = mutant.words[other], mutant.words[place]
    assert unfit_word(mutant.words, len(mutant.words)) == 0
    return mutant


def halved(tables: FlightTables) -> list[bytes]:
    """Middles and supports of Z at the half that rounding turns on, and just below it."""
    w = array("i", tables.words)
    commands.reset(w)
    w[at.UNIT] = 1
    seen = []
    for row, part in product((at.COS, at.SIN, at.EDGES + at.EDGE_SUPPORT), (8191, 8192)):
        for vane in range(at.VANES):
            if w[row + vane] % 2:
                found = part * pow(w[row + vane], -1, 16384) % 16384
                for other in range(at.VANES):
                    w[at.FIRST_BOX + other] = w[at.FIRST_BOX + at.VANES + other] = 0
                    w[at.HALF + other] = 0
                w[at.HALF + vane] = found
                seen.append(of_halves(w, row).to_bytes(4, "little", signed=True))
                w[at.FIRST_BOX + vane] = w[at.FIRST_BOX + at.VANES + vane] = 2 * found
                set_zonotope(w, at.FIRST_BOX)
                seen.append(bytes(w[: at.STATE_WORDS]))
    return seen


def told(tables: FlightTables) -> list[bytes]:
    """Demands at their limits and beyond, axis by axis; vanes jammed past both ends, and freed."""
    w = array("i", tables.words)
    commands.reset(w)
    seen = [bytes(w[: at.STATE_WORDS])]
    limits = (at.MNM_MAX, at.MNM_MAX, at.ROLL_MNM_MAX)
    for (axis, limit), sign, more in product(enumerate(limits), (-1, 1), (-1, 0, 1)):
        commands.demand(w, 1, 2, 3)
        wanted = [0, 0, 0]
        wanted[axis] = sign * (w[limit] + more)
        said = commands.demand(w, *wanted)
        seen.append(bytes(w[: at.STATE_WORDS]) + bytes([said]))
    for vane, deflection in product(range(at.VANES), (-90_000, 1, 90_000)):
        commands.jam(w, vane, deflection)
        seen.append(bytes(w[: at.STATE_WORDS]))
    for vane in (2, 0, 3, 1):
        commands.free(w, vane)
        seen.append(bytes(w[: at.STATE_WORDS]))
    for pressure_pa in (tables.words[at.PA_MIN] - 1, tables.words[at.PA_MIN]):
        seen.append(bytes([cycle(w, pressure_pa, 1)]))
    commands.reset(w)
    cycle(w, tables.words[at.PA_MAX] // 2, 16_000_000)  # the first step of load tells RATE
    return [*seen, bytes(w[: at.STATE_WORDS])]


def rounded(tables: FlightTables) -> list[bytes]:
    """Moments of forces whose parts lie at the half that rounding turns on, and just below it."""
    w = array("i", tables.words)
    commands.reset(w)
    cycle(w, tables.words[at.PA_MAX] // 2, 5000)
    seen = []
    for vane, row, part, more in product(range(at.VANES), (at.COS, at.SIN), (8191, 8192), range(4)):
        if w[row + vane] % 2:
            for other in range(at.VANES):
                w[at.FORCE + other] = 0
            w[at.FORCE + (vane + 1) % at.VANES] = 3 * more
            w[at.FORCE + vane] = part * pow(w[row + vane], -1, 16384) % 16384
            deflect(w)
            seen.append(bytes(w[: at.STATE_WORDS]))
    return seen


def swept(tables: FlightTables) -> list[int]:
    """Curves at every force, and about their records and those of servos' tables at every angle."""
    w = tables.words
    read = []
    for vane in range(at.VANES):
        read += [deflection_at(w, vane, force) for force in range(-33_000, 33_001, 1 + vane)]
        for offset, points, stride in (
            (at.CURVE_OFF, at.CURVE_N, at.CURVE_STRIDE),
            (at.SERVO_OFF, at.SERVO_N, at.SERVO_STRIDE),
        ):
            for n in range(w[points + vane]):
                start = w[w[offset + vane] + n * stride]
                for angle in range(start - 2, start + 3):
                    held = min(max(angle, w[at.TRAVEL_LO + vane]), w[at.TRAVEL_HI + vane])
                    read += [force_at(w, vane, held), pulse_at(w, vane, held)]
    return read


FLOWN = {(name, policy): tables_of(name, policy) for name in NAMES for policy in POLICIES}
FLOWN["thin gas", "nearest"] = FlightTables(
    words_of(vehicle(engine={"chamber_pressure_bar": 0.01}))
)
FLOWN["no ground built it", "nearest"] = changed_and_taken(FLOWN["fan", "nearest"])
AT_FIRST = {key: flown(tables, 7) for key, tables in FLOWN.items()}


def judged() -> list[int]:
    """What the check of flight tables says of mutants."""
    source = Random(8)
    tables = list(FLOWN.values())
    mutants = [mutate(source.choice(tables), source) for _ in range(MUTANTS)]
    return [unfit_word(mutant.words, len(mutant.words)) for mutant in mutants]


JUDGED_AT_FIRST = judged()
SWEPT = [FLOWN[name, "nearest"] for name in ("unequal", "short arms")]
SWEPT_AT_FIRST = [swept(tables) for tables in SWEPT]


@pytest.mark.parametrize(("name", "policy"), FLOWN)
def test_the_kernels_give_the_words_that_they_gave(name: str, policy: str) -> None:
    assert flown(FLOWN[name, policy], 7) == AT_FIRST[name, policy]


def test_the_check_of_flight_tables_says_what_it_said() -> None:
    assert judged() == JUDGED_AT_FIRST


def test_every_angle_and_force_is_read_as_it_was() -> None:
    assert [swept(tables) for tables in SWEPT] == SWEPT_AT_FIRST
