"""Identification: what goes into a simulated static test comes out again, as surely as claimed."""

from dataclasses import replace

import numpy as np
import pytest

from mixer.ground.identification.findings import (
    findings,
    not_told,
    refuse_if_nothing_told,
    second_look,
)
from mixer.ground.identification.fit import IdentifyError, identify
from mixer.ground.identification.model import StandModel, Unknowns
from mixer.ground.static_test.blocks import Blocks
from mixer.ground.static_test.programme import plan
from mixer.ground.static_test.simulation import StandNoise, truth_of
from tests.support.identify_campaign import KINDS, Outcome, many_tests, stacked
from tests.support.static_tests import (
    FULL_SCALE,
    drawn_truth,
    made_log,
    vehicle_on_stand,
    with_angles,
    worn,
)

VEHICLE = vehicle_on_stand()
USUAL = ("100 Hz", "200 Hz", "1 kHz")  # 1 % of full scale, and drift
QUIET = StandNoise(FULL_SCALE, noise=1e-5, drift=0.0)


def test_without_noise_the_truth_comes_out() -> None:
    truth, effectiveness = drawn_truth(3, VEHICLE)
    found = identify(made_log(3, VEHICLE, truth, noise=QUIET), VEHICLE)
    np.testing.assert_allclose(
        found.value("effectiveness"), effectiveness(found.unknowns.load_points_s), atol=5e-4
    )
    np.testing.assert_allclose(found.value("clocking_deg"), truth.clocking_deg, atol=0.01)
    np.testing.assert_allclose(found.value("zero_deg"), truth.zero_deg, atol=0.02)
    np.testing.assert_allclose(found.value("roll_arm_m"), truth.roll_arm_m, rtol=1e-4)
    np.testing.assert_allclose(found.value("lag_s"), truth.lag_s, atol=1e-4)
    np.testing.assert_allclose(found.value("side_line_n"), truth.side_n, atol=0.5)
    np.testing.assert_allclose(found.value("swirl_nm"), truth.swirl_nm, atol=0.03)


def how_sure(name: str, outcomes: list[Outcome]) -> tuple[float, float]:
    """Share of effectiveness values within two standard errors, and claimed over true error."""
    ratios = {
        quantity: 1 / np.sqrt(np.mean(stacked(outcomes, quantity) ** 2))
        for quantity in outcomes[0].off
    }
    within = float(np.mean(np.abs(stacked(outcomes, "effectiveness")) < 2))
    print(
        f"\n{name}: seeds {outcomes[0].seed} to {outcomes[-1].seed}: effectiveness within two "
        f"standard errors in {within:.1%}; claimed over true standard errors: "
        + ", ".join(f"{quantity} {ratio:.2f}" for quantity, ratio in ratios.items())
    )
    return within, float(ratios["effectiveness"])


@pytest.mark.usefixtures("campaign")
def test_effectiveness_is_recovered_about_as_surely_as_claimed() -> None:
    """60 tests over all noise: three standard deviations of what so few can show.

    Four vanes a seed are as good as independent.
    """
    outcomes = many_tests(range(12), *KINDS)
    within, ratio = how_sure("all kinds of noise", outcomes)
    vanes = 4 * len(outcomes)
    assert within >= 0.95 - 3 * np.sqrt(0.05 * 0.95 / vanes)
    assert abs(ratio - 1) < 0.2 + 3 * np.sqrt(1 / (2 * vanes))


@pytest.mark.parametrize("kind", list(KINDS))
def test_effectiveness_is_recovered_as_surely_as_the_standard_errors_claim(
    kind: str, size: str
) -> None:
    """500 seeds: within two standard errors in 95 % of them, and claimed errors right to 20 %.

    For noise that hangs together three standard deviations of chance are allowed.
    """
    if size != "long":
        pytest.skip("500 seeds take minutes: run with --long (and -n0 -s to see the figures)")
    within, ratio = how_sure(kind, many_tests(range(500), kind))
    assert within >= 0.95 - (0 if kind in USUAL else 3 * np.sqrt(0.05 * 0.95 / 2000))
    assert abs(ratio - 1) < 0.2


def test_the_slopes_of_the_model_are_its_differences() -> None:
    """For every unknown, bend and ambient among them, away from where the model was set up."""
    blocks = Blocks(made_log(1, VEHICLE, pressure_droop=0.2), VEHICLE)
    unknowns = Unknowns(VEHICLE, blocks.full_load_s, wear_points=3, bend=True, ambient=True)
    rng = np.random.default_rng(7)
    about = unknowns.guess() + 0.05 * unknowns.width * rng.standard_normal(unknowns.size)
    model = StandModel(blocks, unknowns, about)
    x = about + 0.05 * unknowns.width * rng.standard_normal(unknowns.size)
    step = 1e-6 * unknowns.width
    for channel, slope in enumerate(model.slopes(x)):
        for k in range(unknowns.size):
            there = np.eye(unknowns.size)[k] * step[k]
            more, less = model.amounts(x + there)[channel], model.amounts(x - there)[channel]
            expected = (more - less) / (2 * step[k])
            np.testing.assert_allclose(slope[:, k], expected, rtol=1e-6, atol=1e-6)


def test_fewer_rows_a_second_tell_the_same_less_surely() -> None:
    truth, _ = drawn_truth(4, VEHICLE)
    fine = identify(made_log(4, VEHICLE, truth, rate_hz=1000.0), VEHICLE)
    coarse = identify(made_log(4, VEHICLE, truth, rate_hz=100.0), VEHICLE)
    apart = np.abs(fine.value("effectiveness") - coarse.value("effectiveness"))
    assert (apart < 4 * coarse.error("effectiveness")).all()
    assert (coarse.error("effectiveness") > 1.5 * fine.error("effectiveness")).all()


def test_what_was_not_moved_keeps_the_files_value_and_is_named() -> None:
    locked = with_angles(lambda deg: deg * [1, 1, 0, 1])
    found = identify(made_log(2, programme=locked), VEHICLE)
    np.testing.assert_allclose(
        found.value("effectiveness")[:, 2],
        VEHICLE.effectiveness(found.unknowns.load_points_s)[:, 2],
        atol=0.05,
    )
    assert found.told("effectiveness").all(axis=0).tolist() == [True, True, False, True]
    sentences = " ".join(not_told(findings(found)))
    assert "effectiveness at 0 s of burn load, vane 3 (known to ±" in sentences
    assert "clocking, vane 3" in sentences
    assert "vane 1" not in sentences


def test_a_vane_that_sits_still_does_not_spoil_the_others() -> None:
    truth, effectiveness = drawn_truth(6, VEHICLE)
    locked = with_angles(lambda deg: deg * [1, 1, 0, 1])
    found = identify(made_log(6, VEHICLE, truth, locked), VEHICLE)
    off = found.value("effectiveness") - effectiveness(found.unknowns.load_points_s)
    others = np.array([0, 1, 3])
    assert (np.abs(off) < 4 * found.error("effectiveness"))[:, others].all()


def test_thrust_lost_at_rest_and_deflected_are_found() -> None:
    """4 · 120 N at rest, and more at full deflection, which wears with the force it goes with."""
    at_rest, grown = 120.0, np.array([20.0, 10.0, 30.0, 20.0])
    truth = replace(
        truth_of(VEHICLE),
        drag_n=lambda vane, deg, load_s: (
            at_rest + grown[vane] * VEHICLE.effectiveness(load_s)[:, vane] * (deg / 15.0) ** 2
        ),
    )
    found = identify(made_log(8, VEHICLE, truth, noise=QUIET), VEHICLE)
    lost = next(f for f in findings(found) if f.quantity.startswith("thrust lost"))
    assert lost.found == pytest.approx(480.0, abs=3.0)
    np.testing.assert_allclose(found.value("growth_n"), grown, atol=0.3)


def test_a_pressure_that_falls_does_not_read_as_wear() -> None:
    """Forces follow the pressure; a third of it lost by the end must not look like worn vanes."""
    truth, effectiveness = drawn_truth(9, VEHICLE)
    log = made_log(9, VEHICLE, truth, noise=QUIET, pressure_droop=0.33)
    found = identify(log, VEHICLE)
    np.testing.assert_allclose(
        found.value("effectiveness"), effectiveness(found.unknowns.load_points_s), atol=1e-3
    )


def test_a_curve_of_another_shape_is_noticed_and_fitted_when_asked() -> None:
    """The true curve gives 6 % more at the ends of travel than near neutral, against the file's."""
    bent = replace(
        truth_of(VEHICLE),
        force_n=lambda vane, deg, load_s: (
            VEHICLE.effectiveness(load_s)[:, vane]
            * VEHICLE.force_n(vane, deg)
            * (1 + 0.06 * ((deg / 15.0) ** 2 - 0.5))
        ),
    )
    log = made_log(10, VEHICLE, bent)
    sentences = second_look(log, identify(log, VEHICLE))
    assert sum("the force curve is bent otherwise" in sentence for sentence in sentences) == 4
    found = identify(log, VEHICLE, bend=True)
    assert (np.abs(found.value("bend") - 0.06) < 4 * found.error("bend")).all()
    assert found.error("bend").max() < 0.015


def test_a_curve_of_the_files_shape_raises_no_doubt() -> None:
    doubts = []
    for seed in range(4):
        log = made_log(seed, VEHICLE, drawn_truth(seed, VEHICLE)[0])
        doubts += second_look(log, identify(log, VEHICLE))
    assert doubts == []


def test_wear_with_more_shape_than_was_fitted_is_noticed() -> None:
    def wavy(load_s: np.ndarray) -> np.ndarray:
        wave = np.polynomial.Chebyshev([0.95, -0.05, 0, 0.03])(np.asarray(load_s) / 13.0 - 1)
        return wave[:, None] * np.ones(4)

    log = made_log(11, VEHICLE, truth_of(VEHICLE, wavy))
    sentences = second_look(log, identify(log, VEHICLE))
    assert any("try --wear-points 4" in sentence for sentence in sentences)
    assert second_look(log, identify(log, VEHICLE, 4)) == []


def test_a_burn_too_short_to_begin_with_is_refused() -> None:
    log = made_log(0)
    brief = (log.time_s < 0.7) | (log.time_s > 26.5)
    short = replace(
        log,
        time_s=np.arange(brief.sum()) / 200.0,
        pressure_bar=log.pressure_bar[brief],
        vanes_deg=log.vanes_deg[brief],
        loads=log.loads[brief],
    )
    with pytest.raises(IdentifyError, match=r"the steady burn lasts 0\.\d+ s; at least 1 s"):
        identify(short, VEHICLE)


def test_a_burn_too_short_for_its_noise_says_how_much_longer() -> None:
    given = vehicle_on_stand(engine={"burn_time_s": 8.0})
    noisy = StandNoise(FULL_SCALE, noise=1.0, drift=0.5)
    log = made_log(0, given, truth_of(given), plan(given, 8.0), noisy)
    found = identify(log, given)
    with pytest.raises(IdentifyError, match="too short for the noise of the load cells") as caught:
        refuse_if_nothing_told(log, found)
    assert "times as long" in str(caught.value)


def test_a_test_without_movement_is_told_so_rather_than_too_short() -> None:
    log = made_log(0, programme=with_angles(lambda deg: 0 * deg))
    with pytest.raises(IdentifyError, match="vane 1 was never moved"):
        refuse_if_nothing_told(log, identify(log, VEHICLE))


def test_the_same_log_gives_the_same_numbers() -> None:
    log = made_log(12)
    assert (identify(log, VEHICLE).x == identify(log, VEHICLE).x).all()


def test_four_load_cells_good_to_five_figures_do_not_break_the_fit() -> None:
    """Nearly no noise: nothing divides by it, and the errors claimed are as small."""
    nearly_none = StandNoise(FULL_SCALE, noise=1e-9, drift=0.0)
    truth = truth_of(VEHICLE, worn(np.ones(4), np.full(4, 0.05), np.zeros(4)))
    found = identify(made_log(0, VEHICLE, truth, noise=nearly_none), VEHICLE)
    assert np.isfinite(found.x).all()
    assert np.isfinite(found.covariance).all()
    assert found.error("effectiveness").max() < 1e-3
