"""The page on the order of a flight, played: whole, and with each restart at each of its steps."""

import re
from dataclasses import dataclass
from pathlib import Path

import pytest

from firmware_port import protocol as p
from firmware_port.table_store import TableStore
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, demand_contents, numbers, read_cycle
from mixer.flight import layout as at
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

PAGE = Path(__file__).parents[2] / "firmware_port" / "FLIGHT_ORDER.md"
TABLES = flight_tables(vehicle(engine={"believed_pressure": None}))
PERIOD_US = 5000
REFERENCE_PA = 2_000_000
WORN_US = 3_000_000
LONGEST_PASS_US = 7_000_000


@dataclass(frozen=True)
class Step:
    """A row of the page."""

    name: str
    frames: tuple[str, ...]  # a frame's name and what stands behind it
    verdict: str
    state: str
    node_restarts: str
    computer_restarts: str


def cells(line: str) -> list[str]:
    return [cell.strip() for cell in line.split("|")[1:-1]]


def page() -> list[Step]:
    text = PAGE.read_text(encoding="utf-8")
    lines = text[text.index("| step |") :].partition("\n\n")[0].splitlines()[2:]
    return [
        Step(name, tuple(f.strip() for f in re.findall(r"`[A-Z]+`[a-z ]*", frames)), *others)
        for name, frames, *others in map(cells, lines)
    ]


STEPS = page()
NAMES = [step.name for step in STEPS]


class Computer:
    """A flight computer that follows the page; the node behind it may lose power."""

    def __init__(self, folder: Path):
        self.waits_us = 20 * LONGEST_PASS_US  # armed, for the engine
        self._tables = str(folder / "tables.bin")
        self.burn_us = 0  # its own clock
        self.ignited = False
        self.burnt_out = False
        self.power_on_node()
        self.link.load_tables(TABLES.to_bytes())
        self.power_on_node()

    def power_on_node(self) -> None:
        """Nothing but what it has stored."""
        self.loop = Loopback(store=TableStore(self._tables))
        self.power_on()

    def power_on(self) -> None:
        """The flight computer's end alone: its numbers and its token are gone."""
        self.link = NodeLink(self.loop)
        self._token = b""

    @property
    def state(self) -> str:
        return p.STATE_NAMES[self.loop.node.control.state]

    def let_pass(self, us: int) -> None:
        for _ in range(us // PERIOD_US):
            self.link.let_pass(PERIOD_US)
            self.burn_us += PERIOD_US if self.ignited else 0

    def frame(self, name: str) -> str:
        """Send it with what belongs to this moment; the verdict."""
        load_us = self.burn_us + WORN_US
        pressure_pa = REFERENCE_PA if self.ignited and not self.burnt_out else 0
        contents = {
            "COUNTERS": numbers((0,)),
            "BURN": numbers((self.burn_us, load_us), 4),
            "CHECK": self._token + numbers((3000,)),
            "ARM": self._token,
            "DISARM": self._token or numbers((0,)),
            "DEMAND": demand_contents(100_000 if self.ignited else 0, 0, 0, pressure_pa),
        }.get(name, b"")
        if name == "CHECK":
            self.let_pass(150_000)  # no demand for the vehicle's timeout
        if name == "START":
            self.ignited = True
        answer = self.link.request(getattr(p, name), contents)
        self._token = answer.contents if name == "ASK" else b""
        if name == "DEMAND":
            self.burn_us += PERIOD_US if self.ignited else 0
            self.cycle = read_cycle(answer.contents)
        return p.VERDICT_NAMES[answer.verdict]

    def play(self, step: Step) -> None:
        """The step's frames; each has the verdict that the page names."""
        if step.name == "tail-off":
            self.burnt_out = True
        for frame in step.frames:
            name, _, more = frame.replace("`", "").partition(" ")
            times = {"": 1, "each period": 100, "until safe": 2000}[more]
            for _ in range(times):
                assert self.frame(name) == step.verdict, (step.name, name)
                if more == "until safe":
                    self.let_pass(PERIOD_US)
                    if self.state == "safe":
                        break
        if "hour" in step.name:
            for _ in range(self.waits_us // LONGEST_PASS_US):
                self.link.let_pass(LONGEST_PASS_US)
        assert self.state == step.state, step.name

    def recover(self, cell: str) -> None:
        """The cell of a restart: the state that is found, and what to send then."""
        state, _, frames = cell.partition(";")
        assert self.state == state
        for name in re.findall(r"`([A-Z]+)`", frames):
            assert self.frame(name) == "taken", (cell, name)


@pytest.fixture
def computer(tmp_path: Path) -> Computer:
    return Computer(tmp_path)


def test_the_whole_order_is_taken_step_by_step(computer):
    computer.waits_us = 3_600_000_000
    for step in STEPS:
        computer.play(step)
        if step.name == "waiting, armed":
            assert computer.cycle.flags & at.NO_THRUST
            assert computer.link.belief().time_us == 0
        if step.name == "burn":
            belief = computer.link.belief()
            assert belief.time_us == computer.burn_us
            assert belief.load_us == pytest.approx(computer.burn_us + WORN_US, abs=200)
            assert computer.cycle.moment_mnm[0] == pytest.approx(100_000, abs=400)
    assert not computer.loop.node.running


def flown_on(computer: Computer, place: int) -> None:
    """The rest of the flight, from the step after; in the burn it is steered by the true clock."""
    for step in STEPS[place + 1 :]:
        computer.play(step)
        if step.name == "burn":
            belief = computer.link.belief()
            assert belief.time_us == pytest.approx(computer.burn_us, abs=PERIOD_US)
            assert computer.cycle.moment_mnm[0] == pytest.approx(100_000, abs=400)


@pytest.mark.parametrize("place", range(len(STEPS)), ids=NAMES)
def test_a_node_that_loses_power_at_this_step_is_brought_back_as_the_page_says(computer, place):
    for step in STEPS[: place + 1]:
        if step.name != "landed":
            computer.play(step)
    computer.power_on_node()
    computer.recover(STEPS[place].node_restarts)
    flown_on(computer, place)


@pytest.mark.parametrize("silent_us", [0, 1_000_000], ids=["at once", "after a second"])
@pytest.mark.parametrize("place", range(len(STEPS)), ids=NAMES)
def test_a_flight_computer_that_restarts_at_this_step_goes_on_as_the_page_says(
    computer, place, silent_us
):
    for step in STEPS[: place + 1]:
        if step.name != "landed":
            computer.play(step)
    computer.power_on()
    cell = STEPS[place].computer_restarts
    if silent_us:
        computer.let_pass(silent_us)
    else:  # neither the demands' timeout nor that of a check is over
        cell = f"{STEPS[place].state};{cell.partition(';')[2]}"
    computer.recover(cell)
    flown_on(computer, place)


def test_the_page_knows_every_frame_that_it_names_and_every_state():
    for step in STEPS:
        assert step.state in p.STATE_NAMES and step.verdict in p.VERDICT_NAMES
        for frame in re.findall(r"`([A-Z]+)`", " ".join((*step.frames, step.node_restarts))):
            assert hasattr(p, frame)
    assert {step.state for step in STEPS} == {"safe", "checking", "armed"}
