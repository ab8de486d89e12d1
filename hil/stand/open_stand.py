"""Opening what a programme is played on: a board by name with the stand's node, or one here."""

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from firmware_port.stand.rehearsed import rehearsed
from hil.boards.firmware import Say
from hil.boards.node_on_board import loaded_node
from hil.boards.open_board import IN_PROCESS, REHEARSING
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink
from hil.node.patience import patience
from hil.stand.player import Player
from hil.stand.rehearsal import EmulatedVanes
from mixer.ground.tables.build import flight_tables
from mixer.ground.vehicle.vehicle import Vehicle

ANSWER_S, EMULATED_ANSWER_S = 0.3, 20.0  # of the second in which the node waits, or of patience


@dataclass(frozen=True)
class StandNode:
    """A node with the vehicle's tables. vanes: emulated ones, None with real ones. tables_crc: of
    the tables that it has, by its own word.
    """

    player: Player
    vanes: EmulatedVanes | None
    tables_crc: int
    board: str


@contextlib.contextmanager
def stand_node(
    name: str,
    vehicle: Vehicle,
    seed: int,
    *,
    sensors: bool = True,
    firmware: Path | None = None,
    wiring: str = "rp2",
    say: Say = lambda text: None,
) -> Iterator[StandNode]:
    """The board of that name, playing nothing yet.

    name: none (the node in this process), unix, emulated, or the port of a real board. CAUTION: on
    a real board vanes move once a play begins.
    """
    tables = flight_tables(vehicle).to_bytes()
    vanes = EmulatedVanes(vehicle, seed, sensors) if name in REHEARSING else None
    if name == IN_PROCESS:
        here = Loopback()
        rehearsed(here.node)
        link = NodeLink(here)
        link.load_tables(tables)
        yield node_of(link, vanes)
        return
    start = "rehearse_stand" if vanes else "stand"
    timeout_s = patience(EMULATED_ANSWER_S if vanes else ANSWER_S)
    given = {"firmware": firmware, "wiring": wiring, "say": say}
    with loaded_node(name, start, tables, timeout_s, stand=True, **given) as (there, link):
        try:
            yield node_of(link, vanes)
        finally:
            with contextlib.suppress(Exception):
                link.stop()
                there.link.finish()


def node_of(link: NodeLink, vanes: EmulatedVanes | None) -> StandNode:
    """A node whose tables are loaded; where time comes over the link some passes, so that its
    vanes are seen to rest.
    """
    player = Player(link, None if vanes is None else lambda: vanes.let_pass(link))
    if vanes is not None:
        for _ in range(3):
            vanes.let_pass(link)
    board, _, crc = link.identify()
    return StandNode(player, vanes, crc, board)
