"""`allocate_batch` and `Steerings` against `Steering`, bit for bit.

FOURVANE_BATCH_ROWS sets how many random rows are compared (30 000 unless set).
"""

import functools
import gc
import os
import tracemalloc

import numpy as np
import pytest

from mixer.flight import Steering
from mixer.flight import layout as at
from mixer.ground.batch import allocate_batch as batch
from mixer.ground.batch import cores
from mixer.ground.batch import steerings as steering_block
from mixer.ground.batch.allocate_batch import allocate_batch
from mixer.ground.batch.compiled import Compiled, Plain, compiled
from mixer.ground.batch.steerings import Steerings
from mixer.ground.tables.build import flight_tables
from mixer.ground.tables.scales import largest_force_n
from tests.support.vehicles import vehicle

ROWS = int(os.environ.get("FOURVANE_BATCH_ROWS", "30000"))
SEED = 70_261_125
POLICIES = ("nearest", "direction")
UNEVEN_CURVES = {
    "travel_deg": [[-15.0, 15.0], [-15.0, 12.0], [-20.0, 20.0], [-12.5, 18.0]],
    "deflection_deg": [
        [-15.0, 0.0, 15.0],
        [-15.0, -6.0, 0.0, 5.0, 12.0],
        [-20.0, -10.0, 10.0, 20.0],
        [-20.0, 0.0, 20.0],
    ],
    "force_n": [
        [-200.0, 0.0, 200.0],
        [-190.0, -90.0, 2.0, 70.0, 150.0],
        [-250.0, -140.0, 150.0, 240.0],
        [-150.0, -5.0, 180.0],
    ],
    "drag_n": None,
}
ONE_SIDED = {"travel_deg": [[0.0, 15.0], [-15.0, 0.0], [-15.0, 15.0], [-2.0, 15.0]]}
WORN = {
    "load_s": [0.0, 5.0, 26.0],
    "effectiveness": [[1.0, 0.9, 0.5], [1.0, 0.98, 0.9], [1.0, 1.05, 0.8], [1.0, 0.7, 0.3]],
}
SERVOS = {"neutral_us": [1500.0, 1480.0, 1520.0, 1510.0], "us_per_deg": [10.0, -9.0, 8.5, -11.0]}
VEHICLES = {
    "eighth turns": {},
    "quarter turns": {"layout": {"clocking_deg": [0.0, 90.0, 180.0, 270.0]}, "servos": SERVOS},
    "misaligned": {"layout": {"clocking_deg": [0.0, 90.3, 180.0, 269.9]}, "erosion": WORN},
    "odd": {"layout": {"clocking_deg": [20.0, 115.0, 195.0, 290.0]}, "vanes": UNEVEN_CURVES},
    "uneven": {"layout": {"clocking_deg": [3.0, 60.0, 200.0, 300.0]}, "erosion": None},
    "one-sided": {"vanes": ONE_SIDED, "erosion": WORN},
    "uneven curves": {"vanes": UNEVEN_CURVES, "erosion": WORN, "servos": SERVOS},
    "short arms": {"layout": {"lever_arm_m": 0.3, "roll_arm_m": 0.02}, "vanes": UNEVEN_CURVES},
}
FAST = 1 << 29  # in 0.001° a ms: within 1 µs any deflection can be reached


@functools.cache
def car_and_tables(name, policy):
    car = vehicle(**VEHICLES[name], control={"policy": policy})
    return car, flight_tables(car)


def random_demands(rng, rows):
    """From well inside to a thousand times outside, N·m."""
    demands = rng.normal(size=(rows, 3)) * [250.0, 250.0, 8.0]
    demands *= 10 ** rng.uniform(-1, 3, (rows, 1)) * 10 ** rng.uniform(-1, 0.5, (rows, 3))
    return demands


def random_conditions(rng, rows, kind):
    """Keyword arguments of `allocate_batch`."""
    jammed = np.where(rng.random((rows, 4)) < 0.3, rng.uniform(-25, 25, (rows, 4)), np.nan)
    return {
        "shared": {
            "burn_time_s": rng.uniform(0, 26),
            "chamber_pressure_bar": rng.uniform(0.5, 40),
            "jammed": rng.choice([np.nan, np.nan, np.nan, 4.0], 4),
        },
        "burn time": {"burn_time_s": rng.uniform(0, 30, rows)},
        "pressure": {"burn_time_s": 3.0, "chamber_pressure_bar": rng.uniform(0, 40, rows)},
        "jammed": {"burn_time_s": 11.0, "jammed": jammed},
        "everything": {
            "burn_time_s": rng.uniform(0, 1100, rows),
            "burn_load_s": rng.uniform(0, 40, rows),
            "chamber_pressure_bar": rng.choice([0.3, 5.0, 20.0, 33.0, 40.0], rows),
            "jammed": jammed,
        },
    }[kind]


CONDITIONS = ("shared", "burn time", "pressure", "jammed", "everything")


def alone(tables, demands_nm, burn_time_s=0.0, burn_load_s=None, chamber_pressure_bar=20.0,
          jammed=(np.nan,) * 4):  # fmt: skip
    """Each row by one `Steering` whose slew holds nothing back: deflections, pulses, forces,
    flags and moments in mN·m, (N, 16)."""
    rows = len(demands_nm)
    load_s = burn_time_s if burn_load_s is None else burn_load_s
    steering = Steering(tables)
    state = steering._w
    state[at.SLEW_HIGH : at.SLEW_HIGH + 4] = type(state)("i", [FAST] * 4)
    given = (
        np.rint(np.asarray(demands_nm) * 1000),
        np.minimum(np.rint(np.broadcast_to(burn_time_s, rows) * 1e6), 1e9),
        np.minimum(np.rint(np.broadcast_to(load_s, rows) * 1e6), 1e9),
        np.rint(np.broadcast_to(chamber_pressure_bar, rows) * 1e5),
    )
    stands = np.broadcast_to(jammed, (rows, 4)).tolist()
    outputs = []
    for demand, time_us, load_us, pressure_pa, places in zip(
        *(values.astype(int).tolist() for values in given), stands, strict=True
    ):
        for vane, place_deg in enumerate(places, 1):
            if place_deg == place_deg:
                steering.jam(vane, round(place_deg * 1000))
            else:
                steering.free(vane)
        steering.start(time_us - 1, load_us)
        state[at.RATE] = state[at.LOAD_FRACTION] = 0  # so that 1 µs adds no burn load
        assert steering.demand(*demand)
        flags = steering.step(pressure_pa, 1)
        assert (steering.time_us, steering.load_us) == (time_us, load_us)
        outputs.append(
            [
                *steering.deflection_mdeg,
                *steering.pulse_ns,
                *steering.force,
                flags,
                *steering.moment_mnm,
            ]
        )
    return np.array(outputs)


def integers_of(result):
    """Deflections in 0.001°, pulses in ns, forces, flags: (N, 13)."""
    return np.column_stack(
        [
            np.rint(result.deflections_deg * 1000),
            np.rint(result.pulses_us * 1000),
            result.force_eighths,
            result.flags,
        ]
    ).astype(int)


def counts_in_mnm(car, counts):
    """(3,): what some counts of force give about each axis. The flight core's moments come from
    half counts, Q14 cosines and gains of 14 bits."""
    arms_m = [car.layout.lever_arm_m.m.max()] * 2 + [car.layout.roll_arm_m]
    return counts * largest_force_n(car) / 4096 * np.array(arms_m) * 1000


def within_range(tables, demands_nm):
    """Demands held to what the flight tables take."""
    words = tables.words
    most_nm = np.array([words[at.MNM_MAX], words[at.MNM_MAX], words[at.ROLL_MNM_MAX]]) / 1000
    return np.clip(demands_nm, -most_nm, most_nm)


@pytest.mark.parametrize("name", VEHICLES)
@pytest.mark.parametrize("policy", POLICIES)
def test_every_row_equals_a_steering_alone(name, policy, monkeypatch):
    """Deflections, pulses, forces and flags, whatever the rows stand under, piece by piece."""
    monkeypatch.setattr(batch, "PIECE", 150)
    car, tables = car_and_tables(name, policy)
    seed = [SEED, *name.encode(), len(policy)]
    print("seed", seed)
    rng = np.random.default_rng(seed)
    rows = -(-ROWS // (len(VEHICLES) * len(POLICIES) * len(CONDITIONS)))
    for kind in CONDITIONS:
        for start in range(0, rows, 5000):
            n = min(5000, rows - start)
            demands = within_range(tables, random_demands(rng, n))
            conditions = random_conditions(rng, n, kind)
            result = allocate_batch(car, demands, **conditions)
            expected = alone(tables, demands, **conditions)
            wrong = np.flatnonzero((integers_of(result) != expected[:, :13]).any(axis=1))
            assert not wrong.size, (kind, wrong.size, demands[wrong[0]].tolist())
            off_mnm = np.abs(result.moments_nm * 1000 - expected[:, 13:])
            allowed = counts_in_mnm(car, 1.5) + 2e-4 * np.abs(expected[:, 13:])
            assert (off_mnm <= allowed).all(), (kind, off_mnm.max(axis=0), allowed.min(axis=0))


@pytest.fixture
def in_many_threads(monkeypatch):
    """Short pieces on more threads than there are cores."""
    monkeypatch.setattr(batch, "PIECE", 150)
    monkeypatch.setattr(batch, "PART", 100)
    monkeypatch.setattr(steering_block, "PART", 3)
    monkeypatch.setattr(cores, "core_count", lambda: 4)
    compiled()  # few rows would not load it


def same_bytes(result, other):
    return all(
        column.tobytes() == also.tobytes()
        for column, also in zip(vars(result).values(), vars(other).values(), strict=True)
    )


@pytest.mark.parametrize("rows", [1, 149, 150, 151, 437, 2000])
@pytest.mark.parametrize("kind", ["shared", "everything"])
def test_a_row_does_not_depend_on_the_rows_beside_it(rows, kind, request):
    """Nor on where pieces begin, nor on threads: the moments too are the same to the last bit."""
    car, tables = car_and_tables("uneven curves", "nearest")
    rng = np.random.default_rng(SEED)
    demands = within_range(tables, random_demands(rng, rows))
    conditions = random_conditions(rng, rows, kind)
    whole = allocate_batch(car, demands, **conditions)
    request.getfixturevalue("in_many_threads")
    assert same_bytes(allocate_batch(car, demands, **conditions), whole)


def test_moments_are_what_the_forces_give():
    """Pitch = L Σ cos φ f, yaw = L Σ sin φ f, roll = R Σ f, the lever arm that of the burn time."""
    car, tables = car_and_tables("odd", "nearest")
    rng = np.random.default_rng(SEED)
    demands = within_range(tables, random_demands(rng, 1000))
    time_s = rng.integers(0, 30_000_000, 1000) / 1e6  # whole µs, as the flight core has them
    result = allocate_batch(car, demands, time_s)
    force_n = result.force_counts * 250.0 / 4096
    angle = np.radians(car.layout.clocking_deg)
    arm_m = car.lever_arm_m_at(time_s)
    expected = [
        arm_m * (force_n @ np.cos(angle)),
        arm_m * (force_n @ np.sin(angle)),
        0.045 * force_n.sum(axis=1),
    ]
    assert result.moments_nm == pytest.approx(np.transpose(expected), rel=1e-12, abs=1e-9)


def test_the_reference_pressure_and_the_burn_time_as_load_are_the_defaults():
    car, _ = car_and_tables("uneven curves", "nearest")
    demands = random_demands(np.random.default_rng(SEED), 200).clip(-900, 900)
    plain = allocate_batch(car, demands, 9.0)
    stated = allocate_batch(
        car, demands, 9.0, burn_load_s=9.0, chamber_pressure_bar=20.0, jammed=[np.nan] * 4
    )
    assert np.array_equal(plain.force_eighths, stated.force_eighths)


@pytest.mark.parametrize("demand_nm", [[[1, -2, 3]], np.asfortranarray([[1.0, -2.0, 3.0]])])
def test_any_array_of_numbers_will_do(demand_nm):
    car, tables = car_and_tables("eighth turns", "nearest")
    assert np.array_equal(
        integers_of(allocate_batch(car, demand_nm)), alone(tables, [[1.0, -2.0, 3.0]])[:, :13]
    )


def test_results_may_be_put_where_others_were():
    car, _ = car_and_tables("eighth turns", "nearest")
    demands = random_demands(np.random.default_rng(SEED), 300).clip(-900, 900)
    room = batch.BatchResult.empty(300)
    allocate_batch(car, demands[::-1], out=room)
    assert allocate_batch(car, demands, out=room) is room
    for column, fresh in zip(
        vars(room).values(), vars(allocate_batch(car, demands)).values(), strict=True
    ):
        assert np.array_equal(column, fresh)
    with pytest.raises(ValueError, match="out: 300 rows; must be 299, as demands_nm has"):
        allocate_batch(car, demands[1:], out=room)


def test_no_rows_give_no_rows():
    car, _ = car_and_tables("eighth turns", "nearest")
    result = allocate_batch(car, np.empty((0, 3)))
    assert result.moments_nm.shape == (0, 3) and result.flags.shape == (0,)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"demands_nm": [[0, 0, 0], [0, np.nan, 0]]}, r"demands_nm, yaw, row 1: nan; must be from"),
        ({"demands_nm": [[0, 0, 0], [0, 0, -np.inf]]}, r"demands_nm, roll, row 1: -inf; must be"),
        ({"demands_nm": [[1e9, 0, 0]] * 2}, r"demands_nm, pitch, row 0: 1000000000.0; must"),
        ({"demands_nm": [0, 0, 0]}, r"demands_nm: shape \(3,\); must be \(N, 3\)"),
        ({"burn_time_s": [0.0, -1.0]}, r"burn_time_s, row 1: -1.0; must be from 0 to 3600 s"),
        ({"burn_time_s": np.nan}, r"burn_time_s: nan; must be from 0 to 3600 s"),
        ({"burn_time_s": [1.0, 2.0, 3.0]}, r"burn_time_s: shape \(3,\); must be \(\) or \(2,\)"),
        ({"burn_load_s": 1e9}, r"burn_load_s: 1000000000.0; must be from 0 to 3600 s"),
        ({"chamber_pressure_bar": [20.0, 41.0]}, r"bar, row 1: 41.0; must be from 0 to 40 bar"),
        ({"jammed": [np.nan, np.inf, 0, 0]}, r"jammed, vane 2: inf; must be a deflection in deg"),
        ({"jammed": [1.0]}, r"jammed: shape \(1,\); must be \(4,\) or \(2, 4\)"),
    ],
)
def test_bad_input_is_named_with_its_row_and_what_is_allowed(change, message):
    car, _ = car_and_tables("eighth turns", "nearest")
    with pytest.raises(ValueError, match=message):
        allocate_batch(car, **{"demands_nm": [[0.0, 0, 0]] * 2, **change})


def test_a_bad_row_far_down_is_named_by_its_number(in_many_threads):
    car, _ = car_and_tables("eighth turns", "nearest")
    demands, time_s = np.zeros((1000, 3)), np.zeros(1000)
    demands[777, 2] = np.nan
    with pytest.raises(ValueError, match="demands_nm, roll, row 777: nan"):
        allocate_batch(car, demands)
    time_s[333] = np.inf
    with pytest.raises(ValueError, match="burn_time_s, row 333: inf"):
        allocate_batch(car, demands, time_s)


def test_memory_beyond_input_and_output_does_not_grow_with_the_rows(monkeypatch):
    """Each of two cores works some columns of a piece out at a time, whatever the rows."""
    monkeypatch.setattr(cores, "core_count", lambda: 2)
    car, _ = car_and_tables("eighth turns", "nearest")
    rows = 1_000_000
    conditions = {
        "burn_time_s": np.linspace(0, 26, rows),
        "chamber_pressure_bar": np.full(rows, 20.0),
        "jammed": np.full((rows, 4), np.nan),
    }
    demands = np.zeros((rows, 3))
    allocate_batch(car, demands, **conditions)  # compiled, where it is not yet
    gc.collect()
    tracemalloc.start()
    result = allocate_batch(car, demands, **conditions)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    beside = peak - sum(column.nbytes for column in vars(result).values())
    columns = 2 * 8 * batch.PIECE
    print(f"{beside / columns:.2f} columns of a piece for each core beside input and output")
    assert beside < 6 * columns < demands[:, 0].size * demands.itemsize


def test_vehicles_that_come_and_go_keep_their_own_tables():
    for arm_m in (0.5, 2.0, 4.0):
        car = vehicle(layout={"lever_arm_m": arm_m})
        result = allocate_batch(car, [[40.0, 0.0, 0.0]])
        assert result.moments_nm[0, 0] == pytest.approx(40.0, rel=0.01)
        del car
        gc.collect()


# --- plain Python and machine code ---------------------------------------------------------------


def random_car(rng):
    """Any clocking, unequal curves and travels, wear, arms and servos, either policy."""
    points = int(rng.integers(2, 30))
    travel_deg = rng.uniform(3.0, 25.0, (4, 2)) * [-1, 1]
    deflection_deg = np.array([np.linspace(*ends, points) for ends in travel_deg])
    forces_n = np.cumsum(rng.uniform(1.0, 40.0, (4, points)), axis=1)
    at_rest_n = [np.interp(0, *curve) for curve in zip(deflection_deg, forces_n, strict=True)]
    forces_n -= np.array(at_rest_n)[:, None]
    clocking_deg = np.arange(4) * 90 + rng.uniform(-20, 20, 4) * rng.choice([0, 0.01, 1.0])
    return vehicle(
        layout={"clocking_deg": np.mod(clocking_deg, 360).tolist(),
                "lever_arm_m": {"time_s": [0.0, 26.0], "m": rng.uniform(0.5, 4.0, 2).tolist()},
                "roll_arm_m": float(rng.uniform(0.02, 0.2))},
        vanes={"travel_deg": travel_deg.tolist(), "force_n": forces_n.tolist(), "drag_n": None,
               "deflection_deg": deflection_deg.tolist()},
        erosion={"load_s": [0.0, 9.0, 26.0],
                 "effectiveness": rng.uniform(0.3, 1.1, (4, 3)).tolist()},
        servos={"neutral_us": rng.uniform(1400, 1600, 4).tolist(),
                "us_per_deg": (rng.uniform(8, 12, 4) * rng.choice([-1, 1], 4)).tolist()},
        control={"policy": str(rng.choice(POLICIES))},
    )  # fmt: skip


@pytest.mark.parametrize("number", range(12))
def test_plain_python_and_machine_code_give_the_same_bytes(number, full_size, monkeypatch):
    """A batch, its moments included, and a block through twenty cycles, on a random vehicle."""
    if number >= 4 and not full_size:
        pytest.skip("the other vehicles with --campaigns")
    seed = [SEED, number]
    print("seed", seed)
    assert isinstance(compiled(), Compiled), "numba must be there to compare"
    answers = []
    for machine in (compiled(), Plain()):
        rng = np.random.default_rng(seed)
        monkeypatch.setattr(batch, "machine", lambda rows, machine=machine: machine)
        monkeypatch.setattr(steering_block, "machine", lambda cycles, machine=machine: machine)
        car = random_car(rng)
        tables = flight_tables(car)
        rows = 60
        demands = within_range(tables, random_demands(rng, rows))
        results = [
            allocate_batch(car, demands, **random_conditions(rng, rows, kind))
            for kind in CONDITIONS
        ]
        block = Steerings(tables, rows)
        taken = []
        for _ in range(20):
            block.jam(slice(0, rows, 9), 1 + int(rng.integers(4)), int(rng.integers(-9000, 9000)))
            demands_mnm = np.rint(random_demands(rng, rows) * 1000).astype(int).T
            taken.append(block.demand(demands_mnm, rng.random(rows) < 0.8))
            pressure_pa, dt_us = rng.integers(0, 4_000_000, rows), rng.integers(0, 16_000_001, rows)
            block.step(pressure_pa, dt_us >> rng.integers(0, 20), rng.random(rows) < 0.9)
        answers.append((results, block._state.tobytes(), np.array(taken).tobytes()))
    (results, *states), (others, *other_states) = answers
    assert states == other_states
    assert all(same_bytes(one, other) for one, other in zip(results, others, strict=True))


# --- many steerings side by side -----------------------------------------------------------------


@pytest.mark.parametrize("name", ["misaligned", "one-sided", "uneven curves", "uneven"])
@pytest.mark.parametrize("policy", POLICIES)
def test_a_block_equals_as_many_steerings(name, policy, in_many_threads):
    """Cycle by cycle, through slew, jams, stale and bad demands, pauses, flame-out and resets."""
    _, tables = car_and_tables(name, policy)
    seed = [SEED, *name.encode(), len(policy)]
    print("seed", seed)
    rng = np.random.default_rng(seed)
    rows, cycles = 25, max(60, ROWS // 5000)
    steerings = [Steering(tables) for _ in range(rows)]
    block = Steerings(tables, rows)
    for row, steering in enumerate(steerings):
        start_us = rng.integers(0, 30_000_000, 2).tolist()
        steering.start(*start_us)
        block.start(row, *start_us)
    seen = 0
    for cycle in range(cycles):
        disturb(rng, cycle, steerings, block)
        demands = np.rint(within_range(tables, random_demands(rng, rows)) * 1000).astype(int).T
        demands[rng.integers(3), rng.random(rows) < 0.03] = 1 << 40
        heard, runs = rng.random(rows) < 0.7, rng.random(rows) < 0.85
        pressure_pa = rng.choice([0, 90_000, 2_000_000, 2_000_000, 3_700_000, 1 << 31], rows)
        dt_us = rng.choice([5000, 5000, 5000, 0, 700, 80_000, 700_000, 20_000_000], rows)
        taken = block.demand(demands, heard)
        flags = block.step(pressure_pa, dt_us, runs)
        for row, steering in enumerate(steerings):
            if heard[row]:
                assert steering.demand(*demands[:, row].tolist()) == taken[row]
            if runs[row]:
                steering.step(int(pressure_pa[row]), int(dt_us[row]))
            seen |= steering.flags
            state = np.concatenate(
                [block.deflection_mdeg, block.pulse_ns, block.force, block.moment_mnm,
                 [flags, block.time_us, block.load_us, block.jammed]]
            )[:, row].tolist()  # fmt: skip
            assert state == [
                *steering.deflection_mdeg,
                *steering.pulse_ns,
                *steering.force,
                *steering.moment_mnm,
                steering.flags,
                steering.time_us,
                steering.load_us,
                steering.jammed,
            ], (cycle, row)
    assert seen == 127, "some flag never came up"


def disturb(rng, cycle, steerings, block):
    """Now and then a jam, a free vane, a reset, a dropped demand."""
    row, vane, place_mdeg = rng.integers([len(steerings), 4, 40_000]).tolist()
    happenings = {
        1: lambda s, rows: s.jam(*rows, vane + 1, place_mdeg - 20_000),
        3: lambda s, rows: s.free(*rows, vane + 1),
        5: lambda s, rows: s.release(*rows),
    }
    if cycle % 20 == 19:
        happenings[cycle % 6] = lambda s, rows: s.reset(*rows)
    if cycle % 6 in happenings:
        happenings[cycle % 6](steerings[row], ())
        happenings[cycle % 6](block, (row,))


def test_a_new_block_stands_as_a_new_steering_does():
    _, tables = car_and_tables("uneven curves", "nearest")
    block, steering = Steerings(tables, 3), Steering(tables)
    assert block.pulse_ns.T.tolist() == [list(steering.pulse_ns)] * 3
    assert block.force.T.tolist() == [list(steering.force)] * 3
    assert block.flags.tolist() == [0, 0, 0]


def test_rows_are_chosen_by_mask_numbers_or_slice():
    _, tables = car_and_tables("eighth turns", "nearest")
    block = Steerings(tables, 4)
    block.jam(np.array([True, False, False, True]), 2, 3000)
    block.jam(np.array([1, 2]), 3, -3000)
    assert block.jammed.tolist() == [2, 4, 4, 2]
    block.free(slice(2), 2)
    assert block.jammed.tolist() == [0, 4, 4, 2]
