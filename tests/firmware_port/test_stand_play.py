"""A programme on the node's own clock: where the vanes go, what ends it, what is kept of it."""

from array import array
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from scipy.signal import max_len_seq

from firmware_port import protocol as p
from firmware_port.bench import protocol as b
from firmware_port.stand import points as kept_points
from firmware_port.stand import programme as node_programme
from firmware_port.stand import protocol as s
from firmware_port.stand.sync_output import CHIP_US, STATES, SyncOutput
from firmware_port.vane_angles import AnalogueAngles, VaneAngles
from hil.node.errors import BoardError
from hil.node.node_link import numbers, read_numbers
from tests.support.stand_nodes import PERIOD_US, SHORT, TABLES, StandSetup, knots

SLEW_NS = 250.0 * 10_000 * PERIOD_US / 1e6  # 250 deg/s at 10 us a degree, over one cycle
NEUTRAL_NS = [1_500_000] * 4


@pytest.fixture
def setup() -> StandSetup:
    return StandSetup()


def started(setup: StandSetup, programme=SHORT) -> None:
    assert setup.load(programme).taken
    assert setup.request(s.GO, 77, 0).taken


def run_on(setup: StandSetup, until: int, number: int = 0, us: int = PERIOD_US) -> list[tuple]:
    """Cycle by cycle to a phase, every point fetched."""
    points = []
    for _ in range(2000):
        setup.let_pass(us)
        phase, _, kept, _, point = setup.fetch(number)
        if kept:
            points.append(point)
            number += 1
        if phase == until:
            return points
    raise AssertionError("never came there")


def test_the_vanes_follow_the_programme_by_the_node_s_own_time(setup):
    started(setup)
    points = run_on(setup, s.OVER)
    time_s = np.array([point[0] for point in points]) / 1e6
    told = np.array([point[1:5] for point in points])
    programme = np.interp(time_s, SHORT.ticks / 8000, SHORT.mdeg[:, 0])
    slow = (time_s < 1.0) | (time_s > 1.2)  # 20 deg in 0.1 s is within the slew of 250 deg/s
    assert np.abs(told[slow, 0] - programme[slow]).max() <= 1
    assert not told[:, 2].any()
    assert np.array_equal(
        np.array([point[5:9] for point in points])[:, 0], 1_500_000 + 10 * told[:, 0]
    )


def test_however_uneven_the_cycles_are_the_vanes_are_where_the_programme_has_them_by_then(setup):
    rng = np.random.default_rng(4)
    started(setup)
    number, worst = 0, 0
    while True:
        setup.let_pass(int(rng.integers(2000, 30_000)))
        phase, _, kept, _, point = setup.fetch(number)
        if phase == s.OVER:
            break
        number += kept
        wanted = np.interp(point[0] / 1e6, SHORT.ticks / 8000, SHORT.mdeg[:, 0])
        worst = max(worst, abs(point[1] - wanted))
    assert worst <= 1 + 200 * s.TICK_US / 1000  # 200 deg/s at its steepest, known to a tick


def test_no_pulse_is_ever_faster_than_the_slew_however_steep_the_programme(setup):
    started(setup, knots((0, 0), (0.2, 0), (0.201, 15), (0.6, 15), (0.601, -15), (0.9, 0)))
    out = [NEUTRAL_NS]
    for number in range(250):
        out.append(setup.let_pass())
        setup.fetch(number if number < 180 else 0) if number < 150 else None
    assert max(abs(a[0] - c[0]) for c, a in pairwise(out)) <= SLEW_NS + 10


@pytest.mark.parametrize(
    ("ends", "outcome"),
    [
        (lambda setup: setup.request(s.HALT), s.HALTED),
        (lambda setup: setup.link.request(p.STOP), s.HALTED),
        (lambda setup: setup.link.disarm(), s.HALTED),
        (lambda setup: None, s.SILENT),
    ],
    ids=["halt", "stop", "disarm", "silence"],
)
def test_the_node_leads_the_vanes_to_neutral_by_itself(setup, ends, outcome):
    started(setup, knots((0, 0), (0.1, 10), (1.0, 10), (1.9, 10), (2.8, 10)))
    points = []
    for _ in range(40):
        setup.let_pass()
    ends(setup)
    out = [setup.let_pass() for _ in range(260)]
    assert out[-1] == NEUTRAL_NS
    assert max(abs(a[0] - c[0]) for c, a in pairwise(out)) <= SLEW_NS + 10
    phase, why, kept, lost, point = setup.fetch(0)
    assert (phase, why, lost) == (s.OVER, outcome, 0)
    points = [setup.fetch(number)[4] for number in range(kept)]
    assert point == points[0] and max(point[1] for point in points) == 10_000
    assert setup.link.counters()["to-armed"] == 0


def test_while_it_plays_the_node_cannot_be_armed_nor_given_tables(setup):
    started(setup)
    token = setup.link.ask(p.ASK).contents
    assert setup.link.request(p.ARM, token).verdict == p.NOT_NOW
    with pytest.raises(BoardError, match="not-now"):
        setup.link.load_tables(TABLES)
    run_on(setup, s.OVER)
    setup.let_pass()
    setup.link.arm()


def test_a_programme_that_came_damaged_or_in_part_does_not_start(setup):
    assert setup.request(s.BEGIN, 8, 1, 2, 77).taken
    for first, piece in enumerate(SHORT.pieces):
        assert setup.link.request(s.KNOTS, numbers((first,)) + piece).taken
    assert setup.phase() == s.EMPTY
    assert setup.request(s.GO, 77, 0).verdict == p.OUT_OF_ORDER
    crc = SHORT.crc
    assert setup.request(s.BEGIN, 8, crc >> 16, crc & 0xFFFF, 77).taken
    assert setup.link.request(s.KNOTS, numbers((1,)) + SHORT.pieces[0]).verdict == p.OUT_OF_ORDER
    assert setup.request(s.GO, 77, 0).verdict == p.OUT_OF_ORDER


@pytest.mark.parametrize(
    "programme",
    [
        knots((0, 0), (0.5, 15.001), (0.9, 0)),
        knots((0, 0), (0.5, 1), (0.5, 0)),
        knots((0.1, 0), (0.5, 1)),
        knots((0, 0), (1.001, 1)),
    ],
    ids=["beyond travel", "time stands still", "begins late", "too long a gap"],
)
def test_knots_that_cannot_be_played_are_refused(setup, programme):
    assert setup.load(programme).verdict == p.OUT_OF_RANGE
    assert setup.request(s.GO, 77, 0).verdict == p.OUT_OF_ORDER


def test_a_late_go_of_another_run_moves_nothing(setup):
    assert setup.load(run=78).taken
    assert setup.request(s.GO, 77, 0).verdict == p.WRONG_TOKEN
    assert setup.request(s.GO, 78, 1).verdict == p.OUT_OF_RANGE  # no wired input here
    assert setup.let_pass() == NEUTRAL_NS
    assert setup.phase() == s.READY


def test_without_tables_or_armed_nothing_is_loaded():
    assert StandSetup(tables=None).load().verdict == p.NO_TABLES
    armed = StandSetup()
    armed.link.arm()
    assert armed.load().verdict == p.NOT_NOW


def test_it_starts_when_the_wired_input_goes_high_and_not_before(setup):
    class Pin:
        level = 0

        def value(self):
            return self.level

    setup.play._trigger = pin = Pin()
    assert setup.load().taken
    assert setup.request(s.GO, 77, 1).taken
    for _ in range(150):
        assert setup.let_pass() == NEUTRAL_NS
        assert setup.fetch(0)[:3:2] == (s.WAITING, 0)
    pin.level = 1
    assert len(run_on(setup, s.OVER)) > 300


def test_points_that_find_no_room_are_counted_and_none_is_written_over(setup):
    started(setup, knots(*[(0.9 * n, 0.0) for n in range(7)]))
    for _ in range(190):
        setup.let_pass()
    assert setup.fetch(0)[2] == 190
    for _ in range(s.POINTS - 190 + 25):
        setup.let_pass(us=PERIOD_US)
        if _ % 50 == 0:
            setup.fetch(0)
    _, _, kept, lost, point = setup.fetch(0)
    assert (kept, lost) == (s.POINTS, 25)
    assert point[0] == PERIOD_US
    assert setup.fetch(s.POINTS)[2] == 0
    assert setup.request(s.FETCH, 3).verdict == p.OUT_OF_RANGE  # given back


def test_a_point_asked_for_again_is_the_same(setup):
    """An answer that was damaged on the line costs nothing."""
    started(setup)
    for _ in range(5):
        setup.let_pass()
    assert setup.fetch(2) == setup.fetch(2)


def test_what_sensors_tell_is_kept_beside_what_was_commanded(setup):
    started(setup)
    setup.link.see((100, -200, p.NO_ANGLE, 300))
    setup.let_pass()
    assert setup.fetch(0)[4][9:] == (100, -200, p.NO_ANGLE, 300, -1)


class Input:
    """An analogue input at a level of 4096."""

    def __init__(self, counts: int):
        self.counts = counts

    def read_u16(self) -> int:
        return self.counts << 4


def with_sensors(setup: StandSetup) -> list[Input]:
    """Sensors of the node's own, one read a cycle; 1024 counts are 22.5 deg from neutral."""
    inputs = [Input(counts) for counts in (1024, 2048, 3072, 2048)]
    angles = VaneAngles(AnalogueAngles(inputs), [2048] * 4, [90_000] * 4, 1)
    setup.loop.node.control.angles = angles
    return inputs


def test_a_look_reads_every_sensor_however_few_are_read_in_a_cycle(setup):
    with_sensors(setup)
    _, _, *mdeg = read_numbers(setup.link.ask(s.LOOK).contents)
    assert mdeg == pytest.approx([-22_500, 0, 22_500, 0], abs=5)


def test_while_it_plays_the_node_s_own_sensors_are_read_by_its_cycles_alone(setup):
    inputs = with_sensors(setup)
    started(setup)
    for _ in range(4):
        setup.let_pass()
    inputs[0].counts = 3072
    assert read_numbers(setup.link.ask(s.LOOK).contents)[2] == pytest.approx(-22_500, abs=5)
    for _ in range(4):
        setup.let_pass()
    kept = [setup.fetch(number)[4][9] for number in range(8)]
    assert (kept[3], kept[7]) == pytest.approx((-22_500, 22_500), abs=5)


class Heap:
    """Memory for arrays, of so many bytes; an array that goes gives its own back."""

    def __init__(self, patch: pytest.MonkeyPatch, left: int):
        self.left = left
        heap = self

        class Counted(array):
            size = 0

            def __new__(cls, kind: str, data: bytes = b"") -> Any:
                if len(data) > heap.left:
                    raise MemoryError
                made = super().__new__(cls, kind, data)
                made.size = len(data)
                heap.left -= made.size
                return made

            def __del__(self) -> None:
                heap.left += self.size

        patch.setattr(node_programme, "array", Counted)
        patch.setattr(kept_points, "array", Counted)


SHORT_BYTES = 20 * len(SHORT.ticks)
BLOCK_BYTES = 4 * kept_points.WIDTH * kept_points.BLOCK


@pytest.mark.parametrize(
    "room",
    [SHORT_BYTES // 2, SHORT_BYTES - 1, SHORT_BYTES, SHORT_BYTES + 2 * BLOCK_BYTES],
    ids=["not its times", "not its deflections", "no point", "two blocks, both left"],
)
def test_a_programme_that_finds_no_room_is_refused_and_gives_back_what_it_took(
    setup, monkeypatch, room
):
    heap = Heap(monkeypatch, room)
    assert setup.load().verdict == p.NO_ROOM
    assert heap.left == room
    assert setup.request(s.GO, 77, 0).verdict == p.OUT_OF_ORDER


def test_on_a_small_heap_fewer_points_are_kept_and_two_blocks_are_left(setup, monkeypatch):
    heap = Heap(monkeypatch, SHORT_BYTES + 5 * BLOCK_BYTES + 100)
    started(setup)
    assert heap.left == 2 * BLOCK_BYTES + 100
    for _ in range(70):
        setup.let_pass()
    assert setup.fetch(0)[2:4] == (60, 10)


@pytest.mark.parametrize(
    "words",
    [(1, 0, 0, 77), (s.MOST_KNOTS + 1, 0, 0, 77), (2, 0, 0, 0), (2, 0, 0, s.MOST_RUN + 1),
     (2, 0x10000, 0, 77), (2, 0, 0x10000, 77), (2, -1, 0, 77)],
    ids=["one knot", "too many knots", "no run", "no such run", "CRC too large above",
         "CRC too large below", "CRC negative"],
)  # fmt: skip
def test_a_programme_that_cannot_be_is_refused(setup, words):
    assert setup.request(s.BEGIN, *words).verdict == p.OUT_OF_RANGE


def test_knots_after_the_last_are_refused_and_the_programme_stays_ready(setup):
    assert setup.load().taken
    more = numbers((len(SHORT.ticks),)) + SHORT.pieces[0]
    assert setup.link.request(s.KNOTS, more).verdict == p.NOT_NOW
    assert setup.request(s.GO, 77, 0).taken


def test_armed_after_its_programme_came_a_node_does_not_start_it(setup):
    assert setup.load().taken
    setup.link.arm()
    assert setup.request(s.GO, 77, 0).verdict == p.NOT_NOW
    assert setup.phase() == s.READY


def test_a_halt_where_nothing_plays_changes_nothing(setup):
    assert setup.load().taken
    assert setup.request(s.HALT).taken
    assert setup.phase() == s.READY
    assert setup.request(s.GO, 77, 0).taken


BENCH_LENGTHS = {
    b.MOVE: 9, b.TURN: 9, b.LOOK: 6, b.PLAY_BEGIN: 9, b.PLAY_FILL: 9, b.PLAY_RUN: 0,
    b.PLAY_DATA: 6, b.END: 0,
}  # fmt: skip


def test_no_request_of_the_bench_is_as_long_as_the_stand_s_of_its_kind(setup):
    """So a bench that meets this node is told so by its first frame, whatever it asks."""
    setup.load()
    for kind, length in BENCH_LENGTHS.items():
        verdict = setup.link.request(kind, bytes(length)).verdict
        assert verdict in (p.WRONG_LENGTH, p.UNKNOWN_KIND), kind
    for pulses in range(1, b.PIECE + 1):
        assert setup.link.request(b.PLAY_PIECE, bytes(3 + 2 * pulses)).verdict == p.WRONG_LENGTH


def sequence(count: int, seed: int = 1) -> np.ndarray:
    output = SyncOutput(None)
    output.begin(seed)
    levels = []
    for _ in range(count):
        output.step(CHIP_US)
        levels.append(output.level)
    return np.array(levels)


def test_the_sync_output_is_a_maximum_length_sequence():
    """Golomb's postulates, 1967: one more 1 than 0 over the period, and an autocorrelation of -1
    at every shift but 0, here by the transform; and it satisfies the recurrence of 15 bits."""
    levels = sequence(STATES)
    assert levels.sum() == (STATES + 1) // 2
    spectrum = np.abs(np.fft.fft(1.0 - 2.0 * levels)) ** 2
    assert np.allclose(np.fft.ifft(spectrum).real[1:], -1, atol=1e-6)
    assert np.array_equal(levels[15:], levels[:-15] ^ levels[1:-14])


def test_the_sync_output_is_the_sequence_of_a_reference_library():
    """scipy.signal.max_len_seq with the taps of x^15 + x^14 + 1, at some shift."""
    theirs, _ = max_len_seq(15, taps=[14])
    both = "".join(map(str, theirs)) * 2
    ours = "".join(map(str, sequence(200)))
    assert ours in both or ours in both[::-1]


def test_a_wired_sync_output_is_low_at_first_and_then_at_the_level_that_is_kept():
    class Pin:
        def __init__(self) -> None:
            self.levels: list[int] = []

        def value(self, level: int) -> None:
            self.levels.append(level)

    pin = Pin()
    output = SyncOutput(pin)
    output.begin(1)
    kept = []
    for _ in range(200):
        output.step(CHIP_US)
        kept.append(output.level)
    assert pin.levels == [0, *kept]
    assert kept == sequence(200).tolist()
