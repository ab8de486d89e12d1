"""The control check on the pad, from the flight computer's end: begun, watched, vane by vane."""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from firmware_port import protocol as p
from hil.node.answers import Answer, Checked
from hil.node.errors import BoardError
from hil.node.node_link import NodeLink, numbers
from mixer.flight import layout as at

ASKED_S = 0.1  # the node ends a check that nobody has asked about for 0.5 s
TRIES = 20  # of a node that has just started, or heard a demand a moment ago
VANES = range(1, at.VANES + 1)
ANSWERED, OFF, SILENT, NOT_THROUGH = "answered", "off", "no sensor", "not through"


@dataclass(frozen=True)
class VaneFound:
    """What a check found of a vane. turned_deg: by its sensor, None where that told nothing."""

    vane: int
    outcome: str
    turned_deg: float | None
    words: str

    def as_dict(self) -> dict[str, Any]:
        return {"vane": self.vane, "outcome": self.outcome, "turned_deg": self.turned_deg}


def check_vanes(
    link: NodeLink,
    deflection_mdeg: int,
    wait: Callable[[float], object],
    told: Callable[[VaneFound], object] = lambda found: None,
) -> list[VaneFound]:
    """Run a whole check; the four vanes. `told` hears of each as soon as it is through.

    wait: lets so many seconds pass. BoardError, in words, where the node refuses it. Whatever ends
    this early, Ctrl-C too, makes the node safe: the vanes go to neutral.

    CAUTION: it turns powered servos. Nobody near vanes or nozzle, igniters not connected.
    """
    begin(link, deflection_mdeg, wait)
    through: list[int] = []
    try:
        while True:
            found = link.checked()
            for vane in found.done:
                if vane not in through:
                    through.append(vane)
                    told(of_vane(vane, found, deflection_mdeg))
            if found.state != p.CHECKING:
                return [of_vane(vane, found, deflection_mdeg) for vane in VANES]
            wait(ASKED_S)
    except BaseException:
        with suppress(BoardError):  # on a line that is lost it ends by itself
            link.disarm()
        raise


def begin(link: NodeLink, deflection_mdeg: int, wait: Callable[[float], object]) -> None:
    """Begin it, once a node that has just started or heard a demand has had its time."""
    for _ in range(TRIES):
        token = link.ask(p.ASK).contents
        answer = link.request(p.CHECK, token + numbers((deflection_mdeg,)))
        if answer.taken:
            return
        if answer.verdict != p.NOT_NOW or answer.state != p.SAFE:
            break
        wait(ASKED_S)
    verdict = p.VERDICT_NAMES[answer.verdict]
    raise BoardError(f"the node refused the control check: {verdict}; {why(link, answer)}")


def why(link: NodeLink, answer: Answer) -> str:
    """What the node's refusal means, and what would be right."""
    if answer.verdict == p.NO_TABLES:
        return "it has no flight tables yet; load them first"
    if answer.verdict == p.OUT_OF_RANGE:
        return "the deflection must be 2 to 5 degrees to either side and within every vane's travel"
    if answer.verdict != p.NOT_NOW:
        return "run it again"
    if answer.state != p.SAFE:
        return f"it is {p.STATE_NAMES[answer.state]}; let the flight computer disarm it"
    belief = link.belief()
    if belief.burn != at.WAITING:
        return "its burn clock runs; after a burn, or a START, reset it first"
    if belief.jammed:
        vanes = " and ".join(map(str, belief.jammed))
        return f"vane {vanes} counts as jammed; free it first"
    return (
        "a demand comes or has just come, the chamber pressure it knows is that of a jet, a vane "
        "is not at rest, or a bench is at work; silence the flight computer and look at the sensor"
    )


def of_vane(vane: int, found: Checked, deflection_mdeg: int) -> VaneFound:
    """A vane by what the node tells."""
    turned_mdeg = found.turned_mdeg[vane - 1]
    wanted_deg = deflection_mdeg / 1e3
    turned_deg = None if turned_mdeg is None else turned_mdeg / 1e3
    if vane in found.off:
        outcome, words = OFF, f"turned {turned_deg:+.2f}° where {wanted_deg:+.2f}° were commanded"
    elif vane not in found.done:
        outcome, words = NOT_THROUGH, "not through: a demand, START, DISARM or silence ended it"
    elif turned_deg is None:
        outcome, words = SILENT, "through; no angle sensor told anything"
    else:
        outcome, words = ANSWERED, f"turned {turned_deg:+.2f}° of {wanted_deg:+.2f}°"
    return VaneFound(vane, outcome, turned_deg, f"vane {vane}: {words}")
