"""What can go wrong in a flight, as data: a kind, the vane, when, and how much."""

from dataclasses import dataclass
from typing import Literal

Kind = Literal[
    "jam",
    "jam-in-place",
    "lost-vane",
    "slow-servo",
    "swapped-servos",
    "reversed-servo",
    "wear-table",
    "clocking-sign",
    "pressure",
    "pressure-frozen",
    "pressure-full-scale",
    "pressure-intermittent",
    "pressure-noise",
    "pressure-bias",
    "pressure-slow",
    "link-dropout",
    "link-damage",
    "board-reset",
    "late-cycles",
]

# Wrong from the day the module was put together; when the flight begins makes no difference.
BUILT_IN: frozenset[Kind] = frozenset(
    {
        "swapped-servos",
        "reversed-servo",
        "wear-table",
        "clocking-sign",
        "pressure-noise",
        "pressure-bias",
        "pressure-slow",
    }
)


@dataclass(frozen=True)
class Fault:
    """One thing that goes wrong.

    vane: 1 to 4, 0 where no single vane is meant.
    time_s: when it begins; without meaning for a kind of `BUILT_IN`.
    lasts_s: for how long; infinity: to the end.
    value: by kind. jam: true vane angle in deg that it is driven to. slow-servo: share of slew
    and of speed left. swapped-servos: the other vane. wear-table: believed loss of effectiveness
    over the true one. pressure: reading over the true pressure, 0 for a dead sensor.
    pressure-intermittent: times a second that it is off, half of the time. pressure-noise:
    standard deviation of a reading over the reference. pressure-bias: over the reference.
    pressure-slow: time constant, s. link-damage: share of demand frames lost. board-reset: seconds
    until it steers again. late-cycles: each cycle runs this many periods after the last.
    """

    kind: Kind
    vane: int = 0
    time_s: float = 0.0
    lasts_s: float = float("inf")
    value: float = 0.0

    @property
    def label(self) -> str:
        """What it is, in a few words, without the time."""
        vane = f"vane {self.vane}"
        return {
            "jam": f"{vane} jams at {self.value:+.1f}°",
            "jam-in-place": f"{vane} jams where it stands",
            "lost-vane": f"{vane} is lost",
            "slow-servo": f"servo {self.vane} slows to {self.value:.0%}",
            "swapped-servos": f"servos {self.vane} and {self.value:.0f} swapped",
            "reversed-servo": f"servo {self.vane} reversed",
            "wear-table": f"wear table says {self.value:g} × the true wear",
            "clocking-sign": "clocking counted the wrong way round",
            "pressure": f"pressure sensor reads {self.value:g} × the truth",
            "pressure-frozen": "pressure sensor frozen",
            "pressure-full-scale": "pressure sensor at full scale",
            "pressure-intermittent": f"pressure sensor off and on, {self.value:g} Hz",
            "pressure-noise": f"pressure noise of {self.value:.1%}",
            "pressure-bias": f"pressure read {self.value:+.1%} off",
            "pressure-slow": f"pressure sensor {1000 * self.value:.0f} ms slow",
            "link-dropout": f"link silent for {1000 * self.lasts_s:.0f} ms",
            "link-damage": f"{self.value:.0%} of demand frames damaged",
            "board-reset": f"board resets, back in {1000 * self.value:.0f} ms",
            "late-cycles": f"cycles {self.value:.0f} periods apart",
        }[self.kind]

    def __str__(self) -> str:
        return self.label if self.kind in BUILT_IN else f"{self.label}, {self.time_s:.1f} s"
