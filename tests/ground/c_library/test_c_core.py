"""The exported flight core in C gives the same integers as the flight core in Python."""

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixer.flight import FLAG_NAMES, FlightTables
from mixer.flight import layout as at
from mixer.ground.c_library import self_test
from mixer.ground.tables.build import flight_tables
from tests.support.c_library import (
    BEGIN,
    C99,
    DEMAND,
    FREE,
    JAM,
    RELEASE,
    RESET,
    ROOM,
    SANITIZED,
    SENSED,
    START,
    STEP,
    TRUST,
    WAIT,
    WATCH,
    build_player,
    carried,
    exported,
    in_python,
    needs,
    operations,
    play,
    random_tables,
    run,
    sources,
)
from tests.support.vehicles import vehicle
from tests.support.watched_ops import watched_operations
from tests.tools.c_coverage import REASONS, core

# Vehicles, and cycles of each.
CASES = {"long": (100, 10_000), "ci": (100, 500), "laptop": (8, 160)}
NO_TABLES = 0x4000
SelfTested = Callable[[Path], list[int]]
WORD = st.integers(-(2**31), 2**31 - 1)
OPS = st.one_of(
    st.tuples(st.just(STEP), st.sampled_from([2_000_000, 1_500_000]), st.integers(0, 30_000)),
    st.tuples(st.just(STEP), WORD, WORD),
    st.tuples(st.just(DEMAND), *[st.integers(-2_000_000, 2_000_000)] * 3),
    st.tuples(st.just(DEMAND), WORD, WORD, WORD),
    st.tuples(st.just(JAM), st.integers(-1, 6) | WORD, st.integers(-20_000, 20_000) | WORD),
    st.tuples(st.just(FREE), st.integers(-1, 6) | WORD),
    st.tuples(st.just(START), WORD, WORD),
    st.tuples(st.just(SENSED), *[st.integers(-16_000, 16_000) | st.just(at.NO_READING) | WORD] * 4),
    st.tuples(st.just(WATCH), st.integers(0, 1) | WORD),
    st.tuples(st.just(WAIT), WORD),
    st.tuples(st.just(TRUST), st.integers(0, 15) | WORD),
    st.sampled_from([(RELEASE,), (RESET,), (BEGIN,)]),
)


@pytest.fixture(scope="module")
def player(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_player(exported(tmp_path_factory.mktemp("c")))


def test_no_integer_differs_over_random_vehicles_and_cycles(
    player: Path,
    size: str,
    record_property: Callable[[str, object], None],
) -> None:
    """Every number of every cycle, the whole state at the end, under sanitizers of addresses and
    undefined behaviour, which end the program at the first fault.
    """
    vehicles, cycles = CASES[size]
    flags = 0
    for seed in range(vehicles):
        tables = random_tables(seed)
        recorder = self_test.CycleRecorder(tables, seed)
        recording = recorder.run(cycles)
        ops = operations(recording)
        (came,) = play(player, [(carried(tables, ops), len(ops))])
        assert came.said == 0
        steps = [after for op, after in zip(ops, came.after, strict=True) if op[0] == STEP]
        got = [(*row[1:9], *row[13:17]) for row in steps]
        assert got == recording.wanted, f"vehicle seed {seed}"
        assert list(came.state) == list(recorder.steering._w[: at.STATE_WORDS])
        flags |= recording.flags
    assert flags == (1 << len(FLAG_NAMES)) - 1
    record_property(
        "shown", f"C core: {vehicles} random vehicles, {vehicles * cycles} cycles, 0 differ"
    )


def test_no_integer_differs_where_angle_sensors_speak(player: Path) -> None:
    """Vanes are declared and freed, sensors go out and are believed again."""
    found = 0
    for seed in range(12):
        tables = random_tables(seed)
        ops = watched_operations(tables, 240, seed)
        (came,) = play(player, [(carried(tables, ops), len(ops))])
        after, state = in_python(tables, ops)
        assert came.after == after, f"vehicle seed {seed}"
        assert list(came.state) == state
        found += state[at.WATCH_FOUND]
    assert found > 0


@settings(max_examples=60)
@given(seed=st.integers(0, 8), ops=st.lists(OPS, max_size=30))
def test_anything_at_all_may_be_told_to_it(player: Path, seed: int, ops: list) -> None:
    tables = random_tables(seed)
    (came,) = play(player, [(carried(tables, ops), len(ops))])
    after, state = in_python(tables, ops)
    assert came.after == after
    assert list(came.state) == state


def refusals() -> list:
    tables = flight_tables(vehicle())
    flipped = FlightTables(tables.words)
    flipped.words[-1] ^= 1 << 30
    large = FlightTables([*tables.words, *[0] * (ROOM + 1 - len(tables.words))])
    return [
        pytest.param(carried(tables, [], version=2), 1, id="another format"),
        pytest.param(carried(tables, [], count=at.BODY - 1), 2, id="cut short"),
        pytest.param(carried(FlightTables([]), []), 2, id="none"),
        pytest.param(carried(large, []), 3, id="no room"),
        pytest.param(carried(tables, [], crc=0), 4, id="another CRC"),
        pytest.param(
            carried(flipped, [], crc=int.from_bytes(tables.to_bytes()[8:12], "little")),
            4,
            id="a bit flipped",
        ),
    ]


@pytest.mark.parametrize(("data", "why"), refusals())
def test_tables_that_are_not_right_are_refused_and_nothing_steers(
    player: Path, data: bytes, why: int
) -> None:
    ops = [(STEP, 2_000_000, 5000), (DEMAND, 1, 1, 1), (JAM, 1, 0), (FREE, 1), (START, 5, 5),
           (RELEASE,), (RESET,), (STEP, 0, 0)]  # fmt: skip
    flat = b"".join(
        number.to_bytes(4, "little") for op in ops for number in (*op, *[0] * (6 - len(op)))
    )
    (came,) = play(player, [(data[:-4] + len(ops).to_bytes(4, "little") + flat, len(ops))])
    assert came.said == why
    assert [row[0] for row in came.after] == [NO_TABLES, 0, 0, 0, 0, 0, 0, NO_TABLES]
    assert {row[1:] for row in came.after} == {(*[0] * 15, NO_TABLES, *[0] * 6)}


def test_every_branch_is_taken_or_named_with_the_reason_why_none_can_take_it(
    tmp_path: Path, campaign: None
) -> None:
    needs("gcc", "gcov")
    assert set(core(tmp_path)) == set(REASONS)


# ---- the self-test -------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(6))
def test_the_recording_holds_every_flag_on_unlike_vehicles(seed: int) -> None:
    recording = self_test.record(random_tables(seed))
    assert len(recording.given) == self_test.CYCLES >= 500
    assert recording.flags == (1 << len(FLAG_NAMES)) - 1
    assert {event[1] for event in recording.events} == set(range(4))


MAIN = """
#include <stdio.h>
#include "fourvane_self_test.h"
static fv_steering steering;
int main(void)
{
    fv_difference first;
    long differ = fv_self_test(&steering, &first);
    printf("%ld %ld %ld", differ, (long)first.cycle, (long)first.word);
    return 0;
}
"""


@pytest.fixture(scope="module")
def self_tested(tmp_path_factory: pytest.TempPathFactory) -> SelfTested:
    """What a folder's self-test tells; cores of the same text are compiled once."""
    cores: dict[bytes, Path] = {}

    def tested(folder: Path) -> list[int]:
        needs("gcc")
        gcc = ("gcc", *C99, *SANITIZED, "-I", folder / "src")
        core = folder / "src/fourvane.c"
        text = core.read_bytes()
        if text not in cores:
            cores[text] = tmp_path_factory.mktemp("core") / "fourvane.o"
            run(*gcc, "-c", core, "-o", cores[text])
        (folder / "main.c").write_text(MAIN)
        others = sources(folder, "fourvane", "fourvane_link")
        run(*gcc, folder / "main.c", *others, cores[text], "-o", folder / "main")
        return [int(number) for number in run(folder / "main").stdout.split()]

    return tested


@pytest.mark.parametrize("policy", ["nearest", "direction"])
def test_the_self_test_finds_no_difference(
    tmp_path: Path, self_tested: SelfTested, policy: str
) -> None:
    folder = exported(tmp_path, vehicle(control={"policy": policy}))
    assert self_tested(folder) == [0, 0, 0]


def test_the_self_test_tells_the_first_difference_and_counts_all(
    tmp_path: Path, self_tested: SelfTested
) -> None:
    """Two recorded pulses changed: cycles 3 and 300."""
    folder = exported(tmp_path)
    file = folder / "src/fourvane_self_test.c"
    before, rows = file.read_text().split("[FV_SELF_TEST_WORDS] = {\n")
    lines = rows.split("\n")
    for cycle in (3, 300):
        numbers = lines[cycle - 1].split(", ")
        numbers[5] = str(int(numbers[5]) + 1)
        lines[cycle - 1] = ", ".join(numbers)
    file.write_text(before + "[FV_SELF_TEST_WORDS] = {\n" + "\n".join(lines))
    assert self_tested(folder) == [2, 3, 5]


@pytest.mark.usefixtures("campaign")
def test_the_self_test_sees_a_changed_core(tmp_path: Path, self_tested: SelfTested) -> None:
    """One rounding left out of the kernels."""
    folder = exported(tmp_path)
    file = folder / "src/fourvane.c"
    changed = file.read_text().replace(" + INT32_C(32768)) >> 16)", ") >> 16)", 1)
    assert changed != file.read_text()
    file.write_text(changed)
    differ, cycle, _ = self_tested(folder)
    assert differ > 0
    assert cycle > 0


def test_the_self_test_says_where_its_tables_are_damaged(
    tmp_path: Path, self_tested: SelfTested
) -> None:
    folder = exported(tmp_path)
    file = folder / "src/fourvane_vehicle.c"
    file.write_text(file.read_text().replace("16384", "16383", 1))
    assert self_tested(folder)[0] == -1
