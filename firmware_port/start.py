"""Putting a node together from a board's wiring.

On a board's `main.py`:

    from firmware_port.boards import rp2
    from firmware_port.start import fly

    fly(rp2)
"""

from firmware_port.hardware import ConsoleLine, RegisterLine, Watchdog, open_clock, open_line
from firmware_port.node import Node
from firmware_port.outputs import PulseOutputs, RecordedPulses
from firmware_port.paced import Paced, PacedClock
from firmware_port.protocol import CYCLES, SAFE
from firmware_port.table_store import TableStore


def fly(wiring):
    """Serve the flight computer with real pulses until it sends STOP."""
    clock, meter, unit = open_clock(wiring)
    pulses = RecordedPulses()
    if wiring.VANE_PINS is not None:
        pulses = PulseOutputs(wiring.VANE_PINS, wiring.SERVO_FRAME_HZ)
    watchdog = None
    if wiring.WATCHDOG_MS is not None:
        watchdog = Watchdog(wiring.WATCHDOG_MS)
    store = TableStore(wiring.TABLES)
    node = Node(open_line(wiring), pulses, clock, meter, store, watchdog)
    _introduce(node, wiring, unit)
    console = wiring.LINK[0] == "console"
    if console:
        _take_control_bytes(True)
    try:
        node.run()
    finally:
        if console:
            _take_control_bytes(False)


def rehearse(wiring, heap="free"):
    """Serve over the prompt's line with time from the link and pulses only recorded.

    No servo moves. heap: "free"; "locked", where a turn outside the safe state that takes heap
    ends the node with MemoryError; "counted", which prints at the end what each cycle took.
    """
    line = ConsoleLine() if wiring.LINK[0] != "registers" else RegisterLine(wiring.LINK[1])
    _, meter, unit = open_clock(wiring)
    node = Node(line, RecordedPulses(), PacedClock(), meter, TableStore(None), None)
    Paced(node)
    _introduce(node, wiring, unit)
    _take_control_bytes(True)
    try:
        if heap == "free":
            node.run()
        elif heap == "locked":
            _run_locked(node)
        else:
            _run_counted(node)
    finally:
        _take_control_bytes(False)


def _introduce(node, wiring, unit):
    node.inquiries.name = wiring.NAME.encode()
    node.inquiries.cost_unit = unit


def _take_control_bytes(taken):
    """A byte of value 3 is data while the node runs, not the interpreter's Ctrl-C."""
    import micropython

    if hasattr(micropython, "kbd_intr"):
        micropython.kbd_intr(-1 if taken else 3)


def _run_locked(node):
    import micropython

    while node.running:
        if node.state == SAFE:
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
        if counting != (node.state != SAFE):
            counting = not counting
            gc.collect() if counting else None
            gc.disable() if counting else gc.enable()
            sign = -1 if counting else 1
            used += sign * gc.mem_alloc()
            cycles += sign * node.counters[CYCLES]
    print(used, cycles)
