"""A vehicle file however it is written: changed right with its comments, or refused in words."""

import copy
import json
import random
import re
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomlkit
from click.testing import CliRunner

from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.tables.build import flight_tables
from mixer.ground.vehicle.servo_table import table_values
from mixer.ground.vehicle.vehicle import load_vehicle, parse_vehicle
from mixer.ground.vehicle_edits.text import VehicleText
from tests.ground.identification.test_identify_command import log_file
from tests.support.static_tests import CURVE
from tests.support.vehicles import SANE, vehicle_data, vehicle_text

LOADS_S, LEFT = [0.0, 5.0, 26.0], [1.0, 0.97, 0.9]
TABLE = "deflection_deg,pulse_us\n-20,1300\n0,1500\n20,1700\n"
IN_FILES = {"neutral_us": None, "us_per_deg": None, "table": "servo.csv"}


def value(of: object) -> str:
    """A value in one line of TOML."""
    if isinstance(of, dict):
        return "{ " + ", ".join(f"{key} = {value(each)}" for key, each in of.items()) + " }"
    return json.dumps(of)


def inline(name: str, table: dict[str, Any]) -> str:
    return f"{name} = {value(table)} # {name}, our words\n"


def dotted(name: str, table: dict[str, Any]) -> str:
    return "".join(f"{name}.{key} = {value(each)} # {key}\n" for key, each in table.items())


def quoted(name: str, table: dict[str, Any]) -> str:
    return "".join(f"'{name}' . \"{key}\"= {value(each)}\n" for key, each in table.items())


def headed(name: str, table: dict[str, Any]) -> str:
    rows = "".join(f"  {key} = {value(each)} # {key}\n" for key, each in table.items())
    return f"# above {name}\n[ {name} ] # {name}\n{rows}\n"


def in_parts(name: str, table: dict[str, Any]) -> str:
    """Keys that are tables under headers of their own."""
    parts = {key: each for key, each in table.items() if isinstance(each, dict)}
    rest = {key: each for key, each in table.items() if key not in parts}
    return headed(name, rest) + "".join(
        headed(f"{name}.{key}", each) for key, each in parts.items()
    )


TOP_STYLES, HEADED_STYLES = (inline, dotted, quoted), (headed, in_parts)


def written(data: dict[str, Any], shuffle: random.Random) -> str:
    """A vehicle file in some way that TOML allows: the tables in any order, each in any style,
    and sub-tables far from their table.
    """
    names = list(data)
    shuffle.shuffle(names)
    top, below, late = "", [], []
    for name in names:
        style = shuffle.choice(TOP_STYLES + HEADED_STYLES)
        if style in TOP_STYLES:
            top += style(name, data[name])
        else:
            blocks = re.split(r"(?m)^(?=# above )", style(name, data[name]))
            below.append(blocks[1])
            late += blocks[2:]
    shuffle.shuffle(late)
    text = "# first words\n" + top + "".join([*below, *late]) + "# last words\n"
    return text.replace("\n", "\r\n") if shuffle.random() < 0.2 else text


def comments(text: str) -> list[str]:
    return sorted(re.findall(r"#.*\S", text))


def test_any_way_of_writing_a_vehicle_file_is_changed_right_and_keeps_its_words(
    tmp_path: Path, full_size: bool
) -> None:
    seed = random.randrange(10**9)
    print(f"seed {seed}")
    shuffle = random.Random(seed)
    for _ in range(1000 if full_size else 100):
        gone = shuffle.choice(["erosion", "nothing"])
        data = vehicle_data(**({"erosion": None} if gone == "erosion" else {}))
        text = written(data, shuffle)
        assert tomllib.loads(text) == data
        file = VehicleText(parse_vehicle(text))
        file.put("erosion", "load_s", LOADS_S)
        file.put("erosion", "effectiveness", [LEFT] * 4)
        file.put("layout", "roll_arm_m", 0.05)
        file.put("uncertainty", "roll_arm_m", 0.001)
        file.drop("servos", "neutral_us")
        file.drop("servos", "us_per_deg")
        tables = [{"deflection_deg": [-20.0, 20.0], "pulse_us": [1300.0, 1700.0]}] * 4
        file.put("servos", "table", tables)
        wanted = copy.deepcopy(data)
        wanted["erosion"] = {"load_s": LOADS_S, "effectiveness": [LEFT] * 4}
        wanted["layout"]["roll_arm_m"] = 0.05
        wanted["uncertainty"] = {"roll_arm_m": 0.001}
        del wanted["servos"]["neutral_us"], wanted["servos"]["us_per_deg"]
        wanted["servos"]["table"] = tables
        out = file.text(tmp_path / "new.toml")
        assert tomllib.loads(out) == wanted, text
        lost = {"# neutral_us", "# us_per_deg"}  # the words beside the keys that went
        assert set(comments(text)) - set(comments(out)) <= lost, text


def run(*arguments: object) -> Any:
    return CliRunner().invoke(fourvane, [str(each) for each in arguments])


STYLES = {"inline": inline, "dotted": dotted, "quoted": quoted, "in parts": in_parts}


def in_style(style: str, folder: Path, **changes: Any) -> Path:
    """A vehicle file all of whose tables are written in one style."""
    data = vehicle_data(**changes)
    text = "".join(STYLES[style](name, table) for name, table in data.items())
    (folder / "vehicle.toml").write_text(text)
    (folder / "servo.csv").write_text(TABLE)
    return folder / "vehicle.toml"


@pytest.mark.parametrize("style", STYLES)
def test_erosion_fit_writes_the_wear_it_tells_of(tmp_path: Path, style: str) -> None:
    file, out = in_style(style, tmp_path), tmp_path / "worn.toml"
    rows = "".join(
        f"1,{vane},26,{mm},70,{70 - mm / 10}\n" for vane in (1, 2) for mm in (10, 20, 30)
    )
    head = "burn,vane,duration_s,station_mm,chord_before_mm,chord_after_mm\n"
    (tmp_path / "inspection.csv").write_text(head + rows)
    done = run(
        "erosion", "fit", tmp_path / "inspection.csv", "--vehicle", file, "--out", out, "--json"
    )
    assert done.exit_code == 0, done.output
    told, worn = json.loads(done.stdout), load_vehicle(out)
    assert worn.erosion is not None
    np.testing.assert_allclose(worn.erosion.effectiveness[0], told["effectiveness"], atol=6e-5)


@pytest.mark.parametrize("style", STYLES)
def test_identify_corrects_the_file(tmp_path: Path, style: str, full_size: bool) -> None:
    if style not in ("dotted", "inline") and not full_size:
        pytest.skip("the other ways of writing with --campaigns")
    file, out = in_style(style, tmp_path, vanes=CURVE), tmp_path / "new.toml"
    done = run("identify", log_file(tmp_path), "--vehicle", file, "--out", out)
    assert done.exit_code == 0, done.output
    assert load_vehicle(out).uncertainty is not None


def bench(folder: Path, name: str = str(SANE["vehicle"]["name"])) -> Path:
    """The folder of a bench run that measured four servos."""
    folder.mkdir()
    servos = {}
    for number in range(1, 5):
        servos[number] = {"figures": {"slew_deg_s": 300.0}, "table": f"servo-{number}.csv"}
        (folder / f"servo-{number}.csv").write_text(TABLE)
    results = {"vehicle": name, "board": "x", "rehearsal": False, "passed": True, "reasons": [],
               "servos": servos}  # fmt: skip
    (folder / "bench.json").write_text(json.dumps(results))
    return folder


@pytest.mark.parametrize("style", STYLES)
def test_an_adopted_file_hangs_on_no_other_file(tmp_path: Path, style: str) -> None:
    file, out, folder = in_style(style, tmp_path), tmp_path / "new.toml", bench(tmp_path / "b")
    done = run("servo", "adopt", folder, "--vehicle", file, "--out", out)
    assert done.exit_code == 0, done.output
    flown = flight_tables(load_vehicle(out)).to_bytes()
    for path in folder.glob("*.csv"):  # as a rehearsal that went wrong would write them
        path.write_text("deflection_deg,pulse_us\n-20,1250\n0,1500\n20,1700\n")
    assert flight_tables(load_vehicle(out)).to_bytes() == flown
    moved = tmp_path / "elsewhere"
    moved.mkdir()
    out.rename(moved / "new.toml")
    assert flight_tables(load_vehicle(moved / "new.toml")).to_bytes() == flown


def test_a_file_written_to_another_folder_keeps_its_servo_tables(tmp_path: Path) -> None:
    """There the same name stands for another servo's table."""
    file, other = in_style("in parts", tmp_path, servos=IN_FILES), tmp_path / "other"
    other.mkdir()
    (other / "servo.csv").write_text(TABLE.replace("0,1500", "0,1550"))
    changed = VehicleText(load_vehicle(file))
    changed.put("layout", "roll_arm_m", 0.05)
    changed.write(other / "new.toml")
    before, after = load_vehicle(file), load_vehicle(other / "new.toml")
    assert after.servos[0].neutral_us == before.servos[0].neutral_us == 1500.0
    changed.write(tmp_path / "beside.toml")
    assert 'table = "servo.csv"' not in (other / "new.toml").read_text()


def test_tables_in_the_file_are_those_of_a_csv(tmp_path: Path) -> None:
    by_name = load_vehicle(in_style("in parts", tmp_path, servos=IN_FILES))
    assert by_name.servo_table.table is not None
    held = table_values(by_name.servo_table.table[0])
    for table in (held, [held] * 4, [held, "servo.csv", held, "servo.csv"]):
        changed = parse_vehicle(
            vehicle_text(servos={**IN_FILES, "table": table}), str(tmp_path / "v.toml")
        )
        assert flight_tables(changed).to_bytes() == flight_tables(by_name).to_bytes()


@pytest.mark.parametrize(("table", "said"), [
    ({"deflection_deg": [-20, 20]}, "must be the name of a CSV file"),
    ({"deflection_deg": [-20, 20], "pulse_us": [1300]}, "as many pulses as deflections"),
    ({"deflection_deg": [20, -20], "pulse_us": [1300, 1700]}, "not above the 20 before it"),
    ({"deflection_deg": [-20, 0, 20], "pulse_us": [1300, 1700, 1500]}, "must rise all the way"),
    ({"deflection_deg": [-20, 20], "pulse_us": ["x", 1700]}, "servos.table.pulse_us[0]"),
    ([{"deflection_deg": [-20], "pulse_us": [1300]}] * 4, "servos.table[0]"),
    ([], "or a list of four"), (["servo.csv"], "or a list of four"), ("", "the name of a CSV file"),
    ("a\0b", "the name of a CSV file"), (7, "the name of a CSV file"),
    ("absent.csv", "No such file or directory"), ([["servo.csv"]] * 4, "servos.table[0]"),
])  # fmt: skip
def test_a_table_that_is_none_is_refused_in_words(tmp_path: Path, table: Any, said: str) -> None:
    (tmp_path / "servo.csv").write_text(TABLE)
    text = tomlkit.dumps(vehicle_data(servos={**IN_FILES, "table": table}))
    with pytest.raises(InputError, match=re.escape(said)):
        parse_vehicle(text, str(tmp_path / "vehicle.toml"))


def test_a_text_that_would_not_come_out_right_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As it would be by a way of writing that the library changes wrongly."""
    before = vehicle_text()
    file = VehicleText(parse_vehicle(before))
    monkeypatch.setattr(tomlkit, "dumps", lambda document: before)
    file.put("layout", "roll_arm_m", 0.05)
    (tmp_path / "out.toml").write_text("from before")
    with pytest.raises(InputError, match="cannot be changed without touching the rest"):
        file.write(tmp_path / "out.toml")
    assert (tmp_path / "out.toml").read_text() == "from before"
