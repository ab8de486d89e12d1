"""How the figures of many flights are spread: quantiles, the worst flights, limits, the page."""

import numpy as np
import pytest

from hil.campaigns.campaign import Spread
from hil.campaigns.campaign_report import page, verdict
from tests.support.flying import TINY, flying_vehicle


def spread_of(values, limit=None, much_is_bad=True):
    seeds = np.arange(100, 100 + len(values))
    return Spread("attitude_error_deg", "deg", much_is_bad, np.array(values), seeds, limit)


def test_the_worst_flights_come_first_and_those_never_judged_before_all():
    spread = spread_of([1.0, 9.0, float("nan"), 5.0, 7.0, 2.0, 3.0])
    assert [int(spread.seeds[row]) for row in spread.worst] == [102, 101, 104, 103, 106]
    low = spread_of([30.0, -5.0, 60.0], much_is_bad=False)
    assert [int(low.seeds[row]) for row in low.worst] == [101, 100, 102]


@pytest.mark.parametrize(("flights", "told"), [(1, 1), (9, 1), (10, 2), (99, 2), (100, 3)])
def test_one_percent_is_told_of_a_hundred_flights_and_more_only(flights, told):
    quantiles = spread_of(np.arange(float(flights))).quantiles
    assert np.isfinite(quantiles).tolist() == [n < told for n in range(3)]


def test_quantiles_go_towards_the_bad_end():
    values = np.arange(101.0)
    assert spread_of(values).quantiles == pytest.approx([50.0, 90.0, 99.0])
    assert spread_of(values, much_is_bad=False).quantiles == pytest.approx([50.0, 10.0, 1.0])


def test_flights_that_break_the_limit_are_counted():
    assert spread_of([1.0, 9.0, float("nan"), 5.0], limit=4.0).failed == 3
    assert spread_of([1.0, 9.0, 5.0], limit=4.0, much_is_bad=False).failed == 1
    assert spread_of([1.0, 9.0]).failed == 0
    assert verdict([spread_of([1.0, 9.0], limit=4.0)], 2).outcome == "fail"
    assert verdict([spread_of([1.0, 3.0], limit=4.0)], 2).outcome == "pass"
    assert verdict([spread_of([1.0, 3.0], limit=None)], 2).outcome == "open"


def test_the_page_names_the_worst_flights_by_seed():
    vehicle = flying_vehicle(TINY)
    text = page(vehicle, [spread_of([1.0, 9.0, 5.0], limit=4.0)], 100, "somewhere")
    assert "fourvane ascent vehicle.toml --seed 101" in text
