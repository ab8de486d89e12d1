"""An emulated servo with its linkage and angle encoder: pulses in, encoder counts out.

The motor with its electronics is a second-order system with limits on rate and acceleration,
a dead band and stiction; behind it come the play of geartrain and horn, the linkage and the
encoder. A model of what servos do, not of one servo.
"""

import math
import random
from collections import deque
from dataclasses import dataclass, field

from hil.emulated_servos.linkage import Linkage

TICK_S = 0.0005
REST_DEG_S = 0.05  # slower than this, with no drive left, is standing still
CREEP_DEG_S = 2.0  # below this speed friction may catch the motor


@dataclass(frozen=True)
class ServoKind:
    """What a servo is like. Angles are of the servo's horn unless a name says vane."""

    neutral_us: float = 1500.0
    us_per_deg: float = 10.0
    natural_hz: float = 11.0
    damping: float = 0.75
    slew_deg_s: float = 420.0
    acceleration_deg_s2: float = 60_000.0
    latency_s: float = 0.004
    frame_hz: float = 333.0  # a new pulse is taken over at the next frame; 0: at once
    dead_band_deg: float = 0.08
    stiction_deg: float = 0.04
    backlash_deg: float = 0.15
    end_stop_deg: float = 60.0
    drift_deg_per_turn: float = 0.0  # neutral creeping with use
    compliance_deg_per_nm: float = 0.6
    stall_nm: float = 1.8
    linkage: Linkage = field(default_factory=Linkage)
    supply_v: float = 7.4
    supply_ohm: float = 0.12
    idle_a: float = 0.02
    running_a: float = 0.4
    starting_a: float = 1.8


@dataclass(frozen=True)
class EncoderKind:
    """A magnetic encoder on the vane's shaft: whole counts of a turn, with noise."""

    counts: int = 4096
    zero_counts: int = 2048  # at zero deflection
    noise_counts: float = 0.4


@dataclass(frozen=True)
class ServoFault:
    """What is wrong with it; each is off by default."""

    reversed_lead: bool = False
    loose_horn_deg: float = 0.0  # play added at the horn
    sticking_from_deg: float = 0.0
    sticking_to_deg: float = 0.0
    sticking_deg: float = 0.0  # command error it takes to break loose between the two
    tooth_at_deg: float = math.inf  # where a tooth of the geartrain is gone
    tooth_pitch_deg: float = 0.0  # what the output loses when it skips there
    tooth_chance: float = 0.0  # of skipping at a crossing
    encoder: str = ""  # "frozen", "silent" or "no magnet"


@dataclass(frozen=True)
class EncoderSample:
    """What the encoder chip would give: counts, or None where it does not answer."""

    counts: int | None
    magnet: bool


class EmulatedServo:
    """One servo on the bench. Time moves only by `advance`.

    Attributes: horn_deg (after the play), vane_deg, supply_v, time_s, load_nm.
    """

    def __init__(
        self,
        kind: ServoKind | None = None,
        encoder: EncoderKind | None = None,
        fault: ServoFault | None = None,
        seed: int = 0,
    ) -> None:
        self.kind = kind or ServoKind()
        self.encoder = encoder or EncoderKind()
        self.fault = fault or ServoFault()
        self.random = random.Random(seed)
        self.load_nm = 0.0
        self._ticks = 0
        self._command_deg = 0.0
        self._coming: deque[tuple[int, float]] = deque()  # tick it takes effect, command
        self._motor_deg = self._motor_deg_s = 0.0
        self._played_deg = 0.0
        self._slipped_deg = 0.0
        self._turned_deg = 0.0
        self._supply_v = self.kind.supply_v
        self._resting = True
        self._frozen_counts = self.random.randrange(self.encoder.counts)
        self._transition = second_order_transition(self.kind, TICK_S)

    @property
    def time_s(self) -> float:
        return self._ticks * TICK_S

    @property
    def supply_v(self) -> float:
        """Supply voltage at the servo, V."""
        return self._supply_v

    @property
    def horn_deg(self) -> float:
        """Where the horn stands: motor, play, lost teeth, creep and give under load, up to where
        the linkage stops it.
        """
        drift = self.kind.drift_deg_per_turn * self._turned_deg / 360.0
        give = self.kind.compliance_deg_per_nm * self.load_nm
        low, high = self.kind.linkage.reach_deg
        return max(low, min(high, self._played_deg + self._slipped_deg + drift + give))

    @property
    def vane_deg(self) -> float:
        """The vane's true deflection, deg."""
        return self.kind.linkage.vane_deg(self.horn_deg)

    def pulse(self, pulse_us: float) -> None:
        """A new pulse width. It acts after the frame it waits for and the latency."""
        command = (pulse_us - self.kind.neutral_us) / self.kind.us_per_deg
        if self.fault.reversed_lead:
            command = -command
        stop = self.kind.end_stop_deg
        command = max(-stop, min(stop, command))
        last = self._coming[-1][1] if self._coming else self._command_deg
        if command == last:
            return
        frame = 1 / (self.kind.frame_hz * TICK_S) if self.kind.frame_hz else 1
        taken = math.ceil(math.ceil(self._ticks / frame - 1e-9) * frame - 1e-9)
        due = taken + round(self.kind.latency_s / TICK_S)
        while self._coming and self._coming[-1][0] >= due:
            self._coming.pop()  # of two pulses in one frame the later one counts
        self._coming.append((due, command))

    def hang(self, load_nm: float) -> None:
        """Load the horn; positive turns it to positive angles."""
        self.load_nm = load_nm

    def advance(self, duration_s: float) -> None:
        """Let time pass, rounded to whole ticks of 0.5 ms."""
        end = self._ticks + round(duration_s / TICK_S)
        while self._ticks < end:
            while self._coming and self._coming[0][0] <= self._ticks:
                self._command_deg = self._coming.popleft()[1]
                self._resting = False
            until = min(end, self._coming[0][0]) if self._coming else end
            if self._resting:
                self._ticks = until
            else:
                self._run(until)

    def sample(self) -> EncoderSample:
        """One reading of the encoder."""
        kind = self.encoder
        if self.fault.encoder == "silent":
            return EncoderSample(None, False)
        if self.fault.encoder == "frozen":
            return EncoderSample(self._frozen_counts, True)
        if self.fault.encoder == "no magnet":
            return EncoderSample(self.random.randrange(kind.counts), False)
        exact = kind.zero_counts + self.vane_deg * kind.counts / 360.0
        return EncoderSample(
            math.floor(exact + self.random.gauss(0.0, kind.noise_counts) + 0.5) % kind.counts, True
        )

    def _run(self, until: int) -> None:
        """Move the motor tick by tick under a constant command, until then or until it rests.

        A rehearsed bench spends most of its time here: names are local, and comparisons stand for
        min and max, which halves it.
        """
        kind = self.kind
        e_e, e_v, v_e, v_v = self._transition
        command, half_band = self._command_deg, kind.dead_band_deg / 2
        weak = max(0.0, 1 - abs(self.load_nm) / kind.stall_nm)
        kick, full = kind.acceleration_deg_s2 * TICK_S, kind.slew_deg_s
        idle_a, running_a, starting_a = kind.idle_a, kind.running_a, kind.starting_a
        given_v, ohm = kind.supply_v, kind.supply_ohm
        play = (kind.backlash_deg + self.fault.loose_horn_deg) / 2
        tooth = self.fault.tooth_at_deg
        x, v, supply = self._motor_deg, self._motor_deg_s, self._supply_v
        played, turned = self._played_deg, self._turned_deg
        for tick in range(self._ticks + 1, until + 1):
            self._ticks = tick
            error = command - x
            if error > half_band:
                error -= half_band
            elif error < -half_band:
                error += half_band
            else:
                error = 0.0
            if -CREEP_DEG_S < v < CREEP_DEG_S and abs(error) <= self._holding_deg(x):
                v, supply = 0.0, given_v - ohm * idle_a
                self._resting = True
                break
            free = v_e * -error + v_v * v
            rate = full * weak * supply / given_v
            new = free if v - kick <= free <= v + kick else v + kick if free > v else v - kick
            new = new if -rate <= new <= rate else rate if new > 0.0 else -rate
            exact = x + error - e_e * error + e_v * v
            x_new = exact if new == free else x + (v + new) / 2 * TICK_S
            starts = abs(new - v) / kick
            current = idle_a + running_a * abs(new) / full
            current += starting_a * (starts if starts < 1.0 else 1.0)
            supply = given_v - ohm * current
            # The horn follows the motor within the play; at a lost tooth it may skip.
            if x_new - play > played:
                played = x_new - play
            elif x_new + play < played:
                played = x_new + play
            turned += abs(x_new - x)
            if x < tooth <= x_new or x_new < tooth <= x:
                self._skip(x_new - x)
            x, v = x_new, new
            if error == 0.0 and -REST_DEG_S < new < REST_DEG_S:
                self._resting = True
                break
        self._motor_deg, self._motor_deg_s, self._supply_v = x, v, supply
        self._played_deg, self._turned_deg = played, turned

    def _holding_deg(self, x: float) -> float:
        """The command error that friction holds at rest."""
        fault = self.fault
        if fault.sticking_from_deg < x < fault.sticking_to_deg:
            return max(fault.sticking_deg, self.kind.stiction_deg)
        return self.kind.stiction_deg

    def _skip(self, way_deg: float) -> None:
        """The output stays behind where a tooth is gone, now and then."""
        if self.random.random() < self.fault.tooth_chance:
            self._slipped_deg -= math.copysign(self.fault.tooth_pitch_deg, way_deg)


def second_order_transition(kind: ServoKind, step_s: float) -> tuple[float, float, float, float]:
    """How error and speed go over in one step of free motion towards a fixed target, exactly.

    e'' + 2 ζ ω e' + ω² e = 0: the four entries of exp(A·step), A = [[0, 1], [−ω², −2ζω]].
    """
    omega, zeta = 2 * math.pi * kind.natural_hz, kind.damping
    decay = math.exp(-zeta * omega * step_s)
    if abs(zeta - 1) < 1e-6:
        zeta = 1 - 1e-6
    if zeta < 1:
        w = omega * math.sqrt(1 - zeta * zeta)
        c, s = math.cos(w * step_s), math.sin(w * step_s) / w
    else:
        w = omega * math.sqrt(zeta * zeta - 1)
        c, s = math.cosh(w * step_s), math.sinh(w * step_s) / w
    return (
        decay * (c + zeta * omega * s),
        decay * s,
        -decay * omega * omega * s,
        decay * (c - zeta * omega * s),
    )
