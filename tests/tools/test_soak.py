"""A short soak of the node; a long one is `python -m tests.tools.soak`, 10⁷ cycles by default."""

from collections.abc import Callable

import pytest

from tests.support.ticks import LARGE_WRAP, SMALL_WRAP
from tests.tools.soak import soak

CYCLES = {"long": 1_000_000, "ci": 100_000}


@pytest.mark.usefixtures("campaign")
@pytest.mark.parametrize("wrap_us", [SMALL_WRAP, LARGE_WRAP])
def test_after_days_of_a_bad_line_a_node_does_what_it_did_at_the_start(
    wrap_us: int, size: str, record_property: Callable[[str, object], None]
) -> None:
    """Through wraps of ticks and sequence numbers, and burn times at their ceiling."""
    done = soak(CYCLES[size], 7, wrap_us)
    record_property("shown", f"seed 7, ticks of {wrap_us} µs: {done}")
    assert done.tick_wraps and done.sequence_wraps and done.ceilings
    assert done.grown_blocks < 20
    assert {"taken", "not-armed", "stale", "repeated", "not-now"} <= set(done.answers)
