"""What a bench says it measured, when, by whom and on which pieces."""

import json

import pytest
from click.testing import CliRunner

from hil.bench_sessions.measured_when import MeasuredWhen, told
from hil.commands.bench import bench
from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.inputs.errors import InputError
from mixer.ground.inputs.log_book import LOG_BOOK, GivenLog, read_log_book, serial_of
from mixer.ground.reports.page import Verdict
from mixer.ground.servo_bench.report import rehearsed
from mixer.ground.vehicle.acceptance import outcome_of
from tests.support.vehicles import vehicle_file

PEOPLE = ("--operator", "A. Person", "--board-serial", "P-7", "--servo-serial", "2=B7")


def run(*arguments):
    group = type(fourvane)("fourvane", commands={"bench": bench})
    return CliRunner().invoke(group, [str(a) for a in arguments])


@pytest.fixture(scope="module")
def stepped(tmp_path_factory):
    """A folder in which servo 2 was stepped once, with names and numbers stated."""
    folder = tmp_path_factory.mktemp("bench")
    file = vehicle_file(folder, acceptance={"hold_deg": 1.0, "slew_deg_s": 100.0})
    call = ("bench", "step", "--servo", 2, "--repeats", 1, "--vehicle", file)
    call += ("--out-dir", folder / "out")
    done = run(*call, *PEOPLE, "--json")
    assert done.exit_code == 0, done.output
    return folder / "out", call, json.loads(done.stdout)


def test_a_record_tells_date_operator_and_serial_numbers(stepped):
    folder, _, result = stepped
    assert (result["operator"], result["board_serial"]) == ("A. Person", "P-7")
    assert result["servo_serials"] == {"1": None, "2": "B7", "3": None, "4": None}
    measured = result["measured"]["2"]
    assert measured["now"] == measured["points"] > 5
    assert measured["first"] <= measured["last"] <= result["at"]
    line = (folder / "servo-2-step.journal").read_text().splitlines()[-1]
    record = json.loads(line.partition(" ")[2])
    assert (record["by"], record["at"]) == ("A. Person", measured["last"])
    for name in ("servo-2.html", "module.html"):
        page = (folder / name).read_text(encoding="utf-8")
        assert "A. Person" in page
        assert "2: B7" in page
        assert measured["last"].replace("T", " ").replace("Z", " UTC") in page


def test_what_was_stated_once_is_kept_and_the_same_command_says_that_nothing_was_measured(stepped):
    _, call, first = stepped
    again = json.loads(run(*call, "--json").stdout)
    assert again["operator"] == "A. Person"
    assert again["measured"]["2"] == {**first["measured"]["2"], "now": 0}
    said = run(*call).stdout
    assert "Rehearsed now: nothing." in said
    assert "Stands from before: servo 2:" in said
    assert "REHEARSAL, emulated servos: PASS SO FAR" in said
    assert "by earlier measurements alone" in said


def test_another_servo_never_passes_by_the_points_of_the_one_before(stepped):
    folder, call, _ = stepped
    kept = (folder / LOG_BOOK).read_bytes()
    refused = run(*call, "--servo-serial", "2=C9")
    (folder / LOG_BOOK).write_bytes(kept)
    assert refused.exit_code == 2
    assert "servo_serial = B7, now it is C9" in refused.stderr
    assert "--anew" in refused.stderr


def test_a_rehearsal_s_page_never_shows_a_pass(stepped):
    folder, _, _ = stepped
    page = (folder / "servo-2.html").read_text(encoding="utf-8")
    assert "<b>rehearsal: pass so far</b>" in page
    assert 'class="verdict pass"' not in page
    assert rehearsed(Verdict("pass", "all is met")).outcome == "open"
    assert rehearsed(Verdict("fail", "no")).outcome == "fail"


def test_a_run_without_a_limit_of_its_own_is_not_judged(tmp_path):
    file = vehicle_file(tmp_path, acceptance={"slew_deg_s": 100.0})
    call = ("bench", "hold", "--servo", 1, "--load-nm", 0.3, "--vehicle", file)
    done = run(*call, "--out-dir", tmp_path / "out")
    assert "NOT JUDGED: 1 limit not measured (slew_deg_s)" in done.stdout
    assert outcome_of(passed=True, something_asked=True, something_open=True) == "pass so far"
    assert outcome_of(passed=True, something_asked=False, something_open=True) == "not judged"


def test_what_stands_and_what_is_new_are_told_apart():
    old, new = "2026-11-27T10:00:00Z", "2026-11-28T10:00:00Z"
    lines = told({3: MeasuredWhen(1, [old, old, new]), 4: MeasuredWhen(0, [None])}, rehearsal=False)
    assert lines[0] == "Measured now: servo 3: 1 points."
    assert "servo 3: 2 points of 3, 2026-11-27 10:00:00 UTC to 2026-11-28" in lines[1]
    assert "servo 4: 1 points of 1, a date that was not kept" in lines[1]


def test_a_log_book_asks_once_for_what_was_never_stated(tmp_path):
    asked = []

    def ask(text):
        asked.append(text)
        return "" if "board" in text else "X"

    given = GivenLog(operator="A. Person")
    book = given.kept_in(tmp_path, [1, 2], ask)
    assert asked == [
        "Serial number of the board",
        "Serial number of servo 1",
        "Serial number of servo 2",
    ]
    assert (book.servo(1), book.servo(3), book.stated["board_serial"]) == ("X", None, None)
    assert GivenLog().kept_in(tmp_path, [1, 2], ask) == book
    assert len(asked) == 3


def test_a_log_book_with_nothing_to_keep_leaves_no_file(tmp_path):
    GivenLog().kept_in(tmp_path)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("text", ["5=B7", "B7", "=B7"])
def test_a_serial_number_names_its_servo(text):
    with pytest.raises(InputError, match="such as 3=B7"):
        serial_of(text)


def test_nonsense_in_a_log_book_is_refused_with_its_place(tmp_path):
    (tmp_path / LOG_BOOK).write_text('{"operator": 3}')
    with pytest.raises(InputError, match=r"log-book\.json: operator"):
        read_log_book(tmp_path)
    with pytest.raises(InputError, match="80 characters"):
        GivenLog(operator="x" * 81).kept_in(tmp_path / "new")


def test_a_module_that_fails_for_many_reasons_lists_them(tmp_path):
    file = vehicle_file(tmp_path, acceptance={"slew_deg_s": 4000.0, "latency_ms": 0.1})
    call = ("bench", "step", "--servo", 1, "--repeats", 1, "--vehicle", file)
    assert run(*call, "--out-dir", tmp_path / "out").exit_code == 1
    page = (tmp_path / "out" / "module.html").read_text(encoding="utf-8")
    assert "2 reasons, listed below" in page
    assert "Why it fails" in page
