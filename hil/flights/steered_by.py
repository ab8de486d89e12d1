"""Who steers a simulated flight: the flight core on this computer, or on a board."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from hil.faults.wrong_tables import believed, in_tables
from hil.flights.fly import Flight, MakeSteering, laptop
from hil.steering.steering_block import SteeringBlock
from mixer.ground.tables.build import flight_tables
from mixer.ground.vehicle.vehicle import Vehicle

BOARD_HELP = (
    "Where the flight core runs: none (this computer), unix, emulated, or the port of a board, "
    "such as /dev/ttyACM0 or COM3."
)


@dataclass(frozen=True)
class Steered:
    """make: what makes the steering of a flight. name: for the report. counters: the node's, none
    for this computer.
    """

    make: MakeSteering
    name: str
    counters: Callable[[], dict[str, int]]


@contextmanager
def steered_by(board: str) -> Iterator[Steered]:
    """The flight core where `board` says. BoardError where there is none."""
    if board == "none":
        yield Steered(laptop, "the flight core on this computer", dict)
        return
    from hil.steering.board_block import BoardBlock, rehearsing  # needs the board's own libraries

    with rehearsing(board) as (node, machine):

        def on_board(vehicle: Vehicle, flights: Sequence[Flight]) -> SteeringBlock:
            (flight,) = flights  # one line, one flight
            tables = flight_tables(believed(vehicle, in_tables(flight.faults)))
            return BoardBlock(node, tables)

        name = f"the flight core on {board} ({machine}), every cycle over its line"
        yield Steered(on_board, name, node.counters)
