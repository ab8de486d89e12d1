"""Bars heated over time, side by side: the heat equation of all of them solved as one.

Side by side because a step costs much the same for one bar as for a dozen: on arrays as short as a
bar, the calls take the time and not the numbers.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy
from numpy.typing import NDArray

from mixer.ground.inputs.arrays import Array
from mixer.ground.vane_life.conduction import Bar, ConductionError, conduct, conductance_w_k
from mixer.ground.vane_life.materials import Factor, Material
from mixer.ground.vane_life.shaft_and_hub import ShaftAndHub


@dataclass(frozen=True)
class Heating:
    """A heated bar over time: `time_s` (m,), `temperature_k` (m, n), `recession_m` (m,).

    `ends_k` (m, 2): shaft and hub, where there is a sink, else (m, 0).
    """

    time_s: Array
    temperature_k: Array
    recession_m: Array
    ends_k: Array

    @property
    def surface_k(self) -> Array:
        return self.temperature_k[:, 0]

    def first_time_s(self, reached: NDArray[np.bool_]) -> float:
        """First time at which a condition (m,) holds; inf where it never does."""
        hits = np.flatnonzero(reached)
        return float(self.time_s[hits[0]]) if len(hits) else np.inf


@dataclass(frozen=True)
class _Equation:
    """What the solver is told of `heat_bars`: slopes, their Jacobian, and where a bar ends.

    Its state is flat: of one bar after another what its end has lost, the temperatures of its
    cells, and those of shaft and hub where there is a sink.
    """

    bars_at: Callable[[Array], Bar]
    material: Material
    recession_rate_m_s: Callable[[Array, Array], Factor] | None
    stop_at_k: float
    stop_at_recession_m: float
    heat_into_w: Callable[[Bar, Array], Array]
    sink: ShaftAndHub | None
    count: int

    @cached_property
    def new(self) -> Bar:
        return self.bars_at(np.zeros((self.count, 1)))

    @cached_property
    def cells(self) -> int:
        return self.new.volume_m3.shape[-1]

    @property
    def width(self) -> int:
        """Of one bar's state."""
        return 1 + self.cells + (0 if self.sink is None else 2)

    def parts(self, state: Array) -> tuple[Array, Array, Array]:
        """Recession (..., count, 1), cells (..., count, n), shaft and hub: views of the state."""
        each = state.reshape(*state.shape[:-1], self.count, self.width)
        return each[..., :1], each[..., 1 : self.cells + 1], each[..., self.cells + 1 :]

    def beyond(self, state: Array) -> Array:
        """How far each bar is past its end, (..., count), in K or in m: below 0 until it ends."""
        recession, temperature, _ends = self.parts(state)
        hot = temperature.max(axis=-1) - self.stop_at_k
        return np.maximum(hot, recession[..., 0] - self.stop_at_recession_m)

    def stands(self, recession: Array) -> tuple[Array, Bar]:
        """Recession and bars of a state. A bar past its end is heated on as it stood there."""
        if self.recession_rate_m_s is None:
            return recession, self.new
        recession = np.minimum(recession, self.stop_at_recession_m)
        return recession, self.bars_at(recession)

    def heat_capacity_j_k(self, bars: Bar, temperature: Array) -> Array:
        material = self.material
        return material.density_kg_m3 * bars.volume_m3 * material.specific_heat(temperature)

    def slopes(self, _time: float, state: Array) -> Array:
        recession, temperature, ends = self.parts(state)
        recession, bars = self.stands(recession)
        slope = np.zeros_like(state)
        speed, rate, warms = self.parts(slope)
        heat = self.heat_into_w(bars, temperature)
        conduct(bars, self.material, temperature, heat)
        if self.sink is not None:
            section = bars.volume_m3  # per metre of span
            leaves, warms[:] = self.sink.flows(self.material, section, temperature, ends)
            heat -= leaves
        rate[:] = heat / self.heat_capacity_j_k(bars, temperature)
        if self.recession_rate_m_s is not None:
            speed[:] = self.recession_rate_m_s(temperature[:, :1], recession)
            tail = bars.edge_m[..., -1:]
            moves = speed * (tail - bars.middle_m) / (tail - bars.edge_m[..., :1])
            rate += moves * _gradient(temperature, bars.gap_m)
        return slope

    def jacobian(self, _time: float, state: Array) -> Array:
        """Rise of every slope with its own temperature and its neighbours', a band of three rows.

        What goes with the recession, or into a sink, is small and left to iteration.
        """
        recession, temperature, _ends = self.parts(state)
        _recession, bars = self.stands(recession)
        # Half a kelvin either way, of thousands: the heat is as good as straight between.
        own = self.heat_into_w(bars, temperature + 0.5) - self.heat_into_w(bars, temperature - 0.5)
        passes = conductance_w_k(bars, self.material, temperature)
        own[:, :-1] -= passes
        own[:, 1:] -= passes
        capacity = self.heat_capacity_j_k(bars, temperature)
        band = np.zeros((3, state.size))
        # Each column is that of the temperature that rises; the slopes before, at and behind it.
        before, at, behind = (self.parts(row)[1] for row in band)
        before[:, 1:] = passes / capacity[..., :-1]
        at[:] = own / capacity
        behind[:, :-1] = passes / capacity[..., 1:]
        return band


def heat_bars(
    bars_at: Callable[[Array], Bar],
    material: Material,
    start_k: float,
    horizon_s: float,
    recession_rate_m_s: Callable[[Array, Array], Factor] | None = None,
    stop_at_k: float = np.inf,
    stop_at_recession_m: float = np.inf,
    heat_into_w: Callable[[Bar, Array], Array] = Bar.film_heat_w,
    sink: ShaftAndHub | None = None,
    count: int = 1,
    done: Callable[[float], None] = lambda _share: None,
) -> list[Heating]:
    """Heat each of `count` bars until the horizon, a temperature anywhere in it or a recession.

    `bars_at(recession_m)` gives the bars when so much (count, 1) of their ends is gone; the first
    edge moves, the last stays. `recession_rate_m_s(surface_k, recession_m)`, of (count, 1) each,
    is how fast the ends recede. Cells move with the ends, which carries heat between them: the
    last term of `slopes`. `heat_into_w(bars, temperature_k)` is the net heat into each cell through
    its surface, what it radiates included; a `sink` takes heat across the bars. `done` is told the
    share of the horizon that is over.
    """
    equation = _Equation(
        bars_at, material, recession_rate_m_s, stop_at_k, stop_at_recession_m, heat_into_w, sink,
        count,
    )  # fmt: skip
    start = np.full((count, equation.width), float(start_k))
    tolerance = np.full((count, equation.width), 3e-3)
    start[:, 0], tolerance[:, 0] = 0.0, 1e-8
    solver = scipy.integrate.LSODA(
        equation.slopes,
        0.0,
        start.ravel(),
        horizon_s,
        # Lives of four materials stay within 0.1 % of those at a tenth of all three.
        rtol=2e-5,
        atol=tolerance.ravel(),
        max_step=horizon_s / 20.0,
        # Heat goes from cell to neighbour: the band takes a twelfth of the work of the full matrix.
        lband=1,
        uband=1,
        # Found by differences, it took four in ten of all slopes.
        jac=equation.jacobian,
    )
    times_s, states, ends = [0.0], [solver.y], {}
    while solver.status == "running" and len(ends) < count:
        problem = solver.step()
        if solver.status == "failed":
            raise ConductionError(f"the heat equation could not be solved: {problem}")
        times_s.append(solver.t)
        states.append(solver.y)
        for bar in np.flatnonzero(equation.beyond(solver.y) >= 0.0).tolist():
            if bar not in ends:
                ends[bar] = len(states) - 1, *_end_of(bar, equation, solver)
        done(solver.t / horizon_s)
    of_bars = np.array(states).reshape(-1, count, equation.width)
    found = []
    for bar in range(count):
        time_s, state = np.array(times_s), of_bars[:, bar]
        if bar in ends:
            last, end_s, at_end = ends[bar]
            time_s, state = np.append(time_s[:last], end_s), np.vstack([state[:last], at_end])
        cells = slice(1, 1 + equation.cells)
        found.append(Heating(time_s, state[:, cells], state[:, 0], state[:, cells.stop :]))
    return found


def _end_of(bar: int, equation: _Equation, solver: "scipy.integrate.LSODA") -> tuple[float, Array]:
    """When a bar reached its end in the solver's last step, and its state then.

    By halving: a step's interpolation misses where the step began by as much as the solver errs,
    and so a root finder, which wants a change of sign, may find none.
    """
    state_at = solver.dense_output()
    before_s, end_s = solver.t_old, solver.t
    for _ in range(40):
        middle_s = 0.5 * (before_s + end_s)
        if equation.beyond(state_at(middle_s))[bar] >= 0.0:
            end_s = middle_s
        else:
            before_s = middle_s
    return end_s, state_at(end_s).reshape(equation.count, equation.width)[bar]


def _gradient(values: Array, gap: Array) -> Array:
    """Slope of values (..., n) at their places, `gap` (..., n - 1) apart.

    Of second order inside, of first at the ends. As np.gradient, in a third of its time.
    """
    slope = (values[..., 1:] - values[..., :-1]) / gap
    before, after = gap[..., :-1], gap[..., 1:]
    found = np.empty_like(values)
    found[..., 0], found[..., -1] = slope[..., 0], slope[..., -1]
    found[..., 1:-1] = (after * slope[..., :-1] + before * slope[..., 1:]) / (before + after)
    return found
