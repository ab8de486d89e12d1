"""Whether a static test could be of this vehicle at all: units and signs of its load channels.

A fit takes any numbers. What it finds is held against the vehicle file before anything is written:
loads in kilograms-force still give a clean fit, of vanes with a tenth of their force.
"""

import numpy as np

from mixer.ground.identification.fit import Identification, IdentifyError
from mixer.ground.static_test.log import StandLog
from mixer.ground.vehicle.vehicle import Vehicle

# A logged number over what it should be, where the channel counts in another unit.
UNITS = {
    "kilograms-force": 1 / 9.80665,
    "pounds-force": 1 / 4.4482216,
    "kilonewtons": 1e-3,
    "millinewtons": 1e3,
}
LIKE = 1.35  # times a unit's factor, either way, that still looks like it
FORCE = (0.5, 1.6)  # of the file's force: what new vanes may be found to give, in the middle
AXIAL = (0.5, 1.3)  # of the file's thrust
ROLL_ARM = (0.5, 2.0)  # of the file's


def implausible(log: StandLog, found: Identification) -> list[str]:
    """What cannot be of this vehicle, each with the likely reason; empty where all may be."""
    vehicle = found.vehicle
    return [
        *axial_words(axial_share(log, vehicle)),
        *force_words(found),
        *roll_words(found),
    ]


def refuse_implausible(log: StandLog, found: Identification) -> None:
    """IdentifyError with every implausibility."""
    if words := implausible(log, found):
        raise IdentifyError(
            "\n".join(f"{log.file}: {sentence}" for sentence in words)
            + "\nNothing was written. If it is meant so, say --although-implausible"
        )


def axial_share(log: StandLog, vehicle: Vehicle) -> float:
    """Net thrust over the vehicle file's, least squares over the burn."""
    share = log.pressure_bar[log.burning] / vehicle.engine.chamber_pressure_bar
    expected_n = vehicle.engine.thrust_n * share
    return float(log.loads[log.burning, 3] @ expected_n / (expected_n @ expected_n))


def axial_words(share: float) -> list[str]:
    if share < 0:
        return [
            f"axial_n is {share:.2f} times the vehicle file's thrust: its sign is reversed; thrust "
            "along +x, towards the nose, is positive"
        ]
    if AXIAL[0] <= share <= AXIAL[1]:
        return []
    return [
        f"axial_n is {share:.3g} times the vehicle file's thrust at the same pressure"
        f"{reason(share, 'axial_n')}"
    ]


def force_words(found: Identification) -> list[str]:
    told = found.told("effectiveness").all(axis=0)
    if not told.any():
        return []
    scale = float(np.median(found.value("effectiveness")[0][told]))
    if FORCE[0] <= scale <= FORCE[1]:
        return []
    return [
        f"the vanes gave {scale:.3g} times the vehicle file's force when new"
        f"{reason(scale, 'each of side_y_n and side_z_n')}"
    ]


def roll_words(found: Identification) -> list[str]:
    if not found.told("roll_arm_m")[0]:
        return []
    arm_m, was_m = float(found.value("roll_arm_m")[0]), found.vehicle.layout.roll_arm_m
    share = arm_m / was_m
    engine = found.vehicle.engine
    words = ""
    if engine.throat_diameter_mm is not None and engine.expansion_ratio is not None:
        jet_m = 0.5e-3 * engine.throat_diameter_mm * np.sqrt(engine.expansion_ratio)
        words = f", in a jet of {jet_m:.3g} m radius at the exit" if arm_m > jet_m else ""
    if ROLL_ARM[0] <= share <= ROLL_ARM[1]:
        return []
    likely = reason(share, "roll_nm")
    return [
        f"the roll arm comes out as {arm_m:.3g} m, the vehicle file has {was_m:g} m{words}{likely}"
    ]


def reason(share: float, channel: str) -> str:
    """The unit that a factor looks like, as the end of a sentence."""
    for unit, factor in UNITS.items():
        if 1 / LIKE < share / factor < LIKE:
            return f": {channel} looks like {unit} where newtons are wanted"
        if 1 / LIKE < share * factor < LIKE:
            return f": the vehicle file, or the channels beside {channel}, look like {unit}"
    return f": is the scale of {channel} right, and is it this vehicle's test?"
