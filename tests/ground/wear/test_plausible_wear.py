"""An inspection typed wrongly is refused in words; what is told of wear is always a number."""

import json
import math
import random
import warnings
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from mixer.ground.command_line.fourvane import fourvane
from tests.support.drawn_vane import DRAWING
from tests.support.vehicles import drawn, vehicle_file

HEAD = "burn,vane,duration_s,chamber_pressure_bar,station_mm,chord_before_mm,chord_after_mm"
MASS = "burn,vane,duration_s,mass_before_g,mass_after_g"


def good() -> list[dict[str, Any]]:
    """Two burns of four vanes, three stations each."""
    return [
        {"burn": burn, "vane": vane, "duration_s": 26, "chamber_pressure_bar": 20,
         "station_mm": station, "chord_before_mm": 70, "chord_after_mm": 70 - station / 20}
        for burn in (1, 2) for vane in (1, 2, 3, 4) for station in (10, 20, 30)
    ]  # fmt: skip


def fit(folder: Path, rows: list[dict[str, Any]], **changes: Any) -> Result:
    head = ",".join(rows[0])
    text = "".join(",".join(map(str, row.values())) + "\n" for row in rows)
    (folder / "inspection.csv").write_text(f"{head}\n{text}")
    file = vehicle_file(folder, **changes)
    arguments = ("erosion", "fit", folder / "inspection.csv", "--vehicle", file, "--out",
                 folder / "worn.toml", "--json")  # fmt: skip
    return CliRunner().invoke(fourvane, [str(each) for each in arguments])


@pytest.mark.parametrize(
    ("column", "value", "said"),
    [
        ("chord_before_mm", 700, "chord_before_mm: 700.0; is far from 70, usual in this file"),
        ("chord_before_mm", 7e301, "chord_before_mm: 7e+301; must be at most 2000 mm"),
        ("chord_after_mm", 7.0, "chord_after_mm: 7.0; is less than half of chord_before_mm = 70"),
        ("chord_after_mm", 48.0, "chord_after_mm: 48.0; is 22 mm under chord_before_mm"),
        ("chord_after_mm", 1e-300, "is less than half"),
        ("duration_s", 1e300, "duration_s: 1e+300; must be at most 3600 s"),
        ("duration_s", 2.6e-299, "duration_s: 2.6e-299; must be at least 0.1 s"),
        ("chamber_pressure_bar", 200, "chamber_pressure_bar: 200.0; is far from 20, the vehicle's"),
        ("chamber_pressure_bar", 2e-300, "is far from 20, the vehicle's"),
        ("station_mm", 1e300, "station_mm: 1e+300; must be at most 2000 mm"),
    ],
)
def test_a_slipped_digit_is_refused_in_words(
    tmp_path: Path, column: str, value: float, said: str
) -> None:
    assert fit(tmp_path, good()).exit_code == 0
    (tmp_path / "worn.toml").unlink()
    rows = good()
    rows[4][column] = value
    if column in ("duration_s", "chamber_pressure_bar"):
        for row in rows:
            row[column] = value
    result = fit(tmp_path, rows)
    assert result.exit_code == 2, result.output
    assert said in result.stderr
    assert not (tmp_path / "worn.toml").exists()


def test_a_chord_that_the_drawing_does_not_have_is_refused(tmp_path: Path) -> None:
    far = 2 * DRAWING["root_chord_mm"]
    rows = [{**row, "chord_before_mm": far, "chord_after_mm": far - 1} for row in good()]
    result = fit(tmp_path, rows, **drawn())
    assert result.exit_code == 2
    assert "the drawing has" in result.stderr


def test_masses_are_looked_at_too(tmp_path: Path) -> None:
    rows = [
        {"burn": 1, "vane": vane, "duration_s": 26, "mass_before_g": 60, "mass_after_g": 58}
        for vane in (1, 2, 3, 4)
    ]
    rows[2]["mass_before_g"] = 600
    result = fit(tmp_path, rows)
    assert result.exit_code == 2
    assert "mass_before_g: 600.0; is far from 60" in result.stderr


def test_whatever_stands_in_an_inspection_the_result_is_a_number_or_a_refusal(
    tmp_path: Path, full_size: bool
) -> None:
    seed = random.randrange(10**9)
    print(f"seed {seed}")
    draw = random.Random(seed)
    for _ in range(300 if full_size else 12):
        rows = good()
        for _ in range(draw.choice((1, 2, 24))):
            row = draw.choice(rows)
            column = draw.choice(list(row)[2:])
            row[column] = float(row[column]) * 10.0 ** draw.choice((-300, -3, -1, 1, 3, 300))
            if draw.random() < 0.5:
                for each in rows:
                    each[column] = row[column]
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # a division by zero on the way is a guard missing
            result = fit(tmp_path, rows)
        assert result.exit_code in (0, 2), result.output
        if result.exit_code == 0:
            told = json.loads(result.stdout)
            for key in ("effectiveness", "rate_mm_s"):
                assert all(math.isfinite(each) for each in told[key])
