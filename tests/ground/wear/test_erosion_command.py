"""`fourvane erosion` and `fourvane vanes`: files in, a vehicle file and reports out."""

import json
import tomllib

import numpy as np
import pytest
from click.testing import CliRunner

from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.commands.erosion import erosion
from mixer.ground.commands.vanes import vanes
from mixer.ground.vehicle.vehicle import load_vehicle, parse_vehicle
from mixer.ground.wear.worn_vehicle import with_erosion
from tests.support.vehicles import drawn, vehicle_file, vehicle_text

HEADER = "burn,vane,duration_s,chamber_pressure_bar,station_mm,chord_before_mm,chord_after_mm\n"
STATIONS = (8.0, 20.0, 38.0)
RATES = (0.05, 0.10, 0.14)


def inspection(folder, scale=1.0, vanes=(1, 2, 3, 4), seed=11):
    """Two burns of four vanes with a little scatter; `scale` scales the recession."""
    random = np.random.default_rng(seed)
    lines = [HEADER]
    for burn, duration in ((1, 13.0), (2, 20.0)):
        for position in vanes:
            own = scale * (1.0 + 0.08 * random.standard_normal())
            for station, rate in zip(STATIONS, RATES, strict=True):
                after = 70.0 - own * rate * duration
                lines.append(f"{burn},{position},{duration},20,{station},70,{after:.3f}\n")
    path = folder / "inspection.csv"
    path.write_text("".join(lines), encoding="utf-8")
    return path


def run(*arguments):
    """The command as a person calls it, through the frame that turns errors into messages."""
    group = type(fourvane)("fourvane", commands={"erosion": erosion, "vanes": vanes})
    return CliRunner().invoke(group, [str(a) for a in arguments])


def fit(tmp_path, *options, out="worn.toml", **changes):
    source = vehicle_file(tmp_path, erosion=None, **changes)
    return run(
        "erosion", "fit", inspection(tmp_path), "--vehicle", source, "--out", tmp_path / out,
        *options,
    )  # fmt: skip


def test_fit_writes_a_vehicle_file_that_loads_and_wears_as_inspected(tmp_path):
    """Without a drawing the effectiveness is the share of area left between the stations."""
    result = fit(tmp_path, "--json")
    assert result.exit_code == 0, result.output
    told = json.loads(result.stdout)
    worn = load_vehicle(tmp_path / "worn.toml")
    assert worn.erosion is not None
    lost = np.trapezoid(RATES, STATIONS) * 26.0 / (70.0 * 30.0)
    assert worn.effectiveness(26.0)[0] == pytest.approx(1.0 - lost, abs=0.01)
    np.testing.assert_allclose(told["rate_mm_s"], RATES, rtol=0.1)
    np.testing.assert_allclose(worn.erosion.effectiveness[0], told["effectiveness"], atol=6e-5)
    assert told["specimens"] == 8 and told["burns"] == 2
    assert told["mass_g"] is None


def test_fit_keeps_every_comment_and_every_other_table(tmp_path):
    text = vehicle_text(erosion=None)
    text = text.replace("thrust_n = 5000.0", "thrust_n = 5000.0  # by the cold-flow test")
    text = "# Our vehicle, do not lose this line.\n" + text
    source = tmp_path / "vehicle.toml"
    source.write_text(text, encoding="utf-8")
    out = tmp_path / "worn.toml"
    result = run("erosion", "fit", inspection(tmp_path), "--vehicle", source, "--out", out)
    assert result.exit_code == 0, result.output
    written = out.read_text(encoding="utf-8")
    assert written.startswith(text)
    assert "# fitted from inspection.csv" in written
    assert source.read_text(encoding="utf-8") == text


def test_an_erosion_table_that_stands_already_gets_new_values_and_keeps_its_comments(tmp_path):
    text = vehicle_text(erosion={"load_s": [0.0, 26.0], "effectiveness": [1.0, 0.9]})
    text = text.replace("[erosion]\n", "[erosion]\n# from the first burn\n")
    text = text.replace("load_s = [0.0, 26.0]", "load_s = [0.0, 26.0] # seconds")
    rows = [np.array([1.0, 0.95, 0.912345])]
    changed = with_erosion(parse_vehicle(text), np.array([0.0, 13.0, 26.0]), rows, "burns.csv")
    written = changed.text(tmp_path / "worn.toml")
    data = tomllib.loads(written)
    assert data["erosion"] == {"load_s": [0.0, 13.0, 26.0], "effectiveness": [1.0, 0.95, 0.9123]}
    assert data["control"] == tomllib.loads(text)["control"]
    assert "# from the first burn" in written and "# seconds" in written
    assert written.count("[erosion]") == 1


def test_fit_tells_the_vehicle_file_how_far_the_vanes_of_a_new_burn_may_be_off(tmp_path):
    """Two of what is written hold the 95 % band of effectiveness: vane and burn in quadrature."""
    result = fit(tmp_path, "--json")
    told = json.loads(result.stdout)
    written = load_vehicle(tmp_path / "worn.toml").uncertainty
    assert written is not None and written.knows_scatter
    vane, burn = (written.vane_at(told["load_s"])[:, 0], written.burn_at(told["load_s"]))
    half = 0.5 * (np.array(told["effectiveness_high"]) - told["effectiveness_low"])
    np.testing.assert_allclose(2.0 * np.hypot(vane, burn), half, rtol=0.02, atol=1e-5)
    assert vane[0] == 0.0 and np.all(np.diff(vane) > 0.0)
    text = (tmp_path / "worn.toml").read_text(encoding="utf-8")
    assert "of effectiveness in a new burn, two hold 95 %; from inspection.csv" in text
    page = (tmp_path / "worn.html").read_text(encoding="utf-8")
    assert "for a vane in a new burn, 95 %" in page and "a prediction" in page


def test_fit_carries_the_standard_errors_of_a_static_test_to_its_own_loads(tmp_path):
    stated = {"load_s": [0.0, 13.0], "effectiveness": [0.01, 0.03], "roll_arm_m": 0.0005}
    fit(tmp_path, uncertainty=stated)
    written = load_vehicle(tmp_path / "worn.toml").uncertainty
    assert written is not None
    np.testing.assert_allclose(
        written.effectiveness_at([0.0, 6.5, 13.0, 26.0])[:, 2], [0.01, 0.02, 0.03, 0.03]
    )
    assert written.roll_arm_m == 0.0005


def test_one_inspected_burn_says_on_the_terminal_what_is_unknown(tmp_path):
    source = vehicle_file(tmp_path, erosion=None)
    path = inspection(tmp_path)
    rows = path.read_text(encoding="utf-8").splitlines(keepends=True)
    path.write_text("".join(row for row in rows if not row.startswith("2,")), encoding="utf-8")
    result = run("erosion", "fit", path, "--vehicle", source, "--out", tmp_path / "worn.toml")
    assert result.exit_code == 0, result.output
    assert "burn-to-burn scatter unknown; 10% between burns is assumed" in result.output
    assert "burns: ?" in result.output


def test_per_vane_writes_a_row_for_each_vane(tmp_path):
    result = fit(tmp_path, "--per-vane")
    assert result.exit_code == 0, result.output
    data = tomllib.loads((tmp_path / "worn.toml").read_text(encoding="utf-8"))
    rows = data["erosion"]["effectiveness"]
    assert len(rows) == 4 and len({row[-1] for row in rows}) == 4


def test_per_vane_needs_every_vane_inspected(tmp_path):
    source = vehicle_file(tmp_path)
    out = tmp_path / "worn.toml"
    result = run(
        "erosion", "fit", inspection(tmp_path, vanes=(1, 3)), "--vehicle", source, "--out", out,
        "--per-vane",
    )  # fmt: skip
    assert result.exit_code == 2
    assert "missing: 2, 4" in result.output
    assert not out.exists()


@pytest.fixture(scope="module")
def drawn_fit(tmp_path_factory):
    """A fit for drawn vanes: what it told as JSON, and its page."""
    folder = tmp_path_factory.mktemp("drawn")
    result = fit(folder, "--json", **drawn())
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout), (folder / "worn.html").read_text(encoding="utf-8")


def test_report_is_one_page_with_pictures_the_table_and_cautions(drawn_fit):
    _, page = drawn_fit
    assert page.count("<svg") == 5
    for words in ("graphite dust", "How fast the edge recedes", "Hinge moment", "Lives about",
                  "not a substitute for one", "safety officer"):  # fmt: skip
        assert words in page
    assert "http" not in page.replace("http://www.w3.org", "")


def test_drawing_gives_forces_masses_and_life_of_the_worn_vane(drawn_fit):
    told, _ = drawn_fit
    assert 0.95 < told["effectiveness"][-1] < 1.0
    assert (
        told["effectiveness_low"][-1] < told["effectiveness"][-1] < told["effectiveness_high"][-1]
    )
    assert np.all(np.diff(told["mass_g"]) < 0.0)
    # The edge recedes by at most 0.14 mm/s, so 10.5 mm allowed last 75 s or a little more.
    assert told["life_s"] == pytest.approx(75.0, rel=0.15)


def test_a_station_that_the_drawn_vane_does_not_have_is_refused(tmp_path):
    short = drawn()
    short["vanes"] = {
        **short["vanes"],
        "geometry": {**short["vanes"]["geometry"], "span_mm": 30.0, "immersed_span_mm": 28.0},
    }
    result = fit(tmp_path, **short)
    assert result.exit_code == 2
    assert "burn 1, vane 1: station_mm = 38; must be at most 30, the span" in result.output
    assert not (tmp_path / "worn.toml").exists()


def test_too_short_burns_end_with_words_and_write_nothing(tmp_path):
    source = vehicle_file(tmp_path)
    result = run(
        "erosion", "fit", inspection(tmp_path, scale=0.01), "--vehicle", source,
        "--out", tmp_path / "worn.toml",
    )  # fmt: skip
    assert result.exit_code == 2
    assert "too short for the noise of the measurement" in result.output
    assert "Traceback" not in result.output
    assert {p.name for p in tmp_path.iterdir()} == {"vehicle.toml", "inspection.csv"}


@pytest.mark.parametrize(
    "options, words",
    [
        (("--planned-load-s", "2000"), "half the chord"),
        (("--planned-load-s", "-1"), "planned-load-s"),
        (("--calliper-mm", "0"), "calliper-mm"),
        (("--report", "no/such/folder.html"), "folder"),
    ],
)
def test_options_that_cannot_be_served_end_with_words(tmp_path, options, words):
    result = fit(tmp_path, *options)
    assert result.exit_code == 2 and words in result.output
    assert not (tmp_path / "worn.toml").exists()


def test_missing_files_are_named(tmp_path):
    source = vehicle_file(tmp_path)
    out = tmp_path / "worn.toml"
    absent = run("erosion", "fit", tmp_path / "none.csv", "--vehicle", source, "--out", out)
    assert absent.exit_code == 2 and "none.csv" in absent.output
    broken = run(
        "erosion", "fit", inspection(tmp_path), "--vehicle", tmp_path / "none.toml", "--out", out
    )
    assert broken.exit_code == 2 and "none.toml" in broken.output


def test_servo_table_that_the_new_place_cannot_reach_is_told_before_anything_is_written(tmp_path):
    (tmp_path / "servo.csv").write_text(
        "servo,deflection_deg,pulse_us\n"
        + "".join(f"{s},{a},{1500 + 10 * a}\n" for s in (1, 2, 3, 4) for a in (-15, 0, 15)),
        encoding="utf-8",
    )
    servos = {"table": "servo.csv", "neutral_us": None, "us_per_deg": None}
    (tmp_path / "elsewhere").mkdir()
    result = fit(tmp_path, out="elsewhere/worn.toml", servos=servos)
    assert result.exit_code == 2 and "servo.csv" in result.output
    assert not list((tmp_path / "elsewhere").iterdir())


def test_chip_tells_force_and_trim(tmp_path):
    source = vehicle_file(tmp_path, **drawn())
    options = ("--station-mm", 25, "--width-mm", 6, "--depth-mm", 4)
    plain = json.loads(run("erosion", "chip", source, *options, "--json").stdout)
    assert 0.97 < plain["effectiveness"] < 1.0
    assert plain["roll_at_full_nm"] == pytest.approx(plain["force_lost_n"] * 0.045)
    sided = run("erosion", "chip", source, *options, "--height-mm", 1.5)
    assert sided.exit_code == 0 and "trims both" in sided.output
    outside = run("erosion", "chip", source, "--station-mm", 1, "--width-mm", 6, "--depth-mm", 4)
    assert outside.exit_code == 2 and "not within the edge" in outside.output


def test_commands_that_need_a_drawing_say_so(tmp_path):
    source = vehicle_file(tmp_path)
    chip = run("erosion", "chip", source, "--station-mm", 25, "--width-mm", 6, "--depth-mm", 4)
    drawing = run("vanes", source)
    for result in (chip, drawing):
        assert result.exit_code == 2 and "vanes.geometry: missing" in result.output


def test_vanes_reports_forces_loss_hinge_and_life(tmp_path):
    source = vehicle_file(tmp_path, **drawn({"servo_torque_nm": 4.0}))
    report = tmp_path / "vanes.html"
    result = run("vanes", source, "--out", report, "--json")
    assert result.exit_code == 0, result.output
    told = json.loads(result.stdout)
    assert 0.05 < told["thrust_loss_at_rest"] < 0.12
    assert told["thrust_loss_at_rest"] < told["thrust_loss_two_deflected"]
    assert told["thrust_loss_two_deflected"] < told["thrust_loss_all_deflected"]
    assert told["servo_torque_margin"] == pytest.approx(4.0 / told["hinge_peak_nm"])
    assert told["jet"]["expansion"] == "over-expanded"
    assert len(told["deflection_deg"]) == len(told["force_n"]) == 31
    page = report.read_text(encoding="utf-8")
    assert page.count("<svg") == 7 and "over-expanded" in page and "graphite dust" in page


def test_vanes_ends_with_status_one_where_the_servo_or_the_vane_is_too_weak(tmp_path):
    weak = run("vanes", vehicle_file(tmp_path, **drawn({"servo_torque_nm": 0.5})))
    assert weak.exit_code == 1 and "servo torque margin 0." in weak.output
    melting = vehicle_file(tmp_path, **drawn({"material": "copper"}))
    short = run("vanes", melting, "--out", tmp_path / "copper.html")
    assert short.exit_code == 1 and "reaches melting" in short.output
    assert "would take" in (tmp_path / "copper.html").read_text(encoding="utf-8")


def test_vanes_refuses_an_impossible_drawing_in_words(tmp_path):
    colliding = drawn({"immersed_span_mm": 47.0, "span_mm": 50.0})
    result = run("vanes", vehicle_file(tmp_path, **colliding))
    assert result.exit_code == 2 and "collide at the centre line" in result.output


@pytest.mark.parametrize("words", [("erosion", "--help"), ("erosion", "fit", "--help"),
                                   ("erosion", "chip", "--help"), ("vanes", "--help")])  # fmt: skip
def test_help_has_an_example(words):
    result = run(*words)
    assert result.exit_code == 0 and "Example: fourvane " in result.output
