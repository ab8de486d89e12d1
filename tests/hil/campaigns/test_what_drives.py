"""Which of a campaign's inputs drives a figure."""

import numpy as np
import pytest

from hil.campaigns.what_drives import FEWEST, drivers
from hil.rocket.dispersion import drawn, side_by_side
from tests.support.flying import flying_vehicle


@pytest.fixture(scope="module")
def truth():
    vehicle = flying_vehicle()
    return side_by_side([drawn(vehicle, seed) for seed in range(60)])


def test_the_input_that_a_figure_follows_comes_first_with_its_sign(truth):
    rising = drivers(truth, truth.mass_alike[0] ** 3)
    assert (rising[0].name, rising[0].correlation) == ("mass", pytest.approx(1.0))
    falling = drivers(truth, -np.hypot(*truth.wind_m_s))
    assert (falling[0].name, falling[0].correlation) == ("wind", pytest.approx(-1.0))


def test_flights_that_were_not_judged_are_left_out(truth):
    figure = truth.mass_alike[0].copy()
    figure[::3] = np.nan
    assert drivers(truth, figure)[0].correlation == pytest.approx(1.0)


def test_of_few_flights_nothing_is_told(truth):
    figure = truth.mass_alike[0].copy()
    figure[FEWEST - 1 :] = np.nan
    assert drivers(truth, figure) == []
