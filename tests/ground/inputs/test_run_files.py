"""No command writes over what it reads, wherever its name came from, and it is told at once."""

import json
import os
import threading
from collections.abc import Iterator
from importlib.metadata import entry_points
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from mixer.ground.command_line.fourvane import COMMANDS, fourvane
from mixer.ground.command_line.path_options import ResultPath, SourcePath
from mixer.ground.inputs.csv_files import InputError, write_whole
from mixer.ground.inputs.run_files import one_run, reads, writes
from tests.support.flying import flying_text
from tests.support.vehicles import drawn, vehicle_text

NAMED_TWICE = "named twice; a result needs a file of its own\n"
SWEEP_HEAD = "servo,pulse_us,angle_deg,direction,pass\n"


def commands() -> Iterator[tuple[str, click.Command]]:
    """Every command with its full name."""

    def below(name: str, command: click.Command) -> Iterator[tuple[str, click.Command]]:
        if isinstance(command, click.Group):
            for word, part in command.commands.items():
                yield from below(f"{name} {word}", part)
        else:
            yield name, command

    for point in sorted(entry_points(group=COMMANDS), key=lambda point: point.name):
        yield from below(point.name, point.load())


@pytest.mark.parametrize(("name", "command"), list(commands()), ids=lambda each: str(each))
def test_every_file_that_a_command_takes_is_a_source_or_a_result(
    name: str, command: click.Command
) -> None:
    for parameter in command.params:
        kind = parameter.type
        if isinstance(kind, click.Path) and kind.file_okay and parameter.name != "folder":
            assert isinstance(kind, SourcePath | ResultPath), f"{name}: {parameter.name}"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(fourvane, [str(each) for each in arguments])


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "vehicle.toml").write_text(flying_text())
    (tmp_path / "drawn.toml").write_text(vehicle_text(**drawn()))
    (tmp_path / "demands.csv").write_text("time_s,pitch_nm,yaw_nm,roll_nm\n0,0,0,0\n")
    rows = [
        f"{servo},{1350 + 25 * k},{-15 + 2.5 * k},{way},{number}\n"
        for servo in (1, 2)
        for number in (1, 2)
        for way in ("up", "down")
        for k in range(13)
    ]
    (tmp_path / "sweep.csv").write_text(SWEEP_HEAD + "".join(rows))
    (tmp_path / "bench").mkdir()
    (tmp_path / "bench" / "bench.json").write_text("{}")
    os.link(tmp_path / "vehicle.toml", tmp_path / "linked.toml")
    (tmp_path / "inside").mkdir()
    return tmp_path


@pytest.mark.parametrize(
    "arguments",
    [
        "allocate vehicle.toml demands.csv --out vehicle.toml",
        "allocate vehicle.toml demands.csv --out demands.csv",
        "allocate vehicle.toml demands.csv --out c.csv --report demands.csv",
        "allocate vehicle.toml demands.csv --out inside/../vehicle.toml",
        "ascent vehicle.toml --report vehicle.toml",
        "ascent --report vehicle.toml vehicle.toml",
        "ascent --report linked.toml vehicle.toml",
        "campaign vehicle.toml --report vehicle.toml",
        "envelope vehicle.toml --out vehicle.html --out vehicle.toml",
        "erosion fit demands.csv --vehicle vehicle.toml --out demands.csv",
        "failures vehicle.toml --report vehicle.toml",
        "identify demands.csv --vehicle vehicle.toml --out demands.csv",
        "servo adopt bench --vehicle vehicle.toml --out bench/bench.json",
        "servo fit sweep.csv --vehicle vehicle.toml --out sweep.csv",
        "servo fit sweep.csv --vehicle vehicle.toml --out vehicle.toml",
        "servo fit sweep.csv --vehicle vehicle.toml --report vehicle.toml",
        "servo fit sweep.csv --vehicle vehicle.toml --out t.csv --report t.csv",
        "tables vehicle.toml --out vehicle.toml",
        "vanes drawn.toml --out drawn.toml",
    ],
)
def test_a_command_refuses_to_write_over_its_source(folder: Path, arguments: str) -> None:
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    result = run(*arguments.split())
    assert result.exit_code == 2, result.output
    assert result.stderr.endswith(NAMED_TWICE)
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before


@pytest.mark.parametrize(
    ("arguments", "source"),
    [
        ("failures vehicle.csv --report vehicle.html", "vehicle.csv"),
        ("allocate vehicle.html demands.csv --out vehicle.csv", "vehicle.html"),
        ("servo fit sweep.csv --vehicle t-2.csv --out t.csv", "t-2.csv"),
        ("bench sweep --vehicle vehicle.toml --out-dir .", "sweep.csv"),
    ],
)
def test_names_that_a_command_makes_up_are_held_apart_too(
    folder: Path, arguments: str, source: str
) -> None:
    if source != "sweep.csv":
        (folder / source).write_text(flying_text())
    else:  # the bench's own sweep would go over a servo table of the vehicle
        text = vehicle_text(servos={"neutral_us": None, "us_per_deg": None, "table": "sweep.csv"})
        (folder / "vehicle.toml").write_text(text)
        (folder / source).write_text("deflection_deg,pulse_us\n-20,1300\n20,1700\n")
    before = (folder / source).read_bytes()
    result = run(*arguments.split())
    assert result.exit_code == 2, result.output
    assert result.stderr == f"{source}: {NAMED_TWICE}"
    assert (folder / source).read_bytes() == before


def test_a_servo_table_that_the_vehicle_file_names_is_a_source(folder: Path) -> None:
    text = vehicle_text(servos={"neutral_us": None, "us_per_deg": None, "table": "servo.csv"})
    (folder / "vehicle.toml").write_text(text)
    (folder / "servo.csv").write_text("deflection_deg,pulse_us\n-20,1300\n20,1700\n")
    result = run("tables", "vehicle.toml", "--out", "servo.csv")
    assert result.exit_code == 2
    assert result.stderr.endswith(f"servo.csv: {NAMED_TWICE}")


@pytest.mark.parametrize(
    ("out", "said"),
    [
        ("", "'': must be the name of a file to write\n"),
        ("  ", "'  ': must be the name of a file to write\n"),
        (".", ".: is a folder; name a file to write\n"),
        ("inside", "inside: is a folder; name a file to write\n"),
        ("absent/out", "absent/out: the folder"),
        ("vehicle.toml/out", "vehicle.toml/out: the folder"),
    ],
)
@pytest.mark.parametrize("command", [
    "allocate vehicle.toml demands.csv --out", "ascent vehicle.toml --report",
    "campaign vehicle.toml --report", "failures vehicle.toml --report",
    "identify --plan --vehicle vehicle.toml --out", "tables vehicle.toml --out",
    "erosion fit demands.csv --vehicle vehicle.toml --out",
    "servo fit sweep.csv --vehicle vehicle.toml --out", "vanes drawn.toml --out",
])  # fmt: skip
def test_a_place_where_nothing_can_be_written_is_told_before_the_work(
    folder: Path, command: str, out: str, said: str
) -> None:
    result = run(*command.split(), out)
    assert result.exit_code == 2, result.output
    assert result.stderr.startswith(said), result.stderr


def test_a_program_may_write_what_it_has_read(tmp_path: Path) -> None:
    reads(tmp_path / "file")
    with write_whole(tmp_path / "file") as stream:
        stream.write("anew")
    assert (tmp_path / "file").read_text() == "anew"


def test_the_rule_ends_with_the_run(tmp_path: Path) -> None:
    path = tmp_path / "file"
    with one_run():
        reads(path)
        with pytest.raises(InputError, match="named twice"):
            writes(path)
        with pytest.raises(InputError, match="named twice"), write_whole(path):
            pass
    with one_run():
        writes(path)


def test_two_results_may_go_to_one_device(tmp_path: Path) -> None:
    with one_run():
        writes(os.devnull, os.devnull)


def test_a_pipe_takes_a_result(tmp_path: Path) -> None:
    pipe, taken = tmp_path / "pipe", []
    os.mkfifo(pipe)
    reader = threading.Thread(target=lambda: taken.append(pipe.read_text()))
    reader.start()
    with one_run():
        writes(pipe)
        with write_whole(pipe) as stream:
            stream.write("through")
    reader.join(10)
    assert taken == ["through"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
def test_the_file_that_is_full_is_the_one_that_is_named(folder: Path) -> None:
    result = run(
        "allocate", "vehicle.toml", "demands.csv", "--out", "/dev/full", "--report", "report.html"
    )
    assert result.exit_code == 2
    assert result.stderr == "/dev/full: not written: No space left on device\n"
    assert not (folder / "report.html").exists()


def test_a_long_name_that_a_file_may_have_can_be_written(tmp_path: Path) -> None:
    path = tmp_path / ("é" * 127)
    with write_whole(path) as stream:
        stream.write("kept")
    assert [each.name for each in tmp_path.iterdir()] == [path.name]


def test_a_finished_command_lets_go_of_its_files(folder: Path) -> None:
    assert run("tables", "vehicle.toml", "--out", "one.4vt").exit_code == 0
    assert run("tables", "vehicle.toml", "--out", "one.4vt", "--json").exit_code == 0
    assert json.loads(run("tables", "vehicle.toml", "--out", "two.4vt", "--json").stdout)
