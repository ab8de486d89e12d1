"""The pictures of a static test: what was read, what the fit makes of it, and what it leaves."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import numpy as np

from mixer.ground.identification.fit import Identification
from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.reports.pictures import LIMIT, SHADE, drawing, series
from mixer.ground.static_test.log import LOAD_UNITS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

NAMES = ("side y", "side z", "roll", "axial")
BINS = 15
LONGEST_MEMORY_S = 0.6
READING = {"color": "#9aa0a6", "marker": ".", "markersize": 1.6, "linestyle": "none"}


def effectiveness_picture(found: Identification) -> Figure:
    """Each vane's effectiveness over burn load, within two standard errors, and the file's."""
    loads_s = np.linspace(0, found.blocks.full_load_s, 101)
    value, error = found.effectiveness_at(loads_s)
    before = found.vehicle.effectiveness(loads_s)
    with drawing(1, VANES, width_in=9, height_in=2.9, sharey=True) as (figure, axes):
        for vane, panel in enumerate(axes[0]):
            line = panel.plot(loads_s, value[:, vane], label="from the test", **series(vane))[0]
            low, high = value[:, vane] - 2 * error[:, vane], value[:, vane] + 2 * error[:, vane]
            panel.fill_between(loads_s, low, high, color=line.get_color(), alpha=0.25, linewidth=0)
            panel.plot(loads_s, before[:, vane], label="vehicle file", **LIMIT)
            panel.set_title(f"vane {vane + 1}")
            panel.set_xlabel("burn load, s")
            panel.legend()
        axes[0, 0].set_ylabel("effectiveness")
    return figure


def angles_picture(found: Identification) -> Figure:
    """What the vanes did."""
    log = found.blocks.log
    with drawing(VANES, 1, width_in=9, height_in=4.4, sharex=True) as (figure, axes):
        for vane, panel in enumerate(axes[:, 0]):
            look = {**series(vane), "linestyle": "-", "linewidth": 0.9}
            panel.plot(log.time_s, log.vanes_deg[:, vane], **look)
            panel.set_ylabel(f"{vane + 1}, deg")
        axes[-1, 0].set_xlabel("time, s")
    return figure


@contextmanager
def channels_over_time() -> Iterator[tuple[Figure, list[Axes]]]:
    """Four panels over time, one for each load, with one legend for all."""
    with drawing(len(NAMES), 1, width_in=9, height_in=6.4, sharex=True) as (figure, axes):
        panels = list(axes[:, 0])
        yield figure, panels
        for panel, name, unit in zip(panels, NAMES, LOAD_UNITS, strict=True):
            panel.set_ylabel(f"{name}, {unit}")
        panels[-1].set_xlabel("time, s")
        handles = panels[0].get_legend_handles_labels()
        figure.legend(*handles, ncols=3, loc="outside upper right", markerscale=4)


def loads_picture(found: Identification) -> Figure:
    """Readings and fit over time."""
    blocks = found.blocks
    fit = {**series(0), "linewidth": 0.9}
    with channels_over_time() as (figure, panels):
        for channel, panel in enumerate(panels):
            panel.plot(blocks.time_s, blocks.loads[:, channel], label="read", **READING)
            for part in blocks.segments:
                label = None if part.start else "fit, with the zero's drift"
                panel.plot(blocks.time_s[part], found.fitted[part, channel], label=label, **fit)
    return figure


def residuals_picture(found: Identification) -> Figure:
    """What the fit leaves over time, with twice the noise, and the drift it saw."""
    time_s, burning = found.blocks.time_s, found.blocks.burning
    with channels_over_time() as (figure, panels):
        for channel, panel in enumerate(panels):
            rest, drift = found.residuals[:, channel], found.drift[:, channel]
            panel.plot(time_s, rest, label="read less fit", **READING)
            twice = 2 * float(rest[burning].std())
            panel.axhspan(-twice, twice, label="twice its scatter", **SHADE)
            panel.plot(time_s, drift - drift[0], label="zero's drift", **series(1))
    return figure


def over_deflection_picture(found: Identification) -> Figure:
    """What is left of each vane's own push over its deflection: bent where the curve is wrong."""
    blocks = found.blocks
    clocking = np.radians(found.value("clocking_deg"))
    rest = found.residuals[blocks.burning]
    with drawing(1, VANES, width_in=9, height_in=2.8, sharey=True) as (figure, axes):
        for vane, panel in enumerate(axes[0]):
            own = rest[:, 1] * np.cos(clocking[vane]) - rest[:, 0] * np.sin(clocking[vane])
            angle = blocks.mean(blocks.log.vanes_deg[:, vane])[blocks.burning]
            middle, mean, error = binned(angle, own)
            panel.axhline(0, **LIMIT)
            panel.errorbar(middle, mean, yerr=2 * error, capsize=2, **series(vane, marker=True))
            panel.set_title(f"vane {vane + 1}")
            panel.set_xlabel("deflection, deg")
        axes[0, 0].set_ylabel("read less fit, N")
    return figure


def binned(x: Array, y: Array) -> tuple[Array, Array, Array]:
    """Means of y over even bins of x, with their standard errors; bins with some in them."""
    edges = np.linspace(x.min(), x.max() + 1e-9, BINS + 1)
    place = np.digitize(x, edges) - 1
    full = [k for k in range(BINS) if np.sum(place == k) > 4]
    groups = [y[place == k] for k in full]
    return (
        np.array([x[place == k].mean() for k in full]),
        np.array([group.mean() for group in groups]),
        np.array([group.std() / np.sqrt(len(group)) for group in groups]),
    )


def memory_picture(found: Identification) -> Figure:
    """How the noise hangs together over time, before and after its memory is taken out."""
    blocks = found.blocks
    rows = max(int(LONGEST_MEMORY_S / blocks.block_s), 2)
    with drawing(1, len(NAMES), width_in=9, height_in=2.6, sharey=True) as (figure, axes):
        for channel, panel in enumerate(axes[0]):
            rest = found.residuals[:, channel, None]
            white = found.noises[channel].noise.whitened(rest, blocks.burning_segments)[:, 0]
            raw = np.concatenate([rest[part, 0] for part in blocks.burning_segments])
            for index, (label, values) in enumerate((("as left", raw), ("taken out", white))):
                lags_s = np.arange(rows) * blocks.block_s
                panel.plot(lags_s, correlations(values, rows), label=label, **series(index))
            chance = 2 / np.sqrt(len(raw))
            panel.axhspan(-chance, chance, **SHADE)
            panel.set_title(NAMES[channel])
            panel.set_xlabel("apart, s")
        axes[0, 0].set_ylabel("correlation")
        axes[0, 0].legend()
    return figure


def correlations(values: Array, rows: int) -> Array:
    """The correlation of a series with itself 0, 1, ... rows apart."""
    values = values - values.mean()
    products = [values[k:] @ values[: len(values) - k] for k in range(rows)]
    return np.array(products) / max(products[0], 1e-300)
