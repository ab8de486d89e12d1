"""The check on a serial line, in its own time: a flight computer speaks, a person is led."""

import json
import os
import pty
import threading
import time
import tty
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from hil.commands import phasing as command
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, read_cycle
from hil.phasing import session
from hil.phasing.flight_computer import best_moments_nm
from hil.phasing.motions import Motion
from hil.phasing.person import Terminal
from hil.phasing.session import Seen
from hil.tap.listener import Listener, TappedStream
from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle, vehicle_file

PERIOD_S = 0.005
PRESSURE_PA = 2_000_000


class Line(Listener):
    """Puts what passes on a line that a serial port listens to."""

    def __init__(self, end: int) -> None:
        super().__init__()
        self._end = end

    def hear(self, port: int, data: bytes, at_s: float) -> None:
        os.write(self._end, data)


class FlightComputer:
    """Holds attitude zero by angle alone; `attitude` (3,) in shares of what asks for everything."""

    def __init__(self, end: int) -> None:
        node = Loopback()
        NodeLink(node).load_tables(flight_tables(vehicle()).to_bytes())
        self.attitude = np.zeros(3)
        self.gain_mnm = -1e3 * best_moments_nm(vehicle())
        self.turned_deg = np.zeros(4)
        self._link = NodeLink(TappedStream(node, Line(end)))
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._fly, daemon=True)

    def _fly(self) -> None:
        self._link.pace(round(PERIOD_S * 1e6))
        self._link.arm()
        self._link.start()
        while not self._ended.is_set():
            pitch, yaw, roll = (round(float(m)) for m in self.gain_mnm * self.attitude)
            cycle = read_cycle(self._link.demand(pitch, yaw, roll, PRESSURE_PA).contents)
            self.turned_deg = np.array(cycle.deflection_mdeg) / 1e3
            time.sleep(PERIOD_S)

    def __enter__(self) -> "FlightComputer":
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ended.set()
        self._thread.join(2.0)


@pytest.fixture
def line() -> Iterator[tuple[int, str]]:
    """Our end of a line, and the name of the port that listens to it."""
    outer, inner = pty.openpty()
    tty.setraw(inner)
    yield outer, os.ttyname(inner)
    os.close(outer)
    os.close(inner)


def led(computer: FlightComputer) -> type[Terminal]:
    """A person who makes each motion as asked, and looks at vanes that turn as commanded."""

    class Led(Terminal):
        def rest(self, motion: Motion) -> None:
            super().rest(motion)
            computer.attitude = np.zeros(3)
            time.sleep(0.1)

        def hold(self, motion: Motion) -> None:
            super().hold(motion)
            computer.attitude = 0.4 * motion.way * np.eye(3)[motion.axis]
            time.sleep(0.1)

        def seen(self, motion: Motion) -> Seen:
            turned = np.where(np.abs(computer.turned_deg) < 1.0, 0, np.sign(computer.turned_deg))
            return tuple(int(way) for way in turned)

    return Led


def run(*arguments: object) -> Result:
    group = type(fourvane)("fourvane", commands={"phasing": command.phasing})
    return CliRunner().invoke(group, ["phasing", *map(str, arguments)])


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Short spans, and somebody at the terminal."""
    monkeypatch.setattr(session, "REST_S", 0.25)
    monkeypatch.setattr(session, "HOLD_S", 0.25)
    monkeypatch.setattr(command, "somebody_here", lambda: True)


@pytest.mark.usefixtures("quick")
def test_what_passes_on_a_serial_port_is_judged(
    line: tuple[int, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    end, port = line
    options = ("--port", port, "--no-roll", "--json", "--out-dir", tmp_path / "out")
    with FlightComputer(end) as computer:
        computer.gain_mnm[1] *= -1.0
        monkeypatch.setattr(command, "Terminal", led(computer))
        done = run(vehicle_file(tmp_path), *options)
    assert done.exit_code == 1, done.output
    told = json.loads(done.stdout)
    assert {name: found["outcome"] for name, found in told["axes"].items()} == {
        "pitch": "right",
        "yaw": "reversed",
    }
    assert told["vanes_as_seen"]["looked"] and not told["rehearsal"]
    assert "Push" not in done.stderr and "Tilt the nose towards the side marked" in done.stderr
    kept = {path.name for path in (tmp_path / "out").iterdir()}
    assert kept >= {"phasing.json", "phasing.html", "phasing.heard"}
    assert "unjudged.heard" not in kept


@pytest.mark.usefixtures("quick", "campaign")
def test_a_healthy_vehicle_on_a_serial_port_passes(
    line: tuple[int, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    end, port = line
    with FlightComputer(end) as computer:
        monkeypatch.setattr(command, "Terminal", led(computer))
        done = run(vehicle_file(tmp_path), "--port", port, "--json", "--out-dir", tmp_path / "out")
    assert done.exit_code == 0, done.output


@pytest.mark.usefixtures("quick")
def test_an_interrupted_check_keeps_what_it_heard_and_leaves_the_last_result_alone(
    line: tuple[int, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    end, port = line
    out = tmp_path / "out"
    out.mkdir()
    for name in ("phasing.json", "phasing.heard"):
        (out / name).write_text("of yesterday")

    class Gone(Terminal):
        def hold(self, motion: Motion) -> None:
            raise KeyboardInterrupt

    monkeypatch.setattr(command, "Terminal", Gone)
    with FlightComputer(end):
        done = run(vehicle_file(tmp_path), "--port", port, "--out-dir", out)
    assert done.exit_code == command.INTERRUPTED
    assert (out / "phasing.json").read_text() == "of yesterday"
    assert (out / "phasing.heard").read_text() == "of yesterday"
    assert len((out / "unjudged.heard").read_text().splitlines()) > 10


def test_without_a_person_at_a_terminal_nothing_is_judged(tmp_path: Path) -> None:
    done = run(vehicle_file(tmp_path), "--port", "a", "--out-dir", tmp_path / "out")
    assert (done.exit_code, "run this at a terminal" in done.stderr) == (2, True)
