"""What the person is asked to do with the vehicle, in words and as a drawing.

Body axes x to the nose, y starboard, z down; pitch, yaw and roll about y, z and x by the right-hand
rule. So a positive turn about y lifts the nose (x goes towards −z), about z it goes to starboard
(x towards y), about x the starboard side goes down (y towards z): clockwise as seen from the tail.
"""

from dataclasses import dataclass
from typing import Literal

Stance = Literal["standing", "hanging", "lying"]
STANCES: tuple[Stance, ...] = ("standing", "hanging", "lying")

AXES = ("pitch", "yaw", "roll")  # as demands are counted
ABOUT_DEG = 10


@dataclass(frozen=True)
class Motion:
    """A turn of the vehicle about one body axis. axis: 0 pitch, 1 yaw, 2 roll; way: +1 or −1."""

    axis: int
    way: int

    @property
    def key(self) -> str:
        """Such as `pitch+`."""
        return f"{AXES[self.axis]}{'+' if self.way > 0 else '-'}"

    @property
    def aim(self) -> str:
        """Where the nose goes by the body's marks, or which way round it turns."""
        return AIMS[self.key]

    def words(self, stance: Stance) -> str:
        """What to do, as it is said to the person."""
        return f"{DOINGS[stance][self.key]}, by some {ABOUT_DEG} degrees, and hold it there"


AIMS = {
    "pitch+": "nose towards −Z (up)",
    "pitch-": "nose towards +Z (down)",
    "yaw+": "nose towards +Y (starboard)",
    "yaw-": "nose towards −Y (port)",
    "roll+": "clockwise as seen from the tail",
    "roll-": "anti-clockwise as seen from the tail",
}
DOINGS: dict[Stance, dict[str, str]] = {
    # The nose points up: what is clockwise from the tail, below, is anti-clockwise from above.
    "standing": {
        "pitch+": "Tilt the nose towards the side marked −Z",
        "pitch-": "Tilt the nose towards the side marked +Z",
        "yaw+": "Tilt the nose towards the side marked +Y (starboard)",
        "yaw-": "Tilt the nose towards the side marked −Y (port)",
        "roll+": "Turn the vehicle about its long axis, anti-clockwise as seen from above",
        "roll-": "Turn the vehicle about its long axis, clockwise as seen from above",
    },
    # By the nose: the tail goes the other way.
    "hanging": {
        "pitch+": "Push the tail towards the side marked +Z, so that the nose leans to −Z",
        "pitch-": "Push the tail towards the side marked −Z, so that the nose leans to +Z",
        "yaw+": "Push the tail towards the side marked −Y, so that the nose leans to +Y",
        "yaw-": "Push the tail towards the side marked +Y, so that the nose leans to −Y",
        "roll+": "Turn the vehicle about its long axis, anti-clockwise as seen from above",
        "roll-": "Turn the vehicle about its long axis, clockwise as seen from above",
    },
    "lying": {
        "pitch+": "Lift the nose (the side marked −Z is on top)",
        "pitch-": "Lower the nose (the side marked −Z is on top)",
        "yaw+": "Push the nose to starboard (the side marked +Y)",
        "yaw-": "Push the nose to port (the side marked −Y)",
        "roll+": "Roll the vehicle, starboard side (+Y) down, clockwise as seen from the tail",
        "roll-": "Roll the vehicle, starboard side (+Y) up, anti-clockwise as seen from the tail",
    },
}

# Looking from the tail to the nose: starboard right, −Z (up, where it lies) on top. The arrow is
# where the nose goes.
DRAWINGS = {
    "pitch+": ("     −Z  ↑", "     ┌─┐ ", "−Y   │ │   +Y", "     └─┘ ", "     +Z  "),
    "pitch-": ("     −Z  ", "     ┌─┐ ", "−Y   │ │   +Y", "     └─┘ ", "     +Z  ↓"),
    "yaw+": ("     −Z  ", "     ┌─┐ ", "−Y   │ │ → +Y", "     └─┘ ", "     +Z  "),
    "yaw-": ("     −Z  ", "     ┌─┐ ", "−Y ← │ │   +Y", "     └─┘ ", "     +Z  "),
    "roll+": ("     −Z  ", "     ┌─┐ ", "−Y   │↻│   +Y", "     └─┘ ", "     +Z  "),
    "roll-": ("     −Z  ", "     ┌─┐ ", "−Y   │↺│   +Y", "     └─┘ ", "     +Z  "),
}
SEEN_FROM = "As seen from the tail, to the nose; arrow: where the nose goes, or how it turns"


def drawing(motion: Motion) -> str:
    """A few lines of text: the vehicle from the tail, its marks, and where the nose goes."""
    return "\n".join((*DRAWINGS[motion.key], SEEN_FROM))


def motions(roll: bool = True) -> list[Motion]:
    """All motions in the order they are asked for, both ways each."""
    return [Motion(axis, way) for axis in range(3 if roll else 2) for way in (1, -1)]
