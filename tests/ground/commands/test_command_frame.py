"""The command `fourvane`: finds its parts, answers every fault in words, keeps its output clean."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from importlib.metadata import EntryPoint, entry_points
from pathlib import Path

import click
import numpy as np
import pytest
from click.testing import CliRunner, Result

from mixer.ground.command_line.fourvane import (
    COMMANDS,
    EXTRAS,
    CommandGroup,
    emit,
    fourvane,
    summary,
)
from mixer.ground.reports import console, page, pictures

SAMPLE = '''
"""A made-up command."""
import sys
import time
import click
from mixer.ground.command_line.fourvane import emit, result_option
from mixer.ground.reports.console import progress
from mixer.ground.inputs.csv_files import DataError, write_whole
from mixer.ground.vehicle.vehicle import load_vehicle

print("imported", file=sys.stderr)

@click.command()
@click.argument("what")
@result_option
def sample(what, as_json):
    """Do what is asked. More about it here.

    Example: fourvane sample nothing
    """
    if what == "vehicle":
        load_vehicle("absent.toml")
    elif what == "data":
        raise DataError("log.csv", 3, "roll_nm", "x", "must be a finite number")
    elif what == "file":
        open("absent.csv")
    elif what == "interrupt":
        raise KeyboardInterrupt
    elif what == "fail":
        sys.exit(1)
    elif what == "fault":
        raise ZeroDivisionError("a fault of ours")
    elif what == "wait":
        with write_whole("out.csv") as stream:
            stream.write("half")
            print("waiting", file=sys.stderr, flush=True)
            time.sleep(60)
    elif what == "long":
        with progress("[busy]", 3) as done:
            for amount in range(4):
                time.sleep(0.2)
                done(amount)
    emit({"asked": what}, as_json)
'''
CALL = "from mixer.ground.command_line.fourvane import fourvane; fourvane()"


@pytest.fixture
def sample(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder on the path with a distribution that names one command, `sample`."""
    (tmp_path / "sample_commands.py").write_text(SAMPLE)
    about = tmp_path / "sample_distribution-1.0.dist-info"
    about.mkdir()
    (about / "METADATA").write_text(
        "Metadata-Version: 2.1\nName: sample-distribution\nVersion: 1.0\n"
    )
    (about / "entry_points.txt").write_text(f"[{COMMANDS}]\nsample = sample_commands:sample\n")
    monkeypatch.syspath_prepend(tmp_path)
    yield tmp_path
    sys.modules.pop("sample_commands", None)


def run(*arguments: str) -> Result:
    return CliRunner().invoke(fourvane, list(arguments))


def test_the_help_states_the_job_with_a_caution_and_an_example() -> None:
    result = run("--help")
    assert result.exit_code == 0
    told = " ".join(result.stdout.split())
    assert "four vanes in the jet" in told
    assert "CAUTION" in told and "range's safety officer" in told
    assert "Example: fourvane demo" in told


def test_commands_are_listed_without_importing_them(sample: Path) -> None:
    result = run("--help")
    assert re.search(r"sample +Do what is asked\.\n", result.stdout)
    assert "imported" not in result.stderr
    assert "sample_commands" not in sys.modules


def test_a_command_is_found_by_its_entry_point(sample: Path) -> None:
    assert run("sample", "nothing").stdout == "asked  nothing\n"
    assert "Example: fourvane sample nothing" in run("sample", "--help").stdout


@pytest.mark.parametrize("point", entry_points(group=COMMANDS), ids=lambda point: point.name)
def test_every_command_has_an_example_and_tells_its_job_in_a_line(point: EntryPoint) -> None:
    command = point.load()
    assert isinstance(command, click.Command)
    assert summary(point) not in ("", ".")
    assert "Example" in (command.help or "")


@pytest.mark.parametrize(
    ("what", "status", "message"),
    [
        ("vehicle", 2, "absent.toml: cannot be read: No such file or directory"),
        ("data", 2, "log.csv, line 3, column roll_nm: 'x'; must be a finite number"),
        ("file", 2, "absent.csv: No such file or directory"),
        ("interrupt", 130, "interrupted; no unfinished file is left behind"),
        ("fail", 1, ""),
    ],
)
@pytest.mark.parametrize("as_json", [[], ["--json"]])
def test_what_goes_wrong_is_one_message_on_standard_error(
    sample: Path, what: str, status: int, message: str, as_json: list[str]
) -> None:
    result = run("sample", what, *as_json)
    assert result.exit_code == status
    assert result.stdout == ""
    assert result.stderr.replace("imported\n", "") == (f"{message}\n" if message else "")


def test_a_fault_of_the_program_is_not_passed_off_as_bad_input(sample: Path) -> None:
    assert isinstance(run("sample", "fault").exception, ZeroDivisionError)


@pytest.mark.parametrize("arguments", [["nonsense"], ["sample"], ["sample", "a", "b"], ["--no"]])
def test_a_wrong_call_ends_with_status_2(sample: Path, arguments: list[str]) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    assert "Usage: " in result.stderr


def test_json_is_all_there_is_on_standard_output(sample: Path) -> None:
    result = run("sample", "long", "--json")
    assert json.loads(result.stdout) == {"asked": "long"}
    assert "[busy]" in result.stderr


def test_short_work_shows_no_progress(sample: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with console.progress("short", 10) as done:
        done(10)
    assert capsys.readouterr() == ("", "")


def test_numpy_and_what_is_not_finite_become_json(capsys: pytest.CaptureFixture[str]) -> None:
    result = {
        "array": np.array([[1.5, np.nan]]),
        "whole": np.int64(3),
        "yes": np.bool_(True),
        "endless": float("inf"),
        "path": Path("a"),
        "nested": ({"x": np.float64(2)},),
        "text": "µs",
    }
    emit(result, as_json=True)
    assert json.loads(capsys.readouterr().out) == {
        "array": [[1.5, None]],
        "whole": 3,
        "yes": True,
        "endless": None,
        "path": "a",
        "nested": [{"x": 2.0}],
        "text": "µs",
    }


def test_a_shown_result_is_not_printed_twice(capsys: pytest.CaptureFixture[str]) -> None:
    emit({"a": 1}, as_json=False, show=lambda: print("shown"))
    assert capsys.readouterr().out == "shown\n"


@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM])
def test_a_stopped_run_leaves_no_file(sample: Path, sent: signal.Signals) -> None:
    """Ctrl-C, or a polite end from outside, while a file is half written."""
    process = subprocess.Popen(
        [sys.executable, "-c", CALL, "sample", "wait"],
        cwd=sample,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(sample), os.getcwd()])},
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stderr is not None
    lines = [process.stderr.readline() for _ in range(2)]
    assert lines[-1] == "waiting\n"
    time.sleep(0.1)
    process.send_signal(sent)
    _, message = process.communicate(timeout=20)
    assert message == "interrupted; no unfinished file is left behind\n"
    assert process.returncode == 130
    assert not [entry.name for entry in sample.iterdir() if "out.csv" in entry.name]


def test_no_command_imports_what_draws_or_solves_before_it_is_run() -> None:
    """Each of these takes longer than all else that stands between a call and its --help.

    `import scipy` alone takes none of its parts: they are imported at the first use of one.
    """
    code = """
import sys
from importlib.metadata import entry_points
for point in entry_points(group="fourvane.commands"):
    try:
        point.load()
    except ModuleNotFoundError as error:
        assert error.name in sys.argv, error
print(*sys.modules)
"""
    done = subprocess.run(
        [sys.executable, "-c", code, *EXTRAS], capture_output=True, text=True, check=True
    )
    heavy = {"matplotlib", "jinja2", "hypothesis", "numba", "pyarrow", "scipy.linalg"}
    heavy |= {"scipy.optimize", "scipy.signal", "scipy.special", "scipy.stats"}
    assert not heavy & set(done.stdout.split())


@pytest.mark.parametrize(("module", "extra"), [("serial", "board"), ("platformdirs", "board")])
def test_a_library_of_an_extra_that_is_missing_is_named_with_its_extra(
    module: str, extra: str
) -> None:
    code = (
        f"import sys; sys.modules[{module!r}] = None; sys.argv = ['fourvane', 'bench', '--help']\n"
        "from mixer.ground.command_line.fourvane import fourvane; fourvane()"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 2
    assert done.stderr == (f'this needs the library {module}: pip install "fourvane[{extra}]"\n')


def test_a_group_still_takes_commands_of_its_own() -> None:
    group = CommandGroup("own")
    group.add_command(click.Command("inner", callback=lambda: click.echo("ran")))
    assert "inner" in group.list_commands(click.Context(group))
    assert CliRunner().invoke(group, ["inner"]).stdout == "ran\n"


def draw(lines: int = 4) -> str:
    with pictures.drawing(2, 1, sharex=True) as (figure, axes):
        for line in range(lines):
            axes[0, 0].plot([0, 1, 2], [0, line, 1], label=f"vane {line}", **pictures.series(line))
        axes[1, 0].plot([0, 1, 2], [1, 2, 3], **pictures.series(0, marker=True))
        axes[1, 0].set_xlabel("burn time, s")
        axes[0, 0].legend()
    return pictures.svg(figure)


@pytest.mark.usefixtures("every_picture_drawn")
def test_the_same_picture_is_the_same_text_and_loads_nothing() -> None:
    assert draw() == draw()
    assert draw().startswith("<svg")
    assert not re.findall(r'(?:href|src)="(?!#)', draw())
    assert "burn time, s" in draw()


@pytest.mark.usefixtures("every_picture_drawn")
def test_two_pictures_in_a_page_share_no_id_and_every_reference_is_met() -> None:
    ids = [set(re.findall(r'\bid="([^"]+)"', draw(lines))) for lines in (3, 4)]
    used = set(re.findall(r'(?:href="#|url\(#)([^")]+)', draw(3)))
    assert not ids[0] & ids[1]
    assert used and used <= ids[0]


def test_series_differ_in_line_and_marker_as_well_as_colour() -> None:
    looks = [pictures.series(n, marker=True) for n in range(len(pictures.PALETTE))]
    for key in ("color", "linestyle", "marker"):
        assert len({str(look[key]) for look in looks}) == len(looks)


def test_the_look_stays_within_our_drawings() -> None:
    import matplotlib as mpl

    before = dict(mpl.rcParams)
    draw()
    assert dict(mpl.rcParams) == before


def test_a_png_is_written_whole(tmp_path: Path) -> None:
    with pictures.drawing() as (figure, _):
        pass
    pictures.png(figure, tmp_path / "picture.png")
    assert (tmp_path / "picture.png").read_bytes().startswith(b"\x89PNG")


def test_a_page_stands_alone_escapes_text_and_ends_with_cautions() -> None:
    text = page.render_page(
        "Vehicle <Heron> & co",
        "What was told to four servos.",
        [
            page.Chapter(
                "Deflections",
                ["They <b>stay</b> within travel."],
                [page.Table(["time, s", "flags"], [[0.5, "roll-limited"], ["−1.5", ""]], "Limits")],
                [page.Picture(draw(), "Deflections over burn time.")],
            )
        ],
        facts=[("reference pressure", "20 bar")],
        verdict=page.Verdict("fail", "roll margin 3 % < 10 %"),
    )
    assert "Vehicle &lt;Heron&gt; &amp; co" in text
    assert "They &lt;b&gt;stay&lt;/b&gt; within travel." in text
    assert '<td class="number">0.5</td><td>roll-limited</td>' in text
    assert '<td class="number">−1.5</td><td></td>' in text
    assert "<b>fail</b>roll margin 3 % &lt; 10 %" in text
    assert text.count("<svg") == 1
    assert "safety officer" in text
    assert "<script" not in text
    assert not re.findall(r'(?:href|src)="(?!#)|@import|url\((?!#)', text)
