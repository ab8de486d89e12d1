"""Whether the node commands the vanes as this vehicle file would have it, by its answers.

What the answers cannot tell is which way a servo turns once it gets its pulse: `seen_vanes.py`.
"""

from collections.abc import Sequence

import numpy as np

from hil.phasing.flight_computer import best_moments_nm, moments_per_n
from hil.phasing.motions import AXES
from hil.phasing.session import Held
from mixer.ground.vehicle.vehicle import Vehicle

TURNED_DEG = 0.3  # less than this about all vanes: they did not follow
ASKED = 0.02  # of the best moment: a demand changed by less need not turn the vanes visibly
PULSE_US = 15.0  # a change that is looked at
PULSE_SHARE = 0.1


def judge_commands(held: Sequence[Held], vehicle: Vehicle) -> list[str]:
    """What is wrong, in sentences; empty where all is as the file would have it."""
    asked = [each for each in held if each.hold.demands]
    if not asked:
        return []  # the demands' finding says it
    if not any(each.hold.cycles for each in asked):
        return [
            "the node's answers were not heard: listen to the board's transmit line too, or look "
            "whether the board runs"
        ]
    refused = [each.hold.refused for each in asked if each.hold.refused]
    if refused:
        return [
            f"the node refused the demands while a motion was held: {refused[0]}; what the flight "
            "computer sends is not what these tables take"
        ]
    if any(each.hold.not_armed > 0.5 for each in asked):
        return ["the node was not armed while a motion was held: its vanes stay at neutral"]
    if any(each.hold.no_thrust > 0.5 for each in asked):
        return [
            "the node holds that there is no jet to steer with, so its vanes stay at neutral: let "
            "the flight computer send the reference chamber pressure with its demands for this "
            "check"
        ]
    if any(each.hold.jammed for each in asked):
        return [
            "the node holds a vane for jammed, by its angle sensors or as it was told: look which "
            "servo does not follow, free it, and repeat the check"
        ]
    found = [wrong_way(each, vehicle) for each in asked if each.hold.cycles and each.rest.cycles]
    return list(dict.fromkeys(text for text in [*found, *wrong_pulses(asked, vehicle)] if text))


def wrong_way(held: Held, vehicle: Vehicle) -> str:
    """Whether the moment that the commanded vanes give has the sign of the demand."""
    per_n = moments_per_n(vehicle)
    force_n = np.array(
        [
            vehicle.force_n(i, held.hold.deflection_deg[i])
            - vehicle.force_n(i, held.rest.deflection_deg[i])
            for i in range(4)
        ]
    )
    best_nm = best_moments_nm(vehicle)
    asked = (held.hold.demand_nm - held.rest.demand_nm) / best_nm
    given = (per_n @ force_n) / best_nm
    axis = int(np.argmax(np.abs(asked)))
    if abs(asked[axis]) < ASKED:
        return ""
    turned_deg = np.abs(held.hold.deflection_deg - held.rest.deflection_deg).max()
    if turned_deg < TURNED_DEG:
        return f"the vanes were not commanded to turn, though {AXES[axis]} was demanded"
    if given[axis] * asked[axis] <= 0:
        return (
            f"the vanes are commanded the wrong way in {AXES[axis]}: the flight tables on the "
            "board are not those of this vehicle file"
        )
    return ""


def wrong_pulses(held: Sequence[Held], vehicle: Vehicle) -> list[str]:
    """Pulses that are not those of the file's servo tables."""
    found = []
    for i, servo in enumerate(vehicle.servos):
        for each in held:
            at = np.array([each.rest.deflection_deg[i], each.hold.deflection_deg[i]])
            expected_us = float(np.diff(servo.pulse_us(at))[0])
            heard_us = float(each.hold.pulse_us[i] - each.rest.pulse_us[i])
            off_us = abs(heard_us - expected_us)
            if abs(expected_us) > PULSE_US and off_us > PULSE_SHARE * abs(expected_us) + 2.0:
                how = "the wrong way" if heard_us * expected_us < 0 else "not by as much"
                found.append(
                    f"pulse {i + 1} goes {how} as this vehicle file's servo table has it: the "
                    "tables on the board are others"
                )
                break
    return found
