"""What a bench run needs of whatever it runs on: set a pulse, wait, read the angle, record.

`ModelPort` is emulated servos in this process. The board's is in `board_port.py`. Both move
slowly from pulse to pulse (slew-limited); only `play` puts out pulses as they are listed.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from hil.emulated_servos.servo import EmulatedServo
from mixer.ground.inputs.arrays import Array

SAMPLES = 16  # of an encoder for one reading at rest
SAMPLE_GAP_S = 0.002
MOVE_US_S = 6000.0  # how fast a pulse is led to its place
MOVE_STEP_S = 0.005


@dataclass(frozen=True)
class Scale:
    """What encoder counts mean: deflection = direction · turns from zero, in deg."""

    counts_per_turn: int = 4096
    zero_counts: float = 2048.0
    direction: int = 1

    def angle_deg(self, counts: ArrayLike) -> Array:
        """Deflections in deg, within half a turn of zero, for counts (n,)."""
        turns = (np.asarray(counts, dtype=float) - self.zero_counts) / self.counts_per_turn
        return self.direction * 360.0 * (turns - np.round(turns))


@dataclass(frozen=True)
class Reading:
    """One reading at rest: the mean of some samples and their scatter; None where there is none.

    `trouble` is what the reader complained of: "no answer", "no magnet", or nothing.
    """

    angle_deg: float | None
    scatter_deg: float = 0.0
    trouble: str = ""
    supply_v: float | None = None


@dataclass(frozen=True)
class Recording:
    """Pulses as put out and angles as read, (n,) each, `interval_s` apart from the first.

    An angle that could not be read is not-a-number; `supply_v` is None where none is measured.
    """

    interval_s: float
    pulse_us: Array
    angle_deg: Array
    supply_v: Array | None = None


class BenchPort(Protocol):
    """Servos 1 to 4 on a bench. `can_record` is false where a person reads the angle."""

    reader: str
    can_record: bool

    def move(self, servo: int, pulse_us: float) -> None:
        """Lead a servo to a pulse at the bench's slew rate; back when the pulse is there."""
        ...

    def wait(self, duration_s: float) -> None:
        """Let time pass on the bench."""
        ...

    def read(self, servo: int, prompt: str = "") -> Reading:
        """Read the vane's angle at rest. `prompt` tells a person what stands there."""
        ...

    def play(self, servo: int, pulse_us: Array, interval_s: float) -> Recording:
        """Put out pulses one by one, an interval apart, and read the angle with each."""
        ...

    def hang(self, servo: int, load_nm: float) -> None:
        """Load the vane's shaft; a person is asked to hang the weight."""
        ...

    def neutral(self) -> None:
        """Bring every servo to neutral. Called at the end, whatever has happened."""
        ...

    def close(self) -> None:
        """Give back what the bench runs on."""
        ...


class PortAround:
    """A BenchPort around another one: what is not put in its place here is the other's."""

    def __init__(self, port: BenchPort) -> None:
        self._port = port

    def wait(self, duration_s: float) -> None:
        self._port.wait(duration_s)

    def hang(self, servo: int, load_nm: float) -> None:
        self._port.hang(servo, load_nm)

    def neutral(self) -> None:
        self._port.neutral()

    def close(self) -> None:
        self._port.close()


def reading_of(
    counts: Sequence[int | None], magnet: Sequence[bool], scale: Scale, supply_v: float | None
) -> Reading:
    """One reading from encoder samples."""
    heard = [count for count in counts if count is not None]
    if not heard:
        return Reading(None, trouble="no answer", supply_v=supply_v)
    angles = scale.angle_deg(np.array(heard, dtype=float))
    # Half a turn from zero the angle jumps by a turn; unwrap before taking a mean.
    angles = np.unwrap(angles, period=360.0)
    trouble = "" if all(magnet) else "no magnet"
    return Reading(float(np.mean(angles)), float(np.std(angles)), trouble, supply_v)


def read_model(servo: EmulatedServo, scale: Scale) -> Reading:
    """An emulated servo's encoder read at rest; a little time passes for it."""
    samples = []
    for _ in range(SAMPLES):
        samples.append(servo.sample())
        servo.advance(SAMPLE_GAP_S)
    counts, magnets = [s.counts for s in samples], [s.magnet for s in samples]
    return reading_of(counts, magnets, scale, servo.supply_v)


def play_model(
    servos: Sequence[EmulatedServo], servo: int, scale: Scale, pulse_us: Array, interval_s: float
) -> Recording:
    """What one of some emulated servos does under a row of pulses; time passes for all of them."""
    model = servos[servo - 1]
    for other in servos:
        if other is not model:
            other.advance(len(pulse_us) * interval_s)
    counts, supply_v = np.full(len(pulse_us), np.nan), np.empty(len(pulse_us))
    for i, pulse in enumerate(pulse_us):
        model.pulse(float(pulse))
        sample = model.sample()
        if sample.counts is not None:
            counts[i] = sample.counts
        supply_v[i] = model.supply_v
        model.advance(interval_s)
    return Recording(interval_s, np.asarray(pulse_us), scale.angle_deg(counts), supply_v)


class ModelPort:
    """Emulated servos in this process, in their own time: as fast as they can be computed."""

    reader = "encoder"
    can_record = True

    def __init__(self, servos: Sequence[EmulatedServo], neutral_us: Sequence[float]) -> None:
        self.servos = list(servos)
        self.neutral_us = list(neutral_us)
        self.pulse_us = list(neutral_us)
        self.scales = [
            Scale(servo.encoder.counts, servo.encoder.zero_counts) for servo in self.servos
        ]
        self._show()

    def move(self, servo: int, pulse_us: float) -> None:
        i = servo - 1
        most_us = MOVE_US_S * MOVE_STEP_S
        while abs(pulse_us - self.pulse_us[i]) > 1e-9:
            step_us = pulse_us - self.pulse_us[i]
            self.pulse_us[i] += max(-most_us, min(most_us, step_us))
            self._show()
            self.wait(MOVE_STEP_S)

    def wait(self, duration_s: float) -> None:
        for servo in self.servos:
            servo.advance(duration_s)

    def read(self, servo: int, prompt: str = "") -> Reading:
        return read_model(self.servos[servo - 1], self.scales[servo - 1])

    def play(self, servo: int, pulse_us: Array, interval_s: float) -> Recording:
        self.pulse_us[servo - 1] = float(pulse_us[-1])
        return play_model(self.servos, servo, self.scales[servo - 1], pulse_us, interval_s)

    def hang(self, servo: int, load_nm: float) -> None:
        self.servos[servo - 1].hang(load_nm)

    def neutral(self) -> None:
        for servo, pulse_us in enumerate(self.neutral_us, 1):
            self.move(servo, pulse_us)

    def close(self) -> None:
        """Nothing to give back."""

    def _show(self) -> None:
        for servo, pulse_us in zip(self.servos, self.pulse_us, strict=True):
            servo.pulse(pulse_us)
