"""Where the vanes stood, on the node's clock: as sensed, or as the servos follow their commands.

A servo without an angle sensor is taken as the bench measured it: late by `latency_ms`, and with
play of `backlash_deg`, half of it to either side (the play operator: Visintin, Differential Models
of Hysteresis, 1994, ch. III, as remembered). The commands have the slew in them already.
"""

from dataclasses import dataclass

import numpy as np

from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.two_clocks.play_record import PlayRecord, PlayRecordError
from mixer.ground.vehicle.vehicle import Vehicle


@dataclass(frozen=True)
class VaneMotion:
    """`angle_deg` (n, 4) at `time_s` (n,) of the node's clock. `modelled`: vanes, 1 to 4, that no
    sensor told of; `unmeasured`: those of them whose servo no bench has measured.
    """

    time_s: Array
    angle_deg: Array
    modelled: tuple[int, ...]
    unmeasured: tuple[int, ...]

    def at(self, node_s: Array) -> Array:
        """Angles (m, 4) at some times; before and after, where the vanes stood first and last."""
        return np.column_stack(
            [np.interp(node_s, self.time_s, column) for column in self.angle_deg.T]
        )


def vane_motion(record: PlayRecord, vehicle: Vehicle) -> VaneMotion:
    """What the record and the vehicle's servos tell. PlayRecordError for a vane of neither."""
    angle_deg = np.empty_like(record.deflection_deg)
    modelled, unmeasured = [], []
    for vane in range(VANES):
        sensed = np.isfinite(record.angle_deg[:, vane])
        if record.sensed[vane]:
            angle_deg[:, vane] = np.interp(
                record.time_s, record.time_s[sensed], record.angle_deg[sensed, vane]
            )
            continue
        modelled.append(vane + 1)
        latency_ms, backlash_deg = vehicle.servo_table.latency_ms, vehicle.servo_table.backlash_deg
        if latency_ms is None or backlash_deg is None:
            unmeasured.append(vane + 1)
        late_s = 0.0 if latency_ms is None else float(latency_ms[vane]) / 1000
        play_deg = 0.0 if backlash_deg is None else float(backlash_deg[vane])
        angle_deg[:, vane] = followed(
            record.time_s, record.deflection_deg[:, vane], late_s, play_deg
        )
    if unmeasured and not np.any(record.deflection_deg):
        raise PlayRecordError(f"{record.file}: no vane was told to move, and none has a sensor")
    return VaneMotion(record.time_s, angle_deg, tuple(modelled), tuple(unmeasured))


def followed(time_s: Array, command_deg: Array, late_s: float, play_deg: float) -> Array:
    """A servo's angle (n,) under its command: late, and within its play of it."""
    late = np.interp(time_s - late_s, time_s, command_deg)
    if play_deg == 0:
        return late
    angle, half = np.empty_like(late), play_deg / 2
    stands = float(late[0])
    for row, wanted in enumerate(late.tolist()):
        stands = min(max(stands, wanted - half), wanted + half)
        angle[row] = stands
    return angle
