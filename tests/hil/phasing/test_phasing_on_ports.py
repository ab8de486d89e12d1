"""The phasing check over two serial ports: pseudo-terminals, a simulated vehicle behind them."""

import json
import os
import pty
import time
import tty
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

import hil.commands.phasing as command
from hil.phasing import session
from hil.phasing.motions import Motion
from hil.phasing.person import QUESTION, Terminal
from hil.phasing.rehearsal import Rehearsal, Wrong
from hil.phasing.session import Seen
from hil.tap.listener import Listener
from mixer.ground.command_line.fourvane import fourvane
from tests.support.vehicles import vehicle, vehicle_file


class Mirror:
    """In the place of kept bytes: what passes on the simulated line goes out of real ports."""

    def __init__(self, ends: list[int]) -> None:
        self._ends = ends
        self.sent = 0

    def add(self, port: int, data: bytes, at_s: float) -> None:
        os.write(self._ends[port], data)
        self.sent += len(data)


class Behind:
    """Person and clock of the command, with the simulated vehicle that they move."""

    def __init__(self, simulated: Rehearsal, mirror: Mirror, listener: Listener) -> None:
        self.simulated, self.mirror, self.listener = simulated, mirror, listener

    def all_heard(self) -> None:
        """Let what is still on its way arrive: it belongs to the time before."""
        deadline = time.monotonic() + 10.0
        while self.listener.bytes_heard < self.mirror.sent and time.monotonic() < deadline:
            time.sleep(0.002)

    def now(self) -> float:
        return time.monotonic()

    def wait(self, seconds: float) -> None:
        self.simulated.wait(seconds)
        self.all_heard()

    def rest(self, motion: Motion) -> None:
        self.simulated.rest(motion)
        self.all_heard()

    def hold(self, motion: Motion) -> None:
        self.simulated.hold(motion)
        self.all_heard()

    def seen(self, motion: Motion) -> Seen | None:
        return self.simulated.seen(motion)


@pytest.fixture
def ports() -> Iterator[tuple[list[int], list[str]]]:
    """The far ends, and the names of the ports to listen to."""
    pairs = [pty.openpty() for _ in range(2)]
    for _, inner in pairs:
        tty.setraw(inner)
    yield [outer for outer, _ in pairs], [os.ttyname(inner) for _, inner in pairs]
    for pair in pairs:
        for end in pair:
            os.close(end)


@pytest.fixture
def somebody(monkeypatch: pytest.MonkeyPatch) -> None:
    """A person at the terminal, as far as the command can tell."""
    monkeypatch.setattr(command, "somebody_here", lambda: True)


def run(*arguments: object) -> Result:
    group = type(fourvane)("fourvane", commands={"phasing": command.phasing})
    return CliRunner().invoke(group, ["phasing", *map(str, arguments)])


@pytest.mark.usefixtures("somebody")
def test_the_whole_check_over_two_ports(
    ports: tuple[list[int], list[str]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ends, names = ports
    made: list[Behind] = []

    def begin(listener: Listener) -> None:
        """In the place of waiting for the first frame: the simulated flight computer starts."""
        mirror = Mirror(ends)
        wrong = Wrong(reversed_axes=(1,), swapped_servos=(0, 2))
        simulated = Rehearsal(vehicle(), 5, wrong, kept=mirror)  # type: ignore[arg-type]
        made.append(Behind(simulated, mirror, listener))

    monkeypatch.setattr(command, "wait_for_frames", begin)
    monkeypatch.setattr(command, "Terminal", lambda stance, eyes: made[0])
    monkeypatch.setattr(command, "WallClock", lambda: made[0])
    out, file = tmp_path / "out", vehicle_file(tmp_path)
    chosen = [word for name in names for word in ("--port", name)]
    done = run(file, *chosen, "--out-dir", out, "--json", "--operator", "A", "--board-serial", "1")
    assert done.exit_code == 1, done.output
    told = json.loads(done.stdout)
    assert told["axes"]["yaw"]["outcome"] == "reversed"
    assert told["vanes_as_seen"]["wrong"] == ["servos 1 and 3 are swapped"]
    assert told["heard"]["damaged_frames"] == 0 and not told["rehearsal"]
    assert told["heard"]["bytes"] == made[0].mirror.sent
    kept = {path.name for path in out.iterdir()}
    assert kept >= {"phasing.json", "phasing.html", "phasing.heard"}
    assert "unjudged.heard" not in kept


@pytest.mark.usefixtures("somebody")
def test_an_interrupted_check_keeps_what_it_heard_and_leaves_the_last_result_alone(
    ports: tuple[list[int], list[str]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out"
    out.mkdir()
    for name in ("phasing.json", "phasing.heard"):
        (out / name).write_text("of yesterday")

    class Gone(Terminal):
        def hold(self, motion: Motion) -> None:
            raise KeyboardInterrupt

    mirror = Mirror(ports[0])
    monkeypatch.setattr(
        command,
        "wait_for_frames",
        lambda listener: Rehearsal(vehicle(), 5, Wrong(), kept=mirror),  # type: ignore[arg-type]
    )
    monkeypatch.setattr(command, "Terminal", Gone)
    monkeypatch.setattr(session, "REST_S", 0.1)
    done = run(vehicle_file(tmp_path), "--port", ports[1][0], "--out-dir", out)
    assert done.exit_code == command.INTERRUPTED
    assert (out / "phasing.json").read_text() == "of yesterday"
    assert (out / "phasing.heard").read_text() == "of yesterday"
    assert len((out / "unjudged.heard").read_text().splitlines()) > 1


def test_without_a_person_at_a_terminal_nothing_is_judged(tmp_path: Path) -> None:
    done = run(vehicle_file(tmp_path), "--port", "a", "--out-dir", tmp_path / "out")
    assert (done.exit_code, "run this at a terminal" in done.stderr) == (2, True)


@pytest.mark.usefixtures("somebody")
def test_a_silent_line_ends_the_check_with_what_to_look_at(
    ports: tuple[list[int], list[str]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(command, "FIRST_WORD_S", 0.1)
    done = run(vehicle_file(tmp_path), "--port", ports[1][0], "--out-dir", tmp_path / "out")
    assert done.exit_code == 2
    assert "nothing came: is the flight computer running" in done.stderr
    assert "CAUTION: servos are powered and armed" in done.stderr


def test_the_person_is_told_what_to_do_and_asked_what_was_seen(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    asked: list[str] = []

    def answered(text: str, read: Any) -> Any:
        asked.append(text)
        return read("caN?")

    monkeypatch.setattr("hil.phasing.person.ask", answered)
    person = Terminal("hanging", eyes=True)
    motion = Motion(1, 1)
    person.rest(motion)
    person.hold(motion)
    assert person.seen(motion) == (1, -1, 0, None)
    assert asked == [QUESTION]
    shown = " ".join(capsys.readouterr().err.split())
    assert "Push the tail towards the side marked −Y, so that the nose leans to +Y" in shown
    assert "→ +Y" in shown
    assert Terminal("hanging", eyes=False).seen(motion) is None
