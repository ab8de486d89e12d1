"""Where the instructions of a `Steering.step` go, kernel by kernel, on the emulated board."""

from collections.abc import Iterable
from dataclasses import dataclass

from hil.instructions import InstructionCounter, instructions
from mixer.flight import KERNELS, FlightTables

CHUNK = 192
AROUND = ("schedule", "box", "deflect")  # the step's kernels that are no part of the allocator
Row = tuple[int, int, int, int, int]  # dt µs, pitch, yaw, roll mN·m, pressure Pa


@dataclass(frozen=True)
class StepCost:
    """Instructions of one step: all of it, and each kernel that ran. flags: as the step gave."""

    row: Row
    flags: int
    total: int
    kernels: dict[str, int]

    @property
    def allocator(self) -> int:
        """The allocation alone: what lies between the force box and the deflections."""
        return sum(cost for name, cost in self.kernels.items() if name not in AROUND)


def profile_steps(
    counter: InstructionCounter, tables: FlightTables, rows: Iterable[Row]
) -> list[StepCost]:
    """Fly rows of demands on a counting board, each once whole and once kernel by kernel."""
    blob = tables.to_bytes()
    counter.run(f"blob = bytearray({len(blob)})")
    for start in range(0, len(blob), CHUNK):
        chunk = blob[start : start + CHUNK]
        counter.run(f"blob[{start}:{start + len(chunk)}] = {chunk!r}")
    counter.run(_SET_UP.format(names=KERNELS))
    costs = []
    for row in rows:
        dt_us, pitch, yaw, roll, pressure_pa = row
        said = counter.run(f"profile({dt_us}, {pitch}, {yaw}, {roll}, {pressure_pa})").split()
        flags, total, *ticks = map(int, said)
        kernels = {
            name: instructions(spent)
            for name, spent in zip(KERNELS, ticks, strict=True)
            if spent >= 0
        }
        costs.append(StepCost(row, flags, instructions(total), kernels))
    return costs


# Two steerings fly the same rows: one as it is, one with every kernel timed from outside.
_SET_UP = """
tables = whole = parts = None
gc.collect()
from mixer.flight import FlightTables, Steering
import mixer.flight.steering as module
tables = FlightTables.from_bytes(blob)
del blob
whole = Steering(tables)
parts = Steering(tables)
names = {names}
spent = [-1] * len(names)
def timed(index, kernel, mem=machine.mem32):
    def run(w):
        first = mem[0x40000004]
        result = kernel(w)
        spent[index] = (first - mem[0x40000004]) & 0x3fffffff
        return result
    def run_timed(w, dt_us, pressure_pa):
        first = mem[0x40000004]
        result = kernel(w, dt_us, pressure_pa)
        spent[index] = (first - mem[0x40000004]) & 0x3fffffff
        return result
    return run_timed if names[index] == "schedule" else run
found = [name for name in names if hasattr(module, name)]
plain = [getattr(module, name) for name in found]
wrapped = [timed(names.index(name), getattr(module, name)) for name in found]
def use(kernels):
    for name, kernel in zip(found, kernels):
        setattr(module, name, kernel)
def profile(dt, pitch, yaw, roll, pressure, mem=machine.mem32):
    whole.demand(pitch, yaw, roll)
    first = mem[0x40000004]
    flags = whole.step(pressure, dt)
    total = ((first - mem[0x40000004]) & 0x3fffffff) - _idle
    use(wrapped)
    for i in range(len(spent)):
        spent[i] = -1
    parts.demand(pitch, yaw, roll)
    parts.step(pressure, dt)
    use(plain)
    print(flags, total, *[s - _idle if s >= 0 else s for s in spent])
"""
