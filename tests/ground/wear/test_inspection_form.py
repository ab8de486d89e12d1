"""The form of an inspection: empty it is to be filled, rehearsed it says so wherever it goes."""

import tomllib
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.commands.erosion import erosion
from mixer.ground.drawn_vane.geometry import VaneGeometry
from mixer.ground.evidence.evidence import Evidence
from mixer.ground.evidence.on_page import on_page
from mixer.ground.wear.form import ROOT_SHARE, Burn, write_form, write_rehearsed
from mixer.ground.wear.inspection import read_inspection
from mixer.ground.wear.recession import WearError, fit_recession
from tests.support.vehicles import drawn, vehicle, vehicle_file

RATE_MM_S = 0.1
BURNS = [Burn(26.0, 20.0)] * 2


def receding(rate_mm_s: float = RATE_MM_S) -> Any:
    """As much of a life as the form asks: an edge that recedes at that rate."""
    return SimpleNamespace(
        heating=SimpleNamespace(
            time_s=np.array([0.0, 10.0]), recession_m=np.array([0.0, 1e-2 * rate_mm_s])
        )
    )


@pytest.fixture
def geometry() -> VaneGeometry:
    found = vehicle(**drawn()).vanes.geometry
    assert found is not None
    return found


def run(*arguments: object):
    group = type(fourvane)("fourvane", commands={"erosion": erosion})
    return CliRunner().invoke(group, ["erosion", *map(str, arguments)])


def test_a_rehearsed_form_gives_the_models_rate_back_within_its_scatter(tmp_path, geometry) -> None:
    path = tmp_path / "inspection.csv"
    assert write_rehearsed(path, geometry, receding(), BURNS, seed=1) == 40
    inspection = read_inspection(path, 20.0)
    assert inspection.rehearsal
    found = fit_recession(inspection, 20.0, geometry)
    expected = np.interp(found.station_mm, found.station_mm[[0, -1]], [ROOT_SHARE, 1.0])
    np.testing.assert_allclose(found.rate_mm_s, RATE_MM_S * expected, rtol=0.25)
    assert 0.02 < np.std(found.factor) < 0.3


def test_a_rehearsal_repeats_with_its_seed_and_differs_with_another(tmp_path, geometry) -> None:
    files = [tmp_path / name for name in ("a", "b", "c")]
    for path, seed in zip(files, (1, 1, 2), strict=True):
        write_rehearsed(path, geometry, receding(), BURNS, seed)
    one, same, other = (path.read_bytes() for path in files)
    assert one == same != other


@pytest.mark.parametrize(("rate_mm_s", "words"), [(0.0, "does not burn away"), (9.0, "too much")])
def test_what_cannot_be_rehearsed_is_refused_and_nothing_is_written(
    tmp_path, geometry, rate_mm_s, words
) -> None:
    with pytest.raises(WearError, match=words):
        write_rehearsed(tmp_path / "a", geometry, receding(rate_mm_s), BURNS, 0)
    assert not (tmp_path / "a").exists()


def test_an_empty_form_is_refused_by_the_first_cell_that_is_not_filled_in(
    tmp_path, geometry
) -> None:
    path = tmp_path / "inspection.csv"
    write_form(path, geometry, 1)
    done = run("fit", path, "--vehicle", vehicle_file(tmp_path), "--out", tmp_path / "worn.toml")
    assert done.exit_code == 2
    assert "line 2" in done.output and "duration_s" in done.output


def test_what_is_fitted_from_a_rehearsal_says_so_in_file_page_and_evidence(
    tmp_path, geometry
) -> None:
    path = tmp_path / "inspection.csv"
    write_rehearsed(path, geometry, receding(), BURNS, 0)
    out = tmp_path / "worn.toml"
    source = vehicle_file(tmp_path, erosion=None)
    done = run("fit", path, "--vehicle", source, "--out", out)
    assert done.exit_code == 0, done.output
    assert done.stdout.lstrip().startswith("REHEARSAL: no vane was burnt")
    assert "fitted from inspection.csv, a rehearsal" in out.read_text(encoding="utf-8")
    page = (tmp_path / "worn.html").read_text(encoding="utf-8")
    assert "A REHEARSAL, no vane was burnt" in page
    (evidence,) = map(Evidence.model_validate_json, on_page(page))
    assert evidence.rehearsal is True


def test_a_form_that_is_there_already_stays(tmp_path) -> None:
    path = tmp_path / "inspection.csv"
    path.write_text("measured with care\n", encoding="utf-8")
    done = run("form", vehicle_file(tmp_path, **drawn()), "--rehearse", "--out", path)
    assert done.exit_code == 2 and "is there already" in done.output
    assert path.read_text(encoding="utf-8") == "measured with care\n"


def test_a_form_needs_the_drawing(tmp_path) -> None:
    done = run("form", vehicle_file(tmp_path), "--out", tmp_path / "form.csv")
    assert done.exit_code == 2 and "vanes.geometry: missing" in done.output


@pytest.mark.usefixtures("campaign")
def test_the_command_fills_the_form_from_the_drawn_vanes_own_life(tmp_path) -> None:
    source = vehicle_file(tmp_path, erosion=None, **drawn())
    form, out = tmp_path / "form.csv", tmp_path / "worn.toml"
    done = run("form", source, "--rehearse", "--out", form)
    assert done.exit_code == 0, done.output
    assert "REHEARSAL" in done.output and "Next: fourvane erosion fit" in done.output
    assert run("fit", form, "--vehicle", source, "--out", out).exit_code == 0
    wear = tomllib.loads(out.read_text(encoding="utf-8"))["erosion"]["effectiveness"]
    assert 0.5 < wear[-1] < 1.0
