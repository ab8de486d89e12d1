"""A play on boards: no heap in its cycle, real time, and a laptop's program that is killed."""

import signal
import subprocess
import sys
import time
from base64 import b64encode
from pathlib import Path

import numpy as np
import pytest

from firmware_port.stand import protocol as s
from hil.boards.board import Board
from hil.boards.deploy import compile_for, deploy
from hil.boards.link import Link
from hil.boards.unix import UnixBoard, missing_interpreter
from hil.stand.open_stand import stand_node
from hil.stand.session import Plan, checks, play
from mixer.ground.two_clocks.play_record import read_play_record
from tests.support.stand_nodes import TABLES, knots
from tests.support.vehicles import vehicle, vehicle_text

STEEP = knots((0, 0), (0.1, 15), (0.5, -15), (1.4, 12.345), (1.5, 0))
CYCLES = """
import gc, micropython
from array import array
from binascii import a2b_base64
from firmware_port.node import Node
from firmware_port.outputs import RecordedPulses
from firmware_port.paced import PacedClock
from firmware_port.stand import protocol as s
from firmware_port.stand.play import Play
from firmware_port.table_store import TableStore
from mixer.flight import FlightTables, Steering

class Line:
    def receive(self, chunk):
        return 0
    def send(self, data, count):
        pass

gc.collect()
clock = PacedClock()
node = Node(Line(), RecordedPulses(), clock, clock, TableStore(None))
play = Play(node)
gc.collect()
node.control.fly(Steering(FlightTables.from_bytes(a2b_base64({tables}))))
for _ in range(3):
    node.cycle(5000)
pieces = a2b_base64({pieces})
words = array('i', [{count}, {high}, {low}, 77, 0, 0, 0, 0])
took = [play._on_begin(words)]
for n in range({count}):
    request = bytearray(6) + pieces[15 * n:15 * n + 15]
    request[3] = n
    node.request, node.length = request, 18
    took.append(play._on_knots(words))
words[0], words[1] = 77, 0
took.append(play._on_go(words))
gc.collect()
micropython.heap_lock()
try:
    for _ in range(340):
        play._silent_us = 0
        node.cycle(5000)
finally:
    micropython.heap_unlock()
print(sum(took), play.phase, play._points.next, play._points.lost)
"""


def test_the_cycle_of_a_play_takes_no_heap(quick_board: Board) -> None:
    """The heap is locked for 340 cycles: any allocation would be a MemoryError."""
    crc = STEEP.crc
    script = CYCLES.format(
        tables=b64encode(TABLES),
        pieces=b64encode(b"".join(STEEP.pieces)),
        count=len(STEEP.ticks),
        high=crc >> 16,
        low=crc & 0xFFFF,
    )
    with Link(quick_board.port) as link:
        facts = link.facts()
        deploy(link, facts, compile_for(facts, stand=True))
        took, phase, points, lost = map(int, link.execute(script).split())
    assert (took, phase) == (0, s.OVER)
    assert points >= 20 and points + lost > 300  # a small board has room for fewer points


@pytest.mark.usefixtures("campaign")
def test_in_real_time_every_cycle_is_fetched_and_the_vanes_are_where_they_should_be(
    tmp_path: Path,
) -> None:
    """The unix board as a real one is talked to: its own clock, 200 cycles a second."""
    if missing := missing_interpreter():
        pytest.skip(missing)
    given = vehicle()
    programme = knots(*[(0.8 * n, 8.0 * (n % 2)) for n in range(7)])
    plan = Plan(given, Path("long.csv"), programme, "cold", tmp_path, "port")
    with UnixBoard() as unix, stand_node(unix.port, given, 0, wiring="unix") as node:
        assert node.vanes is None
        time.sleep(0.1)
        checks(plan, node, print)
        path, ended = play(plan, node, {}, say=print, count=False)
    record = read_play_record(path)
    assert (ended.outcome, ended.lost) == (s.PLAYED, 0)
    wanted = np.interp(record.time_s, programme.ticks / 8000, programme.mdeg[:, 0] / 1000)
    moving = record.time_s < programme.length_s
    assert np.abs(record.deflection_deg[moving, 0] - wanted[moving]).max() < 0.01
    assert 4.7 < record.time_s[-1] < 5.2
    assert np.diff(record.time_s).max() < 0.1 and len(record.time_s) == ended.points


@pytest.mark.usefixtures("campaign")
def test_of_a_killed_play_every_written_point_is_read_and_the_same_command_goes_on(
    tmp_path: Path,
) -> None:
    (tmp_path / "vehicle.toml").write_text(vehicle_text())
    (tmp_path / "long.csv").write_text(
        "time_s,vane1_deg,vane2_deg,vane3_deg,vane4_deg\n0,0,0,0,0\n20,5,5,5,5\n40,0,0,0,0\n"
    )
    command = [
        sys.executable, "-c", "from mixer.ground.command_line.fourvane import fourvane; fourvane()",
        "stand", "play", "long.csv", "--vehicle", "vehicle.toml",
    ]  # fmt: skip
    path = tmp_path / "fourvane-stand" / "cold-1.record"
    running = subprocess.Popen(command, cwd=tmp_path)
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and not (path.exists() and path.stat().st_size > 30_000):
        time.sleep(0.02)
    running.send_signal(signal.SIGKILL)
    running.wait(30)
    lines = path.read_bytes().count(b"\n")
    record = read_play_record(path)
    assert len(record.time_s) == lines - 1 and not record.whole
    hot = subprocess.run([*command, "--hot"], cwd=tmp_path, capture_output=True, text=True)
    assert hot.returncode == 2 and "is torn" in hot.stderr
