"""The vehicle file: what is right is read, and everything wrong is named in one go."""

import pickle
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomlkit

from mixer.ground.drawn_vane.vane_forces import computed_curve
from mixer.ground.inputs.quantities import unit_of
from mixer.ground.inputs.section_errors import allowed_in_words, table_model
from mixer.ground.tables.build import flight_tables
from mixer.ground.vehicle.vehicle import Vehicle, VehicleError, load_vehicle, parse_vehicle
from tests.support.drawn_vane import DRAWING
from tests.support.vehicles import (
    SANE,
    drawn,
    drawn_vehicle,
    vehicle,
    vehicle_data,
    vehicle_file,
    vehicle_text,
)

NAN, INF = float("nan"), float("inf")
FOR_COMPUTED_FORCES = {"specific_heat_ratio": 1.2, "throat_diameter_mm": 47.7, "expansion_ratio": 4}
FULL = vehicle_data(engine=FOR_COMPUTED_FORCES)
KEYS = [(table, key) for table, keys in FULL.items() for key in keys]
OPTIONAL = {"drag_n", "believed_pressure", *FOR_COMPUTED_FORCES}
TEXTS = {"name", "policy"}
# A clocking counts both ways round, and a servo may turn the other way.
MAY_BE_NEGATIVE = {"clocking_deg", "us_per_deg"}
LISTS = [(table, key) for table, key in KEYS if isinstance(FULL[table][key], list)]
RISING = [(t, k) for t, k in LISTS if k not in ("clocking_deg", "drag_n", "effectiveness")]


def test_what_is_wrong_comes_back_from_another_process_as_it_was() -> None:
    with pytest.raises(VehicleError) as caught:
        parse_vehicle(vehicle_text(layout={"roll_arm_m": -1.0}), "vehicle.toml")
    copy = pickle.loads(pickle.dumps(caught.value))
    assert type(copy) is VehicleError
    assert (str(copy), copy.problems) == (str(caught.value), caught.value.problems)


def problems(text: str) -> list[str]:
    """What is wrong with a vehicle file, a line each, without the file's name."""
    with pytest.raises(VehicleError) as caught:
        parse_vehicle(text, "vehicle.toml")
    lines = str(caught.value).splitlines()
    assert all(line.startswith("vehicle.toml: ") for line in lines)
    return [line.removeprefix("vehicle.toml: ") for line in lines]


def the_problem(table: str, change: Any) -> str:
    """The one thing wrong after a change to one table."""
    (line,) = problems(vehicle_text(**{table: change}))
    return line


def mapped(value: Any, change: Any) -> Any:
    """A value with `change` done to each number in it, whatever its shape."""
    if isinstance(value, dict):
        return {key: mapped(item, change) for key, item in value.items()}
    if isinstance(value, list):
        return [mapped(item, change) for item in value]
    return change(value)


def by_key(pairs: list[tuple[str, str]]) -> Any:
    return pytest.mark.parametrize(
        ("table", "key"), pairs, ids=[f"{table}.{key}" for table, key in pairs]
    )


@by_key([(t, k) for t, k in KEYS if k not in OPTIONAL | {"neutral_us", "us_per_deg"}])
def test_a_missing_key_is_named_with_what_belongs_there(table: str, key: str) -> None:
    line = the_problem(table, {key: None})
    assert line.startswith(f"{table}.{key}: missing; must be ")
    if unit_of(key) and key != "lever_arm_m":
        assert line.partition("; to be measured: ")[0].endswith(f", in {unit_of(key)}")


@pytest.mark.parametrize("key", ["neutral_us", "us_per_deg"])
def test_a_servo_needs_its_line_or_a_table(key: str) -> None:
    assert the_problem("servos", {key: None}) == "servos: needs neutral_us and us_per_deg, or table"


@by_key([(t, k) for t, k in KEYS if k in OPTIONAL - {"believed_pressure"}])
def test_an_optional_key_may_be_missing(table: str, key: str) -> None:
    data = vehicle_data(engine=FOR_COMPUTED_FORCES)
    del data[table][key]
    given = parse_vehicle(tomlkit.dumps(data))
    assert getattr(getattr(given, table), key) is None


@pytest.mark.parametrize("table", [table for table in SANE if table != "erosion"])
def test_a_missing_table_is_named(table: str) -> None:
    assert problems(vehicle_text(**{table: None})) == [f"{table}: missing; must be a table"]


@pytest.mark.parametrize("table", list(SANE))
def test_a_value_where_a_table_belongs_is_named(table: str) -> None:
    data = vehicle_data(**{table: None})
    text = f"{table} = 3\n" + vehicle_text(**dict.fromkeys(set(SANE) - set(data)))
    (line,) = problems(text)
    assert line == f"{table} = 3: must be a table"


@by_key(KEYS)
def test_a_misspelt_key_is_told_of_once_with_the_right_spelling(table: str, key: str) -> None:
    misspelt = key[0] + key[2:]
    line = the_problem(table, {key: None, misspelt: FULL[table][key]})
    assert line == f"{table}.{misspelt}: unknown key; did you mean {key}?"


def test_a_misspelt_table_is_told_of_once() -> None:
    text = vehicle_text().replace("[control]", "[contrl]")
    assert problems(text) == ["contrl: unknown key; did you mean control?"]


def test_an_unknown_key_like_no_other_lists_the_known_ones() -> None:
    line = the_problem("control", {"zzz": 1})
    assert line == ("control.zzz: unknown key; known here: rate_hz, policy, demand_timeout_ms")


@by_key([(t, k) for t, k in KEYS if k not in TEXTS | MAY_BE_NEGATIVE])
def test_a_negative_value_is_refused_with_the_value_and_what_is_allowed(
    table: str, key: str
) -> None:
    negative = mapped(FULL[table][key], lambda number: -(abs(number) or 1.0))
    for line in problems(vehicle_text(**{table: {key: negative}})):
        assert re.match(rf"{table}\.{key}[^:]* = [^:]*-[^:]*: .*must", line)


@by_key([(t, k) for t, k in KEYS if k in MAY_BE_NEGATIVE])
def test_a_negative_value_is_taken_where_it_means_something(table: str, key: str) -> None:
    negative = mapped(FULL[table][key], lambda number: -number)
    given = getattr(
        getattr(vehicle(**{table: {key: negative}}), table.replace("servos", "servo_table")), key
    )
    assert np.all(given == negative)


@pytest.mark.parametrize("number", [NAN, INF, -INF])
@by_key([(t, k) for t, k in KEYS if k not in TEXTS])
def test_what_is_not_finite_is_refused(table: str, key: str, number: float) -> None:
    broken = mapped(FULL[table][key], lambda _: number)
    for line in problems(vehicle_text(**{table: {key: broken}})):
        assert line.startswith(f"{table}.{key}")
        assert f" = {number!r}: must be" in line


@pytest.mark.parametrize("wrong", ["12", True, "", {}])
@by_key([(t, k) for t, k in KEYS if k not in TEXTS])
def test_a_value_of_another_kind_is_refused(table: str, key: str, wrong: Any) -> None:
    given = {"other": 1} if wrong == {} else wrong
    lines = problems(vehicle_text(**{table: {key: given}}))
    assert all(line.startswith(f"{table}.{key}") for line in lines)


@pytest.mark.parametrize("wrong", [3, True, "", "nearby" * 20, ["nearest"]])
@by_key([("vehicle", "name"), ("control", "policy")])
def test_text_of_another_kind_is_refused(table: str, key: str, wrong: Any) -> None:
    assert the_problem(table, {key: wrong}).startswith(f"{table}.{key} = ")


@pytest.mark.parametrize(
    "change", [lambda row: row[:-1], lambda row: [*row, row[-1] + 0.01], lambda _: []]
)
@by_key([(t, k) for t, k in LISTS if k != "deflection_deg" and k != "load_s"])
def test_a_list_of_the_wrong_length_is_refused(table: str, key: str, change: Any) -> None:
    line = the_problem(table, {key: change(FULL[table][key])})
    assert line.startswith((f"{table}.{key} = [", f"{table}.{key}["))


@pytest.mark.parametrize(
    ("table", "key", "other"),
    [
        ("vanes", "deflection_deg", "force_n"),
        ("erosion", "load_s", "effectiveness"),
    ],
)
def test_values_that_do_not_match_their_points_are_refused(
    table: str, key: str, other: str
) -> None:
    lines = problems(vehicle_text(**{table: {key: [*FULL[table][key], 40.0]}}))
    assert lines[0].startswith(f"{table}.{other} = ")
    assert f"4 numbers, one for each of {key}" in lines[0]


@by_key(RISING)
def test_a_list_that_does_not_rise_is_refused_at_its_place(table: str, key: str) -> None:
    flat = list(FULL[table][key])
    flat[1] = flat[0]
    line = the_problem(table, {key: flat})
    assert line.startswith(f"{table}.{key}[1] = {flat[1]}: not above the {flat[0]} before it; ")


def test_the_second_of_four_rows_is_named_by_its_place() -> None:
    rows = [SANE["vanes"]["force_n"]] * 4
    rows[1] = [-200.0, "x", 200.0]
    assert the_problem("vanes", {"force_n": rows}).startswith('vanes.force_n[1][1] = "x": must be')


def test_all_problems_come_in_one_go() -> None:
    text = vehicle_text(
        engine={"thrust_n": -1.0, "burn_time_s": None},
        layout={"roll_arm_m": "short"},
        vanes={"force_n": [200.0, 0.0, -200.0]},
        servos={"slew_deg_s": [1.0, 2.0]},
        control={"policy": "best", "rate_hz": NAN},
        guidance={"target": "none"},
    )
    found = {re.split(r"[:= \[]", line)[0] for line in problems(text)}
    assert found == {
        "engine.thrust_n",
        "engine.burn_time_s",
        "layout.roll_arm_m",
        "vanes.force_n",
        "servos.slew_deg_s",
        "control.policy",
        "control.rate_hz",
        "guidance",
    }


@pytest.mark.parametrize(("table", "change", "words"), [
    ("engine", {"chamber_pressure_bar": 501}, "= 501: must be a number above 0 and at most 83.8"),
    ("engine", {"burn_time_s": 600.5}, "= 600.5: must be a number above 0 and at most 600, in s"),
    ("layout", {"clocking_deg": [0, 90, 105, 270]}, "vanes 2 and 3 are 15 deg apart"),
    ("layout", {"clocking_deg": [5, 90, 180, 350]}, "vanes 1 and 4 are 15 deg apart"),
    ("layout", {"clocking_deg": [0, 90, 180, 360]}, "vanes 1 and 4 are 0 deg apart"),
    ("layout", {"lever_arm_m": {"time_s": [0, 1], "m": [2]}}, "2 numbers, one for each of time_s"),
    ("layout", {"lever_arm_m": {"time_s": [1, 1], "m": [2, 2]}}, "not above the 1 before it"),
    ("layout", {"lever_arm_m": {"time_s": [0]}}, "layout.lever_arm_m.m: missing"),
    ("vanes", {"travel_deg": [2, 15]}, "vane 1: travel must include 0"),
    ("vanes", {"travel_deg": [-16, 15]}, "reach over the whole travel from -16 to 15"),
    ("vanes", {"travel_deg": [-46, 15]}, "each at least -45 and at most 45, in deg"),
    ("vanes", {"travel_deg": [[-15, 15]] * 3}, "or four such pairs"),
    ("vanes", {"force_n": [-10.0, 60.0, 200.0]}, "vane 1, force at 0 deg: must be at most 10%"),
    ("erosion", {"load_s": [1.0, 13.0, 26.0]}, "must start at 0"),
    ("erosion", {"effectiveness": [1.0, 1.3, 0.9]}, "erosion.effectiveness[1] = 1.3: must be"),
    ("servos", {"us_per_deg": 0}, "us_per_deg must not be 0"),
    ("servos", {"us_per_deg": 75.0}, "servo 1, pulse in µs at -15 deg: must be from 400 to 2600"),
    ("control", {"demand_timeout_ms": 5, "rate_hz": 100}, "at least one control cycle, 10 ms"),
    ("control", {"policy": "Nearest"}, 'must be "nearest" or "direction"'),
])  # fmt: skip
def test_a_limit_is_stated_where_it_is_broken(table: str, change: Any, words: str) -> None:
    assert words in the_problem(table, change)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[engine\n", "not valid TOML: .*line 1"),
        ("[engine]\n\nthrust_n = \n", "not valid TOML: .*line 3"),
        ("[engine]\nthrust_n = 1\nthrust_n = 2\n", "not valid TOML: .*line 3"),
    ],
)
def test_a_syntax_error_names_its_line(text: str, words: str) -> None:
    (line,) = problems(text)
    assert re.match(words, line)


def test_whole_numbers_are_taken_for_any_number() -> None:
    ints = mapped(vehicle_data(), lambda v: int(v) if isinstance(v, float) and v == int(v) else v)
    assert vehicle(**ints).engine.thrust_n == 5000.0


def test_one_value_stands_for_four() -> None:
    four = vehicle(
        vanes={key: [value] * 4 for key, value in SANE["vanes"].items()},
        erosion={"effectiveness": [SANE["erosion"]["effectiveness"]] * 4},
        servos={key: [value] * 4 for key, value in SANE["servos"].items()},
    )
    one = vehicle()
    assert four.servos == one.servos
    assert np.array_equal(four.effectiveness(7.0), one.effectiveness(7.0))
    assert np.array_equal(four.vanes.travel_deg, one.vanes.travel_deg)
    for vane in range(4):
        assert four.force_n(vane, 3.0) == one.force_n(vane, 3.0)


def test_four_vanes_may_have_curves_of_different_lengths() -> None:
    deflection_deg = [[-15, 0, 15], [-20, -5, 5, 20], [-15, 15], [-15, 0, 15]]
    force_n = [[-200, 0, 200], [-250, -70, 70, 250], [-190, 190], [-200, 5, 200]]
    given = vehicle(vanes={"deflection_deg": deflection_deg, "force_n": force_n, "drag_n": None})
    at_ten = [float(given.force_n(vane, 10.0)) for vane in range(4)]
    assert at_ten == pytest.approx([400 / 3, 130, 380 / 3, 135])


@pytest.mark.parametrize("travel_deg", [[0, 15], [-15, 0], [-15.0, 15.0], [-0.5, 12]])
def test_travel_may_be_one_sided(travel_deg: list[float]) -> None:
    assert vehicle(vanes={"travel_deg": travel_deg}).vanes.travel_deg.tolist() == [travel_deg] * 4


def test_curves_run_straight_between_points_and_hold_beyond_the_ends() -> None:
    given = vehicle()
    assert given.lever_arm_m_at([-1.0, 13.0, 40.0]).tolist() == [2.3, 2.5, 2.7]
    assert given.effectiveness([6.5, 99.0])[:, 0].tolist() == pytest.approx([0.99, 0.93])
    assert given.effectiveness(6.5).shape == (4,)
    assert given.vanes.curves[2].deflection_at(100.0) == 7.5
    assert given.vanes.curves[2].drag_at(7.5) == 130.0
    assert given.servos[3].pulse_us([-15.0, 0.0, 1.0]).tolist() == [1350.0, 1500.0, 1510.0]


def test_without_erosion_effectiveness_stays_one() -> None:
    given = vehicle(erosion=None)
    assert given.erosion is None
    assert given.effectiveness([0.0, 30.0]).tolist() == [[1.0] * 4] * 2


def test_without_drag_there_is_none_to_tell() -> None:
    assert np.isnan(vehicle(vanes={"drag_n": None}).vanes.curves[0].drag_at([0.0, 3.0])).all()


def test_a_bare_lever_arm_holds_all_the_burn() -> None:
    assert vehicle(layout={"lever_arm_m": 2}).lever_arm_m_at([0.0, 20.0]).tolist() == [2.0, 2.0]


def test_a_vehicle_knows_its_text_and_path(tmp_path: Path) -> None:
    path = vehicle_file(tmp_path)
    given = load_vehicle(path)
    assert (given.path, given.text) == (path, path.read_text())


def test_a_vehicle_cannot_be_changed() -> None:
    given = vehicle()
    with pytest.raises(ValueError, match="read-only"):
        given.vanes.travel_deg[0, 0] = -90.0
    with pytest.raises(ValueError, match="read-only"):
        given.servo_table.slew_deg_s[0] = 9000.0


def test_a_byte_order_mark_is_no_trouble(tmp_path: Path) -> None:
    path = tmp_path / "marked.toml"
    path.write_text(vehicle_text(), encoding="utf-8-sig")
    assert load_vehicle(path).engine.burn_time_s == 26.0


def test_a_file_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    with pytest.raises(VehicleError, match=r"absent\.toml: cannot be read: No such file"):
        load_vehicle(tmp_path / "absent.toml")
    with pytest.raises(VehicleError, match="cannot be read: Is a directory"):
        load_vehicle(tmp_path)
    (tmp_path / "latin.toml").write_bytes(b"[vehicle]\nname = '\xe9'\n")
    with pytest.raises(VehicleError, match=r"latin\.toml: line 2: not UTF-8 text"):
        load_vehicle(tmp_path / "latin.toml")
    (tmp_path / "long.toml").write_bytes(b"#" * 1_000_001)
    with pytest.raises(VehicleError, match="too large"):
        load_vehicle(tmp_path / "long.toml")


def test_every_key_says_in_words_what_it_may_hold() -> None:
    models, seen = [Vehicle], []
    while models:
        for name, field in models.pop().model_fields.items():
            if (table := table_model(field.annotation)) is not None:
                models.append(table)
            elif name != "table":
                seen.append(name)
                assert allowed_in_words(field) != "of another kind", name
    assert len(seen) > 20


def drawn_problems(geometry: dict[str, Any] | None = None, **changes: Any) -> list[str]:
    """What is wrong with a vehicle file whose vanes are drawn."""
    return problems(vehicle_text(**drawn(geometry, **changes)))


def test_a_drawn_vehicle_has_the_lists_that_a_measured_one_has() -> None:
    """Straight lines between them leave 0.05 % of the largest force, 0.3 % of the largest drag."""
    given = drawn_vehicle()
    assert given.vanes.geometry is not None
    lone = computed_curve(given.vanes.geometry, given.engine, (-15.0, 15.0))
    for curve in given.vanes.curves:
        assert (curve.deflection_deg[0], curve.deflection_deg[-1]) == (-15.0, 15.0)
        assert 0.0 in curve.deflection_deg
        force_off_n = np.abs(curve.force_at(lone.deflection_deg) - lone.force_n)
        drag_off_n = np.abs(curve.drag_at(lone.deflection_deg) - lone.drag_n)
        assert force_off_n.max() < 0.0005 * lone.force_n.max()
        assert drag_off_n.max() < 0.003 * lone.drag_n.max()
    with pytest.raises(ValueError, match="read-only"):
        given.vanes.curves[0].force_n[0] = 0.0


def test_each_drawn_vane_has_a_curve_over_its_own_travel() -> None:
    travel_deg = [[-15, 15], [-10, 12], [0, 15], [-15, 15]]
    given = drawn_vehicle(vanes={"travel_deg": travel_deg})
    ends = [curve.deflection_deg[[0, -1]].tolist() for curve in given.vanes.curves]
    assert ends == travel_deg
    # One drawing for all: where their travels meet, the four give the same.
    assert [float(given.force_n(i, 10.0)) for i in range(4)] == pytest.approx(
        [float(given.force_n(0, 10.0))] * 4, rel=1e-3
    )


def test_a_drawn_vehicle_flies_like_one_with_the_same_lists() -> None:
    given = drawn_vehicle()
    curve = given.vanes.curves[0]
    assert curve.drag_n is not None
    lists = {
        "deflection_deg": curve.deflection_deg.tolist(),
        "force_n": curve.force_n.tolist(),
        "drag_n": curve.drag_n.tolist(),
    }
    assert flight_tables(vehicle(vanes=lists)).words == flight_tables(given).words


def test_a_measured_vehicle_is_read_without_loading_what_only_drawn_ones_need() -> None:
    code = (
        "import sys; from mixer.ground.vehicle.vehicle import parse_vehicle; parse_vehicle({!r}); "
        "print('scipy' in sys.modules)"
    )
    texts = (vehicle_text(), vehicle_text(**drawn()))
    told = [
        subprocess.run(
            [sys.executable, "-c", code.format(text)], capture_output=True, text=True, check=True
        ).stdout.strip()
        for text in texts
    ]
    assert told == ["False", "True"]


EITHER = (
    "vanes: must have either the measured lists deflection_deg and force_n, or [vanes.geometry]"
)


@pytest.mark.parametrize(
    ("vanes", "line"),
    [
        ({"deflection_deg": None, "force_n": None}, f"{EITHER}; has drag_n alone"),
        ({"deflection_deg": None, "force_n": None, "drag_n": None}, f"{EITHER}; has neither"),
        (
            {"geometry": DRAWING},
            f"{EITHER}; has [vanes.geometry] and deflection_deg, force_n, drag_n",
        ),
        (
            {"geometry": DRAWING, "deflection_deg": None, "force_n": None},
            f"{EITHER}; has [vanes.geometry] and drag_n",
        ),
    ],
)
def test_forces_are_either_measured_or_drawn(vanes: dict[str, Any], line: str) -> None:
    assert the_problem("vanes", vanes) == line


@pytest.mark.parametrize(
    "missing",
    [
        ["throat_diameter_mm"],
        ["expansion_ratio"],
        ["specific_heat_ratio"],
        ["throat_diameter_mm", "expansion_ratio", "specific_heat_ratio"],
    ],
)
def test_a_drawing_needs_the_nozzle_and_every_missing_key_is_named(missing: list[str]) -> None:
    (line,) = drawn_problems(engine=dict.fromkeys(missing))
    named = ", ".join(f"engine.{key}" for key in missing)
    assert line == f"vanes.geometry: {named} must be given where forces come from [vanes.geometry]"


@pytest.mark.parametrize("key", list(DRAWING))
def test_a_missing_key_of_the_drawing_is_named_with_what_belongs_there(key: str) -> None:
    (line,) = drawn_problems({key: None})
    assert line.startswith(f"vanes.geometry.{key}: missing; must be ")
    wanted, _, measured_by = line.partition("; to be measured: ")
    assert key == "section" or wanted.endswith(", in mm")
    assert measured_by.startswith("draw the vane") or key == "section"


@pytest.mark.parametrize("wrong", [NAN, INF, -1.0, "12", True, [1.0]])
@pytest.mark.parametrize("key", [key for key in DRAWING if key != "section"])
def test_a_wrong_value_in_the_drawing_is_named_with_what_is_allowed(key: str, wrong: Any) -> None:
    (line,) = drawn_problems({key: wrong})
    assert re.match(
        rf"vanes\.geometry\.{key} = .*: must be a number a.* and at most .*, in mm", line
    )


@pytest.mark.parametrize(("change", "words"), [
    ({"thickness_mm": 70.0}, ".thickness_mm = 70.0: must be under root_chord_mm, 70: a vane"),
    ({"tip_chord_mm": 71.0}, ".tip_chord_mm = 71.0: must be at most root_chord_mm, 70"),
    ({"leading_edge_radius_mm": 4.2}, ".leading_edge_radius_mm = 4.2: must be at most 0.48 of"),
    ({"hinge_line_mm": 70.0}, ".hinge_line_mm = 70.0: must be under root_chord_mm, 70"),
    ({"immersed_span_mm": 41.0}, ".immersed_span_mm = 41.0: must be at most span_mm, 40"),
    ({"section": "square"}, '.section = "square": must be "double-wedge" or "biconvex"'),
    ({"material": "wood"}, '.material = "wood": must be "graphite" or "copper"'),
    ({"heat_sink": {"shaft_diameter_mm": 0, "shaft_length_mm": 9.0}},
     ".heat_sink.shaft_diameter_mm = 0: must be a number at least 1 and at most 200"),
    ({"heat_sink": {"shaft_diameter_mm": 71.0, "shaft_length_mm": 9.0}},
     ".heat_sink = 71.0: shaft_diameter_mm must be at most root_chord_mm, 70"),
    ({"heat_sink": {"shaft_diameter_mm": 8.0}}, ".heat_sink.shaft_length_mm: missing"),
    ({"heat_sink": {"shaft_diameter_mm": 8.0, "shaft_length_mm": 9.0, "material": "wood"}},
     '.heat_sink.material = "wood": must be "steel"'),
    ({"servo_torque_nm": 0}, ".servo_torque_nm = 0: must be a number above 0 and at most 1000"),
    ({"colour": "red"}, ".colour: unknown key; known here: span_mm, "),
    ({"tip_cord_mm": 70.0, "tip_chord_mm": None}, ".tip_cord_mm: unknown key; did you mean tip_ch"),
    ({"immersed_span_mm": 96.0, "span_mm": 100.0}, ": the vane is wider than the jet: 96 mm of"),
    ({"immersed_span_mm": 44.0, "span_mm": 50.0}, ": the vanes collide at the centre line: imm"),
])  # fmt: skip
def test_an_impossible_drawing_is_refused_at_its_key(change: dict[str, Any], words: str) -> None:
    (line,) = drawn_problems(change)
    assert line.startswith(f"vanes.geometry{words}")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"engine": {"chamber_pressure_bar": 1.2}}, "subsonic exit"),
        ({"engine": {"chamber_pressure_bar": 6.0}}, "the jet separates inside the nozzle"),
        ({"engine": {"throat_diameter_mm": 20.0}}, "collide at the centre line"),
        ({"vanes": {"travel_deg": [-15, 25]}}, "a travel of -15° to 25° swings a tip's corner"),
        ({"layout": {"clocking_deg": [60, 120, 240, 300]}}, "its neighbour, 60° round the axis"),
        (
            {"engine": {"throat_diameter_mm": 200}, "vanes": {"travel_deg": [-45, 0]}},
            "the side force stops rising at 42.5",
        ),
    ],
)
def test_a_drawing_that_does_not_fit_the_rest_of_the_file_is_refused(
    change: dict[str, Any], words: str
) -> None:
    (line,) = drawn_problems(**change)
    assert line.startswith("vanes.geometry: ") and words in line


def test_several_faults_of_a_drawing_come_in_one_go() -> None:
    lines = drawn_problems({"hinge_line_mm": 99.0, "immersed_span_mm": 41.0, "span_mm": 40.0})
    assert [line.split(" ")[0] for line in lines] == [
        "vanes.geometry.hinge_line_mm",
        "vanes.geometry.immersed_span_mm",
    ]


def test_faults_elsewhere_are_told_without_any_about_the_forces() -> None:
    lines = drawn_problems(engine={"thrust_n": -1.0}, layout={"roll_arm_m": -1.0})
    assert [line.split(" ")[0] for line in lines] == ["engine.thrust_n", "layout.roll_arm_m"]


WITH_TABLE = {"neutral_us": None, "us_per_deg": None, "table": "servo.csv"}
HEAD = "deflection_deg,pulse_us\n"
BENT = f"{HEAD}-16,1700\n0,1500\n5,1430\n16,1320\n"


def with_table(folder: Path, table: str, change: dict[str, Any] = WITH_TABLE) -> Vehicle:
    (folder / "servo.csv").write_text(table)
    return load_vehicle(vehicle_file(folder, servos=change))


def test_a_servo_table_is_found_beside_the_vehicle_file(tmp_path: Path) -> None:
    servo = with_table(tmp_path, BENT).servos[2]
    assert servo.table is not None
    assert (servo.neutral_us, servo.us_per_deg) == (1500.0, None)
    assert servo.pulse_us([-8.0, 2.5, 16.0]).tolist() == [1600.0, 1465.0, 1320.0]


def test_each_servo_may_have_its_own_table(tmp_path: Path) -> None:
    (tmp_path / "other.csv").write_text("deflection_deg,pulse_us\n-15,1400\n15,1600\n")
    names = ["servo.csv", "other.csv", "servo.csv", "other.csv"]
    servos = with_table(tmp_path, BENT, {**WITH_TABLE, "table": names}).servos
    assert [round(servo.neutral_us) for servo in servos] == [1500] * 4
    assert [float(servo.pulse_us(-15)) for servo in servos] == [1687.5, 1400, 1687.5, 1400]


@pytest.mark.parametrize(("table", "words"), [
    (f"{HEAD}-16,1700\n0,1500\n0,1490\n", "line 4, column deflection_deg: 0.0; must be more"),
    (f"{HEAD}-16,1700\n0,1500\n5,1510\n16,1320\n", "line 4, column pulse_us: 1510.0; pulses"),
    (f"{HEAD}-16,1700\n16,1700\n", "line 3, column pulse_us"),
    (f"{HEAD}0,1700\n", "at least two rows"),
    (f"{HEAD}-14,1700\n16,1320\n", r"= \[-14.0, 16.0\]: servo 1: its table must reach over"),
    (f"{HEAD}-16,2700\n16,1320\n", "servo 1, pulse in µs at -15 deg"),
    ("deflection_deg,pulse_ms\n-16,1.7\n16,1.3\n", "did you mean pulse_us?"),
    ("", "empty; the first line must be deflection_deg,pulse_us"),
])  # fmt: skip
def test_a_servo_table_that_cannot_be_used_is_refused(
    tmp_path: Path, table: str, words: str
) -> None:
    with pytest.raises(VehicleError, match=words):
        with_table(tmp_path, table)


@pytest.mark.parametrize(("change", "words"), [
    ({"table": "absent.csv"}, "absent.csv: No such file"),
    ({"table": ["servo.csv"] * 3}, "must be the name of a CSV file, or a list of four"),
    ({"table": 7}, "servos.table = 7: must be the name of a CSV file"),
    ({"neutral_us": 1500}, "has both a table and neutral_us or us_per_deg"),
    ({"us_per_deg": 10}, "has both a table and neutral_us or us_per_deg"),
])  # fmt: skip
def test_what_stands_beside_a_servo_table_is_checked(
    tmp_path: Path, change: dict[str, Any], words: str
) -> None:
    with pytest.raises(VehicleError, match=words):
        with_table(tmp_path, BENT, {**WITH_TABLE, **change})
