"""After a command one line says what the vehicle file still lacks."""

import json
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from mixer.ground.command_line.fourvane import emit, fourvane
from mixer.ground.command_line.next_step import next_step
from mixer.ground.evidence.evidence import evidence_of
from tests.support.vehicles import vehicle, vehicle_file

WHOLE = {
    "vanes": SimpleNamespace(geometry=object()),
    "erosion": object(),
    "uncertainty": SimpleNamespace(effectiveness=[0.01]),
    "requirements": object(),
    "servo_table": SimpleNamespace(latency_ms=[1.0], backlash_deg=[0.1]),
    "rocket": object(),
    "acceptance": object(),
}


@pytest.mark.parametrize(
    ("lacking", "done", "words"),
    [
        ({"erosion": None}, "envelope", "fourvane erosion fit"),
        ({"uncertainty": None}, "envelope", "fourvane identify --plan"),
        (
            {"uncertainty": SimpleNamespace(effectiveness=None)},
            "erosion fit",
            "fourvane identify --plan",
        ),
        ({"requirements": None}, "tables", "state [requirements]"),
        (
            {"servo_table": SimpleNamespace(latency_ms=None, backlash_deg=None)},
            "envelope",
            "fourvane bench all",
        ),
        (
            {
                "servo_table": SimpleNamespace(latency_ms=None, backlash_deg=None),
                "acceptance": None,
            },
            "envelope",
            "state [acceptance]",
        ),
        ({"rocket": None}, "envelope", "add [rocket]"),
        ({}, "envelope", "fourvane check"),
        ({}, "check", "fourvane ascent"),
        ({}, "ascent", "fourvane failures"),
        ({}, "campaign", "fourvane board verify"),
        ({}, "board verify", "fourvane handover"),
        ({}, "handover", "fourvane handover"),
    ],
)
def test_the_first_thing_that_the_file_lacks_is_next(lacking, done, words):
    vehicle = SimpleNamespace(**(WHOLE | lacking))
    assert next_step(vehicle, Path("v.toml"), done).startswith(words)  # type: ignore[arg-type]


def test_after_a_failure_nothing_is_next_before_it_is_mended():
    vehicle = SimpleNamespace(**WHOLE)
    said = next_step(vehicle, Path("v.toml"), "campaign", passed=False)  # type: ignore[arg-type]
    assert said == "mend what failed, in v.toml or on the module; then this fourvane campaign again"


def test_in_a_plain_list_of_facts_what_is_next_is_said_once(capsys):
    emit({"record": "flight.record"}, False, None, "fourvane record replay flight.record")
    assert capsys.readouterr().out.splitlines() == [
        "record  flight.record",
        "Next: fourvane record replay flight.record",
    ]


def test_a_file_that_no_tables_come_of_is_named_by_every_command(capsys):
    """Too small for the step of a demand: said at the drawing, not when the board is there."""
    small = vehicle(layout={"roll_arm_m": 0.0005})
    emit({}, False, None, None, evidence_of("vanes", small).plain)
    assert "! no flight tables can be made of this file: " in capsys.readouterr().out
    emit({}, False, None, "fourvane identify --plan", evidence_of("vanes", small).plain)
    assert capsys.readouterr().out.splitlines()[-1].startswith("Next: mend in the vehicle file ")
    emit({}, False, None, None, evidence_of("vanes", vehicle()).plain)
    assert capsys.readouterr().out == ""


def test_the_line_stands_on_the_terminal_and_as_a_key_in_json(tmp_path):
    file = vehicle_file(tmp_path)
    call = ["tables", str(file), "--out", str(tmp_path / "t.bin")]
    said = CliRunner().invoke(fourvane, call).stdout.splitlines()
    told = json.loads(CliRunner().invoke(fourvane, [*call, "--json"]).stdout)
    assert said[-1] == f"Next: {told['next']}"
