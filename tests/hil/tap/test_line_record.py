"""A record made of what passed on the line tells what the node was told, as far as a line can."""

import json
import os
import pty
import threading
import time
import tty
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from firmware_port import protocol as p
from hil.commands.record import record
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, numbers
from hil.tap.kept_bytes import KeptBytes
from hil.tap.line_record import line_entries, write_record
from hil.tap.listener import Listener, TappedStream
from mixer.flight import Steering
from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.flight_record import record_layout as r
from mixer.ground.flight_record.entries import Answered, Cycle, Entry, State, Told
from mixer.ground.flight_record.record_file import read_record
from mixer.ground.flight_record.replay import replay
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

TABLES = flight_tables(vehicle())


def flown(kept: KeptBytes | None = None, sensors: bool = False) -> Listener:
    """A flight computer that starts, demands, declares a jam, is silent, and disarms.

    sensors: by them the node finds vane 3 jammed too, until its watch is switched off.
    """
    listener, here, times = Listener(2, kept), Loopback(), iter(range(10**6))
    link = NodeLink(TappedStream(here, listener, lambda: 0.0025 * next(times)))
    NodeLink(here).load_tables(TABLES.to_bytes())
    link.pace(5000)
    link.identify()
    link.demand(0, 0, 0, 0)  # not armed
    link.arm()
    link.start()
    for k in range(60):
        link.demand(9000 * k, -5000 * k, 100 * k, 2_000_000)
    link.jam(2, 1500)
    for k in range(60):
        if sensors:
            link.see([p.NO_ANGLE, p.NO_ANGLE, 9000, p.NO_ANGLE], followed=0b100 if k == 0 else 0)
        link.demand(300_000 - 9000 * k, 40_000, -100 * k, 1_900_000)
    if sensors:
        assert link.watched().declared == (3,)
        link.watch(False)
        link.free(2)
        for _ in range(20):
            link.demand(0, 0, 0, 1_900_000)
    link.let_pass(200_000)
    link.let_pass(5000)
    link.request(p.BURN, numbers((-1, 0), 4))  # refused
    link.burn(2_000_000, 500_000)
    link.disarm()
    return listener


def replayed(entries: list[Entry]) -> tuple[int, int]:
    """Cycles compared and those that differ, through the flight core here."""
    steering, compared, differ, state = Steering(TABLES), 0, 0, p.SAFE
    for entry in entries:
        match entry:
            case State(state=new):
                state = new
            case Told(what=r.BEGIN):
                steering.begin()
            case Told(what=r.JAM, first=vane, second=angle):
                steering.jam(vane, angle)
            case Cycle(dt_us=dt_us, pressure_pa=pressure_pa, demand_mnm=moment):
                if moment is not None:
                    steering.demand(*moment)
                steering.step(pressure_pa, dt_us)
            case Answered() if state == p.ARMED:
                compared += 1
                differ += list(steering.deflection_mdeg) != list(entry.deflection_mdeg)
                differ += list(steering.moment_mnm) != list(entry.moment_mnm)
    return compared, differ


def test_a_record_heard_at_a_stated_pace_replays_to_the_last_bit(tmp_path: Path) -> None:
    cycles = write_record(tmp_path / "flight.record", flown())
    read = read_record(tmp_path / "flight.record")
    assert (read.header["source"], read.torn_bytes) == ("line", 0)
    assert sum(isinstance(entry, Cycle) for entry in read.entries) == cycles == 123
    assert replayed(read.entries) == (120, 0)


@pytest.mark.parametrize(("sensors", "cycles"), [(False, 123), (True, 143)])
def test_a_replay_finds_the_same_integers_the_led_pulses_of_jammed_vanes_among_them(
    tmp_path: Path, sensors: bool, cycles: int
) -> None:
    write_record(tmp_path / "flight.record", flown(sensors=sensors))
    found = replay(read_record(tmp_path / "flight.record"), TABLES)
    assert not found.exact  # it says so itself: time steps of a line are as heard
    assert found.differing == 0, found.first_words
    assert (found.cycles, found.compared) == (cycles, (cycles - 2) * 12)


def test_the_header_has_the_tables_that_an_identify_told(tmp_path: Path) -> None:
    write_record(tmp_path / "flight.record", flown())
    link = NodeLink(Loopback())
    link.load_tables(TABLES.to_bytes())
    board, _, crc = link.identify()
    header = read_record(tmp_path / "flight.record").header
    assert (header["board"], header["tables_crc"]) == (board, crc)


def test_states_jams_starts_and_refusals_are_told() -> None:
    entries = line_entries(flown().end())
    assert [e.state for e in entries if isinstance(e, State)] == [
        p.SAFE,
        p.ARMED,
        p.LINK_LOST,
        p.SAFE,
    ]
    told = [e for e in entries if isinstance(e, Told)]
    assert Told(r.BEGIN) in told and Told(r.JAM, 2, 1500) in told
    assert Told(r.START, 2_000_000, 500_000) in told
    assert Told(r.FRAME_REFUSED, p.BURN, p.OUT_OF_RANGE) in told
    demanded = [e.demand_mnm for e in entries if isinstance(e, Cycle)]
    assert demanded[0] is None  # not armed: the steering never got it
    assert demanded[1] == (0, 0, 0) and demanded[-1] is None


def test_without_a_stated_pace_time_steps_are_those_between_answers() -> None:
    listener, here, times = Listener(), Loopback(), iter(range(10**6))
    NodeLink(here).load_tables(TABLES.to_bytes())
    NodeLink(here).pace(4000)
    link = NodeLink(TappedStream(here, listener, lambda: 0.001 * next(times)))
    link.arm()
    for _ in range(5):
        link.demand(1000, 0, 0, 2_000_000)
    steps = [e.dt_us for e in line_entries(listener.end()) if isinstance(e, Cycle)]
    assert len(set(steps)) == 1 and steps[0] > 0


def test_a_demand_that_was_refused_is_known_to_the_next_cycle() -> None:
    listener, here = Listener(), Loopback()
    NodeLink(here).load_tables(TABLES.to_bytes())
    link = NodeLink(TappedStream(here, listener))
    link.pace(5000)
    link.arm()
    link.demand(0, 0, 0, 2_000_000)
    link.demand(2_000_000_000, 0, 0, 2_000_000)
    link.demand(0, 0, 0, 2_000_000)
    entries = line_entries(listener.end())
    assert Told(r.FRAME_REFUSED, p.DEMAND, p.OUT_OF_RANGE) in entries
    assert [e.refused for e in entries if isinstance(e, Cycle)] == [False, True]


def run(*arguments: object) -> Result:
    group = type(fourvane)("fourvane", commands={"record": record})
    return CliRunner().invoke(group, ["record", "tap", *map(str, arguments)])


def test_what_a_killed_run_kept_becomes_a_record(tmp_path: Path) -> None:
    with KeptBytes(tmp_path / "a.heard") as kept:
        flown(kept)
    torn = (tmp_path / "a.heard").read_bytes()[:-7]
    (tmp_path / "a.heard").write_bytes(torn)
    done = run("--heard", tmp_path / "a.heard", "--out", tmp_path / "b.record", "--json")
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["cycles_recorded"] == 123
    assert replayed(read_record(tmp_path / "b.record").entries) == (120, 0)
    assert len((tmp_path / "b.csv").read_text().splitlines()) == 1 + 121  # a PASS is no demand


def test_the_command_listens_to_a_port_and_writes_record_bytes_and_table(tmp_path: Path) -> None:
    with KeptBytes(tmp_path / "said.heard") as kept:
        flown(kept)
    said = b"".join(
        bytes.fromhex(line.split()[2]) for line in kept.path.read_text().splitlines()[1:]
    )
    outer, inner = pty.openpty()
    tty.setraw(inner)

    def speak() -> None:
        time.sleep(0.3)
        for at in range(0, len(said), 256):
            os.write(outer, said[at : at + 256])

    speaker = threading.Thread(target=speak)
    speaker.start()
    out = tmp_path / "flight.record"
    done = run("--port", os.ttyname(inner), "--seconds", 1.2, "--out", out, "--json")
    speaker.join()
    os.close(outer)
    os.close(inner)
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert (told["cycles_recorded"], told["damaged_frames"]) == (123, 0)
    assert {path.name for path in tmp_path.iterdir()} >= {"flight.heard", "flight.csv"}


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "--port was given 0 times; must be once, or twice for two wires"),
        (("--port", "a", "--port", "b", "--port", "c"), "--port was given 3 times"),
        (("--port", "/dev/no-such-port"), "/dev/no-such-port: cannot listen there"),
    ],
)
def test_what_cannot_be_listened_to_is_refused(
    tmp_path: Path, arguments: tuple[str, ...], said: str
) -> None:
    done = run(*arguments, "--out", tmp_path / "flight.record")
    assert done.exit_code == 2
    assert said in done.stderr


def test_what_a_killed_run_kept_is_never_written_over(tmp_path: Path) -> None:
    (tmp_path / "flight.heard").write_text("of a run that was killed")
    done = run("--port", "a", "--out", tmp_path / "flight.record")
    assert (done.exit_code, "make its record with --heard" in done.stderr) == (2, True)
    assert (tmp_path / "flight.heard").read_text() == "of a run that was killed"


def test_a_record_is_never_written_over(tmp_path: Path) -> None:
    (tmp_path / "flight.record").write_text("of yesterday")
    done = run("--port", "a", "--out", tmp_path / "flight.record")
    assert (done.exit_code, "never written over" in done.stderr) == (2, True)
    assert (tmp_path / "flight.record").read_text() == "of yesterday"
