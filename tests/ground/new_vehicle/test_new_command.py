"""`fourvane new`: a file to begin with, and what is still to be measured in it."""

import json
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.commands.log_book.new import new
from mixer.ground.new_vehicle.answers import Answers, answer
from mixer.ground.new_vehicle.begun import begun
from mixer.ground.tables.build import flight_tables
from mixer.ground.unfinished.to_be_measured import HOW, MARK, marked_lines, unmarked
from mixer.ground.vehicle.vehicle import VehicleError, load_vehicle, parse_vehicle
from mixer.ground.vehicle_edits.text import VehicleText

ANSWERS = {
    "--name": 'Our "first"', "--thrust-n": "1500", "--chamber-pressure-bar": "18",
    "--burn-time-s": "12", "--throat-diameter-mm": "28", "--expansion-ratio": "3.5",
    "--first-vane-deg": "0", "--lever-arm-m": "1.6,1.8",
}  # fmt: skip


def run(out: Path, **changes: str | None) -> Result:
    group = type(fourvane)("fourvane", commands={"new": new})
    given = {**ANSWERS, **{f"--{key.replace('_', '-')}": value for key, value in changes.items()}}
    options = [word for key, value in given.items() if value is not None for word in (key, value)]
    return CliRunner().invoke(group, ["new", "--out", str(out), *options, "--json"])


def test_a_file_with_all_questions_answered_makes_flight_tables_at_once(tmp_path: Path) -> None:
    done = run(tmp_path / "v.toml")
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    vehicle = load_vehicle(tmp_path / "v.toml")
    assert told["lacks"] == told["warnings"] == []
    assert vehicle.vehicle.name == 'Our "first"'
    assert vehicle.layout.clocking_deg.tolist() == [0.0, 90.0, 180.0, 270.0]
    assert flight_tables(vehicle).words
    marked = {each["key"] for each in told["marks"]}
    assert {"servos.slew_deg_s", "layout.roll_arm_m", "rocket.inertia_roll_kg_m2"} <= marked
    assert not {"engine.thrust_n", "layout.clocking_deg"} & marked


@pytest.mark.parametrize(
    ("thrust_n", "throat_mm", "expansion"),
    [(1500.0, 27.0, 3.0), (5000.0, 47.7, 4.0), (40_000.0, 110.0, 6.0)],
)
def test_the_sketch_goes_with_the_size_of_the_nozzle(
    thrust_n: float, throat_mm: float, expansion: float
) -> None:
    known = Answers("x", thrust_n, 20.0, 15.0, throat_mm, expansion, 45.0, (2.0,))
    vehicle = parse_vehicle(begun(known))
    radius_m = 0.5e-3 * throat_mm * expansion**0.5
    assert vehicle.vanes.geometry is not None
    assert vehicle.layout.roll_arm_m < radius_m
    assert 1e-3 * vehicle.vanes.geometry.immersed_span_mm < radius_m
    flight_tables(vehicle)


def test_what_was_not_answered_is_named_with_what_measures_it(tmp_path: Path) -> None:
    done = run(tmp_path / "v.toml", thrust_n=None)
    assert done.exit_code == 0
    (lack,) = json.loads(done.stdout)["lacks"]
    assert lack.startswith("engine.thrust_n: missing")
    with pytest.raises(VehicleError, match=r"to be measured: a static burn without vanes"):
        load_vehicle(tmp_path / "v.toml")


def test_a_thrust_that_is_not_this_nozzles_is_doubted_at_once(tmp_path: Path) -> None:
    """153 kgf written for 1500 N: the file is written, and the first thing to do is to mend it."""
    told = json.loads(run(tmp_path / "v.toml", thrust_n="153").stdout)
    (warning,) = told["warnings"]
    assert warning.startswith("engine.thrust_n = 153 is 10% of the ")
    assert told["next"].startswith("mend in ")


@pytest.mark.parametrize("key", ["slew_deg_s", "latency_ms"])
def test_the_command_that_measures_takes_the_mark_away(tmp_path: Path, key: str) -> None:
    run(tmp_path / "v.toml")
    file = VehicleText(load_vehicle(tmp_path / "v.toml"))
    file.put("servos", key, [12.0] * 4)
    text = file.text(tmp_path / "w.toml")
    before = {name for _, name, _ in marked_lines(file.vehicle.text)}
    after = {name for _, name, _ in marked_lines(text)}
    assert before - after == {f"servos.{key}"}
    assert tomllib.loads(text)["servos"][key] == [12.0] * 4


def test_marks_of_other_keys_and_all_other_text_stay() -> None:
    text = f"[a]\n# b =  # {MARK}: so\nc = 1  # {MARK}\nd = 2  # {MARK}: so\n# word\n"
    assert unmarked(text, {"a.b", "a.c"}) == f"[a]\nc = 1\nd = 2  # {MARK}: so\n# word\n"


def test_a_file_that_is_there_stays(tmp_path: Path) -> None:
    (tmp_path / "v.toml").write_text("mine", encoding="utf-8")
    done = run(tmp_path / "v.toml")
    assert done.exit_code == 2
    assert "is there already" in done.output
    assert (tmp_path / "v.toml").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"thrust_n": "much"}, "thrust_n = much: must be a number from 1"),
        ({"burn_time_s": "-3"}, "burn_time_s = -3: must be a number from 0.5"),
        ({"lever_arm_m": "1,2,3"}, "lever_arm_m = 1,2,3: must be one number, or two"),
        ({"name": "two\nlines"}, "must be 1 to 100 characters"),
        ({"thrust_n": "nan"}, "thrust_n = nan: must be a number"),
    ],
)
def test_an_answer_that_cannot_be_is_refused_in_words(
    tmp_path: Path, change: dict[str, str], words: str
) -> None:
    done = run(tmp_path / "v.toml", **change)
    assert done.exit_code == 2
    assert words in done.output
    assert list(tmp_path.iterdir()) == []


def test_nothing_typed_is_left_open() -> None:
    assert answer("thrust_n", " ") is None
    assert answer("lever_arm_m", "1.5, 1.8") == (1.5, 1.8)


def test_simulated_flights_say_what_they_lack_and_how_it_is_got(tmp_path: Path) -> None:
    run(tmp_path / "v.toml")
    with pytest.raises(VehicleError, match=r"rocket: missing.*weighed"):
        load_vehicle(tmp_path / "v.toml").needs_rocket()
    assert all(words for words in HOW.values())
