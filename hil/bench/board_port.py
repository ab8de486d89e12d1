"""The bench through a board's node: the same frames for a real, an emulated or an in-process board.

Where the board has no servo outputs (emulated, unix, in this process), emulated servos hang on the
recorded pulses: what the board would have driven moves the models, and their encoders are read on
this side of the line. Time is then moved by frames and runs as fast as the line allows.
"""

import contextlib
import time
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from firmware_port import protocol as p
from firmware_port.bench import protocol as b
from hil.bench.port import (
    SAMPLE_GAP_S,
    SAMPLES,
    Reading,
    Recording,
    Scale,
    play_model,
    read_model,
    reading_of,
)
from hil.emulated_servos.servo import EmulatedServo
from hil.node.errors import BoardError
from hil.node.node_link import NodeLink, numbers, read_numbers
from mixer.ground.inputs.arrays import VANES, Array

HOLD_MS = 2000  # the board leads everything to neutral after this much silence
STEP_S = 0.04  # between looks at a pulse on its way
LONGEST_PASS_S = 1.0
TRIES = 3
TOO_LONG_S = 5.0  # for a pulse to get to its place


class BoardPort:
    """Servos 1 to 4 on a board's node. `servos`: emulated ones on its recorded pulses, or None.

    A node that `servos` hang on must be one whose time comes over the link. `ask` puts a question
    to a person and waits; without it loads cannot be hung on real servos.
    """

    reader = "encoder"
    can_record = True

    def __init__(
        self,
        link: NodeLink,
        neutral_us: Sequence[float],
        *,
        servos: Sequence[EmulatedServo] | None = None,
        scales: Sequence[Scale] | None = None,
        ask: Callable[[str], None] | None = None,
        hold_ms: int = HOLD_MS,
    ) -> None:
        self.link = link
        self.neutral_us = list(neutral_us)
        self.servos = None if servos is None else list(servos)
        self.hold_ms = hold_ms
        self._ask = ask
        self._moved: set[int] = set()
        if scales is None and servos is not None:
            scales = [Scale(s.encoder.counts, s.encoder.zero_counts) for s in servos]
        self.scales = list(scales) if scales else [Scale()] * VANES

    def move(self, servo: int, pulse_us: float) -> None:
        goal_ns = round(1000 * pulse_us)
        self._moved.add(servo)
        spent_s = 0.0
        while self._at(servo, goal_ns) != goal_ns:
            if spent_s > TOO_LONG_S:
                raise BoardError(f"servo {servo}: the board does not bring the pulse to its place")
            self._pass(STEP_S)
            spent_s += STEP_S

    def turn(self, servo: int, deflection_deg: float) -> float:
        """Lead a servo to a deflection by the board's own servo table; the pulse it ends at, µs."""
        contents = numbers((servo, round(1000 * deflection_deg), self.hold_ms))
        _, goal_ns = read_numbers(self.link.ask(b.TURN, contents).contents)
        self.move(servo, goal_ns / 1000)
        return goal_ns / 1000

    def wait(self, duration_s: float) -> None:
        left_s = duration_s
        while left_s > 1e-9:
            piece_s = min(left_s, LONGEST_PASS_S, self.hold_ms / 4000)
            self._pass(piece_s)
            left_s -= piece_s
            if left_s > 1e-9:
                self._look(1, 1)  # the board hears that the bench is still there

    def read(self, servo: int, prompt: str = "") -> Reading:
        scale = self.scales[servo - 1]
        if self.servos is not None:
            self._look(servo, 1)
            return read_model(self.servos[servo - 1], scale)
        counts: list[int | None] = []
        magnets: list[bool] = []
        supply_v = None
        while len(counts) < SAMPLES:
            asked = min(b.MOST_SAMPLES, SAMPLES - len(counts))
            _, supply_mv, magnet, *found = self._look(servo, asked)
            counts += [None if count < 0 else count for count in found]
            magnets += [bool(magnet)] * len(found)
            supply_v = None if supply_mv < 0 else supply_mv / 1000
            time.sleep(SAMPLE_GAP_S)
        return reading_of(counts, magnets, scale, supply_v)

    def play(self, servo: int, pulse_us: Array, interval_s: float) -> Recording:
        units = np.round(np.asarray(pulse_us) * 1000 / b.UNIT_NS).astype(int)
        interval_us = round(1e6 * interval_s)
        self._moved.add(servo)
        self.link.ask(b.PLAY_BEGIN, numbers((servo, len(units), interval_us)))
        self._send(units)
        patience_s = self.link.timeout_s
        self.link.timeout_s = patience_s + len(units) * interval_s
        try:
            (played,) = read_numbers(self.link.ask(b.PLAY_RUN).contents)
        finally:
            self.link.timeout_s = patience_s
        if played < len(units):
            raise BoardError(f"servo {servo}: the recording ended after {played} pulses")
        pulse_out_us = self._fetch(b.PULSES, played) * b.UNIT_NS / 1000
        if self.servos is not None:
            scale = self.scales[servo - 1]
            return play_model(self.servos, servo, scale, pulse_out_us, interval_s)
        counts = self._fetch(b.COUNTS, played)
        counts[counts == b.NO_COUNT] = np.nan
        supply_mv = self._fetch(b.SUPPLIES, played)
        supply = None if np.any(supply_mv == b.NO_COUNT) else supply_mv / 1000
        return Recording(interval_s, pulse_out_us, self.scales[servo - 1].angle_deg(counts), supply)

    def hang(self, servo: int, load_nm: float) -> None:
        if self.servos is not None:
            self.servos[servo - 1].hang(load_nm)
        elif self._ask is not None:
            action = f"hang {load_nm:g} N·m on" if load_nm else "take the load off"
            self._ask(f"CAUTION: fingers clear of the linkage. Servo {servo}: {action} the shaft")

    def neutral(self) -> None:
        """Every moved servo to neutral. Should the board be gone, it does so by itself."""
        for _ in range(TRIES):  # what comes during a recording ends it and is answered with it
            with contextlib.suppress(BoardError):
                for servo in sorted(self._moved):
                    self.move(servo, self.neutral_us[servo - 1])
                self.link.ask(b.END)
                self._pass(STEP_S)
                self._moved.clear()
                return

    def close(self) -> None:
        """End the node; its pulses end too."""
        with contextlib.suppress(BoardError):
            self.link.stop()

    def _send(self, units: NDArray[np.int_]) -> None:
        """Give the board the pulses of a recording; the same one many times over in one frame."""
        first = 0
        while first < len(units):
            others = np.flatnonzero(units[first:] != units[first])
            alike = int(others[0]) if len(others) else len(units) - first
            if alike > b.PIECE:
                self.link.ask(b.PLAY_FILL, numbers((first, alike, int(units[first]))))
                first += alike
            else:
                piece = units[first : first + b.PIECE].astype("<u2").tobytes()
                self.link.ask(b.PLAY_PIECE, numbers((first,)) + piece)
                first += len(piece) // 2

    def _fetch(self, column: int, count: int) -> Array:
        """One column of what was recorded, as float64 (count,)."""
        pieces = [
            self.link.ask(b.PLAY_DATA, numbers((column, first))).contents
            for first in range(0, count, b.DATA)
        ]
        return np.frombuffer(b"".join(pieces), "<u2").astype(float)

    def _at(self, servo: int, goal_ns: int) -> int:
        """Aim a servo at a pulse; the pulse it is at now, in ns."""
        contents = numbers((servo, goal_ns, self.hold_ms))
        (now_ns,) = read_numbers(self.link.ask(b.MOVE, contents).contents)
        if self.servos is not None:
            self.servos[servo - 1].pulse(now_ns / 1000)
        return now_ns

    def _look(self, servo: int, samples: int) -> tuple[int, ...]:
        return read_numbers(self.link.ask(b.LOOK, numbers((servo, samples))).contents)

    def _pass(self, duration_s: float) -> None:
        """Let time go by: on the board by a frame and in the models alike, or for everyone."""
        if self.servos is None:
            time.sleep(duration_s)
            return
        self.link.request(p.PASS, numbers((round(1e6 * duration_s),)))
        for model in self.servos:
            model.advance(duration_s)
