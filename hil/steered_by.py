"""Who steers a simulated flight: the flight core on this computer, or on a board."""

from collections.abc import Iterator
from contextlib import contextmanager

from hil.fleet import MakeSteering, laptop

BOARD_HELP = (
    "Where the flight core runs: none (this computer), unix, emulated, or the port of a board, "
    "such as /dev/ttyACM0 or COM3."
)


@contextmanager
def steered_by(board: str) -> Iterator[tuple[MakeSteering, str]]:
    """What makes the steering of a flight, and its name for the report."""
    if board == "none":
        yield laptop, "the flight core on this computer"
        return
    raise NotImplementedError
