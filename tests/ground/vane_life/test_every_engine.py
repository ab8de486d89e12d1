"""Life and strength of graphite over engines of every kind: no crash, and right with pressure."""

import numpy as np
import pytest

from mixer.ground.drawn_vane.geometry import WornEdge
from mixer.ground.drawn_vane.vane_forces import computed_curve
from mixer.ground.vane_life.life import vane_life
from mixer.ground.vane_life.strength import bending
from tests.support.drawn_vane import in_proportion

# Specific heat ratio, expansion ratio, thrust at 20 bar.
ENGINES = [(1.13, 1.3, 500.0), (1.3, 12.0, 50_000.0), (1.3, 1.3, 2000.0), (1.13, 12.0, 10_000.0)]
BARS = (5.0, 20.0, 60.0)


@pytest.mark.usefixtures("campaign")
@pytest.mark.parametrize("engine", ENGINES, ids=str)
def test_more_pressure_takes_more_of_the_face_and_bends_harder(
    engine: tuple[float, float, float], size: str
) -> None:
    """Film and reactions go with pressure, and so does the force."""
    if engine is not ENGINES[0] and size != "long":
        pytest.skip("the other engines with --long")
    nozzle_at, geometry = in_proportion(*engine, ambient_pressure_bar=0.0)
    lost_mm, stress_mpa = [], []
    for bar in BARS:
        jet = nozzle_at(bar)
        life = vane_life(geometry, jet, horizon_s=20.0)
        assert life.low_s <= life.life_s <= life.high_s
        curve = computed_curve(geometry, jet, (-10.0, 10.0), step_deg=10.0)
        new = WornEdge(np.array([0.0, geometry.span_mm]), np.zeros(2))
        lost_mm.append(life.face_mm_at(5.0))
        stress_mpa.append(bending(geometry, [curve], [new], np.array([293.0]))[0].stress_mpa[0])
    assert np.isfinite([*lost_mm, *stress_mpa]).all()
    assert 0 <= lost_mm[0] < lost_mm[1] < lost_mm[2]
    assert 0 < stress_mpa[0] < stress_mpa[1] < stress_mpa[2]
