"""The jam watch of the flight core: what it declares, when, and what it never does.

The servos are of the model in `watched_vanes`, at the ends of what `watch_limits` takes for
healthy. Commands are whatever the slew allows.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixer.flight import FlightTables, Steering
from mixer.flight import layout as at
from mixer.ground.batch.steerings import Steerings
from mixer.ground.tables.build import flight_tables, slew_mdeg_s
from mixer.ground.tables.watch_limits import (
    LAG_MS,
    LATENCY_MS,
    NOISE_DEG,
    PLAY_DEG,
    SLOWEST,
    TRIM_DEG,
)
from tests.support.vehicles import vehicle
from tests.support.watched_vanes import Servo, watched

FOUND_MS = 150
TABLES = flight_tables(vehicle())
SLEW_DEG_S = 1e-3 * slew_mdeg_s(TABLES)[0]
BAND_DEG = 1e-3 * TABLES.words[at.WATCH_BAND]
TRAVEL_DEG = 1e-3 * TABLES.words[at.TRAVEL_LO], 1e-3 * TABLES.words[at.TRAVEL_HI]
SLOWEST_LAG_MS = 1.3 * LAG_MS
PERIOD_MS = round(1e-3 * TABLES.words[at.PERIOD_US])
EXAMPLES = {"long": 10_000, "ci": 1_000, "laptop": 60}

ends = st.sampled_from  # the worst is at an end of what is healthy
HEALTHY = st.builds(
    Servo,
    slew_deg_s=ends([SLOWEST * SLEW_DEG_S, SLEW_DEG_S, 2 * SLEW_DEG_S]),
    lag_ms=ends([1.0, LAG_MS, SLOWEST_LAG_MS]),
    latency_ms=ends([0, 7, round(LATENCY_MS)]),
    phase_ms=st.integers(0, 19),
    play_deg=ends([0.0, PLAY_DEG]),
    error_deg=ends([-TRIM_DEG, 0.0, TRIM_DEG]),
    noise_deg=ends([0.0, NOISE_DEG]),
)
TYPICAL = Servo(SLEW_DEG_S, LAG_MS, 10, 3, 0.1, 0.2, 0.05)
# The slowest that is healthy; its vane rests on the far side of its play.
SLOW = Servo(SLOWEST * SLEW_DEG_S, SLOWEST_LAG_MS, round(LATENCY_MS), 0, PLAY_DEG, TRIM_DEG, 0.0)
# Deflections and for how many cycles: held, alternating, at the frames' pace, small and full.
DEMANDS = st.lists(
    st.tuples(
        st.floats(*TRAVEL_DEG) | ends([*TRAVEL_DEG, 0.0, BAND_DEG, -BAND_DEG]),
        st.integers(1, 12) | st.just(40),
    ),
    min_size=4,
    max_size=25,
)
PACES = ends([[PERIOD_MS], [2], [10], [20], [PERIOD_MS] * 7 + [60], [3, 3, 30, 200]])
SWEEP = [(6.0, 30), (-6.0, 30), (4.0, 30)]  # what lets a sensor be believed


def cycles(demands, pace):
    wanted = [angle for angle, count in demands for _ in range(count)]
    return wanted, (pace * len(wanted))[: len(wanted)]


SWEEP_MS = PERIOD_MS * sum(count for _, count in SWEEP)


def only_each(every):
    """A sensor that is read every few cycles."""
    count = iter(range(1 << 30))
    return lambda _, true: true if next(count) % every == 0 else at.NO_READING


def slow_steps(limits):
    """What the watch tells, by these limits, of the slowest servo: at rest, then a step that is
    just as far as counts; for each phase of the frames, both ways, read each cycle or each fourth.
    """
    for phase_ms in range(20):
        for way, every in ((1, 1), (-1, 1), (1, 4)):
            servo = replace(SLOW, phase_ms=phase_ms, error_deg=-way * TRIM_DEG)
            rest_deg = way * (PLAY_DEG - TRIM_DEG)  # as it is seen
            for beyond_deg in (0.01, 0.05):
                step_deg = way * (BAND_DEG + beyond_deg)
                wanted = [*SWEEP, (4.0 * way, 40), (0.0, 40), (rest_deg + step_deg, 40)]
                given = cycles(wanted, [PERIOD_MS])
                yield watched(limits, servo, *given, 0, only_each(every))[1]


def test_the_slowest_servo_is_not_declared_at_the_smallest_step_that_counts():
    assert not any(told.found for told in slow_steps(TABLES))


def test_with_two_fifths_of_the_wait_it_would_be():
    """So it is the wait that keeps it from being declared."""
    limits = FlightTables(TABLES.words)
    for vane in range(at.VANES):
        limits.words[at.WATCH_WAIT_US + vane] = 2 * limits.words[at.WATCH_WAIT_US + vane] // 5
    assert any(told.found for told in slow_steps(limits))


def stuck_after(begins_ms):
    def begin(now_ms, servo):
        if now_ms >= begins_ms and servo.stuck_deg is None:
            servo.stuck_deg = servo.vane_deg

    return begin


@given(HEALTHY, DEMANDS, PACES, st.integers(0, 9), st.integers(1, 4))
def check_healthy(servo, demands, pace, seed, every):
    """Readings come every few cycles, at most 20 ms apart at the usual pace."""
    wanted = cycles([*SWEEP, *demands], pace)
    _, told = watched(TABLES, servo, *wanted, seed, only_each(every))
    if max(pace) <= PERIOD_MS:
        assert told.believed == 1 and told.out == 0
    assert told.found == 0, f"declared at {told.first_ms} ms"


def test_no_healthy_vane_is_declared_whatever_its_servo_and_demand(size):
    settings(max_examples=EXAMPLES[size])(check_healthy)()


@given(HEALTHY, DEMANDS, st.integers(0, 9), st.integers(1, 4))
def check_found(servo, demands, seed, every):
    wanted, pace = cycles([*SWEEP, *demands, (TRAVEL_DEG[0], 60), (TRAVEL_DEG[1], 60)], [PERIOD_MS])
    _, told = watched(TABLES, servo, wanted, pace, seed, only_each(every), stuck_after(SWEEP_MS))
    assert told.found == 1 and told.declared == 1
    assert told.waited_ms <= FOUND_MS, f"seed {seed}, every {every}"


def test_a_jammed_vane_is_found_soon_after_its_command_leaves_it(size):
    settings(max_examples=EXAMPLES[size])(check_found)()


@given(HEALTHY, DEMANDS, st.integers(0, 9))
def check_freed(servo, demands, seed):
    """Jammed at neutral, found, turned by 2 degrees from outside, then healthy again."""
    wanted = [*SWEEP, (0.0, 60), (8.0, 60), *demands]
    jams_ms, turned_ms, healthy_ms = (SWEEP_MS + count * PERIOD_MS for count in (60, 110, 114))

    def begin(now_ms, one):
        if jams_ms <= now_ms < healthy_ms:
            one.stuck_deg = one.vane_deg
            one.vane_deg += 2.0 if now_ms == turned_ms else 0.0
        else:
            one.stuck_deg = None

    w, told = watched(TABLES, servo, *cycles(wanted, [PERIOD_MS]), seed, begin=begin)
    assert told.found == 1 and told.declared == 0
    assert w[at.LIMIT_LO] == w[at.TRAVEL_LO] and w[at.LIMIT_HI] == w[at.TRAVEL_HI]


def test_a_vane_that_moves_again_is_free():
    settings(max_examples=20)(check_freed)()


# What a failing sensor makes of the truth, from so many ms on. A frozen one may be declared: it
# cannot be told from a jam where it froze without a jump.
DEAD = {
    "dead, 0": lambda _: 0,
    "full scale": lambda _: 180_000,
    "full scale below": lambda _: -180_000,
    "far beyond a word": lambda _: -(1 << 31),
    "silent": lambda _: at.NO_READING,
    "another place": lambda true: true + 9_000 if true < 0 else true - 9_000,
    "noise over the travel": lambda true: (true * 7919 + 104_729) % 30_000 - 15_000,
}


@pytest.mark.parametrize("how", DEAD)
def test_a_sensor_that_fails_with_a_jump_is_out_and_declares_nothing(how):
    """It fails while the vane stands at 6 degrees."""
    count = iter(range(1 << 30))
    wanted = [*SWEEP, (6.0, 40), (-6.0, 60), (9.0, 60), (-9.0, 60)]
    failed_ms = SWEEP_MS + 40 * PERIOD_MS
    _, told = watched(
        TABLES,
        TYPICAL,
        *cycles(wanted, [PERIOD_MS]),
        1,
        lambda now_ms, true: true if now_ms < failed_ms else DEAD[how](true + 37 * next(count)),
    )
    assert (told.found, told.out, told.believed) == (0, 1, 0)


@pytest.mark.parametrize("stands", [-9_000, -2_000, 0, 137, 6_000])
@given(demands=DEMANDS, seed=st.integers(0, 9))
@settings(max_examples=20)
def test_a_sensor_frozen_from_the_start_is_never_believed(stands, demands, seed):
    noise = iter(range(1 << 30))
    wanted = cycles([*SWEEP, *demands, (TRAVEL_DEG[0], 60)], [PERIOD_MS])
    _, told = watched(
        TABLES, TYPICAL, *wanted, seed, lambda *_: stands + 100 * (next(noise) % 3 - 1)
    )
    assert (told.found, told.out, told.believed) == (0, 1, 0)


@given(servo=HEALTHY, demands=DEMANDS, period_ms=ends([20, 100, 400, 1000]),
       bad=ends([180_000, -180_000, at.NO_READING]), seed=st.integers(0, 9))  # fmt: skip
@settings(max_examples=40)
def test_an_intermittent_sensor_declares_nothing(servo, demands, period_ms, bad, seed):
    _, told = watched(
        TABLES,
        servo,
        *cycles([*SWEEP, *demands, (8.0, 40), (-8.0, 40)], [PERIOD_MS]),
        seed,
        lambda now_ms, true: true if 2 * (now_ms % period_ms) < period_ms else bad,
    )
    assert told.found == 0


def test_a_vane_held_jammed_by_a_frozen_sensor_is_driven_to_where_it_is_held_to_stand():
    """What cannot be told apart does least harm: what is reported of the vane comes true."""
    froze = {}

    def sensor(now_ms, true):
        return froze.setdefault("mdeg", true) if now_ms > SWEEP_MS else true

    servos = []
    w, told = watched(
        TABLES, TYPICAL, *cycles([*SWEEP, (-8.0, 80)], [PERIOD_MS]), 1, sensor,
        lambda _, one: servos.append(one),
    )  # fmt: skip
    assert (told.found, told.declared) == (1, 1)
    errors_deg = TYPICAL.error_deg + TYPICAL.noise_deg + TYPICAL.play_deg
    assert abs(servos[-1].vane_deg - 1e-3 * w[at.DEFLECTION]) <= errors_deg


def test_no_reading_means_no_watch():
    _, told = watched(TABLES, TYPICAL, *cycles(SWEEP, [PERIOD_MS]), 1, lambda *_: at.NO_READING)
    assert (told.found, told.out, told.believed) == (0, 0, 0)


# ---- in the whole core -------------------------------------------------------------------------


def flown(steering, readings, pitch_mnm, cycles=60):
    """Cycles with a demand held and vane 1 read as `readings` has it, the others as commanded."""
    flags = 0
    for _ in range(cycles):
        steering.demand(pitch_mnm, 0, 0)
        own = list(steering.deflection_mdeg)
        steering.sensed(readings(own[0]), *own[1:])
        flags = steering.step(steering.pressure_pa, 1000 * PERIOD_MS)
    return flags


class Read(Steering):
    pressure_pa = TABLES.words[at.PA_MAX] // 2


@pytest.fixture
def jammed():
    """Vane 1 found jammed at neutral."""
    steering = Read(TABLES)
    most = TABLES.words[at.MNM_MAX] // 1024
    flown(steering, lambda own: own, most)
    flown(steering, lambda own: own, -most)
    flown(steering, lambda own: own, 0)
    assert steering.jammed == 0 and steering.sensors_out == 0
    flags = flown(steering, lambda _: 40, most)
    assert flags & at.JAMMED_VANE
    assert (steering.jammed, steering.declared, steering.jams_found) == (1, 1, 1)
    assert steering.deflection_mdeg[0] == 40
    return steering


def test_a_caller_frees_what_the_watch_declared_and_it_is_declared_again(jammed):
    jammed.free(1)
    assert (jammed.jammed, jammed.declared) == (0, 0)
    flown(jammed, lambda _: 40, TABLES.words[at.MNM_MAX] // 1024)
    assert (jammed.declared, jammed.jams_found) == (1, 2)


def test_the_watch_does_not_free_what_the_caller_jammed(jammed):
    jammed.jam(1, 40)
    assert (jammed.jammed, jammed.declared) == (1, 0)
    flown(jammed, lambda own: own + 1500, 0)
    assert jammed.jammed == 1


def test_switched_off_it_frees_what_it_declared_and_declares_nothing(jammed):
    jammed.jam(2, 0)
    jammed.watch(0)
    assert (jammed.jammed, jammed.declared) == (2, 0)
    flown(jammed, lambda _: 40, TABLES.words[at.MNM_MAX] // 1024)
    assert jammed.jammed == 2


def test_switched_on_while_it_is_on_it_goes_on(jammed):
    jammed.watch(1)
    assert jammed.declared == 1


@pytest.fixture
def followed():
    """All sensors believed, vanes at neutral."""
    steering = Read(TABLES)
    most = TABLES.words[at.MNM_MAX] // 1024
    for pitch_mnm in (most, -most, 0):
        flown(steering, lambda own: own, pitch_mnm)
    assert steering.sensors_out == 0 and abs(steering.deflection_mdeg[0]) < 100
    return steering


def test_a_sensor_that_jumps_is_out_even_where_it_jumps_to_its_command(followed):
    """The caller tells a vane to stand elsewhere, and in the next cycle it is seen there."""
    followed.jam(1, 9_000)
    flown(followed, lambda own: own, 0, cycles=1)
    assert (followed.sensors_out, followed.declared) == (1, 0)


def test_a_vane_that_the_caller_holds_to_be_jammed_is_not_declared(followed):
    """It is seen to stand far from where the caller has it, for longer than the watch waits."""
    followed.jam(1, 9_000)
    flown(followed, lambda _: 0, 0)
    assert (followed.jammed, followed.declared, followed.jams_found) == (1, 0, 0)
    assert followed.sensors_out == 0


def test_switched_on_again_it_starts_anew(jammed):
    jammed.watch(0)
    jammed.watch(1)
    most = TABLES.words[at.MNM_MAX] // 1024
    flown(jammed, lambda _: 40, most)
    assert (jammed.jammed, jammed.sensors_out) == (0, 1)
    flown(jammed, lambda own: own, most)
    flown(jammed, lambda own: own, -most)
    flown(jammed, lambda own: own, 0)
    flown(jammed, lambda _: 40, most)
    assert (jammed.jammed, jammed.sensors_out) == (1, 0)


def test_a_steering_without_sensors_does_not_know_the_watch():
    """The same outputs whether the watch is waiting or switched off."""
    waiting, off = Steering(TABLES), Steering(TABLES)
    off.watch(0)
    for n in range(200):
        for one in (waiting, off):
            one.demand(1000 * n, -500 * n, 0)
            one.step(Read.pressure_pa, 5000)
        assert list(waiting.deflection_mdeg) == list(off.deflection_mdeg)
        assert waiting.flags == off.flags


def test_a_block_with_sensors_equals_as_many_steerings():
    """Of five, one vane each is stuck from the 140th cycle on; the sixth has no sensors."""
    rows = 6
    steerings, block = [Steering(TABLES) for _ in range(rows)], Steerings(TABLES, rows)
    sees = np.arange(rows) < 5
    for cycle in range(220):
        pitch_mnm = np.where(cycle // 40 % 2, 1, -1) * (TABLES.words[at.MNM_MAX] // 1024)
        pitch_mnm = pitch_mnm * np.arange(4, 10) // 10
        demands = np.stack([pitch_mnm, 0 * pitch_mnm, 0 * pitch_mnm])
        readings = block.deflection_mdeg.copy()
        if cycle == 140:
            stuck = readings.copy()
        for row in range(5 if cycle >= 140 else 0):
            readings[row % 4, row] = stuck[row % 4, row]
        if cycle == 200:
            block.watch(0, False)
            steerings[0].watch(False)
        block.sensed(readings, sees)
        block.demand(demands)
        block.step(Read.pressure_pa, 1000 * PERIOD_MS)
        for row, steering in enumerate(steerings):
            if sees[row]:
                steering.sensed(*readings[:, row].tolist())
            steering.demand(*demands[:, row].tolist())
            steering.step(Read.pressure_pa, 1000 * PERIOD_MS)
            assert block.deflection_mdeg[:, row].tolist() == list(steering.deflection_mdeg)
            assert [block.flags[row], block.jammed[row], block.declared[row]] == [
                steering.flags,
                steering.jammed,
                steering.declared,
            ]
            assert block.sensors_out[row] == steering.sensors_out
    assert block.jams_found.tolist() == [one.jams_found for one in steerings]
    assert block.jams_found.sum() >= 3 and block.jams_found[5] == 0
