"""One flight written down, on this computer and through a board's line; its report and command."""

import json

import numpy as np
import pytest
from click.testing import CliRunner

from hil.ascent.history import fly_ascent
from hil.ascent.report import facts, page, verdict
from hil.faults.faults import Fault
from hil.faults.text import FaultError, fault_text, parse_fault
from hil.flights.fly import Flight, fly
from hil.flights.verdict import judge
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink
from hil.rocket.dispersion import drawn, nominal
from hil.steering.board_block import BoardBlock
from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.tables.build import flight_tables
from tests.support.dictation import dictated, repeat
from tests.support.flying import BRIEF, TINY, flying_text, flying_vehicle

EVERYTHING = (
    Fault("link-damage", time_s=1.0, lasts_s=1.0, value=0.1),
    Fault("link-dropout", time_s=2.2, lasts_s=0.2),
    Fault("late-cycles", time_s=2.6, lasts_s=0.3, value=3.0),
    Fault("pressure", time_s=3.0, lasts_s=0.2, value=0.0),
    Fault("jam", 2, time_s=3.4, value=7.0),
    Fault("board-reset", time_s=4.0, value=0.2),
)


# ---- through the line ----------------------------------------------------------------------------


def test_the_node_in_this_process_gives_the_flight_cores_commands_whatever_fails():
    vehicle = flying_vehicle(BRIEF)
    record = dictated(vehicle, Flight(drawn(vehicle, 8), 8, EVERYTHING))
    assert {name for name, _, _ in record} == {"cycle", "garbled", "trust", "reset", "start"}
    assert repeat(vehicle, record, NodeLink(Loopback())) > 500


@pytest.mark.usefixtures("campaign")
def test_line_faults_cost_little_attitude_and_are_all_counted_by_the_node():
    """1 % of frames damaged and three dropouts of 200 ms: no more than 1.3 times the error of the
    clean flight, and the node's counters say what was done to it.
    """
    vehicle = flying_vehicle(BRIEF)
    nodes = []
    dropouts = [Fault("link-dropout", time_s=t, lasts_s=0.2) for t in (1.5, 2.5, 3.5)]
    damage = Fault("link-damage", value=0.01)
    injected = {"damaged": 0}

    class Counting(BoardBlock):
        def garbled(self, flight, demand_mnm):
            injected["damaged"] += 1
            super().garbled(flight, demand_mnm)

    def counting(believing, flights):
        nodes.append(NodeLink(Loopback()))
        return Counting(nodes[-1], flight_tables(believing))

    worst = 0.0
    for seed in (3, 4):
        truth = drawn(vehicle, seed)
        clean = fly(vehicle, [Flight(truth, seed)])
        faulty = fly(vehicle, [Flight(truth, seed, (damage, *dropouts))], counting)
        ratio = faulty.attitude_error_deg[0] / clean.attitude_error_deg[0]
        worst = max(worst, float(ratio))
        counters = nodes[-1].counters()
        assert counters["damaged"] == injected["damaged"] > 0
        assert counters["to-link-lost"] == len(dropouts)
        assert faulty.frames_lost[0] >= 60
        injected["damaged"] = 0
    print(f"attitude error grew by a factor of {worst:.3f} at most, seeds 3 and 4")
    assert worst < 1.3


# ---- history, verdict, report --------------------------------------------------------------------


@pytest.fixture(scope="module")
def sound():
    """A nominal flight of the brief vehicle."""
    vehicle = flying_vehicle(BRIEF)
    return fly_ascent(vehicle, Flight(nominal(vehicle)))


def test_the_history_holds_every_cycle_under_its_names(sound):
    vehicle, history = flying_vehicle(BRIEF), sound.history
    assert history.time_s == pytest.approx(np.arange(560) / 100.0)
    assert history.demand_nm.shape == (560, 3)
    assert history.true_deg.shape == (560, 4)
    lever_arm_m = 2.3 + 0.4 * history.time_s[300] / 26.0
    force_n = [vehicle.force_n(i, history.true_deg[300, i]) for i in range(4)]
    effectiveness = 1.0 - 0.02 * history.time_s[300] / 13.0
    pitch = lever_arm_m * effectiveness * np.cos(np.radians([45, 135, 225, 315])) @ force_n
    assert history.true_nm[300, 0] == pytest.approx(pitch, rel=2e-3)
    with pytest.raises(AttributeError):
        _ = history.nothing_of_the_kind


def test_a_flight_passes_or_fails_by_each_requirement(sound):
    required = flying_vehicle(BRIEF).requirements
    assert facts(sound, judge(sound.tally, required))["passes"]
    for key in ("attitude_error_deg", "roll_rate_deg_s"):
        strict = flying_vehicle(BRIEF, {f"requirements.{key}": 1e-3}).requirements
        found = verdict(judge(sound.tally, strict))
        assert found.outcome == "fail"
        assert key.split("_")[0] in found.reason
    strict = flying_vehicle(BRIEF, {"requirements.margin_percent": 99.0}).requirements
    assert "authority margin" in verdict(judge(sound.tally, strict)).reason


def test_the_report_tells_when_a_reading_was_not_believed_and_what_counted_instead():
    """Read as three tenths of the truth for a second."""
    vehicle = flying_vehicle(BRIEF, {"engine.believed_pressure": [0.5, 1.5]})
    fault = Fault("pressure", time_s=2.0, lasts_s=1.0, value=0.3)
    flown = fly_ascent(vehicle, Flight(nominal(vehicle), 0, (fault,)))
    history = flown.history
    wrong = (history.time_s > 2.05) & (history.time_s < 2.95)
    assert history.pressure_bar[wrong].max() < 0.31 * history.true_pressure_bar[wrong].max()
    assert history.counted_bar[wrong] == pytest.approx(history.true_pressure_bar[wrong], rel=0.01)
    text = page(vehicle, flown, judge(flown.tally, vehicle.requirements), "somebody", None, ())
    assert "first at 2.00 s, it was not believed" in text
    sound = (history.time_s < 2.0) | ((history.time_s > 3.05) & (history.time_s < 4.5))
    assert history.counted_bar[sound] == pytest.approx(
        history.pressure_bar[sound], rel=0.01, abs=1.1
    )


def test_a_rocket_too_heavy_to_leave_the_rail_fails():
    vehicle = flying_vehicle(TINY, {"rocket.mass_kg": [900.0, 800.0]})
    flown = fly_ascent(vehicle, Flight(nominal(vehicle)))
    judgements = judge(flown.tally, vehicle.requirements)
    assert verdict(judgements).outcome == "fail"
    assert "never left the rail" in verdict(judgements).reason
    assert flown.tally.height_m[0] == 0.0
    text = page(vehicle, flown, judgements, "somebody", None, ())
    assert "<svg" in text and "drew" not in text
    assert "What seed 3 drew" in page(vehicle, flown, judgements, "somebody", 3, ())


# ---- faults as text ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "jam,vane=3,time_s=8,value=15",
        "jam-in-place,vane=1,time_s=2.5",
        "lost-vane,vane=2,time_s=0",
        "slow-servo,vane=2,time_s=1,lasts_s=2,value=0.25",
        "swapped-servos,vane=1,value=2",
        "wear-table,value=2",
        "link-dropout,time_s=4,lasts_s=0.2",
        "board-reset,time_s=4,value=0.5",
        "late-ignition,value=0.5",
        "chuffing-start,value=3",
        "early-burn-out,time_s=9",
    ],
)
def test_a_fault_reads_back_as_it_was_written(text):
    assert fault_text(parse_fault(text)) == text


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("jamm,vane=3", "no such kind as 'jamm'"),
        ("jam,vane=5,value=1", "vane = 5; must be 1 to 4"),
        ("jam,value=1", "vane = 0; must be 1 to 4"),
        ("jam,vane=1,value=90", "value = 90; must be -45 to 45"),
        ("jam,vane=1,angle=3", "'angle=3'; needs vane="),
        ("jam,vane=1,value=x", "value = 'x' is not a number"),
        ("jam,vane=1.5,value=3", "vane = 1.5 is not a whole number"),
        ("jam,vane=nan,value=3", "is not a whole number"),
        ("jam,vane=1,value=nan", "must be -45 to 45"),
        ("link-dropout,lasts_s=0", "lasts_s more than 0"),
        ("lost-vane,vane=1,time_s=-1", "time_s must be 0 or more"),
        ("swapped-servos,vane=2,value=2", "cannot be swapped with itself"),
        ("swapped-servos,vane=2,value=2.5", "must be a whole number"),
    ],
)
def test_a_fault_that_cannot_be_is_refused_in_words(text, said):
    with pytest.raises(FaultError) as refused:
        parse_fault(text)
    assert said in str(refused.value)


# ---- the command ---------------------------------------------------------------------------------


@pytest.fixture
def tiny_file(tmp_path):
    path = tmp_path / "vehicle.toml"
    path.write_text(flying_text(TINY), encoding="utf-8")
    return path


def run(*arguments):
    """The command on its own; exceptions that are messages come out as exit statuses."""
    return CliRunner().invoke(fourvane, ["ascent", *map(str, arguments)])


def test_the_command_writes_a_report_and_tells_the_figures(tiny_file, tmp_path):
    report = tmp_path / "a.html"
    done = run(tiny_file, "--seed", 5, "--report", report, "--json")
    assert done.exit_code == 0, done.output
    result = json.loads(done.stdout)
    assert result["passes"]
    assert result["seed"] == 5
    assert result["attitude_error_deg"] < 8.0
    assert "http" not in report.read_text(encoding="utf-8").replace("http://www.w3.org", "")


def test_the_command_ends_with_1_where_a_requirement_is_broken(tmp_path):
    path = tmp_path / "vehicle.toml"
    path.write_text(flying_text(TINY, {"requirements.attitude_error_deg": 0.1}), encoding="utf-8")
    done = run(path, "--report", tmp_path / "a.html")
    assert done.exit_code == 1
    assert "! attitude error" in done.output
    assert (tmp_path / "a.html").exists()


@pytest.mark.parametrize(
    ("changes", "arguments", "said"),
    [
        ({"rocket": None}, [], "rocket: missing"),
        ({}, ["--fault", "jam"], "vane = 0"),
        ({"rocket.mass_kg": [1.0, 2.0]}, [], "rocket.mass_kg"),
        ({"rocket.thrust": {"time_s": [0.0], "share": [1.0, 2.0]}}, [], "rocket.thrust.share"),
        ({"rocket.wind": {"speed_m_s": -1.0}}, [], "rocket.wind.speed_m_s"),
        ({"requirements.margin_percent": 120.0}, [], "requirements.margin_percent"),
        ({"rocket.inertia_roll_kg_m2": [1e-5, 1e-5]}, [], "turned faster than can be computed"),
        ({}, ["--board", "/dev/no-such-port"], "/dev/no-such-port"),
    ],
)
def test_bad_input_ends_with_2_and_leaves_nothing(tmp_path, changes, arguments, said):
    path = tmp_path / "vehicle.toml"
    path.write_text(flying_text(BRIEF, changes), encoding="utf-8")
    report = tmp_path / "a.html"
    done = run(path, "--report", report, *arguments)
    assert done.exit_code == 2, done.output
    assert said in done.output
    assert "Traceback" not in done.output
    assert [file.name for file in tmp_path.iterdir()] == ["vehicle.toml"]


def test_nothing_required_is_neither_green_nor_a_pass(sound):
    judgements = judge(sound.tally, flying_vehicle({"requirements": {}}).requirements)
    found = verdict(judgements)
    assert (found.outcome, found.word) == ("open", "not judged")
    assert facts(sound, judgements)["passes"] is None
