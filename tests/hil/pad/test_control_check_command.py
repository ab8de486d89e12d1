"""The control check as a command: the vanes told one by one, refusals in words, its exit status."""

import json
from array import array
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from firmware_port import protocol as p
from hil.commands.board import board
from hil.commands.phasing import phasing
from hil.node.errors import BoardError
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink
from hil.pad.command import faults_of
from hil.pad.pad_check import check_vanes
from hil.pad.report import verdict_of, way_of
from hil.phasing.checked_vanes import read_checked
from mixer.ground.evidence.on_page import on_page
from mixer.ground.inputs.errors import InputError
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle, vehicle_file

BLOB = flight_tables(vehicle()).to_bytes()
PERIOD_US = 5000


class Sensors:
    """Angle sensors that tell where the pulses want the vanes, but for a vane that stands still."""

    def __init__(self, stuck: int | None = None, silent: int | None = None) -> None:
        self.mdeg = array("i", [0, 0, 0, 0])
        self.stuck, self.silent = stuck, silent

        self.stood_mdeg: list[list[int]] = []  # where the pulses wanted the vanes, each cycle

    def look(self, steering, checking: bool) -> None:
        self.stood_mdeg.append(list(self.pulses.stands_mdeg))
        for i, stands in enumerate(self.pulses.stands_mdeg):
            self.mdeg[i] = 0 if i + 1 == self.stuck else stands
            if i + 1 == self.silent:
                self.mdeg[i] = p.NO_ANGLE


def node(sensors: Sensors | None = None) -> NodeLink:
    loop = Loopback()
    control = loop.node.control
    control.angles = sensors
    if sensors is not None:
        sensors.pulses = control.pulses
    link = NodeLink(loop)
    link.load_tables(BLOB)
    return link


def run(link: NodeLink, deflection_mdeg: int = 3000) -> list:
    def wait(seconds: float) -> None:
        for _ in range(round(1e6 * seconds / PERIOD_US)):
            link.let_pass(PERIOD_US)

    return check_vanes(link, deflection_mdeg, wait)


@pytest.fixture(scope="module")
def unmeasured() -> list:
    """What a check finds where no vane has a sensor."""
    return run(node())


@pytest.mark.parametrize("deflection_mdeg", [3000, -2000])
def test_every_vane_is_told_with_what_its_sensor_measured(deflection_mdeg: int) -> None:
    found = run(node(Sensors()), deflection_mdeg)
    assert [(vane.vane, vane.outcome, vane.turned_deg) for vane in found] == [
        (vane, "answered", deflection_mdeg / 1000) for vane in range(1, 5)
    ]


def test_a_vane_that_stands_still_and_a_sensor_that_is_silent_are_told_apart() -> None:
    found = run(node(Sensors(stuck=2, silent=4)))
    assert [vane.outcome for vane in found] == ["answered", "off", "answered", "no sensor"]
    assert found[1].words == "vane 2: turned +0.00° where +3.00° were commanded"


def test_a_check_that_somebody_ends_leaves_vanes_that_are_not_through() -> None:
    link = node(Sensors())
    heard = []

    def disarmed(seconds: float) -> None:
        for _ in range(20):
            link.let_pass(PERIOD_US)
        if len(heard) == 2:
            link.disarm()

    found = check_vanes(link, 3000, disarmed, heard.append)
    assert [vane.outcome for vane in found] == ["answered"] * 2 + ["not through"] * 2


def test_whatever_ends_it_early_makes_the_node_safe() -> None:
    link = node()
    for _ in range(30):
        link.let_pass(PERIOD_US)

    def broken(seconds: float) -> None:
        if link.checked().state == p.CHECKING:
            raise KeyboardInterrupt
        link.let_pass(PERIOD_US)

    with pytest.raises(KeyboardInterrupt):
        check_vanes(link, 3000, broken)
    assert link.checked().state == p.SAFE


@pytest.mark.parametrize(
    ("before", "words"),
    [
        (lambda link: link.arm(), "it is armed"),
        (lambda link: link.start(), "its burn clock runs"),
        (lambda link: link.jam(3, 0), "vane 3 counts as jammed"),
    ],
)
def test_a_refusal_says_what_stands_against_it(before, words: str) -> None:
    link = node()
    before(link)
    with pytest.raises(BoardError, match=rf"not-now; .*{words}"):
        run(link)


def test_a_demand_of_a_moment_ago_is_waited_for_and_one_that_stays_is_told() -> None:
    link = node()
    link.demand(0, 0, 0, 0)
    assert [vane.outcome for vane in run(link)] == ["no sensor"] * 4
    link.demand(0, 0, 0, 0)
    with pytest.raises(BoardError, match=r"not-now; a demand comes or has just come"):
        check_vanes(link, 3000, lambda seconds: None)


def test_a_deflection_that_may_not_be_is_refused_in_words() -> None:
    with pytest.raises(BoardError, match="must be 2 to 5 degrees"):
        run(node(), 6000)


def test_a_node_without_tables_is_refused_in_words() -> None:
    with pytest.raises(BoardError, match="no flight tables"):
        check_vanes(NodeLink(Loopback()), 3000, lambda seconds: None)


def command(tmp_path: Path, *more: str) -> tuple[int, dict, Path]:
    out = tmp_path / "control-check.json"
    given = ["check", str(vehicle_file(tmp_path)), "--board", "none", "--json", "--out", str(out),
             "--report", str(tmp_path / "check.html")]  # fmt: skip
    done = CliRunner().invoke(board, [*given, *more])
    assert done.exit_code in (0, 1), done.output
    return done.exit_code, json.loads(done.stdout), out


def test_a_rehearsal_ends_with_0_and_phasing_takes_its_result(tmp_path: Path) -> None:
    status, told, out = command(tmp_path)
    assert (status, told["rehearsal"], told["passed"]) == (0, True, True)
    kept = json.loads(out.read_text())
    assert kept["vanes"] == told["vanes"]
    page = (tmp_path / "check.html").read_text()
    (shown,) = map(json.loads, on_page(page))
    assert kept["evidence"] == told["evidence"] == shown
    says = (shown["kind"], shown["verdict"], shown["rehearsal"], shown["on_board"])
    assert says == ("board check", "pass", True, told["tables_crc32"])
    assert "Nothing was measured" in page and "REHEARSAL" in page.upper()
    assert read_checked(out, vehicle(), rehearsal=True).faults == []
    with pytest.raises(InputError, match="a rehearsal"):
        read_checked(out, vehicle(), rehearsal=False)
    with pytest.raises(InputError, match="CRC-32"):
        read_checked(out, vehicle(layout={"roll_arm_m": 0.05}), rehearsal=True)


def test_a_vane_that_does_not_answer_ends_it_with_1_and_fails_the_phasing_check(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = Loopback.__init__

    def with_sensors(self: Loopback) -> None:
        made(self)
        sensors = Sensors(stuck=3)
        sensors.pulses = self.node.control.pulses
        self.node.control.angles = sensors

    monkeypatch.setattr(Loopback, "__init__", with_sensors)
    status, told, out = command(tmp_path)
    assert status == 1
    assert told["faults"] == ["vane 3: turned +0.00° where +3.00° were commanded"]
    assert told["evidence"]["verdict"] == "fail"
    page = (tmp_path / "check.html").read_text()
    assert "Nothing was measured" not in page and told["faults"][0] in page
    monkeypatch.undo()
    done = CliRunner().invoke(
        phasing,
        [str(vehicle_file(tmp_path)), "--rehearse", "--checked", str(out), "--json",
         "--out-dir", str(tmp_path / "phasing")],
    )  # fmt: skip
    assert done.exit_code == 1, done.output
    found = json.loads(done.stdout)
    assert found["faults"] == ["control check: vane 3: turned +0.00° where +3.00° were commanded"]
    assert found["control_check"]["vanes_measured"] == [1, 2, 4]


@pytest.mark.parametrize("deflection_mdeg", [3000, -4500])
def test_the_page_draws_the_way_that_the_node_leads_each_vane(deflection_mdeg: int) -> None:
    sensors = Sensors()
    run(node(sensors), deflection_mdeg)
    stood_deg = np.array(sensors.stood_mdeg) / 1e3
    start = int(np.flatnonzero(stood_deg.any(axis=1))[0]) - 1
    told_deg = stood_deg[start:]
    time_s = PERIOD_US / 1e6 * np.arange(len(told_deg))
    start_s = 0.0
    for vane in range(1, 5):
        at_s, way_deg = way_of(vehicle(), vane, deflection_mdeg / 1e3)
        drawn_deg = np.interp(time_s, start_s + np.array(at_s), way_deg)
        late_deg = 10 * PERIOD_US / 1e6  # 10°/s for a cycle, and four corners a vane so far
        assert np.max(np.abs(drawn_deg - told_deg[:, vane - 1])) <= 4 * vane * late_deg
        start_s += at_s[-1]


@pytest.mark.parametrize(
    ("seen", "outcome", "words"),
    [
        ("1234", "pass", "seen to turn, not measured: vane 1, 2, 3, 4"),
        (None, "pass", "commanded, neither measured nor seen: vane 1, 2, 3, 4"),
        ("124", "fail", "vane 3: nobody saw it turn as it should"),
    ],
)
def test_the_verdict_says_by_whose_word_it_is(
    unmeasured: list, seen: str | None, outcome: str, words: str
) -> None:
    verdict = verdict_of(unmeasured, faults_of(unmeasured, without=True, seen=seen), seen)
    assert (verdict.outcome, verdict.reason) == (outcome, words)


def test_a_file_that_is_no_control_check_is_refused_by_name(tmp_path: Path) -> None:
    file = tmp_path / "other.json"
    file.write_text("[]")
    with pytest.raises(InputError, match=r"other\.json: no result of a control check"):
        read_checked(file, vehicle(), rehearsal=True)


def test_by_eye_a_vane_that_nobody_saw_turn_is_a_fault(unmeasured: list) -> None:
    unseen = ["vane 3: nobody saw it turn as it should"]
    assert faults_of(unmeasured, without=True, seen="1234") == []
    assert faults_of(unmeasured, without=True, seen="124") == unseen
    assert len(faults_of(unmeasured, without=False, seen="1234")) == 4


def test_on_a_real_line_somebody_has_to_type_the_word(tmp_path: Path) -> None:
    given = ["check", str(vehicle_file(tmp_path)), "--board", "/dev/ttyNONE7"]
    done = CliRunner().invoke(board, given, input="yes\n")
    assert isinstance(done.exception, InputError)
    assert "'yes' is not 'turn'" in str(done.exception)
    assert "CAUTION" in done.stderr
