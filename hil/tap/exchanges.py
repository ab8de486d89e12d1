"""Which answer belongs to which request, and what the demands and their cycles were."""

from collections import OrderedDict
from dataclasses import dataclass

from firmware_port import protocol as p
from hil.node.answers import CycleAnswer
from hil.node.node_link import read_cycle, read_numbers
from hil.tap.frames_heard import HeardFrame

WAITING_MOST = 256  # requests whose answer is still looked for
DEMAND_BYTES = 15
CYCLE_BYTES = 40
EARLY_S = 0.1
RAN = (p.TAKEN, p.NOT_ARMED)  # verdicts of a demand whose cycle ran, acted on or not

Key = tuple[int, int]  # kind and number


@dataclass(frozen=True)
class HeardDemand:
    """A demand as it passed: pitch, yaw, roll mN·m and the chamber pressure."""

    moment_mnm: tuple[int, ...]
    pressure_pa: int


@dataclass(frozen=True)
class Exchange:
    """A request and its answer; None for the half that was not heard.

    A demand that a newer one overtook has no answer, and a change of state that the node tells by
    itself no request.
    """

    request: HeardFrame | None
    answer: HeardFrame | None

    @property
    def at_s(self) -> float:
        """When it began, as far as it was heard."""
        first = self.request or self.answer
        assert first is not None
        return first.at_s

    @property
    def kind(self) -> int:
        first = self.request or self.answer
        assert first is not None
        return first.kind

    @property
    def demand(self) -> HeardDemand | None:
        """What was demanded; None where this is no demand, or it was not heard."""
        request = self.request
        if request is None or request.kind != p.DEMAND or len(request.contents) != DEMAND_BYTES:
            return None
        contents = request.contents
        pressure_pa = int.from_bytes(contents[12:], "little")
        return HeardDemand(read_numbers(contents[:12], 4), pressure_pa)

    @property
    def cycle(self) -> CycleAnswer | None:
        """What the node's cycle did with the demand; None where that was not heard."""
        answer = self.answer
        if answer is None or answer.kind != p.DEMAND or len(answer.contents) < CYCLE_BYTES:
            return None
        return read_cycle(answer.contents)


class Pairing:
    """Frames in the order they were heard become exchanges.

    Two wires are read by two threads, so an answer may come to us up to `EARLY_S` before its
    request. An exchange is told once both are there, or once it is known that one will not come: a
    later request has been answered, or the other wire has had its time.
    """

    def __init__(self) -> None:
        self._requests: OrderedDict[Key, HeardFrame] = OrderedDict()
        self._early: OrderedDict[Key, HeardFrame] = OrderedDict()  # answers without a request

    def take(self, frame: HeardFrame) -> list[Exchange]:
        """The exchanges that are complete with one more frame."""
        key = (frame.kind, frame.sequence)
        told = self._early_past(frame.at_s - EARLY_S)
        if not frame.answer:
            told += self._requests_until(key)
            if key in self._early:
                return [*told, Exchange(frame, self._early.pop(key))]
            self._requests[key] = frame
            if len(self._requests) > WAITING_MOST:
                told.append(Exchange(self._requests.popitem(last=False)[1], None))
            return told
        if key not in self._requests:
            self._early[key] = frame
            return told
        *older, own = self._requests_until(key)
        return [*told, *older, Exchange(own.request, frame)]

    def rest(self) -> list[Exchange]:
        """What still waits for its other half when the listening ends."""
        left = self._early_past(float("inf"))
        left += [Exchange(frame, None) for frame in self._requests.values()]
        self._requests.clear()
        return left

    def _requests_until(self, key: Key) -> list[Exchange]:
        """Waiting requests up to one of this kind and number; none where it does not wait."""
        if key not in self._requests:
            return []
        until = list(self._requests)[: list(self._requests).index(key) + 1]
        return [Exchange(self._requests.pop(each), None) for each in until]

    def _early_past(self, before_s: float) -> list[Exchange]:
        """Answers whose request was not heard in time."""
        past = [key for key, frame in self._early.items() if frame.at_s < before_s]
        return [Exchange(None, self._early.pop(key)) for key in past]
