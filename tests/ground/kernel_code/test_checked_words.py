"""No intermediate of the flight core leaves its word: run on integers that check themselves, and
shown by intervals for every vehicle; a vehicle that could overflow is refused."""

import ast
import itertools
import operator
import random

import pytest

from mixer.flight import Steering
from mixer.flight import layout as at
from mixer.ground.inputs.section_errors import VehicleError
from mixer.ground.kernel_code import expressions, statements
from mixer.ground.kernel_code.admitted import admitted
from mixer.ground.kernel_code.bounds import Bounds, bound_cycle
from mixer.ground.kernel_code.c99 import reached
from mixer.ground.kernel_code.language import flight_core
from mixer.ground.kernel_code.spans import COMPARISONS, OPERATIONS, State, WordOverflowError
from mixer.ground.tables.build import flight_tables, words_of
from tests.oracle.cases import random_clocking
from tests.support.strict_words import Word, checked_steering
from tests.support.vehicles import vehicle

CYCLES = 4000
SEED = 41


@pytest.fixture(autouse=True)
def _nothing_proved_before() -> None:
    """Vehicles are proved anew, where a test changes what proves them."""
    bound_cycle.cache_clear()


def test_the_checking_integer_does_check():
    for build in (lambda: Word(2**30) * 2, lambda: 3 * Word(2**30), lambda: Word(1) << 31,
                  lambda: Word(-(2**31)) - 1):  # fmt: skip
        with pytest.raises(OverflowError):
            build()


@pytest.mark.parametrize("policy", ["nearest", "direction"])
def test_no_intermediate_leaves_32_bits(policy, full_size):
    rng = random.Random(SEED)
    print(f"seed {SEED}")
    for clocking in ((45, 135, 225, 315), (0, 91, 180, 266), (5, 40, 170, 215)):
        tables = flight_tables(
            vehicle(
                layout={"clocking_deg": [float(a) for a in clocking]},
                control={"policy": policy},
                vanes={"travel_deg": [[-15.0, 15.0], [0.0, 15.0], [-15.0, 2.0], [-15.0, 15.0]]},
            )
        )
        s = checked_steering(tables)
        most = tables.words[at.MNM_MAX]
        for _ in range(CYCLES // 6 if full_size else CYCLES // 20):
            size = 10 ** rng.uniform(3, 8.7)
            demand = [rng.choice([-1, 1]) * min(most, int(size * rng.random())) for _ in range(2)]
            s.demand(*demand, int(rng.uniform(-1, 1) * 10 ** rng.uniform(2, 8)))
            if rng.random() < 0.05:
                s.jam(rng.randint(1, 4), rng.randint(-15_000, 15_000))
            if rng.random() < 0.1:
                s.free(rng.randint(1, 4))
            s.step(
                rng.choice([0, 100_000, 1_300_000, 2_000_000, 4_000_000, 2**30 - 1]),
                rng.choice([0, 1000, 5000, 5000, 400_000, 16_000_000]),
            )
            assert all(-(2**30) <= word < 2**30 for word in s._w)


def test_every_layout_that_is_taken_has_bounds():
    """The interval pass covers even and uneven layouts, both policies, without false alarms."""
    import numpy as np

    rng = np.random.default_rng(SEED)
    for layout in ("square", "misaligned", "uneven"):
        for policy in ("nearest", "direction"):
            clocking = [float(a) % 360 for a in random_clocking(rng, layout)]
            words = words_of(vehicle(layout={"clocking_deg": clocking}, control={"policy": policy}))
            for low, high in bound_cycle(tuple(words)):
                assert -(2**30) <= low <= high < 2**30


@pytest.mark.parametrize("place", ["MNM_MAX", "ROW_X", "WIDTH", "PULSE_Q", "MOMENT_EXP", "COS"])
def test_a_table_that_could_overflow_is_found(place):
    """Sixteen times larger than what the ground builds, and the pass says which line overflows."""
    words = words_of(vehicle())
    where = getattr(at, place)
    words[where] = words[where] * 16 if not place.endswith(("_Q", "_EXP")) else 0
    if place == "MOMENT_EXP":
        words[where] = -1
    if place == "PULSE_Q":
        where = words[at.SERVO_OFF] + 2
        words[where] *= 64
    with pytest.raises(WordOverflowError):
        bound_cycle(tuple(words))


@pytest.mark.parametrize("place", ["CURVE", "SERVO", "WEAR", "LEVER"])
def test_a_search_that_could_leave_its_table_is_found(place):
    """Each table of straight pieces needs its end: without it the pass says which loop goes on."""
    words = words_of(vehicle())
    offset, points = words[getattr(at, f"{place}_OFF")], words[getattr(at, f"{place}_N")]
    stride = getattr(at, f"{place}_STRIDE")
    last = offset + (points + (place != "SERVO") - (place == "SERVO")) * stride
    words[last] = words[last - stride]
    words[last + 1] = words[last + 1 - stride]
    with pytest.raises(WordOverflowError, match="could leave its table"):
        bound_cycle(tuple(words))


def test_a_place_past_the_tables_is_found():
    words = words_of(vehicle())
    words[at.RATE_OFF] = len(words) - 100
    with pytest.raises(WordOverflowError, match="past the tables"):
        bound_cycle(tuple(words))


def test_a_vehicle_that_could_overflow_is_refused_in_words(monkeypatch):
    monkeypatch.setattr(expressions, "WORD", 1 << 29)
    with pytest.raises(VehicleError, match=r"does not fit the flight core's 32-bit arithmetic"):
        flight_tables(vehicle())


def test_the_bounds_hold_what_steering_does():
    """Random cycles stay within the intervals that the pass found."""
    tables = flight_tables(vehicle())
    spans = bound_cycle(tuple(tables.words))
    rng = random.Random(SEED)
    s = Steering(tables)
    for _ in range(1500):
        s.demand(*(rng.randint(-2_000_000, 2_000_000) for _ in range(3)))
        s.step(rng.choice([2_000_000, 4_000_000]), 5000)
        for word, (low, high) in enumerate(spans):
            assert low <= s._w[word] <= high, word


INTEGERS = {
    ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul,
    ast.LShift: operator.lshift, ast.RShift: operator.rshift, ast.FloorDiv: operator.floordiv,
    ast.BitAnd: operator.and_, ast.BitOr: operator.or_, ast.Mod: operator.mod,
}  # fmt: skip
COMPARED = {
    ast.Lt: operator.lt, ast.LtE: operator.le, ast.Gt: operator.gt, ast.GtE: operator.ge,
    ast.Eq: operator.eq, ast.NotEq: operator.ne,
}  # fmt: skip


def test_interval_arithmetic_encloses_integer_arithmetic():
    rng = random.Random(SEED)
    assert INTEGERS.keys() == OPERATIONS.keys()
    for kind, plain in INTEGERS.items():
        least = 0 if kind is ast.BitOr else -50
        for _ in range(300):
            a = sorted(rng.randint(least, 50) for _ in range(2))
            b = sorted(rng.randint(1, 9) for _ in range(2))
            low, high = OPERATIONS[kind]((a[0], a[1]), (b[0], b[1]))
            for _ in range(10):
                value = plain(rng.randint(*a), rng.randint(*b))
                assert low <= value <= high


@pytest.mark.parametrize("kind", COMPARED)
def test_a_comparison_leaves_the_least_intervals_that_hold_what_can_be(kind):
    """Of all small intervals: for both ways that it can come out."""
    spans = [(lo, hi) for lo in range(-2, 3) for hi in range(lo, 3)]
    for a, b in itertools.product(spans, spans):
        values = itertools.product(range(a[0], a[1] + 1), range(b[0], b[1] + 1))
        ways = {True: [], False: []}
        for x, y in values:
            ways[COMPARED[kind](x, y)].append((x, y))
        for way, found in zip((True, False), COMPARISONS[kind], strict=True):
            least = [(min(side), max(side)) for side in zip(*ways[way], strict=True)]
            assert found(a, b) == (tuple(least) or None)


def test_what_is_put_in_a_state_leaves_those_alone_that_it_was_copied_from():
    state = State({"x": (0, 1)}, [(0, 0), (1, 1)])
    copied = state.copy()
    copied.put(1, (5, 6))
    copied.names["x"] = (1, 1)
    assert state == State({"x": (0, 1)}, [(0, 0), (1, 1)])
    assert copied == State({"x": (1, 1)}, [(0, 0), (5, 6)])


def test_every_function_of_the_cycle_is_bounded(monkeypatch):
    """The pass runs each function that `cycle` can come to; a new one cannot be forgotten."""
    seen = set()
    ends = Bounds.ends

    def noted(self, name, given, words):
        seen.add(name)
        return ends(self, name, given, words)

    monkeypatch.setattr(Bounds, "ends", noted)
    for policy in ("nearest", "direction"):
        one = vehicle(control={"policy": policy}, engine={"believed_pressure": None})
        bound_cycle(tuple(words_of(one)))
    assert seen == reached(flight_core(), {"cycle"})


@pytest.mark.parametrize("told", ["jam", "free", "release", "demand", "start"])
def test_what_a_steering_is_told_stays_within_what_a_cycle_admits(told):
    words = words_of(vehicle())
    anything = (-(2**30), 2**30 - 1)
    given = {"jam": [(0, 0), anything], "free": [(0, 0)], "release": [], "demand": [anything] * 3,
             "start": [(-at.LAST_US, at.LAST_US)] * 2}[told]  # fmt: skip
    before = admitted(words)
    state = State({}, list(before))
    Bounds(words).run(told, given, state)
    for (low, high), (least, most) in zip(state.words, before, strict=True):
        assert least <= low <= high <= most


def test_a_unit_stands_for_the_force_gains_that_the_pass_takes_it_for():
    """What follows the burn is run for each unit with the gains it stands for."""
    s = Steering(flight_tables(vehicle()))
    for pressure in range(0, 4_200_000, 9_973):
        s.step(pressure, 5000)
        unit, gains = s._w[at.UNIT], s._w[at.KAPPA : at.KAPPA + 4]
        (least, most) = dict(statements.UNITS)[unit]
        assert all(least <= gain <= most for gain in gains)
