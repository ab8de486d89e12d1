"""What a node answers, once it is read."""

from dataclasses import dataclass

from firmware_port import protocol as p
from hil.node.errors import BoardError


@dataclass(frozen=True)
class Answer:
    """One answer of the node. contents: what follows the state and the verdict."""

    kind: int
    sequence: int
    state: int
    verdict: int
    contents: bytes

    @property
    def taken(self) -> bool:
        return self.verdict == p.TAKEN


def refused(answer: Answer) -> BoardError:
    """What to say of a request that the node refused."""
    further = answer.kind == p.FURTHER and answer.contents
    asked = f"further request {answer.contents[0]}" if further else f"request {answer.kind}"
    return BoardError(
        f"the node refused {asked}: {p.VERDICT_NAMES[answer.verdict]} "
        f"(it is {p.STATE_NAMES[answer.state]})"
    )


@dataclass(frozen=True)
class CycleAnswer:
    """What the last control cycle did, as told in the answer to a demand."""

    flags: int
    deflection_mdeg: tuple[int, ...]
    pulse_ns: tuple[int, ...]
    cost: int
    moment_mnm: tuple[int, ...]
    force: tuple[int, ...] = ()  # eighths of a count, where asked for


@dataclass(frozen=True)
class Checked:
    """What a control check has found so far; vanes are numbered 1 to 4."""

    state: int
    done: tuple[int, ...]
    off: tuple[int, ...]  # those whose angle sensor disagrees
    turned_mdeg: tuple[int | None, ...]  # by the sensors; None where one told nothing


@dataclass(frozen=True)
class Belief:
    """What the node takes to be so."""

    time_us: int  # of the burn
    load_us: int
    doubted_us: int  # 0 where the pressure read counts
    ratio_q14: int  # the pressure that counts, over the reference
    jammed: tuple[int, ...]
    burn: int  # the burn clock: WAITING, STARTED, SAID or BELIEVED of `mixer.flight.layout`


@dataclass(frozen=True)
class Watched:
    """How the node's jam watch stands; vanes are numbered 1 to 4."""

    state: int  # WATCH_WAITING, WATCH_ON or WATCH_OFF of `mixer.flight.layout`
    believed: tuple[int, ...]  # whose angle sensors are
    out: tuple[int, ...]  # whose are not
    declared: tuple[int, ...]  # which it holds to be jammed
    found: int  # how often it declared one


def vanes_in(bits: int) -> tuple[int, ...]:
    """The vanes of a set of bits, bit 0 for vane 1."""
    return tuple(vane for vane in range(1, 5) if bits >> (vane - 1) & 1)
