"""Every kind of failure, one row each: what it is called, what it may be, what it does.

A new kind is a new row; the command line, the failure campaign and the reports read this table.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from hil.engine.engine import CHUFF_S
from hil.faults import strikes
from hil.faults.struck import Act, Struck
from mixer.ground.inputs.arrays import VANES
from mixer.ground.vehicle.vehicle import Vehicle

EVER = float("inf")
ANYWHERE_DRAW = 0x0A17  # draws the angles of "jams anywhere", the same in every campaign


@dataclass(frozen=True)
class FaultKind:
    """One row.

    label: what it is, in a few words, for `format` with vane, value, percent and ms (of the value)
    and lasts_ms. part: what it befalls; no part fails in two ways at once. begins: see `strikes`.
    planned: values, or pairs of value and duration in s, that the failure campaign flies, for a
    vehicle and a vane's number.
    values: least and most that the value may be; None: without meaning. whole: it counts something.
    built_in: wrong from the day the module was put together, or with the ignition; when the flight
    begins makes no difference. delays: the ignition, by the value in s.
    family: the same in words, whichever vane it befalls and however far, where the label tells the
    vane; jams have several. believes: what the tables are built from instead of the vehicle.
    """

    label: str
    part: str
    begins: Callable[[Struck, int, int, float], Act]
    planned: Callable[[Vehicle, int], Iterable[float | tuple[float, float]]]
    values: tuple[float, float] | None = None
    whole: bool = False
    of_one_vane: bool = False
    built_in: bool = False
    delays: bool = False
    family: Callable[[float, tuple[float, float]], str] | None = None
    believes: Callable[[Vehicle, float], Vehicle] | None = None


# ---- what they are -------------------------------------------------------------------------------


def these(*values: float | tuple[float, float]) -> Callable[[Vehicle, int], Iterable]:
    """The same for every vehicle."""
    return lambda vehicle, vane: values


def travel_of(vehicle: Vehicle, vane: int) -> tuple[float, float]:
    low_deg, high_deg = vehicle.vanes.travel_deg[vane - 1]
    return float(low_deg), float(high_deg)


def jams_planned(vehicle: Vehicle, vane: int) -> list[float]:
    """Neutral, both ends, and anywhere between."""
    low_deg, high_deg = travel_of(vehicle, vane)
    drawn = float(np.random.default_rng(ANYWHERE_DRAW).random(VANES)[vane - 1])
    return [0.0, low_deg, high_deg, round(low_deg + (high_deg - low_deg) * drawn, 1)]


def jam_family(value: float, travel_deg: tuple[float, float]) -> str:
    if value == 0.0:
        return "vane jams at neutral"
    return "vane jams hard over" if value in travel_deg else "vane jams anywhere"


def named(text: str) -> Callable[[float, tuple[float, float]], str]:
    return lambda value, travel_deg: text.format(percent=100.0 * value)


# ---- what the steering believes ------------------------------------------------------------------


def clocking_turned(vehicle: Vehicle, value: float) -> Vehicle:
    layout = vehicle.layout
    turned = layout.model_copy(update={"clocking_deg": -layout.clocking_deg})
    return vehicle.model_copy(update={"layout": turned})


def wear_misjudged(vehicle: Vehicle, value: float) -> Vehicle:
    erosion = vehicle.erosion
    if erosion is None:
        return vehicle
    effectiveness = [1.0 - value * (1.0 - row) for row in erosion.effectiveness]
    worn = erosion.model_copy(update={"effectiveness": effectiveness})
    return vehicle.model_copy(update={"erosion": worn})


# ---- the table -----------------------------------------------------------------------------------

KINDS: dict[str, FaultKind] = {
    # value: the true vane angle in deg that it is driven to
    "jam": FaultKind(
        "vane {vane} jams at {value:+.1f}°",
        "vane",
        strikes.jam,
        jams_planned,
        (-45.0, 45.0),
        of_one_vane=True,
        family=jam_family,
    ),
    "jam-in-place": FaultKind(
        "vane {vane} jams where it stands",
        "vane",
        strikes.jam_in_place,
        these(0.0),
        of_one_vane=True,
        family=named("vane jams where it stands"),
    ),
    "lost-vane": FaultKind(
        "vane {vane} is lost",
        "vane",
        strikes.lose_vane,
        these(0.0),
        of_one_vane=True,
        family=named("vane is lost"),
    ),
    # value: share of slew and of speed left
    "slow-servo": FaultKind(
        "servo {vane} slows to {percent:.0f}%",
        "vane",
        strikes.slow_servo,
        these(0.2),
        (0.01, 1.0),
        of_one_vane=True,
        family=named("servo slows to {percent:.0f}%"),
    ),
    "reversed-servo": FaultKind(
        "servo {vane} reversed",
        "vane",
        strikes.reverse_servo,
        these(0.0),
        of_one_vane=True,
        built_in=True,
        family=named("servo reversed"),
    ),
    # value: the other servo
    "swapped-servos": FaultKind(
        "servos {vane} and {value:.0f} swapped",
        "plugs",
        strikes.swap_servos,
        lambda vehicle, vane: range(vane + 1, VANES + 1),
        (1.0, VANES),
        whole=True,
        of_one_vane=True,
        built_in=True,
        family=named("two servos swapped"),
    ),
    # value: believed loss of effectiveness over the true one
    "wear-table": FaultKind(
        "wear table says {value:g} × the true wear",
        "wear table",
        strikes.harmless,
        lambda vehicle, vane: (0.0, 2.0) if vehicle.erosion else (),
        (0.0, 5.0),
        built_in=True,
        believes=wear_misjudged,
    ),
    "clocking-sign": FaultKind(
        "clocking counted the wrong way round",
        "clocking",
        strikes.harmless,
        these(0.0),
        built_in=True,
        believes=clocking_turned,
    ),
    # value: reading over the true pressure, 0 for a dead sensor, 14.5 for psi taken as bar
    "pressure": FaultKind(
        "pressure sensor reads {value:g} × the truth",
        "sensor",
        strikes.sensor("scale", 1.0),
        these(0.0, 0.5, 1.5, 14.5),
        (0.0, 20.0),
    ),
    "pressure-frozen": FaultKind(
        "pressure sensor frozen", "sensor", strikes.freeze_sensor, these(0.0)
    ),
    "pressure-full-scale": FaultKind(
        "pressure sensor at full scale", "sensor", strikes.sensor_at_full_scale, these(0.0)
    ),
    # value: times a second that it is off, half of the time
    "pressure-intermittent": FaultKind(
        "pressure sensor off and on, {value:g} Hz",
        "sensor",
        strikes.sensor_off_and_on,
        these(5.0),
        (0.1, 1000.0),
    ),
    # value: standard deviation of a reading over the reference
    "pressure-noise": FaultKind(
        "pressure noise of {percent:.1f}%",
        "sensor",
        strikes.sensor("noise", 0.0),
        these(0.05),
        (0.0, 1.0),
        built_in=True,
    ),
    # value: over the reference; 0.04 is just below a jet
    "pressure-bias": FaultKind(
        "pressure read {percent:+.1f}% off",
        "sensor",
        strikes.sensor("bias", 0.0),
        these(0.04),
        (-1.0, 1.0),
        built_in=True,
    ),
    # value: time constant, s
    "pressure-slow": FaultKind(
        "pressure sensor {ms:.0f} ms slow",
        "sensor",
        strikes.sensor("lag_s", 0.0),
        these(0.2),
        (0.001, 10.0),
        built_in=True,
    ),
    "link-dropout": FaultKind(
        "link silent for {lasts_ms:.0f} ms", "link", strikes.silence, these((0.0, 0.2), (0.0, 1.0))
    ),
    # value: share of demand frames lost
    "link-damage": FaultKind(
        "{percent:.0f}% of demand frames damaged",
        "link",
        strikes.damage_frames,
        these(0.01, 0.1),
        (0.0, 1.0),
    ),
    # value: seconds until it steers again
    "board-reset": FaultKind(
        "board resets, back in {ms:.0f} ms", "board", strikes.reset_board, these(0.5), (0.0, 60.0)
    ),
    # value: each cycle runs this many periods after the last
    "late-cycles": FaultKind(
        "cycles {value:.0f} periods apart",
        "cycle",
        strikes.late_cycles,
        these(4.0),
        (1.0, 100.0),
        whole=True,
    ),
    # value: seconds from what the flight computer takes for the ignition to the jet
    "late-ignition": FaultKind(
        "engine lights {ms:.0f} ms late",
        "engine",
        strikes.ignite_late,
        these(0.5, 2.0),
        (0.0, 60.0),
        built_in=True,
        delays=True,
    ),
    # value: how many times the jet goes out and comes back at the start
    "chuffing-start": FaultKind(
        f"engine goes out at its start, {{value:.0f}} × {1000 * CHUFF_S:.0f} ms",
        "engine",
        strikes.chuff,
        these(1.0, 5.0),
        (0.0, 100.0),
        whole=True,
        built_in=True,
    ),
    "early-burn-out": FaultKind("engine burns out early", "engine", strikes.burn_out, these(0.0)),
}
