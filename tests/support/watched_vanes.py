"""Servos, vanes and angle sensors before the jam watch, by the model that its limits stand on.

A command is sent when a pulse frame begins and is the servo's target a latency later; the servo is
a first-order lag behind a slew limit; the vane follows it within the play; the sensor adds a
constant error and noise. Times in whole ms, angles in deg.
"""

from array import array
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from math import copysign
from random import Random

from mixer.flight import FlightTables, commands, jam_watch
from mixer.flight import layout as at

VANE = 0  # the one that is looked at
FRAME_MS = 20


@dataclass
class Servo:
    """One servo with its vane and sensor; `stuck_deg`: where the vane is jammed, if it is."""

    slew_deg_s: float
    lag_ms: float
    latency_ms: int
    phase_ms: int  # when a frame begins
    play_deg: float  # either way
    error_deg: float  # of what the sensor says against the command, at rest
    noise_deg: float
    stuck_deg: float | None = None
    servo_deg: float = 0.0
    vane_deg: float = 0.0
    sent: list[float] = field(default_factory=lambda: [0.0])  # a target for each ms to come

    def turn(self, command_deg: float, now_ms: int) -> None:
        """One ms on."""
        if now_ms % FRAME_MS == self.phase_ms:
            self.sent += [self.sent[-1]] * (self.latency_ms + 1 - len(self.sent))
            self.sent.append(command_deg)
        target = self.sent.pop(0) if len(self.sent) > 1 else self.sent[0]
        wanted = (target - self.servo_deg) / self.lag_ms
        most = 1e-3 * self.slew_deg_s
        self.servo_deg += max(-most, min(wanted, most))
        if self.stuck_deg is None:
            low, high = self.servo_deg - self.play_deg, self.servo_deg + self.play_deg
            self.vane_deg = max(low, min(self.vane_deg, high))

    def sensed_mdeg(self, random: Random) -> int:
        noise = random.uniform(-self.noise_deg, self.noise_deg)
        return round(1e3 * (self.vane_deg + self.error_deg + noise))


@dataclass
class Told:
    """What the watch has said by the end, and when it first declared the vane.

    waited_ms: the longest time for which the command stayed on one side of a jammed vane, surely
    farther away than the band, and the vane was not declared.
    """

    declared: int = 0
    out: int = 0
    believed: int = 0
    found: int = 0
    first_ms: int | None = None
    waited_ms: int = 0


Sensor = Callable[[int, int], int]  # ms and true reading, 0.001°; what the watch gets


def watched(
    tables: FlightTables,
    servo: Servo,
    commands_deg: Iterable[float],
    cycle_ms: Iterable[int],
    seed: int,
    sensor: Sensor = lambda _, reading: reading,
    begin: Callable[[int, Servo], None] = lambda *_: None,
) -> tuple[array, Told]:
    """Run the watch alone: a command wanted for each cycle, reached no faster than the slew.

    cycle_ms: from each cycle to the next. begin: what happens before a cycle. Returns the words at
    the end too.
    """
    w = array("i", tables.words)
    commands.reset(w)
    random, told, now_ms = Random(seed), Told(), 0
    slew_mdeg_ms = w[at.SLEW_HIGH + VANE]
    servo = replace(servo, sent=[0.0])
    far_mdeg = w[at.WATCH_BAND + VANE] + 2e3 * servo.noise_deg
    side, since_ms = 0, 0
    for wanted_deg, dt_ms in zip(commands_deg, cycle_ms, strict=False):
        for _ in range(dt_ms):
            servo.turn(1e-3 * w[at.DEFLECTION + VANE], now_ms)
            now_ms += 1
        begin(now_ms, servo)
        reading = sensor(now_ms, servo.sensed_mdeg(random))
        commands.sensed(w, reading, *[at.NO_READING] * 3)
        jam_watch.look(w, 1000 * dt_ms)
        if w[at.WATCH_DECLARED] and told.first_ms is None:
            told.first_ms = now_ms
        elif servo.stuck_deg is not None and not w[at.WATCH_DECLARED]:
            apart = w[at.DEFLECTION + VANE] - 1e3 * (servo.vane_deg + servo.error_deg)
            now_side = 0 if abs(apart) <= far_mdeg else 1 if apart > 0 else -1
            if now_side == 0 or now_side != side:
                side, since_ms = now_side, now_ms
            told.waited_ms = max(told.waited_ms, now_ms - since_ms)
        if not w[at.JAMMED]:
            change = round(1e3 * wanted_deg) - w[at.DEFLECTION + VANE]
            step = min(abs(change), slew_mdeg_ms * dt_ms)
            w[at.DEFLECTION + VANE] += int(copysign(step, change))
    told.declared, told.out = w[at.WATCH_DECLARED], w[at.SENSORS_OUT]
    told.believed, told.found = w[at.WATCH_BELIEVED], w[at.WATCH_FOUND]
    return w, told
