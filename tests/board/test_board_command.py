"""The command line of the boards: what it prints, and how it ends."""

import json
import signal
import subprocess
import sys
import time
from pathlib import Path
from zlib import crc32

import pytest
import serial
from click.testing import CliRunner

from firmware_port import protocol as p
from hil.boards.board import Board
from hil.boards.link import Link
from hil.commands.board import board as board_group
from hil.commands.board import demand_rows
from hil.node.node_link import NodeLink, read_cycle
from hil.node.patience import VARIABLE
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle, vehicle_file

COMMAND = [sys.executable, "-c", "from hil.commands.board import board; board()"]


def test_build_names_the_kept_firmware(firmware: Path) -> None:
    done = CliRunner().invoke(board_group, ["build", "--json"])
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert told.pop("next").startswith("fourvane board verify --board emulated")
    assert told == {"firmware": str(firmware), "built": False}


def test_run_serves_a_flight_computer_in_real_time_until_it_is_ended(
    quick_board_name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = vehicle_file(tmp_path)
    command = [*COMMAND, "run", "--board", quick_board_name, str(file)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as running:
        assert running.stdout is not None
        try:
            port = running.stdout.readline().split()[-1]
            with serial.Serial(port, timeout=0.2) as line:
                node = NodeLink(line, timeout_s=20.0)
                tables = flight_tables(vehicle()).to_bytes()
                assert node.identify() == (quick_board_name, node.identify()[1], crc32(tables))
                node.arm()
                for _ in range(20):
                    told = node.demand(200_000, 0, 0, 2_000_000)
                assert told.taken and any(read_cycle(told.contents).deflection_mdeg)
                time.sleep(0.5)
                assert node.request(p.IDENTIFY).state == p.LINK_LOST  # its time is real
                node.disarm()
            if quick_board_name == "unix":
                monkeypatch.setenv(VARIABLE, "0.4")  # a quick board is soon known to be silent
            with Link(port) as link:  # and it is found, and ended, by whoever deploys or verifies
                assert link.evaluate("6 * 7") == 42
            running.send_signal(signal.SIGINT)
            assert running.wait(timeout=20) != 0
        finally:
            running.kill()


@pytest.mark.parametrize("action", ["verify", "deploy"])
def test_a_missing_port_is_bad_input(action: str, tmp_path: Path) -> None:
    arguments = [action, "--board", "/dev/ttyNONE7", str(vehicle_file(tmp_path))]
    done = CliRunner().invoke(board_group, arguments)
    assert isinstance(done.exception, InputError)  # `fourvane` prints it and ends with 2
    assert "no such port" in str(done.exception)


def test_a_missing_firmware_is_bad_input(tmp_path: Path, firmware: Path) -> None:
    arguments = ["verify", "--board", "emulated", "--firmware", str(tmp_path / "none.elf")]
    done = CliRunner().invoke(board_group, [*arguments, str(vehicle_file(tmp_path))])
    assert isinstance(done.exception, InputError)
    assert "no such firmware" in str(done.exception)


def test_a_demands_file_becomes_the_integers_a_board_gets(tmp_path: Path) -> None:
    file = tmp_path / "demands.csv"
    file.write_text(
        "time_s,pitch_nm,yaw_nm,roll_nm,chamber_pressure_bar\n"
        "0.005,100.5,-20.25,1.001,19.5\n0.0125,0,0,0,0\n"
    )
    assert demand_rows(file, vehicle()) == [
        (5000, 100_500, -20_250, 1001, 1_950_000),
        (7500, 0, 0, 0, 0),
    ]


def test_deploying_installs_node_tables_and_start_file(unix_board: Board, tmp_path: Path) -> None:
    arguments = ["deploy", "--board", unix_board.port, "--json", str(vehicle_file(tmp_path))]
    done = CliRunner().invoke(board_group, arguments)
    assert done.exit_code == 0, done.output
    assert "CAUTION" in done.stderr
    with Link(unix_board.port) as link:
        size = link.evaluate("__import__('os').stat('tables.bin')[6]")
        assert size == len(flight_tables(vehicle()).to_bytes())
