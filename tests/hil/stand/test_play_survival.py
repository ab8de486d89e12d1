"""Whatever ends a play: the vanes go to neutral, and no recorded point is lost."""

import io
import signal
import threading
from pathlib import Path

import numpy as np
import pytest

from firmware_port.stand import protocol as s
from firmware_port.stand.rehearsed import rehearsed
from hil.live_page.live_state import LiveState
from hil.live_page.serve import Shown
from hil.node.errors import BoardError
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink
from hil.stand.open_stand import StandNode, node_of
from hil.stand.rehearsal import EmulatedVanes
from hil.stand.session import Plan, play
from mixer.ground.inputs.errors import InputError
from mixer.ground.journals.lines import JournalError
from mixer.ground.two_clocks.play_record import read_play_record
from tests.support.stand_nodes import TABLES, knots
from tests.support.vehicles import vehicle

HELD = knots((0, 0), (0.3, 10), (1.0, 10), (1.9, 10), (2.8, 10), (2.9, 0))
NEUTRAL_NS = [1_500_000] * 4


class Line(Loopback):
    """A line that does something at a frame of the play, told by their count."""

    def __init__(self) -> None:
        super().__init__()
        rehearsed(self.node)
        self.left: int | None = None
        self.then = lambda: None
        self.dead = False

    def write(self, data: bytes, /) -> int:
        if self.left is not None:
            self.left -= 1
            if self.left == 0:
                self.then()
        return len(data) if self.dead else super().write(data)


class Day:
    """A node on such a line, and a play of a programme that holds the vanes out."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.line = Line()
        link = NodeLink(self.line, timeout_s=0.02)
        link.load_tables(TABLES)
        given = vehicle()
        self.node: StandNode = node_of(link, EmulatedVanes(given, 1))
        self.plan = Plan(given, Path("held.csv"), HELD, "cold", folder, "none")

    def play(self, frames: int, then, page: Shown | None = None) -> None:
        self.line.then = then
        self.line.left = frames
        play(self.plan, self.node, {}, say=lambda text: None, count=False, page=page)

    @property
    def record(self):
        return read_play_record(self.folder / "cold-1.record")

    def time_goes_on(self, cycles: int = 400) -> None:
        for _ in range(cycles):
            self.line.clock.advance(5000)
            self.line.turn()


@pytest.fixture
def day(tmp_path: Path) -> Day:
    return Day(tmp_path)


def test_ctrl_c_leads_the_vanes_home_and_the_record_goes_on_until_they_are(day):
    with pytest.raises(KeyboardInterrupt):
        day.play(900, lambda: signal.raise_signal(signal.SIGINT))
    assert day.line.outputs.pulse_ns == NEUTRAL_NS
    record = day.record
    assert not record.whole and "Ctrl-C" in record.outcome
    assert record.deflection_deg[:, 0].max() == 10 and not record.deflection_deg[-1].any()


class Keyboard(io.StringIO):
    """A terminal at which nobody has typed yet."""

    def __init__(self) -> None:
        super().__init__()
        self.typed = threading.Event()

    def isatty(self) -> bool:
        return True

    def readline(self, size: int | None = -1, /) -> str:
        self.typed.wait(20)
        return "\n"

    def enter(self) -> None:
        """Typed, and heard."""
        self.typed.set()
        for thread in threading.enumerate():
            if thread.name == "stop key":
                thread.join(20)


def test_enter_stops_a_play_as_ctrl_c_does(day, monkeypatch):
    keyboard = Keyboard()
    monkeypatch.setattr("sys.stdin", keyboard)
    with pytest.raises(KeyboardInterrupt):
        day.play(900, keyboard.enter)
    assert day.line.outputs.pulse_ns == NEUTRAL_NS
    assert not day.record.whole and not day.record.deflection_deg[-1].any()


def test_enter_after_the_end_of_a_play_stops_nothing(day, monkeypatch):
    keyboard = Keyboard()
    monkeypatch.setattr("sys.stdin", keyboard)
    day.play(0, lambda: None)
    keyboard.enter()
    assert day.record.whole


def test_a_page_sees_where_the_vanes_are_led_and_where_they_stand(day):
    state = LiveState("", [], [[-15.0, 15.0]] * 4)
    day.play(0, lambda: None, state)
    shown = state.since(0)
    assert (shown["stage"], shown["done"], shown["total"]) == ("cold run, seconds", 2.9, 2.9)
    assert len(shown["samples"]) == len(day.record.time_s)
    samples = np.array([row for _, *row in shown["samples"]], float)
    np.testing.assert_allclose(samples[:, :4], day.record.deflection_deg, atol=1e-3)
    assert np.nanmax(samples[:, 4]) > 9.0


def test_after_a_pulled_cable_the_node_goes_to_neutral_by_itself(day):
    def pull() -> None:
        day.line.dead = True

    with pytest.raises(BoardError, match="by itself within a second"):
        day.play(900, pull)
    assert day.line.outputs.pulse_ns != NEUTRAL_NS
    day.time_goes_on()
    assert day.line.outputs.pulse_ns == NEUTRAL_NS
    assert not day.record.whole and "the line was lost" in day.record.outcome
    assert len(day.record.time_s) > 200


def test_an_answer_that_the_line_lost_is_asked_for_again_and_no_point_is_missing(day):
    """Only while points are fetched: time here comes over the same line."""
    link, lost = day.node.player.link, [0]
    ask = link.ask

    def losing(kind: int, contents: bytes = b""):
        answer = ask(kind, contents)
        if kind == s.FETCH and answer.sequence % 7 == 0:
            lost[0] += 1
            raise BoardError("the node did not answer")
        return answer

    link.ask = losing
    day.play(0, lambda: None)
    assert lost[0] > 50
    record = day.record
    assert record.whole and abs(record.time_s[-1] - HELD.length_s) < 0.1
    assert np.diff(record.time_s).max() < 0.0061


def test_a_full_disk_leads_the_vanes_home_and_what_was_written_stays(day, monkeypatch):
    import hil.stand.record_file as record_file

    write, count = record_file.os.write, [0]

    def full(handle: int, line: bytes) -> int:
        count[0] += 1
        if count[0] > 150:
            raise OSError(28, "No space left on device")
        return write(handle, line)

    monkeypatch.setattr(record_file.os, "write", full)
    with pytest.raises(JournalError, match="the 149 points before are safe"):
        day.play(0, lambda: None)
    monkeypatch.undo()
    day.time_goes_on()
    assert day.line.outputs.pulse_ns == NEUTRAL_NS
    assert len(day.record.time_s) == 149


def test_a_record_torn_at_any_byte_is_read_up_to_there(day, full_size):
    step = 1 if full_size else 11
    day.play(0, lambda: None)
    path = day.folder / "cold-1.record"
    whole, content = read_play_record(path), path.read_bytes()
    assert whole.whole
    ends = [n + 1 for n, byte in enumerate(content) if byte == 10]
    for cut in [*range(len(content) - 260, len(content), step), *range(9000, 9180, step)]:
        path.write_bytes(content[:cut])
        points = sum(end <= cut for end in ends) - 1
        torn = read_play_record(path)
        assert not torn.whole and len(torn.time_s) == min(points, len(whole.time_s)), cut
    path.write_bytes(content[: ends[5]])
    with pytest.raises(InputError, match="at least 20 are needed"):
        read_play_record(path)


def test_one_flipped_bit_ends_what_is_read(day):
    day.play(0, lambda: None)
    path = day.folder / "cold-1.record"
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 4
    path.write_bytes(content)
    assert not read_play_record(path).whole


def test_the_next_play_of_a_killed_one_gets_a_record_of_its_own(day, tmp_path):
    (tmp_path / "cold-1.record").write_bytes(b"half a li")
    (tmp_path / "cold-10.record").write_bytes(b"")
    path, _ = play(day.plan, day.node, {}, say=lambda text: None, count=False)
    assert path.name == "cold-11.record"
    assert (tmp_path / "cold-1.record").read_bytes() == b"half a li"
