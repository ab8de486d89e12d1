"""Files that nobody sane would write: every one is taken right or refused in words."""

import copy
import json
import os
import random
import signal
import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from firmware_port.table_store import MOST_BYTES
from hil.bench_sessions.encoder_zero import read_scales
from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.servo_bench.results import read_run
from mixer.ground.tables import limits as table_limits
from mixer.ground.tables.build import flight_tables
from mixer.ground.vehicle.vehicle import load_vehicle, parse_vehicle
from tests.support.flying import flying_text
from tests.support.vehicles import drawn, vehicle, vehicle_data, vehicle_text

FILES = {"long": 5000, "ci": 1500, "laptop": 80}
POINTS = [-20.0, -5.0, 0.0, 7.0, 20.0]
TABLE = {"deflection_deg": POINTS, "pulse_us": [1300.0, 1440.0, 1500.0, 1580.0, 1700.0]}
WITH_TABLE = {"neutral_us": None, "us_per_deg": None, "table": TABLE}
BASES = (vehicle_data(), vehicle_data(**drawn()), tomllib.loads(flying_text()),
         vehicle_data(servos=WITH_TABLE))  # fmt: skip
HOSTILE: list[Any] = [
    0, -1, 1, 5e-324, -5e-324, 1e-320, 1e-300, 1e-30, 1e-9, 1e-7, 1e-5, 1e-3, 0.1, 1e3, 1e6, 1e9,
    1e300, 1.7976931348623157e308, -1e308, float("nan"), float("inf"), -float("inf"), 10**18,
    2**63 - 1, 2**63, 10**309, 10**5000, True, False, "", "x", "é\x1b[31m", "a" * 200, [], {}, [[]],
    [[[]]], [1], [0.0, 1.0], [1e-300, 2e-300], {"a": 1}, [{}] * 4, [1e308, -1e308], [-1e-7, 1e-7],
    [0.0, 0.0], [5e-324] * 4, -0.0, 3.5, 45.0, 90.0, 360.0,
]  # fmt: skip
SCRAPS = ["\0", "[", "]", "=", '"', "'", "\x1b", "", " ", "#", "\n", "\r", "\ufeff", "é"]


def toml(of: Any) -> str:
    """A value of any kind and size as TOML has it."""
    if isinstance(of, bool):
        return str(of).lower()
    if isinstance(of, int):
        return hex(of) if abs(of) > 10**4000 else str(of)
    if isinstance(of, list):
        return f"[{', '.join(map(toml, of))}]"
    if isinstance(of, dict):
        return (
            "{" + ", ".join(f"{json.dumps(key)} = {toml(each)}" for key, each in of.items()) + "}"
        )
    return json.dumps(of) if isinstance(of, str) else repr(of)


def leaves(of: Any, place: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    for key, each in of.items() if isinstance(of, dict) else enumerate(of):
        yield (*place, key)
        if isinstance(each, dict | list):
            yield from leaves(each, (*place, key))


def hostile_text(drawn: random.Random) -> str:
    """A vehicle file with some of its numbers made absurd, or its text damaged."""
    data = copy.deepcopy(drawn.choice(BASES))
    for _ in range(drawn.choice((1, 1, 1, 2, 3))):
        *above, key = drawn.choice(list(leaves(data)))
        parent: Any = data
        for part in above:
            parent = parent[part]
        value, what = parent[key], drawn.random()
        number = isinstance(value, int | float) and not isinstance(value, bool)
        # What the turn before put there may be an integer too large for a float.
        if number and abs(value) < sys.float_info.max and what < 0.3:
            parent[key] = float(value) * 10.0 ** drawn.uniform(-12, 12)
        elif isinstance(value, list) and value and what < 0.2:
            parent[key] = value * drawn.choice((2, 50, 3000))
        elif what < 0.85:
            parent[key] = copy.deepcopy(drawn.choice(HOSTILE))
        elif what < 0.9:
            del parent[key]
        elif isinstance(parent, dict):
            parent["new"] = drawn.choice(HOSTILE)
    text = "".join(f"{json.dumps(key)} = {toml(each)}\n" for key, each in data.items())
    if drawn.random() < 0.1:
        cut = drawn.randrange(len(text))
        text = text[:cut] + drawn.choice(SCRAPS) + text[cut + drawn.choice((0, 0, 1, 5)) :]
    return text


@pytest.mark.filterwarnings("error")
def test_no_vehicle_file_whatever_escapes_as_another_error(tmp_path: Path, size: str) -> None:
    seed = random.randrange(10**9)
    print(f"seed {seed}")
    draw, file, taken = random.Random(seed), tmp_path / "vehicle.toml", 0
    for _ in range(FILES[size]):
        file.write_text(hostile_text(draw), encoding="utf-8")
        try:
            tables = flight_tables(load_vehicle(file)).to_bytes()
        except InputError as refused:
            assert str(refused)
        else:
            taken += 1
            assert len(tables) <= MOST_BYTES
    assert taken, "a campaign in which nothing is taken tries nothing"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("engine.thrust_n = 1" + "0" * 308, "engine.thrust_n: a whole number too large to hold"),
        ("engine.thrust_n = 0x" + "f" * 5000, "engine.thrust_n: a whole number too large to hold"),
        ("engine.thrust_n = " + "1" * 5000, "not valid TOML: a number too long to read"),
        ("a = " + "[" * 3000 + "]" * 3000, "nested too deep"),
        ("a = " + "[" * 100 + "]" * 100, "nested too deep"),
        (".".join("a" * 3000) + " = 1", "nested too deep"),
        ("a = " + "{a = " * 3000 + "1" + "}" * 3000, "nested too deep"),
        ('vehicle.name = "a\\u001b[31mb"', "must be without control characters"),
        ('vehicle.name = "a\\u009b31mb"', "must be without control characters"),
    ],
)
def test_a_text_of_absurd_size_or_depth_is_refused(change: str, said: str) -> None:
    with pytest.raises(InputError, match=r"vehicle\.toml: ") as refused:
        parse_vehicle(change + "\n")
    assert said in str(refused.value)
    assert len(str(refused.value)) < 2000


def many(count: int, low: float, high: float) -> list[float]:
    return [low + (high - low) * i / (count - 1) for i in range(count)]


@pytest.mark.parametrize(("changes", "said"), [
    ({"servos": {"us_per_deg": 1e-300}}, "servos.us_per_deg = 1e-300: servo 1: its pulse must"),
    ({"servos": {"slew_deg_s": 0.3}}, "servos.slew_deg_s = 0.3: servo 1: must be at least 0.4"),
    ({"vanes": {"travel_deg": [-1e-7, 1e-7]}}, "vane 1: must be 0.1 deg wide or more"),
    ({"engine": {"chamber_pressure_bar": 5e-324}}, "must be at least 0.01 bar"),
    ({"layout": {"roll_arm_m": 5e-324}}, "layout.roll_arm_m = 5e-324: must be at least 0.001 m"),
    ({"layout": {"lever_arm_m": 1e-320}}, "layout.lever_arm_m = 1e-320: must be at least 0.001 m"),
    ({"vanes": {"force_n": [-5e-324, 0.0, 5e-324]}}, "vanes.force_n = 5e-324: must be at least"),
    ({"erosion": {"effectiveness": [1.0, 0.98, 1e-9]}}, "erosion.effectiveness = 1e-09: must be"),
    ({"vanes": {"deflection_deg": [-15.0, 0.0, 1e-9, 15.0], "force_n": [-200.0, 0.0, 1.0, 200.0],
                "drag_n": None}}, "vane 1: points within travel must be 0.001 deg or more apart"),
    ({"vanes": {"deflection_deg": many(1000, -15, 15), "force_n": many(1000, -200, 200),
                "drag_n": None}}, "board takes 16384: give fewer points; vanes.deflection_deg has"),
    ({"servos": {**WITH_TABLE, "table": {"deflection_deg": many(2000, -20, 20),
                                         "pulse_us": many(2000, 1300, 1700)}}},
     "give fewer points; servos.table has 2000"),
    ({"erosion": {"load_s": many(450, 0, 26), "effectiveness": many(450, 1, 0.9)}},
     "give fewer points; erosion.load_s has 450"),
    ({"layout": {"lever_arm_m": {"time_s": [0.0, 26.0], "m": [0.1, 50.0]}}},
     "layout.lever_arm_m goes from 0.1 to 50 m in 2 points"),
])  # fmt: skip
def test_numbers_that_are_nothing_in_flight_tables_are_refused_by_name(
    changes: dict[str, Any], said: str
) -> None:
    with pytest.raises(InputError) as refused:
        flight_tables(vehicle(**changes))
    assert said in str(refused.value)
    assert "uneven clocking" not in str(refused.value)


def test_the_limit_of_the_tables_is_the_node_s() -> None:
    assert table_limits.MOST_BYTES == MOST_BYTES


GOOD = {
    "vehicle": "V", "board": "/dev/ttyACM0", "rehearsal": False, "passed": True, "reasons": [],
    "not_measured": [], "servos": {"1": {"figures": {"slew_deg_s": 250.0}, "table": None}},
}  # fmt: skip
WRONG: list[Any] = [None, 1, -1.5, True, "x", "", [], [1], {}, {"1": 1}, [[]], 1e308, 10**400]


@pytest.mark.parametrize("damage", range(20))
def test_results_of_a_bench_with_a_wrong_type_are_refused(tmp_path: Path, damage: int) -> None:
    draw = random.Random(damage)
    for _ in range(40):
        results = copy.deepcopy(GOOD)
        *above, key = draw.choice(list(leaves(results)))
        parent: Any = results
        for part in above:
            parent = parent[part]
        parent[key] = draw.choice(WRONG)
        (tmp_path / "bench.json").write_text(json.dumps(results))
        try:
            run = read_run(tmp_path)
        except InputError as refused:
            assert "bench.json: not the results of a bench run" in str(refused)
        else:
            assert isinstance(run.vehicle, str) and isinstance(run.reasons, list)
            assert all(isinstance(each, str) for each in (*run.reasons, *run.not_measured))
            assert run.rehearsal in (None, True, False)
            assert all(number in (1, 2, 3, 4) for number in run.servos)


@pytest.mark.parametrize("text", [
    "", "[]", "1", "{", "[" * 100_000, '{"servos": NaN}', "\xff",
    json.dumps({**GOOD, "servos": {"5": GOOD["servos"]["1"]}}),
    json.dumps({**GOOD, "servos": {"1": {"figures": {}, "table": "../../elsewhere.csv"}}}),
    json.dumps({**GOOD, "servos": {"1": {"figures": {"slew_deg_s": "250"}, "table": None}}}),
    json.dumps({**GOOD, "servos": {"1": {"figures": {"slew_deg_s": -250.0}, "table": None}}}),
])  # fmt: skip
def test_what_is_no_results_file_is_refused(tmp_path: Path, text: str) -> None:
    (tmp_path / "bench.json").write_text(text, encoding="latin-1")
    with pytest.raises(InputError, match=r"bench\.json: not the results of a bench run"):
        read_run(tmp_path)


@pytest.mark.parametrize("text", [
    "", "[]", "1", '{"1": {"zero_counts": "x"}}', '{"1": []}', '{"5": {}}', '{"1": {"other": 1}}',
    '{"1": {"zero_counts": NaN}}', '{"1": {"direction": 0}}', '{"1": {"counts_per_turn": 0}}',
    '{"1": {"counts_per_turn": 4096.5}}',
])  # fmt: skip
def test_encoders_with_a_wrong_type_are_refused(tmp_path: Path, text: str) -> None:
    (tmp_path / "encoders.json").write_text(text)
    with pytest.raises(InputError, match=r"encoders\.json: "):
        read_scales(tmp_path)


def test_encoders_as_they_are_kept_are_read(tmp_path: Path) -> None:
    kept = '{"2": {"counts_per_turn": 4096, "zero_counts": 7, "direction": -1}}'
    (tmp_path / "encoders.json").write_text(kept)
    assert [scale.direction for scale in read_scales(tmp_path)] == [1, -1, 1, 1]


@pytest.mark.parametrize(("arguments", "said"), [
    (("tables", "v\x1b[31m.toml", "--out", "o"), "'v\\x1b[31m.toml': control characters"),
    (("tables", "vehicle.toml", "--out", "o\n"), "'o\\n': control characters"),
    (("tables", "vehicle.toml", "--out", "o\udcff"), "'o\\udcff': control characters"),
    (("allocate", "vehicle.toml", "column.csv", "--out", "o"), "column a\\x1b[31m: unknown column"),
    (("allocate", "vehicle.toml", "pipe", "--out", "o"), "pipe: must be a file"),
    (("allocate", "vehicle.toml", "/dev/zero", "--out", "o"), "/dev/zero: must be a file"),
    (("allocate", "vehicle.toml", "long.csv", "--out", "o"), "a line may be 65535 bytes long"),
    (("allocate", "vehicle.toml", "head.csv", "--out", "o"), "unknown column"),
])  # fmt: skip
def test_odd_names_and_files_are_told_without_their_escapes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], said: str
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "vehicle.toml").write_text(vehicle_text())
    (tmp_path / "column.csv").write_text("time_s,pitch_nm,yaw_nm,roll_nm,a\x1b[31m\n")
    (tmp_path / "long.csv").write_text("time_s,pitch_nm,yaw_nm,roll_nm\n0,0,0,0\n" + "1" * 10**6)
    (tmp_path / "head.csv").write_text("a" * 10**6)
    os.mkfifo(tmp_path / "pipe")
    result = CliRunner().invoke(fourvane, list(arguments))
    assert result.exit_code == 2
    assert said in result.stderr
    assert "\x1b" not in result.stderr and len(result.stderr) < 500


@pytest.mark.parametrize("wait_s", [0.05, 0.1, 0.2, 0.3, 0.45, 0.6, 0.8])
def test_a_command_interrupted_while_it_is_still_loading_shows_no_traceback(
    tmp_path: Path, wait_s: float
) -> None:
    ready = "import sys; sys.stdout.write('up'); sys.stdout.flush();"
    begin = "from mixer.ground.command_line.start import main"
    code = f"{ready} {begin}; sys.argv[1:] = ['--help']; main()"
    process = subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert process.stdout is not None
    process.stdout.read(2)
    time.sleep(wait_s)
    process.send_signal(signal.SIGINT)
    _, told = process.communicate(timeout=30)
    assert b"Traceback" not in told, told.decode()
