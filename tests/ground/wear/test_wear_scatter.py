"""How vanes and burns scatter, against worked examples and by simulation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import f_oneway
from scipy.stats import t as student

from mixer.ground.wear.scatter import (
    ASSUMED,
    Scatter,
    position_p_value,
    satterthwaite,
    scatter_of,
)

# NIST/SEMATECH e-Handbook of Statistical Methods, 7.4.4: five batches of three.
NIST = np.array([[74, 76, 75], [68, 71, 72], [75, 77, 77], [72, 74, 73], [79, 81, 79]], dtype=float)
# Davies & Goldsmith's dyestuff, six batches of five, as in the lme4 package.
DYESTUFF = np.array([
    [1545, 1440, 1440, 1520, 1580], [1540, 1555, 1490, 1560, 1495], [1595, 1550, 1605, 1510, 1560],
    [1445, 1440, 1595, 1465, 1545], [1595, 1630, 1515, 1635, 1625], [1520, 1455, 1450, 1480, 1445],
], dtype=float)  # fmt: skip


def balanced(table: np.ndarray) -> Scatter:
    burns, vanes = table.shape
    return scatter_of(table.ravel(), np.repeat(np.arange(burns), vanes), np.ones(table.size))


@pytest.mark.parametrize(
    ("table", "between", "within", "burn_variance"),
    [
        (NIST, 36.933333, 1.8, 11.711111),
        (DYESTUFF, 11271.5, 2451.25, 1764.05),
    ],
)
def test_variance_components_are_those_of_the_worked_examples(
    table: np.ndarray, between: float, within: float, burn_variance: float
) -> None:
    found = balanced(table)
    assert found.between == pytest.approx(between, rel=1e-7)
    assert found.within == pytest.approx(within, rel=1e-7)
    assert found.burn**2 == pytest.approx(burn_variance, rel=1e-6)
    assert found.vane**2 == pytest.approx(within, rel=1e-7)


@pytest.mark.parametrize(
    ("table", "variance", "freedom", "half"),
    [
        (NIST, 15.97333, 4.663902, 10.50048),
        (DYESTUFF, 4591.017, 13.65448, 145.6702),
    ],
)
def test_prediction_of_one_more_of_a_new_group_is_as_computed_by_hand(
    table: np.ndarray, variance: float, freedom: float, half: float
) -> None:
    """MSB(1/n + 1/an) + MSW(1 − 1/n) with Satterthwaite's freedom; the band's guard for few groups
    only widens it, by less the more groups there are.
    """
    found = balanced(table)
    groups, each = table.shape
    terms = [
        (found.between * (1 / each + 1 / table.size), groups - 1),
        (found.within * (1 - 1 / each), table.size - groups),
    ]
    assert found.new_vane_variance == pytest.approx(variance, rel=1e-6)
    assert satterthwaite(terms) == pytest.approx(freedom, rel=1e-6)
    plain = student.ppf(0.975, satterthwaite(terms)) * np.sqrt(found.new_vane_variance)
    assert plain == pytest.approx(half, rel=1e-6)
    assert plain <= found.half_width < 1.05 * plain


def test_satterthwaite_is_as_in_the_guide_to_uncertainty() -> None:
    """GUM (JCGM 100:2008) G.4.2 note: 0.25, 0.57, 0.82 % with 9, 4, 14 degrees of freedom give 19.

    A part known exactly counts with endless freedom.
    """
    terms = [(0.25**2, 9.0), (0.57**2, 4.0), (0.82**2, 14.0)]
    assert satterthwaite(terms) == pytest.approx(18.99874, rel=1e-6)
    assert satterthwaite([(1.0, np.inf)]) == np.inf
    assert satterthwaite([(1.0, 5.0), (1.0, np.inf)]) == pytest.approx(20.0)


@pytest.mark.parametrize("vanes", [1, 4])
@pytest.mark.parametrize("burns", [2, 3, 6])
@pytest.mark.parametrize("burn_scatter", [0.0, 0.05, 0.1])
@pytest.mark.parametrize("vane_scatter", [0.03, 0.12])
def test_the_band_holds_a_vane_in_a_new_burn_in_93_of_100_and_more(
    vanes: int, burns: int, burn_scatter: float, vane_scatter: float, full_size: bool
) -> None:
    """2000 inspections each, two standard deviations of the count."""
    seed = 100 * burns + vanes
    random = np.random.default_rng(seed)
    inspections, caught = 2000 if full_size else 500, 0
    burn = np.repeat(np.arange(burns), vanes)
    for _ in range(inspections):
        of_burn = burn_scatter * random.standard_normal(burns)
        factor = 1.0 + of_burn[burn] + vane_scatter * random.standard_normal(len(burn))
        half = scatter_of(factor, burn, np.ones(len(burn))).half_width
        new = 1.0 + burn_scatter * random.standard_normal() + vane_scatter * random.normal()
        caught += abs(new - factor.mean()) <= half
    print(f"seed {seed}: {caught / inspections:.3f}")
    assert caught / inspections >= 0.93 - 2 * np.sqrt(0.93 * 0.07 / inspections)


@pytest.mark.parametrize("burn_scatter", [0.0, 0.05, 0.1])
def test_one_burn_holds_93_of_100_and_more_up_to_the_scatter_that_was_assumed(
    burn_scatter: float,
) -> None:
    random = np.random.default_rng(7)
    inspections, caught = 4000, 0
    for _ in range(inspections):
        factor = 1.0 + burn_scatter * random.normal() + 0.1 * random.standard_normal(4)
        half = scatter_of(factor, np.ones(4), np.ones(4)).half_width
        new = 1.0 + burn_scatter * random.normal() + 0.1 * random.normal()
        caught += abs(new - factor.mean()) <= half
    print(f"seed 7: {caught / inspections:.3f}")
    assert burn_scatter <= ASSUMED
    assert caught / inspections >= 0.93


def test_burns_that_weigh_unequally_in_the_mean_still_hold_93_of_100() -> None:
    """One burn three times as long as the others counts nine times in the fitted rate; one vane was
    lost.
    """
    random = np.random.default_rng(3)
    burn = np.array([1, 1, 1, 1, 2, 2, 2, 3, 3, 3, 3])
    weight = np.where(burn == 2, 9.0, 1.0)
    inspections, caught = 4000, 0
    for _ in range(inspections):
        factor = 1.0 + 0.08 * random.standard_normal(3)[burn - 1] + 0.05 * random.normal(size=11)
        mean = float(np.average(factor, weights=weight))
        new = 1.0 + 0.08 * random.normal() + 0.05 * random.normal()
        caught += abs(new - mean) <= scatter_of(factor, burn, weight).half_width
    print(f"seed 3: {caught / inspections:.3f}")
    assert caught / inspections >= 0.93 - 4 * np.sqrt(0.93 * 0.07 / inspections)


@given(st.integers(0, 10**6), st.lists(st.integers(1, 4), min_size=2, max_size=6))
def test_any_layout_has_a_band_and_matches_the_analysis_of_variance(
    seed: int, counts: list[int]
) -> None:
    """MSB over MSW is the F of a general one-way analysis (SciPy) wherever there is one."""
    random = np.random.default_rng(seed)
    burn = np.repeat(np.arange(len(counts)), counts)
    factor = 1.0 + 0.1 * random.standard_normal(len(burn))
    found = scatter_of(factor, burn, random.uniform(0.1, 2.0, len(burn)))
    assert np.isfinite(found.half_width) and found.half_width > 0
    if max(counts) > 1:
        groups = [factor[burn == number] for number in range(len(counts))]
        assert found.between / found.within == pytest.approx(f_oneway(*groups).statistic)


def test_positions_are_judged_with_the_burn_as_block() -> None:
    """Positions 6 % apart in burns 20 % apart: told, although burns scatter more than positions."""
    random = np.random.default_rng(11)
    burn, vane = np.repeat(np.arange(4), 4), np.tile([1, 2, 3, 4], 4)
    factor = 1 + 0.2 * random.standard_normal(4)[burn] + 0.06 * (vane == 3)
    factor = factor + 0.01 * random.standard_normal(16)
    told = position_p_value(factor, burn, vane)
    assert told is not None and told < 0.001
    assert position_p_value(factor[:4], burn[:4], vane[:4]) is None


def test_positions_that_are_alike_look_unlike_as_often_as_the_p_value_says() -> None:
    """Burns scatter by 10 %: seeds 0 to 999, p below 0.05 in 5 %."""
    burn, vane = np.repeat(np.arange(3), 4), np.tile([1, 2, 3, 4], 3)
    below = 0
    for seed in range(1000):
        random = np.random.default_rng(seed)
        factor = 1 + 0.1 * random.standard_normal(3)[burn] + 0.03 * random.standard_normal(12)
        chance = position_p_value(factor, burn, vane)
        below += chance is not None and chance < 0.05
    assert abs(below / 1000 - 0.05) < 4 * np.sqrt(0.05 * 0.95 / 1000)
