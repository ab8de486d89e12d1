"""Pictures in one calm style, told apart by colour and by line or marker alike."""

from __future__ import annotations

import hashlib
import io
import re
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from typing import TYPE_CHECKING, Any

import numpy as np
from cycler import cycler

from mixer.ground.inputs.csv_files import FilePath, write_whole

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# Okabe and Ito, "Color Universal Design", 2008 (recalled, the source not at hand): told apart
# with every common kind of colour vision. Lines and markers tell the same a second time.
PALETTE = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#444444")
LINES = ("-", "--", "-.", ":", (0, (6, 1.5, 1, 1.5, 1, 1.5)), (0, (1, 1)))
MARKERS = ("o", "s", "^", "D", "v", "P")
LIMIT = {"color": "#8a8f94", "linestyle": (0, (2, 2)), "linewidth": 0.9}
SHADE = {"color": "#8a8f94", "alpha": 0.15, "linewidth": 0}

IDS = re.compile(r'(\bid="|href="#|url\(#)([^")]+)')

STYLE: Any = {
    "axes.axisbelow": True,
    "axes.edgecolor": "#5b6770",
    "axes.grid": True,
    "axes.labelcolor": "#23282d",
    "axes.labelsize": 9,
    "axes.prop_cycle": cycler(color=PALETTE) + cycler(linestyle=LINES),
    "axes.spines.right": False,
    "axes.spines.top": False,
    "axes.titlelocation": "left",
    "axes.titlesize": 10,
    "figure.constrained_layout.use": True,
    "figure.dpi": 100,
    "font.family": "sans-serif",
    "font.size": 9,
    "grid.color": "#e3e6e8",
    "grid.linewidth": 0.7,
    "legend.fontsize": 8.5,
    "legend.frameon": False,
    "lines.linewidth": 1.4,
    "lines.markersize": 4,
    "svg.fonttype": "none",
    "svg.hashsalt": "fourvane",
    "xtick.color": "#5b6770",
    "xtick.labelcolor": "#23282d",
    "xtick.labelsize": 8.5,
    "ytick.color": "#5b6770",
    "ytick.labelcolor": "#23282d",
    "ytick.labelsize": 8.5,
}


def style() -> AbstractContextManager[None]:
    """The project's look, for whatever is drawn inside."""
    from matplotlib import rc_context  # slow to load: a command that draws nothing goes without

    return rc_context(STYLE)


@contextmanager
def drawing(
    rows: int = 1,
    columns: int = 1,
    width_in: float = 8.0,
    height_in: float = 3.0,
    **options: Any,
) -> Iterator[tuple[Figure, np.ndarray]]:
    """A new figure and its axes, shape (rows, columns); what is drawn inside has our look.

    `options` go to matplotlib's `Figure.subplots`, for instance `sharex=True`.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    with style():
        figure = Figure(figsize=(width_in, height_in))
        FigureCanvasAgg(figure)
        yield figure, figure.subplots(rows, columns, squeeze=False, **options)


def series(index: int, marker: bool = False) -> dict[str, Any]:
    """Colour and line (and marker) of one series, the same for the same vane everywhere."""
    look = {"color": PALETTE[index % len(PALETTE)], "linestyle": LINES[index % len(LINES)]}
    return {**look, "marker": MARKERS[index % len(MARKERS)]} if marker else look


def svg(figure: Figure) -> str:
    """The figure as an SVG element to stand within a page; the same picture gives the same text."""
    text = io.StringIO()
    with style():
        figure.savefig(text, format="svg", metadata={"Date": None, "Creator": None})
    element = text.getvalue()
    element = element[element.index("<svg") :]
    element = re.sub(r"<metadata>.*?</metadata>", "", element, flags=re.DOTALL)
    # Ids are numbered anew, since matplotlib's hang on the last bits of the layout; and several
    # pictures stand in one page, so each one's get a mark of their own.
    ids = {name: str(n) for n, name in enumerate(re.findall(r'\bid="([^"]+)"', element))}
    element = IDS.sub(lambda found: found[1] + ids.get(found[2], found[2]), element)
    mark = hashlib.sha256(element.encode()).hexdigest()[:8]
    return IDS.sub(rf"\g<1>p{mark}-\g<2>", element)


def png(figure: Figure, path: FilePath, dots_per_inch: int = 150) -> None:
    """Write the figure as a PNG file, whole or not at all."""
    with style(), write_whole(path, "wb") as stream:
        figure.savefig(stream, format="png", dpi=dots_per_inch, metadata={"Software": None})
