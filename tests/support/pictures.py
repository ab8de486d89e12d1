"""Pictures in tests: what a line of code draws is drawn once in a process, from then on its
words alone.

To draw is most of the time that a report takes, and a command is called many times with other
input; its pages still hold a picture for each, with all that is written in it.
"""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from xml.sax.saxutils import escape

from matplotlib.figure import Figure
from matplotlib.text import Text

_draw = Figure.savefig


@contextmanager
def drawn_once(once: bool = True) -> Iterator[None]:
    """once: False draws every picture again, within a stretch where they are drawn once."""
    drawn: set[Any] = set()

    def savefig(figure: Figure, target: Any, **options: Any) -> None:
        caller = sys._getframe(2)  # savefig is called by `pictures.svg`, and that by this
        by = caller.f_code, caller.f_lineno
        if not once or options.get("format") != "svg" or by not in drawn:
            drawn.add(by)
            _draw(figure, target, **options)
            return
        words = [text.get_text() for text in figure.findobj(Text) if text.get_visible()]
        target.write("<svg>" + "".join(f"<text>{escape(word)}</text>" for word in words if word))
        target.write("</svg>")

    before = Figure.savefig
    Figure.savefig = savefig
    try:
        yield
    finally:
        Figure.savefig = before
