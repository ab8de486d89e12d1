"""The node on an emulated Raspberry Pi Pico, watched at its pins. No physical board is in this.

One Pico is deployed to and verified; a second one boots from what that left in its flash, and all
tests share it. Time is the Pico's own: it passes while a test waits.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from zlib import crc32

import pytest

from firmware_port import protocol as p
from firmware_port.bench import protocol as b
from firmware_port.boards import rp2
from hil.boards.board import RealBoard
from hil.boards.deploy import compile_for, deploy, install
from hil.boards.link import Link
from hil.node.errors import BoardError
from hil.node.node_link import NodeLink, demand_contents, numbers, read_cycle, wire_frame
from hil.node.patience import VARIABLE
from hil.verify.verify import Findings, verify
from mixer.ground.tables.build import flight_tables
from tests.board.conftest import unavailable
from tests.board.pico import (
    PATIENCE,
    PINS,
    Pico,
    Wire,
    longest_high_us,
    missing_emulator,
    missing_node_js,
    pulses,
)
from tests.support.vehicles import vehicle

TABLES = flight_tables(vehicle())
OTHER = flight_tables(vehicle(servos={"neutral_us": 1480.0}))
NEUTRAL_US = 1500.0
STEP_US = 0.31  # of the PWM at 50 Hz: 125 MHz, divider 38.1875
FRAME_US = 20_000.0
BOOT_US = 1_500_000.0
FLY = b"\r\x02from firmware_port.boards import rp2\rfrom firmware_port.start import fly\rfly(rp2)\r"
CTRL_C = b"\r\x03\x03\r\x01"  # as whoever deploys knocks


@dataclass
class Deployed:
    """A Pico's flash with the node on it, and what `verify` found while it was put there."""

    flash: Path
    findings: Findings


@pytest.fixture(scope="module", autouse=True)
def patient() -> Iterator[None]:
    """The one setting for slow boards."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(VARIABLE, PATIENCE)
        yield


@pytest.fixture(scope="module")
def deployed(
    tmp_path_factory: pytest.TempPathFactory, patient: None, long: bool, campaign: None
) -> Deployed:
    if missing := missing_emulator():
        pytest.skip(missing)
    if missing := missing_node_js():
        unavailable(missing)
    flash = tmp_path_factory.mktemp("pico") / "flash.bin"
    with Pico(flash) as pico:
        board = RealBoard(pico.usb, "rp2")
        cycles, seeds = (3000, 3) if long else (240, 1)
        findings = verify(board, TABLES, name="pico", cycles=cycles, seeds=seeds)
        with Link(pico.usb) as link:
            install(link, link.facts(), "rp2", TABLES.to_bytes())
        pico.command("save", file=str(flash))
    return Deployed(flash, findings)


@pytest.fixture(scope="module")
def long(request: pytest.FixtureRequest) -> bool:
    return bool(request.config.getoption("--long"))


class Served:
    """The Pico, its flight computer's line, and what a flight computer does with it."""

    def __init__(self, pico: Pico):
        self.pico = pico
        self.wire = Wire(pico)
        self.link = NodeLink(self.wire)
        self.await_node()

    def await_node(self) -> None:
        """Until the node says that it is there."""
        until_us = self.wire.now_us + BOOT_US
        while self.wire.read(1) != b"\0":
            assert self.wire.now_us < until_us, bytes(self.wire.usb[-300:])

    def answers(self) -> bool:
        """Whether a node is there, by the Pico's own time: NodeLink waits by the wall's."""
        self.wire.write(wire_frame(p.IDENTIFY, 0))
        self.wire.wait(2.5 * FRAME_US)
        there = self.wire.in_waiting > 0
        self.wire.read(self.wire.in_waiting or 1)
        return there

    def power_up(self, why: str = "power") -> None:
        """Let the chip begin anew."""
        self.pico.command("reset", why=why)
        self.await_node()

    def fly(self, cycles: int, pitch_mnm: int = 200_000) -> tuple[int, ...]:
        """Demands at 200 a second; the pulses of the last answer."""
        told: tuple[int, ...] = ()
        for _ in range(cycles):
            answer = self.link.demand(pitch_mnm, -100_000, 3000, 2_000_000)
            assert answer.taken, answer
            told = read_cycle(answer.contents).pulse_ns
            self.wire.wait(3000)
        return told

    def widths_us(self, us: float = 2.5 * FRAME_US) -> list[list[float]]:
        """Of the whole pulses of the next while, vane by vane."""
        self.pico.edges()
        self.wire.wait(us)
        found = pulses(self.pico.edges())
        return [[width for _, width in found[pin]] for pin in PINS]

    def until_rise(self) -> None:
        """To a moment just after the lines have risen."""
        self.pico.edges()
        while not any(level == 1 for _, _, level in self.pico.edges()):
            self.wire.wait(100)


@pytest.fixture(scope="module")
def one_pico(deployed: Deployed) -> Iterator[Served]:
    with Pico(deployed.flash) as pico:
        yield Served(pico)


@pytest.fixture
def served(one_pico: Served) -> Iterator[Served]:
    """The Pico with a node that serves, safe and at rest; booted anew only where it does not."""
    one_pico.pico.command("free", on=False)
    if one_pico.answers():
        one_pico.link.disarm()
        one_pico.wire.wait(200_000)
    else:
        one_pico.power_up()
    one_pico.pico.edges()
    yield one_pico
    one_pico.pico.edges()
    assert longest_high_us(one_pico.pico.told, one_pico.wire.now_us) < 2100  # in whatever test
    one_pico.pico.told.clear()


@contextmanager
def free_running(served: Served) -> Iterator[str]:
    """For programs that wait by the wall clock; the port of the prompt."""
    served.pico.command("free", on=True)
    try:
        yield served.pico.usb
    finally:
        served.pico.command("free", on=False)
        served.wire.wait(1)


# ---- deploy and verify ---------------------------------------------------------------------------


def test_every_answer_of_the_pico_is_the_laptops_and_takes_no_heap(deployed: Deployed) -> None:
    found = deployed.findings
    assert found.played.mismatches == 0, found.played.first_mismatch
    assert found.passed
    assert found.core.startswith("machine code for armv6m")


def test_a_deployed_pico_serves_by_itself_with_its_tables(served: Served) -> None:
    name, unit, crc = served.link.identify()
    assert (name, unit, crc) == (rp2.NAME, p.MICROSECONDS, crc32(TABLES.to_bytes()))
    assert read_widths(served) == [NEUTRAL_US] * 4


def read_widths(served: Served) -> list[float]:
    """Each vane's width, to a PWM step; all of them alike in that while."""
    found = served.widths_us()
    for widths in found:
        assert len(widths) >= 2
        assert max(widths) - min(widths) < STEP_US
    return [pytest.approx(widths[0], abs=STEP_US) for widths in found]  # type: ignore[misc]


# ---- in flight -----------------------------------------------------------------------------------


def test_the_pins_show_what_the_answers_tell(served: Served) -> None:
    served.link.arm()
    told = served.fly(30)
    measured = read_widths(served)
    assert [ns / 1000 for ns in told] == measured
    assert max(told) > 1_540_000


def test_a_silent_flight_computer_finds_the_vanes_at_neutral_within_a_frame_of_the_timeout(
    served: Served,
) -> None:
    served.link.arm()
    served.fly(30)
    served.wire.wait(
        100_000 + 30_000
    )  # the timeout; half a degree a cycle, then a frame to show it
    assert read_widths(served) == [NEUTRAL_US] * 4
    assert served.link.request(p.IDENTIFY).state == p.LINK_LOST
    assert any(answer.kind == p.STATE for answer in served.link.heard)


def test_a_jam_told_to_a_safe_pico_moves_no_line(served: Served) -> None:
    served.link.jam(3, 15_000)
    assert read_widths(served) == [NEUTRAL_US] * 4
    served.link.free(3)
    assert read_widths(served) == [NEUTRAL_US] * 4


def test_ctrl_c_at_the_prompt_does_not_end_an_armed_node_then_or_later(served: Served) -> None:
    served.link.arm()
    served.wire.type(CTRL_C)
    told = served.fly(20)
    assert [ns / 1000 for ns in told] == read_widths(served)
    served.link.disarm()
    served.wire.wait(100_000)
    assert served.link.identify()[0] == rp2.NAME


def test_whoever_knocks_at_an_armed_pico_is_told_what_to_do(
    served: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    served.link.arm()
    monkeypatch.setenv(VARIABLE, "0.6")
    with free_running(served) as port, pytest.raises(BoardError, match=r"send DISARM"):
        Link(port)
    assert served.link.request(p.IDENTIFY).state == p.LINK_LOST


# ---- tables --------------------------------------------------------------------------------------


def test_new_tables_are_stored_before_the_first_arming_and_refused_after_it(
    served: Served,
) -> None:
    """Erasing takes its time here. After arming, a watchdog that cannot be stopped would bite."""
    served.power_up()
    served.pico.command("set", opt={"flashtime": True})
    resets = served.pico.resets()
    served.link.load_tables(OTHER.to_bytes())
    served.wire.wait(2 * FRAME_US)  # the answer may come before the frame that shows them
    served.pico.edges()
    assert read_widths(served) == [pytest.approx(1480.0, abs=STEP_US)] * 4
    served.link.load_tables(TABLES.to_bytes())
    served.link.arm()
    served.fly(3)
    served.link.disarm()
    served.wire.wait(200_000)
    begin = numbers((100, 1, 2))
    assert served.link.request(p.TABLES_BEGIN, begin).verdict == p.NOT_NOW
    assert served.link.request(p.TABLES_COMMIT).verdict == p.NOT_NOW
    served.wire.wait(300_000)
    assert served.link.identify()[2] == crc32(TABLES.to_bytes())
    assert served.pico.resets() == resets
    served.pico.command("set", opt={"flashtime": False})


# ---- the end of a node ---------------------------------------------------------------------------


def stop(served: Served) -> None:
    served.wire.write(wire_frame(p.STOP, 1))


def knock(served: Served) -> None:
    served.wire.type(CTRL_C)


@pytest.mark.parametrize("end", [stop, knock])
def test_a_node_ended_at_any_phase_of_a_pulse_lets_it_out_whole_and_leaves_the_lines_low(
    served: Served, end, long: bool
) -> None:
    phases = range(0, 20_000, 1000) if long else (0, 700, 1400, 18_600)
    for phase_us in phases:
        served.until_rise()
        served.wire.wait(phase_us)
        end(served)
        served.wire.wait(2.5 * FRAME_US)
        edges = served.pico.edges()
        for rises in pulses(edges).values():
            for _, width in rises:
                assert width == pytest.approx(NEUTRAL_US, abs=STEP_US)
        served.wire.wait(2 * FRAME_US)
        assert not [edge for edge in served.pico.edges() if edge[2] == 1]
        assert served.pico.levels() == dict.fromkeys(PINS, 0)  # low, and driven
        served.wire.read(served.wire.in_waiting)
        served.wire.type(FLY)
        served.await_node()
        served.wire.wait(FRAME_US)


def test_an_ended_node_that_was_armed_leaves_the_prompt_alone(served: Served) -> None:
    """Its watchdog cannot be stopped, but it is fed."""
    served.link.arm()
    served.fly(3)
    served.link.disarm()
    served.wire.wait(200_000)
    resets = served.pico.resets()
    with free_running(served) as port, Link(port) as link:
        assert link.facts().file_system
        link.write_file("lib/try.txt", bytes(3000))
    served.wire.wait(12_000_000)
    with free_running(served) as port, Link(port) as link:
        assert link.evaluate("len(open('lib/try.txt').read())") == 3000
        link.execute("import os\nos.remove('lib/try.txt')")
    assert served.pico.resets() == resets


def test_a_rehearsal_that_lost_its_host_is_found_and_ended(
    served: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(VARIABLE, "2")
    with free_running(served) as port:
        for armed in (False, True):
            with Link(port) as link:
                link.execute(
                    "from firmware_port.start import rehearse\nfrom firmware_port.boards import rp2"
                )
                node = NodeLink(link.start("rehearse(rp2)"))
                if armed:
                    node.load_tables(TABLES.to_bytes())
                    node.arm()
            # here the host was killed
        with Link(port) as link:
            assert link.evaluate("6 * 7") == 42


def test_the_bench_over_usb_hears_its_first_frame_and_moves_one_line(served: Served) -> None:
    with free_running(served) as port, Link(port) as link:
        facts = link.facts()
        files = compile_for(facts, bench=True)
        deploy(link, facts, {path: files[path] for path in files if "/bench/" in path})
        node = NodeLink(
            link.start(
                "from firmware_port.boards import rp2\n"
                "from firmware_port.bench.start import bench\nbench(rp2)"
            )
        )
        node.load_tables(TABLES.to_bytes())
        node.ask(b.MOVE, numbers((2, 1_600_000, 600_000)))
        served.pico.command("free", on=False)
        measured = read_widths_after(served, 150_000)
        served.pico.command("free", on=True)
        node.stop()
        link.finish()
    assert measured == [NEUTRAL_US, 1600.0, NEUTRAL_US, NEUTRAL_US]
    assert served.pico.levels() == dict.fromkeys(PINS, 0)


def read_widths_after(served: Served, us: float) -> list[float]:
    served.wire.wait(us)
    return read_widths(served)


# ---- hang and reset ------------------------------------------------------------------------------


def test_a_processor_that_hangs_in_flight_is_reset_and_comes_back_safe_with_its_tables(
    served: Served,
) -> None:
    served.link.arm()
    served.fly(20)
    resets = served.pico.resets()
    served.pico.command("hang")
    hung_us = served.wire.now_us
    while served.pico.resets() == resets:
        served.wire.wait(1000)
    assert served.wire.now_us - hung_us < 101_000
    assert served.pico.resets() == [*resets, "watchdog"]
    served.await_node()
    answer = served.link.request(p.DEMAND, demand_contents(900_000, 0, 0, 2_000_000))
    assert (answer.state, p.VERDICT_NAMES[answer.verdict]) == (p.SAFE, "not-armed")
    assert served.link.identify()[2] == crc32(TABLES.to_bytes())
    assert read_widths(served) == [NEUTRAL_US] * 4


def test_a_reset_at_any_moment_leaves_no_line_high_and_comes_back_safe(
    served: Served, long: bool
) -> None:
    for phase_us in range(0, 20_000, 2500) if long else (700,):
        served.link.arm()
        served.fly(3)
        served.until_rise()
        served.wire.wait(phase_us)
        served.pico.command("reset", why="power")
        served.wire.wait(2000)
        assert 1 not in served.pico.levels().values()
        served.await_node()
        assert served.link.request(p.IDENTIFY).state == p.SAFE
