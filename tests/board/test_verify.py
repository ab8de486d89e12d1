"""`board verify` on the two boards that need no hardware: same integers, no heap, fast enough.

With --long 20 000 cycles from twelve seeds, which is also what the command does by default.
"""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from hil.boards.open_board import open_board
from hil.commands.board import board as board_group
from hil.verify.verify import CYCLES, SEEDS, Findings, verify
from mixer.flight import FLAG_NAMES
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle, vehicle_file

CASES = {"long": (CYCLES, SEEDS), "ci": (10_000, 6), "laptop": (900, 3)}
# As the node's meter counts it: with MicroPython's call (tests/board/test_step_cost.py), some 170
# to fetch code and words out of a pair, some 150 for the meter itself.
CYCLE_INSTRUCTIONS = 3900 + 170 + 150


@pytest.fixture(scope="module")
def findings(quick_board_name: str, size: str) -> Findings:
    """One run for all the tests of this file."""
    cycles, seeds = CASES[size]
    with open_board(quick_board_name) as board:
        found = verify(
            board,
            flight_tables(vehicle(engine={"believed_pressure": None})),
            name=quick_board_name,
            cycles=cycles,
            seeds=seeds,
        )
    return found


def test_every_integer_of_every_cycle_is_the_laptops(
    findings: Findings, size: str, record_property: Callable[[str, object], None]
) -> None:
    record_property("shown", json.dumps(findings.as_dict()))
    assert findings.played.mismatches == 0, findings.played.first_mismatch
    assert findings.played.cycles >= CASES[size][0]


def test_every_flag_was_reached(findings: Findings) -> None:
    assert all(findings.played.flags[: len(FLAG_NAMES)])


def test_a_cycle_takes_no_heap(findings: Findings) -> None:
    assert findings.heap_locked
    assert findings.heap_bytes_per_cycle == 0


def test_a_cycle_stays_within_its_instructions_by_the_nodes_own_meter(findings: Findings) -> None:
    worst = findings.as_dict()["worst_instructions"]
    if findings.board != "emulated":
        assert worst is None  # only the emulated board counts instructions
        return
    assert worst <= CYCLE_INSTRUCTIONS


def test_the_direction_policy_and_an_odd_vehicle_agree_too(
    quick_board_name: str, full_size: bool
) -> None:
    """Unequal vanes and travel, odd clocking, a lever arm that stays, the other policy."""
    tables = flight_tables(
        vehicle(
            layout={"clocking_deg": [2.0, 88.0, 181.5, 275.0], "lever_arm_m": 2.0},
            vanes={"travel_deg": [[-15.0, 12.0], [-10.0, 15.0], [-3.0, 14.0], [-15.0, 15.0]]},
            control={"policy": "direction", "rate_hz": 400},
        )
    )
    with open_board(quick_board_name) as board:
        found = verify(
            board,
            tables,
            name=quick_board_name,
            cycles=1500 if full_size else 400,
            seeds=2,
            first_seed=100,
        )
    assert found.played.mismatches == 0, found.played.first_mismatch


def test_the_command_prints_what_was_found_as_json(quick_board_name: str, tmp_path: Path) -> None:
    file = vehicle_file(tmp_path)
    arguments = ["verify", "--board", quick_board_name, "--cycles", "400", "--seeds", "1", "--json"]
    done = CliRunner().invoke(board_group, [*arguments, str(file)])
    assert done.exit_code == 0, done.output
    said = json.loads(done.stdout)
    assert said["board"] == quick_board_name
    assert said["mismatches"] == 0
    wanted = {"board", "cycles", "mismatches", "worst_instructions", "median_instructions"}
    assert wanted | {"heap_bytes_per_cycle", "round_trips_per_s", "image_bytes"} <= set(said)


def test_a_board_that_computes_something_else_fails(
    quick_board_name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The comparison can fail: the laptop's node is made to believe in other tables."""
    import hil.verify.rehearsal

    other = flight_tables(vehicle(vanes={"force_n": [-200.0, 0.0, 201.0]}))
    make = hil.verify.rehearsal.Recorder.__init__

    def changed(self) -> None:
        make(self)
        fly = self.node.control.fly
        from mixer.flight import Steering

        self.node.control.fly = lambda steering: fly(Steering(other))

    monkeypatch.setattr(hil.verify.rehearsal.Recorder, "__init__", changed)
    with open_board(quick_board_name) as board:
        found = verify(board, flight_tables(vehicle()), name=quick_board_name, cycles=240, seeds=1)
    assert found.played.mismatches > 100
    assert not found.passed
    assert "laptop" in found.played.first_mismatch
