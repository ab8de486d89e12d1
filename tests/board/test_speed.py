"""How many demands a board's serial line answers in a second. Needs the computer for itself:

pytest -n0 tests/board/test_speed.py
"""

import os
from collections.abc import Callable

import pytest

from hil.boards.open_board import open_board
from hil.verify.verify import verify
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

ROUND_TRIPS_PER_S = 800
ALONE = "PYTEST_XDIST_WORKER" not in os.environ


@pytest.mark.skipif(not ALONE, reason="needs the computer for itself: pytest -n0 on this file")
def test_the_line_carries_800_round_trips_a_second(
    board_name: str, record_property: Callable[[str, object], None]
) -> None:
    """In the median of windows of 250; the emulator takes two threads of its own."""
    with open_board(board_name) as board:
        found = verify(board, flight_tables(vehicle()), name=board_name, cycles=240, seeds=1)
    record_property(
        "shown",
        f"{board_name}: {found.round_trips_per_s:.0f} round trips a second in the median window, "
        f"{found.best_round_trips_per_s:.0f} in the best",
    )
    assert found.round_trips_per_s >= ROUND_TRIPS_PER_S
