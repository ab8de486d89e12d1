"""`fourvane tables`: the bytes that a board loads, and every word of them told."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from mixer.flight import FlightTables
from mixer.flight import layout as at
from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.tables.build import flight_tables
from mixer.ground.tables_in_words.fields import Field
from mixer.ground.tables_in_words.groups import dump
from mixer.ground.tables_in_words.text import checksum, told
from tests.support.vehicles import vehicle, vehicle_file

VARIED = {
    "layout": {"clocking_deg": [0.0, 93.0, 181.5, 265.0]},
    "vanes": {"travel_deg": [[-15.0, 12.0], [-10.0, 15.0], [-15.0, 15.0], [-8.0, 8.0]]},
    "control": {"policy": "direction"},
}


@pytest.fixture(scope="module")
def tables() -> FlightTables:
    return flight_tables(vehicle())


@pytest.fixture(scope="module")
def varied() -> FlightTables:
    return flight_tables(vehicle(**VARIED))


def run(*arguments: object) -> Result:
    return CliRunner().invoke(fourvane, ["tables", *map(str, arguments)])


def field(tables: FlightTables, title: str, name: str) -> Field:
    (found,) = (
        one
        for group in dump(tables)
        if group.title == title
        for one in group.fields
        if one.name == name
    )
    return found


@pytest.mark.parametrize("which", ["tables", "varied"])
def test_every_word_is_told_exactly_once_and_as_it_stands(
    which: str, request: pytest.FixtureRequest
) -> None:
    """Nothing in the tables is left out of the dump, nothing is in it twice."""
    words = request.getfixturevalue(which).words
    count = np.zeros(len(words), dtype=int)
    for group in dump(request.getfixturevalue(which)):
        for one in group.fields:
            where = [one.first + n * one.stride for n in range(len(one.words))]
            count[where] += 1
            assert list(one.words) == [words[place] for place in where]
            assert len(one.values) == len(one.words)
    assert (count == 1).all(), np.flatnonzero(count != 1)


def test_what_is_told_as_not_used_is_zero(varied: FlightTables) -> None:
    idle = [one for group in dump(varied) for one in group.fields if one.name == "not used"]
    assert idle and all(word == 0 for one in idle for word in one.words)


def test_values_are_those_of_the_vehicle_file(varied: FlightTables) -> None:
    assert field(varied, "control", "policy").values == ("direction",)
    assert field(varied, "control", "control period").values == (5000,)
    assert field(varied, "control", "demand timeout").values == (100_000,)
    vanes = "vanes 1 to 4"
    radians = np.radians(VARIED["layout"]["clocking_deg"])
    for name, exact in (("cosine", np.cos(radians)), ("sine", np.sin(radians))):
        coarse = np.array(field(varied, vanes, f"{name} of clocking").values)
        fine = np.array(field(varied, vanes, f"{name}, low half").values)
        np.testing.assert_allclose(coarse + fine, exact, atol=2.0**-28)
    assert field(varied, vanes, "slew, whole part").values == (250,) * 4
    assert field(varied, vanes, "slew, what is left").values == (0.0,) * 4
    assert field(varied, vanes, "travel from").values == (-15.0, -10.0, -15.0, -8.0)
    assert field(varied, vanes, "travel to").values == (12.0, 15.0, 15.0, 8.0)


def test_curves_are_in_counts_and_steps_in_their_units(tables: FlightTables) -> None:
    curve = "vane 1, force curve"  # of all four, which are alike
    assert field(tables, curve, "deflection").values[1] == -15.0
    assert field(tables, curve, "force").values[:2] == ("-∞", -4096.0)
    assert field(tables, curve, "counts per deg").values[1] == pytest.approx(4096 / 15, rel=1e-4)
    assert field(tables, curve, "deg per count").values[1] == pytest.approx(15 / 4096, rel=1e-4)
    assert field(tables, "servo 1", "pulse").values[0] == 1350.0
    assert field(tables, "servo 1", "µs per deg").values[0] == pytest.approx(10, rel=1e-4)
    wear = field(tables, "effectiveness", "vane 4")
    # where the last slope leads to: its own rounding, and one downward
    assert wear.values[-1 - at.LEAP] == pytest.approx(0.93, abs=1.5 * 2.0**-14)
    slope = field(tables, "effectiveness", "vane 4 per s").values[1]
    assert slope == pytest.approx(-0.02 / 13, rel=0.01)


def test_lever_arm_words_turn_moments_into_counts_and_back(tables: FlightTables) -> None:
    """A count is 200 N / 4096 here; at ignition the lever arm is 2.3 m."""
    counts = field(tables, "lever arm", "force for a moment").values[0]
    moment = field(tables, "lever arm", "moment for a force").values[0]
    assert moment == pytest.approx(200 / 4096 * 2.3, rel=1e-3)
    assert counts * moment == pytest.approx(1, rel=1e-3)
    time_s = field(tables, "lever arm", "burn time").values
    for name, slope in (("force for a moment", "per s"), ("moment for a force", "per s of it")):
        value = field(tables, "lever arm", name).values
        rise = (value[2] - value[1]) / (time_s[2] - time_s[1])
        assert field(tables, "lever arm", slope).values[1] == pytest.approx(rise, rel=1e-3)


def test_burn_load_rate_is_told_with_its_exponent(tables: FlightTables) -> None:
    rate = field(tables, "burn-load rate over pressure ratio, 1/32 apart from 0 on", "rate")
    assert rate.values[32] == pytest.approx(1.0)
    assert rate.values[16] == pytest.approx(0.574349, abs=2.0**-14)


def test_the_command_writes_what_the_board_reads_and_prints_the_dump(tmp_path: Path) -> None:
    out = tmp_path / "vehicle.4vt"
    result = run(vehicle_file(tmp_path), "--out", out)
    assert result.exit_code == 0, result.stderr
    read = FlightTables.from_bytes(out.read_bytes())
    assert told(read) in result.stdout
    assert f"CRC-32 {checksum(read):08x}" in result.stdout
    assert out.read_bytes()[8:12] == checksum(read).to_bytes(4, "little")
    assert "a count of force is 0.0488281 N" in result.stdout
    assert f"{at.PERIOD_US:6} control period: 5000 µs" in result.stdout


def test_json_holds_every_group(tmp_path: Path) -> None:
    out = tmp_path / "vehicle.4vt"
    result = json.loads(run(vehicle_file(tmp_path), "--out", out, "--json").stdout)
    read = FlightTables.from_bytes(out.read_bytes())
    assert result["bytes"] == len(out.read_bytes())
    assert result["crc32"] == f"{checksum(read):08x}"
    assert [group["title"] for group in result["groups"]] == [one.title for one in dump(read)]
    assert result["groups"][1]["fields"][1] == {
        "name": "control period", "first": at.PERIOD_US, "words": [5000], "values": [5000],
        "unit": "µs", "stride": 1,
    }  # fmt: skip


def test_tables_that_a_board_sent_back_with_an_unknown_policy_can_be_told(
    tables: FlightTables,
) -> None:
    words = list(tables.words)
    words[at.POLICY] = 7
    assert "policy: unknown" in told(FlightTables(words))


@pytest.mark.parametrize(
    "change",
    [
        {"engine": {"thrust_n": -1.0}},
        {"vanes": {"force_n": [-200.0, 0.0, 0.0005], "deflection_deg": [-15.0, 0.0, 15.0]}},
    ],
)
def test_a_vehicle_that_cannot_fly_ends_with_2_and_leaves_no_file(
    tmp_path: Path, change: dict[str, dict[str, object]]
) -> None:
    """A wrong key, and a curve too flat for the flight arithmetic."""
    result = run(vehicle_file(tmp_path, **change), "--out", tmp_path / "t.4vt")
    assert result.exit_code == 2
    assert result.stdout == "" and "Traceback" not in result.stderr
    assert re_key(change) in result.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["vehicle.toml"]


def re_key(change: dict[str, dict[str, object]]) -> str:
    """'engine.thrust_n'."""
    ((table, keys),) = change.items()
    return f"{table}.{next(iter(keys))}"


def test_the_vehicle_file_is_never_written_over(tmp_path: Path) -> None:
    file = vehicle_file(tmp_path)
    before = file.read_bytes()
    result = run(file, "--out", file)
    assert result.exit_code == 2 and "a result needs a file of its own" in result.stderr
    assert file.read_bytes() == before
