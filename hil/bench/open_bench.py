"""Opening what a bench runs on: a board by name with the bench's node on it, or the node here."""

import contextlib
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from firmware_port.bench.motion import Bench
from hil.bench.board_port import HOLD_MS, BoardPort
from hil.bench.port import Scale
from hil.boards.firmware import Say
from hil.boards.node_on_board import loaded_node
from hil.boards.open_board import IN_PROCESS, REHEARSING
from hil.emulated_servos.servo import EmulatedServo
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink
from hil.node.patience import patience
from mixer.ground.tables.build import flight_tables
from mixer.ground.vehicle.vehicle import Vehicle

ANSWER_S = 2.0
EMULATED_ANSWER_S = 20.0  # a busy computer may leave an emulated board waiting; nothing moves


@contextlib.contextmanager
def bench_board(
    name: str,
    vehicle: Vehicle,
    *,
    servos: Sequence[EmulatedServo],
    scales: Sequence[Scale] | None = None,
    ask: Callable[[str], None] | None = None,
    hold_ms: int = HOLD_MS,
    firmware: Path | None = None,
    wiring: str = "rp2",
    say: Say = lambda text: None,
) -> Iterator[BoardPort]:
    """A bench port on the board of that name, with the vehicle's tables loaded.

    name: none (the node in this process), unix, emulated, or the port of a real board. servos:
    emulated ones for the first three. wiring: of a real board. CAUTION: on a real board servos
    move.
    """
    neutral_us = [servo.neutral_us for servo in vehicle.servos]
    tables = flight_tables(vehicle).to_bytes()
    emulated = list(servos) if name in REHEARSING else None
    options = {"servos": emulated, "scales": scales, "ask": ask, "hold_ms": hold_ms}
    if name == IN_PROCESS:
        here = Loopback()
        Bench(here.node)
        link = NodeLink(here)
        link.load_tables(tables)
        yield BoardPort(link, neutral_us, **options)
        return
    start = "rehearse_bench" if emulated else "bench"
    timeout_s = patience(EMULATED_ANSWER_S if emulated else ANSWER_S)
    given = {"firmware": firmware, "wiring": wiring, "say": say}
    with loaded_node(name, start, tables, timeout_s, bench=True, **given) as (there, link):
        port = BoardPort(link, neutral_us, **options)
        try:
            yield port
        finally:
            port.neutral()
            port.close()
            with contextlib.suppress(Exception):
                there.link.finish()
