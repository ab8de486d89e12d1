"""Putting a node together from a board's wiring.

On a board's `main.py`:

    from firmware_port.boards import rp2
    from firmware_port.start import fly

    fly(rp2)
"""

from firmware_port.hardware import (
    Watchdog,
    open_clock,
    open_console,
    open_line,
    shares_the_prompt,
)
from firmware_port.node import Node
from firmware_port.outputs import RecordedPulses, open_pulses
from firmware_port.paced import AT_REST_MS, Paced, PacedClock
from firmware_port.protocol import CYCLES, SAFE
from firmware_port.serving import Console, serve
from firmware_port.table_store import TableStore


def fly(wiring):
    """Serve the flight computer with real pulses until it sends STOP.

    Where the line is not the prompt's, Ctrl-C at the prompt ends the node too, in the safe state.
    """
    watchdog = None
    if wiring.WATCHDOG_MS is not None:
        watchdog = Watchdog(wiring.WATCHDOG_MS)

    def make():
        clock, meter, unit = open_clock(wiring)
        store = TableStore(wiring.TABLES)
        console = None if shares_the_prompt(wiring) else Console()
        pulses = open_pulses(wiring)
        line = open_line(wiring)
        angles = open_vane_angles(wiring)
        node = Node(line, pulses, clock, meter, store, watchdog, console, angles, _recorder())
        return _named(node, wiring, unit)

    serve(make, Node.run)
    if watchdog is not None:
        watchdog.ease()


def open_vane_angles(wiring):
    """The angle sensors of a wiring; a board without them does without their code's memory."""
    if getattr(wiring, "VANE_ANGLES", None) is None:
        return None
    from firmware_port.vane_angles import open_angles

    return open_angles(wiring)


def _recorder():
    """The record of a flight; None on a board that was given no code for one, to spare memory."""
    try:
        from firmware_port.recorder import Recorder  # a rehearsal does without its memory
    except ImportError:
        return None
    return Recorder()


def rehearse(wiring, heap="free", record=False):
    """Serve over the prompt's line with time from the link and pulses only recorded.

    No servo moves. heap: "free"; "locked", where a turn outside the safe state that takes heap
    ends the node with MemoryError; "counted", which prints at the end what each cycle took.
    record: whether the node keeps the record of a flight.
    """

    def make():
        _, meter, unit = open_clock(wiring)
        line = open_console(wiring, AT_REST_MS)
        recorder = _recorder() if record else None
        node = Node(
            line, RecordedPulses(), PacedClock(), meter, TableStore(None), recorder=recorder
        )
        Paced(node)
        return _named(node, wiring, unit)

    serve(make, {"free": Node.run, "locked": _run_locked, "counted": _run_counted}[heap])


def _named(node, wiring, unit):
    node.inquiries.name = wiring.NAME.encode()
    node.inquiries.cost_unit = unit
    return node


def _run_locked(node):
    import micropython

    while node.running:
        if node.control.state == SAFE:
            node.turn()
        else:
            micropython.heap_lock()
            try:
                node.turn()
            finally:
                micropython.heap_unlock()


def _run_counted(node):
    import gc

    used = cycles = 0
    counting = False
    while node.running:
        node.turn()
        if counting != (node.control.state != SAFE):
            counting = not counting
            gc.collect() if counting else None
            gc.disable() if counting else gc.enable()
            sign = -1 if counting else 1
            used += sign * gc.mem_alloc()
            cycles += sign * node.control.counters[CYCLES]
    print(used, cycles)
