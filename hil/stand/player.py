"""The laptop's side of a play: the programme into the node, go, every point fetched and kept.

The node plays by its own clock; what happens here may be late. When it falls silent for a second
the node leads the vanes to neutral by itself.
"""

import contextlib
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from firmware_port import protocol as p
from firmware_port.stand import protocol as s
from hil.node.answers import refused
from hil.node.errors import BoardError
from hil.node.node_link import NodeLink, numbers, read_numbers
from hil.stand.programme_file import Knots
from hil.stand.record_file import RecordFile
from mixer.ground.two_clocks.play_record import point_line

HALT_TRIES = 5
FETCH_TRIES = 3  # together within the second that the node waits
HOME_S = 5.0
NAP_S = 0.002  # where no point has come yet


Angles = Sequence[float | None]  # of four vanes; None where a sensor tells nothing
Show = Callable[[float, Angles, Angles], None]  # time in s, commanded and sensed deflections in deg


@dataclass(frozen=True)
class Looked:
    """What a node says before it plays."""

    phase: int
    supply_v: float | None
    angles_deg: tuple[float | None, ...]


@dataclass(frozen=True)
class Ended:
    """How a play ended: outcome of the protocol, points that found no room in the node."""

    outcome: int
    lost: int
    points: int


class Player:
    """A node with the stand's requests at the other end of a link.

    let_pass: lets time go by on a node whose time comes over the link, and tells it the vanes'
    angles; None where the node has time of its own.
    """

    def __init__(self, link: NodeLink, let_pass: Callable[[], None] | None = None) -> None:
        self.link = link
        self._let_pass = let_pass

    def load(self, knots: Knots, run: int, advance: Callable[[int], None]) -> None:
        """Give the node its programme. BoardError where it does not take it."""
        crc = knots.crc
        answer = self.link.request(
            s.BEGIN, numbers((len(knots.ticks), crc >> 16, crc & 0xFFFF, run))
        )
        if answer.verdict in (p.WRONG_LENGTH, p.UNKNOWN_KIND):
            raise BoardError(
                "the node on this board plays no programmes (it flies, or is the servo bench's): "
                "let `fourvane stand play` start its own"
            )
        if not answer.taken:
            raise refused(answer)
        pieces = knots.pieces
        for first in range(0, len(pieces), s.PIECE):
            some = pieces[first : first + s.PIECE]
            self.link.ask(s.KNOTS, numbers((first,)) + b"".join(some))
            advance(len(some))
        if self.look().phase != s.READY:
            raise BoardError("the programme came to the node damaged; try again")

    def look(self) -> Looked:
        """Phase, supply and angles now."""
        phase, supply_mv, *angles = read_numbers(self.link.ask(s.LOOK).contents)
        told = in_deg([None if angle == p.NO_ANGLE else angle for angle in angles])
        return Looked(phase, None if supply_mv < 0 else supply_mv / 1000, tuple(told))

    def play(self, run: int, record: RecordFile, show: Show, wired: bool = False) -> Ended:
        """Go, and keep every point until the vanes are home. CAUTION: vanes move from here on.

        Ctrl-C, a full disk, whatever comes: the node is told to lead the vanes to neutral, and
        what it still holds is kept. A node that does not answer does so by itself.
        """
        self.link.ask(s.GO, numbers((run, int(wired))))
        try:
            return self._fetch_all(record, show, 0, None)
        except BaseException:
            with contextlib.suppress(BoardError):
                self.halt()
                if not record.full:
                    self._fetch_all(record, show, record.points, time.monotonic() + HOME_S)
            raise

    def _fetch_all(
        self, record: RecordFile, show: Show, number: int, until_s: float | None
    ) -> Ended:
        while True:
            if self._let_pass is not None:
                self._let_pass()
            while True:
                contents = self._fetched(number)
                phase, outcome = contents[0] & 7, contents[0] >> 3 & 7
                kept, lost = read_numbers(contents[1:7])
                if not kept:
                    break
                (time_us,) = read_numbers(contents[7:11], 4)
                values = read_numbers(contents[11:])
                angles = [None if angle == p.NO_ANGLE else angle for angle in values[8:12]]
                supply_mv = None if values[12] < 0 else values[12]
                sync = contents[0] >> 7
                told = (time_us, list(values[:4]), list(values[4:8]), angles, supply_mv, sync)
                record.point(point_line(*told))
                number += 1
                show(time_us / 1e6, in_deg(values[:4]), in_deg(angles))
                if kept == 1:
                    break
            if phase == s.OVER:
                return Ended(outcome, lost, number)
            if until_s is not None and time.monotonic() > until_s:
                raise BoardError("the vanes have not come home")
            if self._let_pass is None:
                time.sleep(NAP_S)

    def _fetched(self, number: int) -> bytes:
        """The answer to a FETCH, which may be asked again where the line has lost it."""
        for _ in range(FETCH_TRIES - 1):
            with contextlib.suppress(BoardError):
                return self.link.ask(s.FETCH, numbers((number,))).contents
        return self.link.ask(s.FETCH, numbers((number,))).contents

    def halt(self) -> None:
        """Ask for neutral, a few times where the line is bad."""
        for left in reversed(range(HALT_TRIES)):
            try:
                self.link.ask(s.HALT)
                return
            except BoardError:
                if not left:
                    raise


def in_deg(angles_mdeg: Angles) -> Angles:
    """Angles in 0.001° in degrees."""
    return [None if angle is None else angle / 1000 for angle in angles_mdeg]
