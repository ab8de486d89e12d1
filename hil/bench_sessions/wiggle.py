"""The wiggle check: is each servo plugged in where it belongs, and does it turn the right way?

One vane at a time is led out to a positive deflection and back, by the board's own tables. What
should be seen is said, what was seen is asked, and both are compared. An angle sensor can be
swapped along with its servo; only an eye on the vanes tells for certain.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

from hil.bench.board_port import BoardPort
from hil.emulated_servos.servo import EmulatedServo
from mixer.ground.vehicle.vehicle import Vehicle

Turn = Literal["clockwise", "counter-clockwise", "none"]

SHARE_OF_TRAVEL = 0.6
TIMES = 2
PAUSE_S = 0.6
LEAST_DEG = 1.0


@dataclass(frozen=True)
class Seen:
    """What an onlooker saw: the vane that moved (0: none) and which way it went first."""

    vane: int
    turn: Turn


class Onlooker(Protocol):
    """Whoever watches the vanes: told what to expect, shown the vane away, asked what it was."""

    def expect(self, text: str) -> None: ...
    def look(self) -> None: ...
    def saw(self) -> Seen: ...


@dataclass(frozen=True)
class WiggleRow:
    """One servo: the deflection it was led to, and what was seen."""

    servo: int
    deflection_deg: float
    seen: Seen

    @property
    def expected(self) -> Turn:
        return "clockwise" if self.deflection_deg > 0 else "counter-clockwise"

    @property
    def finding(self) -> str:
        """What is wrong, in words; empty where all is right."""
        if self.seen.vane == 0 or self.seen.turn == "none":
            return "did not move: plug, supply, horn"
        if self.seen.vane != self.servo:
            turned = "" if self.seen.turn == self.expected else ", and it turns the wrong way"
            return f"vane {self.seen.vane} moved instead: plugs swapped{turned}"
        if self.seen.turn != self.expected:
            return "turns the wrong way: reversed"
        return ""


def wiggle(
    port: BoardPort, vehicle: Vehicle, servos: Sequence[int], onlooker: Onlooker
) -> list[WiggleRow]:
    """Move one vane after the other; whatever happens, all are at neutral afterwards."""
    rows = []
    try:
        for servo in servos:
            low, high = vehicle.vanes.travel_deg[servo - 1]
            deflection_deg = float(high if high >= -low else low) * SHARE_OF_TRAVEL
            expected = WiggleRow(servo, deflection_deg, Seen(0, "none")).expected
            clocking_deg = vehicle.layout.clocking_deg[servo - 1]
            onlooker.expect(
                f"vane {servo} (clocking {clocking_deg:g} deg) should turn {expected} first, "
                f"by {abs(deflection_deg):.0f} deg, seen from outside along its shaft",
            )
            for _ in range(TIMES):
                port.turn(servo, deflection_deg)
                port.wait(PAUSE_S)
                onlooker.look()
                port.turn(servo, 0.0)
                port.wait(PAUSE_S)
            rows.append(WiggleRow(servo, deflection_deg, onlooker.saw()))
        return rows
    finally:
        port.neutral()


class ModelOnlooker:
    """Watches emulated servos, given in the order of the vanes they turn."""

    def __init__(self, servos: Sequence[EmulatedServo], say: Callable[[str], None]) -> None:
        self._servos, self._say = servos, say
        self._start_deg: list[float] = []
        self._away_deg: list[float] = []

    def expect(self, text: str) -> None:
        self._say(text)
        self._start_deg = [servo.vane_deg for servo in self._servos]

    def look(self) -> None:
        self._away_deg = [servo.vane_deg for servo in self._servos]

    def saw(self) -> Seen:
        by_deg = [away - at for away, at in zip(self._away_deg, self._start_deg, strict=True)]
        moved = max(range(len(by_deg)), key=lambda i: abs(by_deg[i]))
        if abs(by_deg[moved]) < LEAST_DEG:
            return Seen(0, "none")
        return Seen(moved + 1, "clockwise" if by_deg[moved] > 0 else "counter-clockwise")
