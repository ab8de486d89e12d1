"""`fourvane bench` and `fourvane servo` as a person calls them."""

import json
import re
from shutil import copytree

import numpy as np
import pytest
from click.testing import CliRunner

from hil.bench.typed_reader import angle_of
from hil.bench_sessions.encoder_zero import read_scales, zero_of
from hil.bench_sessions.options import fault_of
from hil.bench_sessions.questions import ask
from hil.bench_sessions.view import reading
from hil.commands.bench import bench
from hil.node.errors import BoardError
from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.commands.servo import servo
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.tables.build import flight_tables, slew_mdeg_s
from mixer.ground.vehicle.servo_table import read_servo_table
from mixer.ground.vehicle.vehicle import load_vehicle
from tests.support.vehicles import vehicle_file

SPARSE = ("--positions", "7", "--passes", "2")  # the least that a sweep takes
QUICK = ("--positions", "15", "--passes", "2", "--blocks", "1", "--cycles", "3", "--repeats", "1")
LIMITS = {"backlash_deg": 0.5, "bandwidth_hz": 6.0, "slew_deg_s": 300.0, "roll_trim_nm": 2.0}


def run(*arguments, typed=None):
    """The command through the frame that turns errors into messages and exit statuses."""
    group = type(fourvane)("fourvane", commands={"bench": bench, "servo": servo})
    return CliRunner().invoke(group, [str(a) for a in arguments], input=typed)


@pytest.fixture(autouse=True)
def folder_of_its_own(tmp_path, monkeypatch):
    """What is written by default goes beside nothing of the tree's."""
    monkeypatch.chdir(tmp_path)


@pytest.fixture(scope="module")
def benched(tmp_path_factory):
    """A folder with a whole bench of four servos, and the vehicle file it was made for."""
    folder = tmp_path_factory.mktemp("bench")
    file = vehicle_file(folder, acceptance=LIMITS)
    done = run("bench", "all", "--vehicle", file, "--out-dir", folder / "out", *QUICK, "--json")
    assert done.exit_code == 0, done.output
    return folder / "out", file, json.loads(done.stdout)


def test_a_whole_bench_leaves_tables_sweeps_results_and_reports(benched):
    folder, _, result = benched
    names = {path.name for path in folder.iterdir() if path.suffix != ".journal"}
    each = {f"servo-{n}.{kind}" for n in range(1, 5) for kind in ("csv", "html")}
    assert names == each | {"bench.json", "sweep.csv", "module.html"}
    assert result["passed"]
    assert (result["outcome"], result["not_measured"]) == ("pass", [])
    assert result["roll_nm"] < 2.0
    assert {path.split("/")[-1] for path in result["files"]} == names
    for number in "1234":
        found = result["servos"][number]
        assert found["margins"]["backlash_deg"] == pytest.approx(
            0.5 - found["figures"]["backlash_deg"]
        )


def test_the_reports_stand_alone_and_say_what_they_must(benched):
    folder, _, _ = benched
    page = (folder / "servo-2.html").read_text(encoding="utf-8")
    for words in ("ISO 230-2", "IEC 61298-2", "a rehearsal, not a measurement", "−3 dB at", "−90"):
        assert words in page
    assert page.count("<svg") == 5
    assert not re.search(r'(src|href)="http', page)
    module = (folder / "module.html").read_text(encoding="utf-8")
    assert "With the tables flown" in module
    assert "Roll kick" in module


def test_the_same_command_again_measures_nothing_new(benched):
    folder, file, result = benched
    before = {path: path.read_bytes() for path in folder.glob("*.journal")}
    done = run("bench", "all", "--vehicle", file, "--out-dir", folder, *QUICK, "--json")
    assert json.loads(done.stdout)["servos"] == result["servos"]
    assert {path: path.read_bytes() for path in folder.glob("*.journal")} == before


def test_other_settings_are_not_mixed_in_but_measured_anew_when_told(tmp_path):
    arguments = ("bench", "sweep", "--servo", 1, "--positions", 7, "--out-dir", tmp_path, "--json")
    assert run(*arguments, "--passes", 2).exit_code == 0
    other = run(*arguments, "--passes", 3)
    assert other.exit_code == 2
    assert "holds a run with passes = 2, now it is 3" in other.stderr
    assert run(*arguments, "--passes", 3, "--anew").exit_code == 0
    assert (tmp_path / "servo-1-sweep.journal.before").exists()


@pytest.fixture(scope="module")
def sticking(tmp_path_factory):
    """A folder with the sweep of a servo that sticks, and what the command answered."""
    folder = tmp_path_factory.mktemp("sticking")
    fault = ("--fault", "4=sticking-band")
    return folder, run("bench", "sweep", "--servo", 4, *fault, "--out-dir", folder)


def test_a_failing_servo_ends_with_status_1_and_its_reasons(sticking):
    folder, done = sticking
    assert done.exit_code == 1
    assert "servo 4: sticking band: servo 4 sticks between" in done.stdout
    assert "Faults found" in (folder / "servo-4.html").read_text(encoding="utf-8")
    assert not (folder / "servo-4.csv").exists()


def test_a_limit_missed_ends_with_status_1_and_its_margin(tmp_path):
    file = vehicle_file(tmp_path, acceptance={"backlash_deg": 0.05})
    arguments = ("--servo", 1, "--vehicle", file, "--out-dir", tmp_path / "out")
    done = run("bench", "sweep", *arguments, *SPARSE)
    assert done.exit_code == 1
    assert re.search(r"servo 1: backlash_deg 0\.\d+, at most 0.05, margin -0", done.stdout)


def test_a_single_run_is_judged_by_its_own_limits_only(tmp_path):
    file = vehicle_file(tmp_path, acceptance={"backlash_deg": 0.05, "slew_deg_s": 300.0})
    done = run(
        "bench", "step", "--servo", 1, "--vehicle", file, "--out-dir", tmp_path / "out", "--json"
    )
    assert done.exit_code == 0, done.output
    result = json.loads(done.stdout)
    assert result["servos"]["1"]["limits"] == {"slew_deg_s": 300.0}
    assert (result["outcome"], result["not_measured"]) == ("pass so far", ["backlash_deg"])
    assert result["servos_not_measured"] == [2, 3, 4]


def test_too_few_positions_within_the_travel_are_refused_before_anything_moves(tmp_path):
    """Seven are enough over the travel; over three times the travel they are not."""
    arguments = ("bench", "sweep", "--servo", 1, "--passes", 2, "--out-dir", tmp_path / "out")
    assert run(*arguments, "--positions", 6).exit_code == 2
    wide = run(*arguments, "--positions", 7, "--from-us", 1000, "--to-us", 2000)
    assert wide.exit_code == 2
    assert "--positions 7: of the pulses from 1000 to 2000 us only" in wide.stderr
    assert not (tmp_path / "out").exists()
    least = run(*arguments, "--positions", 7)
    assert least.exit_code == 0, least.output


def test_a_sweep_that_makes_no_table_names_its_servo_once(tmp_path):
    """Over one half of the travel nothing is extrapolated."""
    arguments = ("bench", "sweep", "--servo", 1, *SPARSE, "--out-dir", tmp_path)
    done = run(*arguments, "--from-us", 1500, "--to-us", 1650)
    assert done.exit_code == 1
    assert "! servo 1: the sweep moved the vane from" in done.stdout


def test_a_part_says_on_the_terminal_that_it_is_a_part(tmp_path):
    file = vehicle_file(tmp_path, acceptance={"backlash_deg": 0.05, "slew_deg_s": 300.0})
    quick = ("--steps-deg", "20", "--repeats", 1)
    done = run("bench", "step", *quick, "--vehicle", file, "--out-dir", tmp_path / "out")
    assert done.exit_code == 0, done.output
    assert "PASS SO FAR: 1 limit not measured (backlash_deg)." in done.stdout


def test_every_run_without_the_load_that_a_limit_asks_for_fails(benched, tmp_path):
    """What is measured already is judged by the limits of now."""
    folder = copytree(benched[0], tmp_path / "out")
    file = vehicle_file(tmp_path, acceptance={"hold_deg": 2.0})
    done = run("bench", "all", "--vehicle", file, "--servo", 1, "--out-dir", folder, *QUICK)
    assert done.exit_code == 1
    assert "hold_deg not measured, at most 2" in done.stdout


@pytest.mark.parametrize("command", ["frequency", "endurance", "hold"])
def test_every_run_is_a_command_of_its_own(tmp_path, command):
    extra = ("--load-nm", "0.4") if command == "hold" else ()
    done = run("bench", command, "--servo", 2, "--out-dir", tmp_path, "--json", *extra)
    assert done.exit_code == 0, done.output
    figures = json.loads(done.stdout)["servos"]["2"]["figures"]
    name = {"frequency": "bandwidth_hz", "endurance": "drift_deg", "hold": "hold_deg"}[command]
    assert figures[name] is not None
    assert figures["backlash_deg"] is None


def test_a_person_can_read_the_angles(tmp_path):
    """Wrong answers are asked again; "stop" ends it as Ctrl-C does; the rest goes on from there."""
    arguments = ("bench", "sweep", "--servo", 1, "--reader", "person", "--out-dir", tmp_path)
    arguments += ("--positions", 7, "--passes", 2, "--json")
    looks = ["0", "4", "-4", "0"]
    up = ["-17,4", "-11.6", "-5.8", "0", "5,8", "11.6", "17.4"]
    first = run(*arguments, typed="\n".join([*looks, "-17,4", "soon", "400", "-11.6", "stop"]))
    assert first.exit_code == 130, first.output
    assert "'soon' is no angle" in first.stderr
    assert "left out, they need an encoder: deadband" in first.stderr
    rest = [*up[2:], *up[::-1], *up, *up[::-1]]
    again = run(*arguments, typed="\n".join(rest) + "\n")
    assert again.exit_code == 0, again.output
    figures = json.loads(again.stdout)["servos"]["1"]["figures"]
    assert figures["backlash_deg"] == pytest.approx(0, abs=1e-9)


def test_what_needs_an_encoder_is_left_out_in_words_with_a_person(tmp_path):
    done = run(
        "bench",
        "step",
        "--servo",
        1,
        "--reader",
        "person",
        "--out-dir",
        tmp_path,
        typed="0\n4\n-4\n0\n",
    )
    assert "left out, they need an encoder: step" in done.stderr


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("all", "--board", "/dev/ttyNONE7"), "--vehicle is needed with servos on a real board"),
        (("all", "--fault", "5=loose-horn"), "must be SERVO=FAULT"),
        (("all", "--steps-deg", "3,x"), "must be numbers with commas"),
        (("all", "--steps-deg", "0"), "each must be above 0"),
        (("sweep", "--from-us", "1600", "--to-us", "1500"), "--from-us 1600 must be less than"),
        (("sweep", "--vehicle", "none.toml"), "none.toml"),
        (("hold",), "--load-nm is needed"),
        (("zero",), "no vane is there to be held edge-on"),
    ],
)
def test_options_that_make_no_sense_end_with_2_and_say_why(tmp_path, arguments, words):
    done = run("bench", *arguments, "--out-dir", tmp_path / "out")
    assert done.exit_code == 2
    assert words in done.stderr
    assert "Traceback" not in done.output


def test_options_of_rehearsals_are_refused_with_a_real_board(tmp_path):
    file = vehicle_file(tmp_path)
    real = ("--board", "/dev/ttyNONE7", "--vehicle", file, "--out-dir", tmp_path / "out")
    for arguments, words in (
        (("all", "--fault", "1=loose-horn"), "--fault is for rehearsals"),
        (("wiggle", "--swapped", "1", "2"), "--swapped is for rehearsals"),
        (("sweep",), "no such port"),
    ):
        done = run("bench", *arguments, *real)
        assert done.exit_code == 2
        assert words in done.stderr


def test_the_wiggle_check_leaves_a_page_with_the_view_from_behind(tmp_path):
    assert run("bench", "wiggle", "--board", "none").exit_code == 0
    page = (tmp_path / "fourvane-bench" / "wiggle.html").read_text(encoding="utf-8")
    for words in ("<b>rehearsal: pass</b>", "Seen from behind", "positive roll", "not stated"):
        assert words in page


def test_the_wiggle_check_passes_what_is_plugged_in_right():
    done = run("bench", "wiggle", "--json")
    assert done.exit_code == 0, done.output
    servos = json.loads(done.stdout)["servos"]
    assert all(row["finding"] == "" for row in servos.values())
    assert [row["moved_vane"] for row in servos.values()] == [1, 2, 3, 4]


def test_the_wiggle_check_finds_swapped_and_reversed_servos():
    done = run("bench", "wiggle", "--swapped", 1, 2, "--fault", "3=reversed-lead", "--json")
    assert done.exit_code == 1
    servos = json.loads(done.stdout)["servos"]
    assert servos["1"]["finding"] == "vane 2 moved instead: plugs swapped"
    assert servos["2"]["finding"] == "vane 1 moved instead: plugs swapped"
    assert servos["3"]["finding"] == "turns the wrong way: reversed"
    assert servos["4"]["finding"] == ""


def test_the_wiggle_check_asks_a_person(tmp_path):
    """What is seen is compared with the sign convention: clockwise from outside is positive."""
    typed = "1\nc\n3\nc\n2\na\n0\n"
    done = run("bench", "wiggle", "--by-eye", "--json", typed=typed)
    assert done.exit_code == 1
    findings = [row["finding"] for row in json.loads(done.stdout)["servos"].values()]
    assert findings == [
        "",
        "vane 3 moved instead: plugs swapped",
        "vane 2 moved instead: plugs swapped, and it turns the wrong way",
        "did not move: plug, supply, horn",
    ]
    assert "vane 1 (clocking 45 deg) should turn clockwise first" in done.stderr


def test_a_wrong_answer_is_told_what_would_be_right_and_asked_again():
    done = run("bench", "wiggle", "--by-eye", "--servo", 1, "--json", typed="y\n1\n7\nC\n")
    assert done.exit_code == 0, done.output
    assert "'y' is no answer here; type one of 0, 1, 2, 3, 4" in done.stderr
    assert "'7' is no answer here; type one of c, a, n" in done.stderr


@pytest.mark.parametrize(
    "command", [("wiggle", "--by-eye"), ("sweep", "--reader", "person", "--out-dir")]
)
def test_an_input_that_ends_before_the_answers_is_bad_input(tmp_path, command):
    folder = (tmp_path,) if command[-1] == "--out-dir" else ()
    done = run("bench", *command, *folder, "--servo", 1, typed="")
    assert done.exit_code == 2
    assert "the input ended at the question" in done.stderr
    assert "Aborted" not in done.output


def test_ctrl_c_at_a_question_is_no_end_of_input(monkeypatch):
    """Nothing of the question is lost: it ends as Ctrl-C does everywhere."""

    def interrupted(prompt):
        raise KeyboardInterrupt

    monkeypatch.setattr("click.termui.visible_prompt_func", interrupted)
    with pytest.raises(KeyboardInterrupt):
        ask("Which vane moved?")


def test_a_sweep_file_becomes_servo_tables(benched, tmp_path):
    folder, file, _ = benched
    arguments = (folder / "sweep.csv", "--vehicle", file, "--out", tmp_path / "t.csv")
    done = run(
        "servo", "fit", *arguments, "--timer-us", "0.5", "--json", "--report", tmp_path / "r.html"
    )
    assert done.exit_code == 0, done.output
    servos = json.loads(done.stdout)["servos"]
    assert sorted(servos) == ["1", "2", "3", "4"]
    assert "Calibration" in (tmp_path / "r-3.html").read_text(encoding="utf-8")
    for number in "1234":
        made = read_servo_table(tmp_path / f"t-{number}.csv")
        benches = read_servo_table(folder / f"servo-{number}.csv")
        # The sweep file keeps four decimals of the angle.
        np.testing.assert_allclose(made.pulse_us, benches.pulse_us, atol=0.01)
        assert servos[number]["iso_230_2"]["repeatability_deg"] > 0


def test_a_sweep_that_sticks_is_refused_with_1_and_one_that_is_short_with_2(sticking, tmp_path):
    folder, _ = sticking
    file = vehicle_file(tmp_path)
    sticky = run("servo", "fit", folder / "sweep.csv", "--vehicle", file)
    assert sticky.exit_code == 1
    assert "refused: servo 4 sticks between" in sticky.stderr
    short = tmp_path / "short.csv"
    short.write_text("servo,pulse_us,angle_deg,direction,pass\n1,1500,0,up,1\n")
    done = run("servo", "fit", short, "--vehicle", file)
    assert done.exit_code == 2
    assert "short.csv: servo 1: 1 pulses; at least 5 are needed" in done.stderr


@pytest.mark.parametrize(("limit_deg", "word", "status"), [(0.5, "PASS", 0), (0.02, "FAIL", 1)])
def test_a_fit_says_on_the_terminal_what_the_limits_say_of_it(
    benched, tmp_path, limit_deg, word, status
):
    """The verdict and the exit status are the page's; the table is written all the same."""
    folder, _, _ = benched
    limits = {"repeatability_deg": 3.0, "backlash_deg": limit_deg, "accuracy_deg": 3.0}
    file = vehicle_file(tmp_path, acceptance=limits)
    sweep, out = folder / "sweep.csv", tmp_path / "t.csv"
    fit = ("servo", "fit", sweep, "--vehicle", file, "--out", out, "--timer-us", "0.5")
    done = run(*fit, "--report", tmp_path / "r.html")
    assert done.exit_code == status, done.output
    assert f"servo 1: {word}. " in done.stdout
    assert ("backlash_deg" in done.stdout) and (tmp_path / "t-1.csv").exists()
    page = (tmp_path / "r-1.html").read_text(encoding="utf-8")
    assert f"verdict {word.lower()}" in page
    assert ("taken as exact" in done.stdout) is (status == 0)
    told = json.loads(run(*fit, "--json").stdout)
    assert told["passed"] is (status == 0)
    assert told["servos"]["1"]["outcome"] == word.lower()


def test_a_fit_s_table_keeps_its_headings_at_80_columns(benched, tmp_path):
    folder, file, _ = benched
    out = tmp_path / "a folder with quite a long name" / "and another one" / "servo.csv"
    out.parent.mkdir(parents=True)
    done = run("servo", "fit", folder / "sweep.csv", "--vehicle", file, "--out", out)
    (head,) = [line for line in done.stdout.splitlines() if line.startswith("servo  points")]
    assert len(head) <= 80
    assert head.split() == ["servo", "points", "promised", "reversal", "hysteresis", "non-linear"]


def test_measurements_go_into_the_vehicle_file_with_its_comments_kept(benched, tmp_path):
    folder, file, result = benched
    noted = tmp_path / "noted.toml"
    text = file.read_text(encoding="utf-8")
    noted.write_text(f"# our own words\n{text}\n# and the last ones\n", encoding="utf-8")
    new = ("--out", tmp_path / "new.toml", "--rehearsal")
    done = run("servo", "adopt", folder, "--vehicle", noted, *new)
    assert done.exit_code == 0, done.output
    changed = (tmp_path / "new.toml").read_text(encoding="utf-8")
    assert changed.startswith("# our own words\n")
    assert changed.rstrip().endswith("# and the last ones")
    vehicle = load_vehicle(tmp_path / "new.toml")
    for number, servo_of in enumerate(vehicle.servos, 1):
        figures = result["servos"][str(number)]["figures"]
        assert servo_of.table is not None
        assert servo_of.slew_deg_s == int(0.9 * figures["slew_deg_s"])
        assert vehicle.servo_table.backlash_deg is not None
        assert vehicle.servo_table.backlash_deg[number - 1] == pytest.approx(
            figures["backlash_deg"], abs=5e-4
        )


def test_the_allocator_s_slew_window_is_the_measured_slew(benched, tmp_path):
    """From the bench through the vehicle file into the words of the flight tables."""
    folder, file, _ = benched
    new = ("--out", tmp_path / "new.toml", "--rehearsal")
    run("servo", "adopt", folder, "--vehicle", file, *new)
    vehicle = load_vehicle(tmp_path / "new.toml")
    slews = slew_mdeg_s(flight_tables(vehicle))
    assert slews == [round(1000 * servo_of.slew_deg_s) for servo_of in vehicle.servos]
    assert len(set(slews)) > 1


def test_tables_of_some_servos_only_are_not_adopted(tmp_path):
    file = vehicle_file(tmp_path)
    arguments = ("--servo", 1, "--vehicle", file, "--out-dir", tmp_path / "b")
    assert run("bench", "sweep", *arguments, *SPARSE).exit_code == 0
    new = tmp_path / "new.toml"
    adopt = ("servo", "adopt", tmp_path / "b", "--vehicle", file, "--out", new, "--rehearsal")
    done = run(*adopt)
    assert done.exit_code == 2
    assert "no servo table of servo 2, 3, 4" in done.stderr
    assert not new.exists()
    assert run(*adopt, "--without-tables").exit_code == 0


def test_a_folder_without_results_is_named(tmp_path):
    done = run("servo", "adopt", tmp_path, "--vehicle", vehicle_file(tmp_path), "--out", "x.toml")
    assert done.exit_code == 2
    assert "bench.json" in done.stderr


@pytest.mark.parametrize(
    ("typed", "angle"),
    [("-7.5", -7.5), ("3,25", 3.25), ("0", 0.0), ("181", None), ("nan", None), ("", None)],
)
def test_typed_angles_are_read_or_refused(typed, angle):
    assert angle_of(typed) == angle


@pytest.mark.parametrize("text", ["3=loose-horn", "3=loose horn"])
def test_a_fault_is_named_with_its_servo(text):
    assert fault_of(text) == (3, "loose horn")


class Turning:
    """A port whose encoder reads what a list says, in counts."""

    def __init__(self, counts, trouble=""):
        self.counts, self.trouble = list(counts), trouble

    def read(self, servo_number, prompt=""):
        from hil.bench.port import Reading

        count = self.counts.pop(0)
        return Reading(None if count is None else count * 360 / 4096, trouble=self.trouble)


@pytest.mark.parametrize(("counts", "direction"), [((4090, 30), 1), ((10, 4000), -1)])
def test_zero_and_sense_of_an_encoder_come_from_edge_on_and_a_turn_by_hand(counts, direction):
    scale = zero_of(Turning(counts), 2, lambda text: None)
    assert (scale.zero_counts, scale.direction) == (pytest.approx(counts[0]), direction)
    assert scale.angle_deg(counts[1]) > 0


@pytest.mark.parametrize(
    ("counts", "trouble", "words"),
    [((100, 103), "", "saw a turn of 0.3 deg"), ((None, None), "no answer", "gives no answer")],
)
def test_an_encoder_that_cannot_be_zeroed_says_why(counts, trouble, words):
    with pytest.raises(BoardError, match=words):
        zero_of(Turning(counts, trouble), 2, lambda text: None)


def test_kept_encoder_scales_are_read_again_and_nonsense_is_refused(tmp_path):
    assert read_scales(tmp_path)[0].zero_counts == 2048.0
    (tmp_path / "encoders.json").write_text(
        '{"2": {"counts_per_turn": 4096, "zero_counts": 77.5, "direction": -1}}'
    )
    scales = read_scales(tmp_path)
    assert (scales[1].zero_counts, scales[1].direction, scales[0].zero_counts) == (77.5, -1, 2048)
    (tmp_path / "encoders.json").write_text('{"2": {"zero": 1}}')
    with pytest.raises(InputError, match="run 'bench zero' anew"):
        read_scales(tmp_path)


@pytest.mark.parametrize(
    ("record", "words", "mark"),
    [
        ({"angle_deg": 10.0}, "+10.00°", 30),
        ({"angle_deg": -50.0}, "-50.00°", 0),
        ({"angle_deg": [1.0, 0.0]}, "+0.00°", 20),
        ({"angle_deg": None}, "–", None),
        ({"gain": 0.5}, "gain 0.500", None),
    ],
)
def test_the_live_view_shows_a_reading_in_words_and_on_a_strip(record, words, mark):
    text, strip = reading(record)
    assert text == words
    assert strip.find("●") == (-1 if mark is None else mark)
