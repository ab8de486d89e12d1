"""Starting the stand's node on a board, over the line that carries the prompt.

CAUTION: `stand` moves real vanes by itself, on a test stand where an engine may burn. People behind
cover, hands off; the stand's rules and local law first.

Wiring, beside what every board has: STAND, None or (pin of the sync output, pin of the input that
starts a play), either None; SUPPLY as for the bench; VANE_ANGLES as in flight.
"""

from firmware_port.hardware import open_clock, open_console
from firmware_port.node import Node
from firmware_port.outputs import RecordedPulses, open_pulses
from firmware_port.paced import PacedClock
from firmware_port.serving import serve
from firmware_port.stand.play import Play
from firmware_port.stand.rehearsed import rehearsed
from firmware_port.table_store import TableStore


def stand(wiring):
    """Real time and real pulses; tables stay in memory, those that fly are not touched."""
    from firmware_port.angle_encoder import open_supply  # a rehearsal does without their memory
    from firmware_port.start import open_vane_angles

    def make():
        clock, meter, _ = open_clock(wiring)
        pulses = open_pulses(wiring)
        store = TableStore(None)
        angles = open_vane_angles(wiring)
        node = Node(open_console(wiring), pulses, clock, meter, store, None, None, angles)
        Play(node, open_supply(wiring), *open_stand(wiring))
        return node

    serve(make, Node.run)


def rehearse_stand(wiring):
    """Time and angles come over the link and pulses are only recorded: no servo moves."""

    def make():
        _, meter, _ = open_clock(wiring)
        line = open_console(wiring)
        node = Node(line, RecordedPulses(), PacedClock(), meter, TableStore(None), None)
        rehearsed(node)
        return node

    serve(make, Node.run)


def open_stand(wiring):
    """The pins of the sync output and of the input that starts a play; None for each without."""
    described = getattr(wiring, "STAND", None)
    if described is None:
        return None, None
    import machine

    sync, trigger = described
    return (
        None if sync is None else machine.Pin(sync, machine.Pin.OUT, value=0),
        None if trigger is None else machine.Pin(trigger, machine.Pin.IN, machine.Pin.PULL_DOWN),
    )
