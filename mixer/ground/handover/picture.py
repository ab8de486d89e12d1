"""The chain as a picture: what holds, and where it is broken."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from mixer.ground.handover.state import LinkState
from mixer.ground.inputs.log_book import readable
from mixer.ground.reports.pictures import PALETTE, drawing

if TYPE_CHECKING:
    from matplotlib.figure import Figure

GREY = "#8a8f94"
# Word of a state: marker, colour, filled, size. Shapes tell it without colour.
LOOKS = {
    "holds": ("o", PALETTE[0], True, 9.0),
    "rehearsal": ("D", PALETTE[0], False, 8.0),
    "not judged": ("s", "#444444", False, 8.0),
    "of an ancestor": ("o", GREY, False, 6.0),
    "not asked for": ("o", GREY, False, 4.0),
}
BROKEN = ("X", PALETTE[1], True, 11.0)
SAID = {"rehearsal": "rehearsed only", "contradicts": "contradicted"}
ROW_IN = 0.3
BREAKS = ("failed", "contradicts", "damaged", "stale", "missing")  # the chain, where they stand


def chain_picture(states: Sequence[LinkState]) -> Figure:
    """The links from the drawing down to the board, each with its state and date."""
    count = len(states)
    with drawing(1, 1, 8.0, ROW_IN * count + 0.2) as (figure, axes):
        panel = axes[0, 0]
        panel.axis("off")
        panel.set_xlim(-0.03, 1.0)
        panel.set_ylim(count - 0.5, -0.5)
        for row, (one, other) in enumerate(pairwise(states)):
            whole = one.word not in BREAKS and other.word not in BREAKS
            line = {"linestyle": "-", "linewidth": 1.6} if whole else {"linestyle": (0, (1, 2))}
            panel.plot([0, 0], [row, row + 1], color=GREY, zorder=1, **line)
        for row, state in enumerate(states):
            marker, colour, filled, size = LOOKS.get(state.word, BROKEN)
            panel.plot(
                0, row, marker=marker, color=colour, markersize=size, linestyle="none",
                markerfacecolor=colour if filled else "white", markeredgewidth=1.6, zorder=2,
            )  # fmt: skip
            bold = "bold" if LOOKS.get(state.word, BROKEN) is BROKEN else "normal"
            soft = GREY if state.word == "not asked for" else "#23282d"
            panel.text(0.05, row, state.link.name, va="center", color=soft)
            panel.text(
                0.36, row, SAID.get(state.word, state.word), va="center", weight=bold, color=soft
            )
            if state.found is not None:
                panel.text(0.55, row, dated(state), va="center", color="#5b6770")
    return figure


def dated(state: LinkState) -> str:
    """Its date, and about what."""
    assert state.found is not None
    about = state.about.partition(",")
    return f"{readable(state.found.evidence.at)}  {about[0]}"
