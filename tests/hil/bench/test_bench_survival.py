"""Bench data survives: killed processes, Ctrl-C at any moment, pulled cables, full disks."""

import json
import pathlib
import random
import signal
import subprocess
import sys
import time

import pytest
from click.testing import CliRunner

from firmware_port import node
from firmware_port.bench.motion import Bench
from hil.bench.board_port import BoardPort
from hil.bench.journal import Journal, read_lines
from hil.bench.run import items_of, run_bench
from hil.emulated_servos.faults import emulated_servo
from hil.node.errors import BoardError
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink
from mixer.ground.command_line.fourvane import end_in_order, fourvane
from mixer.ground.servo_bench.data import bench_data
from mixer.ground.servo_fit.fit import fit_servo
from mixer.ground.tables.build import flight_tables
from tests.support.benches import TRAVEL_DEG, Notes, plan_of, port_of
from tests.support.vehicles import vehicle

SEED = 20
TOLD = """
import pathlib, sys, time
from hil.bench.run import items_of, run_bench
from hil.bench.journal import Journal
from hil.emulated_servos.faults import emulated_servo
from tests.support.benches import plan_of, port_of

def tell(done, item, record):
    print(item.key, flush=True)
    time.sleep(0.001)

items = items_of(plan_of(passes=2), ["sweep"], True)
with Journal(pathlib.Path(sys.argv[1]), {"servo": 1}) as journal:
    run_bench(port_of(emulated_servo(1)), items, journal, tell)
"""
COMMAND = """
import click
from hil.commands.bench import bench
from mixer.ground.command_line.fourvane import fourvane
type(fourvane)("fourvane", commands={"bench": bench})()
"""


def test_a_killed_process_loses_no_point_it_had_told_of(tmp_path):
    """SIGKILL at random moments, going on each time until the sweep is whole."""
    rng = random.Random(SEED)
    path = tmp_path / "sweep.journal"
    items = items_of(plan_of(passes=2), ["sweep"], True)
    told: set[str] = set()
    kills = 0
    while True:
        process = subprocess.Popen(
            [sys.executable, "-c", TOLD, str(path)], stdout=subprocess.PIPE, text=True
        )
        assert process.stdout is not None
        live = rng.randrange(20, 90)
        for line in process.stdout:  # what was kept before is told again first
            live -= line.strip() not in told
            told.add(line.strip())
            if live == 0:
                process.send_signal(signal.SIGKILL)
        status = process.wait()
        if status == 0:
            break
        assert status == -signal.SIGKILL
        kills += 1
        kept = {key for key, _ in read_lines(path).records}
        assert told <= kept, f"seed {SEED}: lost {told - kept}"
        assert len(kept - told) <= 2  # the header, and a point kept but not told of any more
    assert kills >= 2
    kept = dict(read_lines(path).records[1:])
    assert list(kept) == [item.key for item in items]
    fit = fit_servo(bench_data(1, kept).sweep, TRAVEL_DEG, 0.5)
    assert fit.repeatability_deg < 0.6


def lines_in(file: pathlib.Path) -> int:
    return file.read_bytes().count(b"\n")


@pytest.mark.skipif(sys.platform == "win32", reason="because Ctrl-C is sent as a POSIX signal")
@pytest.mark.parametrize("after", [1, 60, 400])
def test_ctrl_c_keeps_what_was_measured_and_the_same_command_goes_on(tmp_path, after, full_size):
    """The exit status tells of it, the message says where to go on, the result is whole."""
    if after != 60 and not full_size:
        pytest.skip("at the beginning and the end with --campaigns")
    passes = 12 if full_size else 4
    arguments = ["bench", "sweep", "--servo", "1", "--out-dir", str(tmp_path)]
    arguments += ["--passes", str(passes)]
    process = subprocess.Popen(
        [sys.executable, "-c", COMMAND, *arguments, "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    journal = tmp_path / "servo-1-sweep.journal"
    while process.poll() is None and not (journal.exists() and lines_in(journal) > after):
        time.sleep(0.005)
    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=60)
    assert process.returncode == 130, said
    assert "servo 1 has been led to neutral" in said
    kept = len(read_lines(journal).records)
    assert after <= kept < passes * 62
    again = CliRunner().invoke(fourvane, [*arguments, "--json"])
    assert again.exit_code == 0, again.output
    assert json.loads(again.stdout)["passed"]
    whole = read_lines(journal).records
    assert len({key for key, _ in whole}) == len(whole)


@pytest.fixture
def polite_end():
    """The program's own answer to SIGTERM."""
    before = signal.signal(signal.SIGTERM, end_in_order)
    yield
    signal.signal(signal.SIGTERM, before)


@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM])
def test_ctrl_c_within_an_exchange_waits_until_it_is_whole(sent, monkeypatch, polite_end):
    """It comes while the node writes an answer; the next request gets an answer of its own."""
    link = NodeLink(Loopback())
    whole = link.identify()
    write = node.seal

    def interrupted(*answer):
        monkeypatch.setattr(node, "seal", write)
        signal.raise_signal(sent)
        return write(*answer)

    monkeypatch.setattr(node, "seal", interrupted)
    with pytest.raises(KeyboardInterrupt):
        link.counters()
    assert link.identify() == whole


class PulledCable(Loopback):
    """A node's line that goes dead after so many frames."""

    def __init__(self, frames):
        super().__init__()
        Bench(self.node)
        self.left = frames

    def write(self, data, /):
        self.left -= 1
        return super().write(data) if self.left > 0 else len(data)


def test_a_pulled_cable_ends_the_run_in_words_and_the_board_goes_to_neutral_by_itself(tmp_path):
    line = PulledCable(600)
    link = NodeLink(line, timeout_s=0.02)
    link.load_tables(flight_tables(vehicle()).to_bytes())
    servos = [emulated_servo(n) for n in range(4)]
    port = BoardPort(link, [1500.0] * 4, servos=servos)
    path = tmp_path / "sweep.journal"
    with (
        Journal(path, {"servo": 1}) as journal,
        pytest.raises(BoardError, match="did not answer"),
    ):
        run_bench(port, items_of(plan_of(), ["sweep"], True), journal)
    assert len(read_lines(path).records) > 50
    assert line.outputs.pulse_ns[0] != 1_500_000
    for _ in range(400):  # the board's own time goes on
        line.clock.advance(10_000)
        line.turn()
    assert line.outputs.pulse_ns == [1_500_000] * 4


def test_a_servo_is_led_to_neutral_also_when_the_disk_is_full():
    class Full(Notes):
        def append(self, key, record):
            if len(self.records) == 40:
                raise OSError(28, "No space left on device")
            super().append(key, record)

    port = port_of(emulated_servo(2))
    with pytest.raises(OSError, match="No space left"):
        run_bench(port, items_of(plan_of(), ["ready", "sweep"], True), Full())
    assert port.pulse_us == [1500.0]
