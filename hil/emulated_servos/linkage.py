"""A four-bar linkage: servo horn, push rod, vane arm. What the vane turns for what the horn turns.

The horn turns about the origin, the vane arm about a pivot `base_mm` away along the base line;
angles are from the base line, counter-clockwise. With equal arms, both square to the base, the
linkage is a parallelogram and the vane turns exactly as the horn does.
"""

import math
from dataclasses import dataclass
from functools import cached_property

ROUNDING = 1e-12  # of a cosine: at a dead centre it is 1


@dataclass(frozen=True)
class Linkage:
    """Lengths in mm, the angles of both arms at neutral in deg. The rod fits at neutral."""

    horn_mm: float = 12.0
    arm_mm: float = 12.0
    base_mm: float = 40.0
    horn_neutral_deg: float = 90.0
    arm_neutral_deg: float = 90.0

    @cached_property
    def rod_mm(self) -> float:
        """The length of the push rod that joins the two arms at neutral."""
        horn, arm = math.radians(self.horn_neutral_deg), math.radians(self.arm_neutral_deg)
        return math.hypot(
            self.base_mm + self.arm_mm * math.cos(arm) - self.horn_mm * math.cos(horn),
            self.arm_mm * math.sin(arm) - self.horn_mm * math.sin(horn),
        )

    @cached_property
    def reach_deg(self) -> tuple[float, float]:
        """The horn's turns from neutral at which the rod and the vane arm lie in one line: the dead
        centres either way, where the linkage stops the horn.

        There the horn's tip is rod + arm or |rod − arm| from the vane's pivot; by the law of
        cosines at the horn's shaft, which stands `base_mm` away.
        """
        ends = [-180.0, 180.0]
        for distance in (self.rod_mm + self.arm_mm, abs(self.rod_mm - self.arm_mm)):
            cosine = (self.base_mm**2 + self.horn_mm**2 - distance**2) / (
                2 * self.base_mm * self.horn_mm
            )
            if abs(cosine) <= 1:
                for angle in (math.acos(cosine), -math.acos(cosine)):
                    turn = math.remainder(math.degrees(angle) - self.horn_neutral_deg, 360.0)
                    ends.append(turn)
        return max(end for end in ends if end <= 0), min(end for end in ends if end >= 0)

    def vane_deg(self, horn_deg: float) -> float:
        """The vane's turn from neutral for the horn's turn from neutral, both in deg.

        From |rod| = const: dx cos φ + dy sin φ = c, solved for φ on the branch that contains the
        neutral position. ValueError where the rod does not reach: the linkage is past its dead
        centre.
        """
        horn = math.radians(self.horn_neutral_deg + horn_deg)
        dx = self.base_mm - self.horn_mm * math.cos(horn)
        dy = -self.horn_mm * math.sin(horn)
        distance = math.hypot(dx, dy)
        cosine = (self.rod_mm**2 - distance**2 - self.arm_mm**2) / (2 * self.arm_mm * distance)
        if abs(cosine) > 1 + ROUNDING:
            raise ValueError(f"the linkage does not reach {horn_deg:.1f} deg of horn")
        cosine = max(-1.0, min(1.0, cosine))
        arm = math.degrees(math.atan2(dy, dx) + self._branch * math.acos(cosine))
        return math.remainder(arm - self.arm_neutral_deg, 360.0)

    @cached_property
    def _branch(self) -> int:
        """Which side of the line from horn tip to vane pivot the vane arm is on, at neutral."""
        horn = math.radians(self.horn_neutral_deg)
        towards = math.degrees(
            math.atan2(-self.horn_mm * math.sin(horn), self.base_mm - self.horn_mm * math.cos(horn))
        )
        return 1 if math.remainder(self.arm_neutral_deg - towards, 360.0) > 0 else -1
