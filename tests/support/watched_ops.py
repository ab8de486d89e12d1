"""Operations for the C library in which angle sensors speak: true, stuck, silent and wild ones.

What the sensors say hangs on what the steering commands, so a Python steering is told the same.
"""

from random import Random

from mixer.flight import FlightTables, Steering
from mixer.flight import layout as at
from tests.support.c_library import (
    DEMAND,
    FREE,
    JAM,
    SENSED,
    STEP,
    TRUST,
    WATCH,
    Op,
    done_in_python,
)

STRETCH = 30  # cycles in which each sensor keeps to its way
LARGEST_VANES = 1024  # the largest demand taken, in forces of the largest vane, is about this
WAYS = ("true", "true", "true", "stuck", "stuck", "silent", "wild", "far")
SLIPPING = ("true", "stuck", "slips")
SLIP_MDEG = 2_500  # away from the command, in every other cycle; between them nothing is said


def watched_operations(
    tables: FlightTables, cycles: int, seed: int, ways_there_are: tuple[str, ...] = WAYS
) -> list[Op]:
    """The same for the same tables and seed; each cycle ends in a STEP."""
    random, steering = Random(seed), Steering(tables)
    most_mnm = tables.words[at.MNM_MAX] // LARGEST_VANES + 1
    ops: list[Op] = []

    def tell(*op: int) -> None:
        ops.append(op)
        done_in_python(steering, op)

    ways = ["true"] * at.VANES
    said, stands = [0] * at.VANES, [0] * at.VANES
    for n in range(cycles):
        if n % STRETCH == 0 and n > STRETCH:
            ways = [random.choice(ways_there_are) for _ in range(at.VANES)]
            if random.random() < 0.2:
                vane = random.randint(1, at.VANES)
                tell(*random.choice(((JAM, vane, 0), (FREE, vane))))
        if n % STRETCH == STRETCH - 2 and random.random() < 0.5:
            trusted = random.randint(0, 15)
            tell(*random.choice(((WATCH, 0), (WATCH, 1), (WATCH, 1), (TRUST, trusted))))
        if n % 10 == 0:
            tell(DEMAND, *(random.choice((-2, -1, 0, 1, 2)) * most_mnm for _ in range(2)), 0)
        for vane, way in enumerate(ways):
            own = steering.deflection_mdeg[vane]
            stands[vane] = {
                "stuck": stands[vane],
                "slips": stands[vane] + n % 2 * (SLIP_MDEG if stands[vane] > own else -SLIP_MDEG),
            }.get(way, own)
            said[vane] = {
                "true": own,
                "stuck": stands[vane],
                "slips": stands[vane] if n % 2 else at.NO_READING,
                "silent": at.NO_READING,
                "wild": random.randint(-20_000, 20_000),
                "far": own + 2_000,
            }[way]
        tell(SENSED, *said)
        tell(STEP, tables.words[at.PA_MAX] // 2, tables.words[at.PERIOD_US])
    return ops
