"""The phasing check: signs and words by the body axes, findings by what was made wrong."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from hil.commands.phasing import phasing
from hil.phasing.flight_computer import judge_axis
from hil.phasing.motions import AIMS, DOINGS, DRAWINGS, STANCES, Motion, motions
from hil.phasing.person import turns_of
from hil.phasing.rehearsal import Rehearsal, Wrong
from hil.phasing.seen_vanes import HEALTHY, Plugged
from hil.phasing.verdict import Phasing, examine
from hil.tap.kept_bytes import read_kept
from hil.tap.listener import heard_again
from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.evidence.on_page import on_page
from mixer.ground.vehicle.vehicle import Vehicle
from tests.support.unlike_vehicles import clocked
from tests.support.vehicles import vehicle, vehicle_file

BODY = {"X": (1.0, 0.0, 0.0), "Y": (0.0, 1.0, 0.0), "Z": (0.0, 0.0, 1.0)}  # nose, starboard, down
ABOUT = ("Y", "Z", "X")  # pitch, yaw, roll


def turned_a_little(motion: Motion, mark: str) -> np.ndarray:
    """Where a body mark goes in a small turn, by the right-hand rule: ω × r."""
    return motion.way * np.cross(BODY[ABOUT[motion.axis]], BODY[mark])


@pytest.mark.parametrize("motion", motions()[:4], ids=lambda motion: motion.key)
def test_the_nose_goes_where_the_words_say(motion: Motion) -> None:
    """Against the cross product of vector algebra, not against our own words."""
    went = turned_a_little(motion, "X")
    mark = max("YZ", key=lambda name: abs(np.dot(went, BODY[name])))
    sign = "+" if np.dot(went, BODY[mark]) > 0 else "−"
    assert f"towards {sign}{mark}" in AIMS[motion.key]
    assert f"{sign}{mark}" in DOINGS["standing"][motion.key]
    assert DOINGS["hanging"][motion.key].endswith(f"nose leans to {sign}{mark}")
    tail = "−" if sign == "+" else "+"  # a vehicle that hangs by its nose: the tail is pushed
    assert f"Push the tail towards the side marked {tail}{mark}" in DOINGS["hanging"][motion.key]


def test_the_words_for_a_lying_vehicle_are_those_of_its_body() -> None:
    assert turned_a_little(Motion(0, 1), "X")[2] < 0  # z is down: the nose goes up
    assert DOINGS["lying"]["pitch+"].startswith("Lift the nose")
    assert turned_a_little(Motion(1, 1), "X")[1] > 0
    assert DOINGS["lying"]["yaw+"].startswith("Push the nose to starboard")
    assert turned_a_little(Motion(2, 1), "Y")[2] > 0  # starboard goes down
    assert DOINGS["lying"]["roll+"].startswith("Roll the vehicle, starboard side (+Y) down")


@pytest.mark.parametrize("way", [1, -1])
def test_roll_is_the_other_way_round_from_above_than_from_the_tail(way: int) -> None:
    motion = Motion(2, way)
    # Looking along +x (from the tail) with starboard right and z down on the page, y towards z is
    # clockwise; from above the nose, against x, the same turn is anti-clockwise.
    clockwise_from_tail = turned_a_little(motion, "Y")[2] > 0
    assert AIMS[motion.key].startswith("clockwise" if clockwise_from_tail else "anti-clockwise")
    from_above = "anti-clockwise" if clockwise_from_tail else "clockwise"
    for stance in ("standing", "hanging"):
        assert f", {from_above} as seen from above" in DOINGS[stance][motion.key]


@pytest.mark.parametrize("stance", STANCES)
def test_each_motion_has_its_words_and_its_drawing(stance: str) -> None:
    keys = {motion.key for motion in motions()}
    assert keys == set(DOINGS[stance]) == set(DRAWINGS) == set(AIMS)  # type: ignore[index]
    assert len(set(DOINGS[stance].values())) == len(set(DRAWINGS.values())) == 6  # type: ignore[index]


def examined(wrong: Wrong, chosen: Vehicle | None = None, **options) -> Phasing:
    chosen = chosen or vehicle()
    node_vehicle = options.pop("node_vehicle", None)
    eyes = options.get("eyes", True)
    rehearsal = Rehearsal(chosen, 3, wrong, eyes=eyes, node_vehicle=node_vehicle)
    return examine(rehearsal.listener, rehearsal, rehearsal, chosen, **options)[0]


def test_an_axis_that_is_not_steered_is_said_to_be_silent() -> None:
    found = examined(Wrong(dead_axes=(2,)))
    assert found.faults == ["roll: nothing came, the demand stays where it was"]


def test_roll_that_is_not_steered_can_be_left_out_and_that_is_said() -> None:
    found = examined(Wrong(dead_axes=(2,)), roll=False, eyes=False)
    assert found.passed and found.open[-1] == "roll was left out"


def test_a_hold_too_weak_to_tell_is_not_called_right() -> None:
    found = examined(Wrong(weak=0.01), eyes=False)
    assert {axis.outcome for axis in found.axes} == {"too weak to tell"}


def test_another_vehicles_tables_on_the_board_are_found_by_the_line_alone() -> None:
    other = vehicle(layout={"clocking_deg": [315.0, 225.0, 135.0, 45.0]})  # counted the other way
    found = examined(Wrong(), node_vehicle=other, eyes=False)
    assert any("the wrong way in yaw: the flight tables" in fault for fault in found.faults)


def test_another_servo_table_on_the_board_is_found_by_its_pulses() -> None:
    other = vehicle(servos={"us_per_deg": [10.0, -10.0, 10.0, 10.0]})
    found = examined(Wrong(), node_vehicle=other, eyes=False)
    assert [fault[:24] for fault in found.faults] == ["pulse 2 goes the wrong w"]


def test_with_the_line_alone_it_is_said_that_servos_were_not_told() -> None:
    found = examined(Wrong(reversed_servos=(1,)), eyes=False)
    assert found.passed and "cannot be known from the line alone" in found.open[0]


def test_two_vanes_that_always_turn_alike_are_not_said_to_be_right() -> None:
    found = examined(Wrong(), vehicle(**clocked(34.0, 56.0, 214.0, 236.0)))
    assert any("would have looked the same" in fault for fault in found.faults)
    assert not any(fault.startswith("servo") for fault in found.faults)


def test_without_pressure_the_node_keeps_its_vanes_still_and_the_check_says_why() -> None:
    chosen = vehicle()
    rehearsal = Rehearsal(chosen, 1, Wrong())
    rehearsal._pressure_pa = 0
    rehearsal._link.disarm()
    rehearsal._link.burn(0, 0)  # the burn is yet to come
    rehearsal._link.arm()
    found, _ = examine(rehearsal.listener, rehearsal, rehearsal, chosen)
    assert any("let the flight computer send the reference" in fault for fault in found.faults)


def test_a_vane_held_for_jammed_is_named_before_anything_is_read_from_the_vanes() -> None:
    chosen = vehicle()
    rehearsal = Rehearsal(chosen, 1, Wrong(), eyes=False)
    rehearsal._link.jam(2, 1000)
    found, _ = examine(rehearsal.listener, rehearsal, rehearsal, chosen, eyes=False)
    assert [fault[:32] for fault in found.faults] == ["the node holds a vane for jammed"]


def test_demands_that_the_node_refuses_are_named_with_its_verdict() -> None:
    found = examined(Wrong(weak=1200.0), eyes=False, roll=False)
    assert any("refused the demands" in t and "out-of-range" in t for t in found.faults)


def test_a_flight_computer_that_fell_silent_is_not_said_to_stand_still() -> None:
    ways = np.array([[-10.0, np.nan], [0.1, 0.1], [0.1, 0.1]])
    found = judge_axis(0, (0, 1, 2), ways, np.full((3, 2), 0.1), 50.0)
    assert (found.outcome, "no demand was heard" in found.words) == ("nothing came", True)


def test_a_node_that_is_not_armed_is_named() -> None:
    chosen = vehicle()
    rehearsal = Rehearsal(chosen, 1, Wrong())
    rehearsal._link.disarm()
    found, _ = examine(rehearsal.listener, rehearsal, rehearsal, chosen)
    assert "the node was not armed" in found.faults[0]


def test_one_axis_that_answers_two_motions_alike_is_mixed() -> None:
    ways = np.array([[-10.0, 10.0], [-9.0, 9.0], [0.1, 0.1]])
    found = judge_axis(0, (0, 1, 2), ways, np.full((3, 2), 0.1), 50.0)
    assert found.outcome == "mixed"


def test_an_axis_that_answers_one_way_only_is_not_right() -> None:
    ways = np.array([[-10.0, -0.5], [0.1, 0.1], [0.1, 0.1]])
    found = judge_axis(0, (0, 1, 2), ways, np.full((3, 2), 0.1), 50.0)
    assert found.outcome == "too weak to tell"


def test_suppositions_say_in_words_what_they_are() -> None:
    assert HEALTHY.words == []
    assert Plugged((1, 0, 2, 3), (1, 1, -1, 1)).words == [
        "servos 1 and 2 are swapped",
        "servo 3 is reversed",
    ]
    assert Plugged((1, 2, 0, 3), (1, 1, 1, 1)).words[0] == "vane 1 moves by the pulse for vane 2"


def test_what_was_seen_is_typed_as_four_letters() -> None:
    assert turns_of("c N a?") == (1, 0, -1, None)


def run(*arguments: object) -> Result:
    group = type(fourvane)("fourvane", commands={"phasing": phasing})
    return CliRunner().invoke(group, ["phasing", *map(str, arguments)])


def test_the_command_keeps_result_page_and_all_that_was_heard(tmp_path: Path) -> None:
    file, out = vehicle_file(tmp_path), tmp_path / "out"
    done = run(file, "--rehearse", "--reversed", "yaw", "--json", "--out-dir", out)
    assert done.exit_code == 1, done.output
    told = json.loads(done.stdout)
    assert told["axes"]["yaw"]["outcome"] == "reversed"
    assert json.loads((out / "phasing.json").read_text())["faults"] == told["faults"]
    page = (out / "phasing.html").read_text()
    assert "rehearsal" in page
    (evidence,) = map(json.loads, on_page(page))
    kept = json.loads((out / "phasing.json").read_text())
    assert evidence == told["evidence"] == kept["evidence"]
    assert (evidence["kind"], evidence["verdict"]) == ("phasing", "fail")
    assert evidence["rehearsal"] is True
    assert list(evidence["files"]) == ["phasing.heard"]
    again = heard_again(read_kept(out / "phasing.heard"))
    assert again.summary["demands"] == told["heard"]["demands"] > 0


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "--port was given 0 times; must be once, or twice"),
        (("--port", "a", "--port", "b", "--port", "c"), "--port was given 3 times"),
        (("--port", "a", "--reversed", "yaw"), "wrong signs are for --rehearse"),
        (("--rehearse", "--port", "a"), "--rehearse has no --port"),
        (("--rehearse", "--swapped", "yaw", "yaw"), "must be two different ones"),
        (("--port", "/dev/no-such-port"), "run this at a terminal"),
    ],
)
def test_options_that_do_not_go_together_are_refused(
    tmp_path: Path, arguments: tuple[str, ...], said: str
) -> None:
    done = run(vehicle_file(tmp_path), *arguments, "--out-dir", tmp_path / "out")
    assert done.exit_code == 2
    assert said in done.stderr
