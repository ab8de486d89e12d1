"""The whole bench over a board's serial line: the same frames, the same figures as in-process."""

import json
import os
import random
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from firmware_port import protocol as p
from firmware_port.bench import protocol as b
from hil.bench.open_bench import bench_board
from hil.boards.board import Board
from hil.boards.node_on_board import node_on
from hil.commands.bench import bench
from hil.emulated_servos.faults import emulated_servo
from hil.node.node_link import NodeLink, numbers, read_numbers
from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

MOST_S = 180.0  # of wall time for four servos on a machine that has nothing else to do
BUSY = 2.0  # processes that want to run, for each core: then the wall time says nothing


def run(*arguments: object) -> Result:
    group = type(fourvane)("fourvane", commands={"bench": bench})
    return CliRunner().invoke(group, ["bench", *map(str, arguments), "--json"])


@pytest.mark.usefixtures("campaign")
def test_four_servos_are_benched_in_under_three_minutes_with_the_figures_of_the_node_here(
    quick_board_name: str,
    tmp_path: Path,
    record_property: Callable[[str, object], None],
) -> None:
    """The models see the same pulses at the same times, so every figure is the same number."""
    servos = ("1", "2", "3", "4")
    arguments = ["all", *(word for servo in servos for word in ("--servo", servo))]
    busy = os.getloadavg()[0] > BUSY * (os.cpu_count() or 1)
    began_s = time.monotonic()
    done = run(*arguments, "--board", quick_board_name, "--out-dir", tmp_path / "board")
    wall_s = time.monotonic() - began_s
    assert done.exit_code == 0, done.output
    judged = " (not judged: other work keeps this machine busy)" if busy else ""
    said = f"bench all, {len(servos)} emulated servos on {quick_board_name}: {wall_s:.0f} s{judged}"
    record_property("shown", said)
    result = json.loads(done.stdout)
    assert sorted(result["servos"]) == list(servos)
    assert all(servo["passed"] for servo in result["servos"].values())
    assert busy or wall_s < MOST_S
    here = json.loads(run(*arguments, "--board", "none", "--out-dir", tmp_path / "here").stdout)
    for number, servo in result["servos"].items():
        assert servo["figures"] == here["servos"][number]["figures"]


def test_a_faulty_servo_fails_over_the_board_s_line(quick_board_name: str, tmp_path: Path) -> None:
    done = run(
        "sweep",
        "--board",
        quick_board_name,
        "--servo",
        3,
        "--fault",
        "3=loose-horn",
        "--out-dir",
        tmp_path,
    )
    assert done.exit_code == 1, done.output
    assert json.loads(done.stdout)["servos"]["3"]["faults"] == ["loose horn"]


def test_the_wiggle_check_runs_on_a_board(quick_board_name: str) -> None:
    done = run("wiggle", "--board", quick_board_name, "--swapped", "2", "4")
    assert done.exit_code == 1, done.output
    servos = json.loads(done.stdout)["servos"]
    assert [servos[n]["moved_vane"] for n in "1234"] == [1, 4, 3, 2]


def test_random_bench_requests_do_not_stop_a_board_s_node(
    quick_board_name: str, full_size: bool
) -> None:
    """Requests of random kinds and contents; looks in between show legal pulses."""
    seed = 5
    rng = random.Random(seed)
    kinds = [b.MOVE, b.TURN, b.LOOK, b.PLAY_BEGIN, b.PLAY_FILL, b.PLAY_RUN, b.PLAY_DATA, b.END]
    usual = ([1, 2, 3, 4], [1_400_000, 1_900_000, 5, 40, 5000], [1000, 2000, 30_000])
    edges = [0, 1, 4, 5, 10, 1000, 30_000, 1_500_000, 2_700_000, -1, 8_000_000]
    servos = [emulated_servo(n) for n in range(4)]
    with bench_board(quick_board_name, vehicle(), servos=servos) as port:
        for _ in range(2000 if full_size else 600):
            values = [rng.choice(edges if rng.random() < 0.2 else place) for place in usual]
            port.link.request(rng.choice(kinds), numbers(values[: rng.choice([0, 2, 3, 3])]))
            if rng.random() < 0.2:
                port.link.request(p.PASS, numbers((rng.randrange(1, 60_000),)))
        for servo in (1, 2, 3, 4):
            answer = port.link.request(b.LOOK, numbers((servo, 1)))
            assert answer.taken, f"seed {seed}"
            assert b.SHORTEST_NS <= read_numbers(answer.contents)[0] <= b.LONGEST_NS


def test_the_encoder_driver_runs_on_the_interpreter(quick_board: Board) -> None:
    """The driver's own file on MicroPython, with registers in the place of an I²C bus."""
    with node_on(quick_board) as there:
        said = there.link.execute(
            "from firmware_port.angle_encoder import AngleEncoders\n"
            "class Bus:\n"
            "    def readfrom_mem_into(self, address, register, buffer):\n"
            "        memory = {0x0B: 0x20, 0x0C: 0xFA, 0x0D: 0x35}\n"
            "        for i in range(len(buffer)):\n"
            "            buffer[i] = memory[register + i]\n"
            "reader = AngleEncoders([Bus(), None, None, None])\n"
            "print(reader.read(1), reader.magnet(1), reader.read(2), reader.magnet(2))\n"
        )
    assert said.split() == [str(0xA35), "True", "-1", "False"]


def test_bench_time_on_a_board_is_the_interpreter_s_own(unix_board: Board) -> None:
    """The node as real servos would have it, in real time: a pulse is led at the bench's slew."""
    with node_on(unix_board, bench=True) as there:
        node = NodeLink(there.start("bench"))
        node.load_tables(flight_tables(vehicle()).to_bytes())
        began_s = time.monotonic()
        last_ns = 0
        while last_ns != 1_900_000:
            (last_ns,) = read_numbers(node.ask(b.MOVE, numbers((1, 1_900_000, 2000))).contents)
            assert time.monotonic() - began_s < 5
        # 400 µs at 6 µs a millisecond, and no sooner.
        assert time.monotonic() - began_s > 0.9 * 400 / 6000
        node.ask(b.PLAY_BEGIN, numbers((1, 300, 1000)))
        node.ask(b.PLAY_FILL, numbers((0, 300, 38_000)))
        began_s = time.monotonic()
        assert read_numbers(node.ask(b.PLAY_RUN).contents) == (300,)
        assert 0.3 <= time.monotonic() - began_s < 1.0
        node.ask(b.END)
        node.stop()
        there.link.finish()
