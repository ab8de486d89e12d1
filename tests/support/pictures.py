"""Pictures in tests: what a line of code draws is drawn once in a run, from then on its words
alone.

To draw is most of the time that a report takes, and a command is called many times with other
input; its pages still hold a picture for each, with all that is written in it.
"""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from matplotlib.artist import Artist
from matplotlib.axis import Axis
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.ticker import FixedFormatter

_draw = Figure.savefig


@contextmanager
def drawn_once(folder: Path | None) -> Iterator[None]:
    """folder: where the processes of a run tell each other what they draw; None draws every
    picture again, within a stretch where they are drawn once.
    """

    def savefig(figure: Figure, target: Any, **options: Any) -> None:
        caller = sys._getframe(2)  # savefig is called by `pictures.svg`, and that by this
        by = f"{caller.f_code.co_filename}:{caller.f_lineno}"
        if folder is None or options.get("format") != "svg" or first(folder, by):
            _draw(figure, target, **options)
            return
        words = [text.get_text() for text in texts_of(figure) if text.get_visible()]
        target.write("<svg>" + "".join(f"<text>{escape(word)}</text>" for word in words if word))
        target.write("</svg>")

    before = Figure.savefig
    Figure.savefig = savefig
    try:
        yield
    finally:
        Figure.savefig = before


def texts_of(artist: Artist) -> Iterator[Text]:
    """All that is written in a picture, but for the numbers along its axes: those come only as it
    is drawn, and to make room for them took half of the time that is saved here.
    """
    if isinstance(artist, Text):
        yield artist
    if isinstance(artist, Axis) and not isinstance(artist.get_major_formatter(), FixedFormatter):
        yield artist.label
        return
    for child in artist.get_children():
        yield from texts_of(child)


def first(folder: Path, what: str) -> bool:
    """Whether no process of the run has asked this before."""
    try:
        (folder / sha256(what.encode()).hexdigest()).touch(exist_ok=False)
    except FileExistsError:
        return False
    return True
