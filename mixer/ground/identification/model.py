"""What the load cells should read: the model of a static test, and what may be fitted in it.

With jet pressure p (over the reference), burn load s, and vane i at deflection d_i:

    f_i    = p e_i(s) c_i(d_i + zero_i)                normal force; e effectiveness, c the curve
    side_y = - sum sin(clocking_i) f_i + p line_y      line: where the thrust does not point along x
    side_z =   sum cos(clocking_i) f_i + p line_z
    roll   =   roll_arm sum f_i        + p swirl
    axial  =   p (thrust + trend s) - p sum growth_i e_i(s)/e_i(0) ((d_i + zero_i)/reach_i)^2
               + ambient (1 - p)

each with a drifting zero. e_i(s) is the parabola (or higher) over its values at even steps of burn
load; reach is the largest deflection within travel.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.static_test.blocks import Blocks
from mixer.ground.static_test.log import LOAD_COLUMNS
from mixer.ground.vehicle.vehicle import Vehicle

CHANNELS = len(LOAD_COLUMNS)
WEAR_POINTS = 3
KNOT_S = 1.0  # between knots of a drifting zero
AMBIENT_PRESSURE_RANGE = 0.03  # of the reference; less does not tell thrust's two parts apart


@dataclass(frozen=True)
class Quantity:
    """One kind of unknown: how many, how far a careful builder may be off, and what is a test's
    least worth: known no better than `worth`, it counts as not told.
    """

    name: str
    shape: tuple[int, ...]
    guess: Array
    width: Array
    worth: float

    @property
    def size(self) -> int:
        return int(np.prod(self.shape))


class Unknowns:
    """Every unknown of the model, in one row of numbers x."""

    def __init__(
        self, vehicle: Vehicle, full_load_s: float, wear_points: int, bend: bool, ambient: bool
    ) -> None:
        thrust_n = vehicle.engine.thrust_n
        self.load_points_s = np.linspace(0, full_load_s, wear_points)
        travel, curves = vehicle.vanes.travel_deg, vehicle.vanes.curves
        force_n = max(
            float(np.abs(c.force_at(t)).max()) for c, t in zip(curves, travel, strict=True)
        )
        arm_m = vehicle.layout.roll_arm_m
        effectiveness = vehicle.effectiveness(self.load_points_s)
        drag_n = np.array([
            max(c.drag_at(t).max() - float(c.drag_at(0.0)), 0.0) if c.drag_n is not None else 0.0
            for c, t in zip(curves, travel, strict=True)
        ])  # fmt: skip
        rest_n = sum(float(c.drag_at(0.0)) for c in curves if c.drag_n is not None)
        self.quantities = {
            q.name: q
            for q in self.described(
                effectiveness, vehicle.layout.clocking_deg, arm_m, thrust_n, rest_n, drag_n, force_n
            )
            if (q.name != "bend" or bend) and (q.name != "ambient_n" or ambient)
        }
        self.places: dict[str, slice] = {}
        start = 0
        for q in self.quantities.values():
            self.places[q.name] = slice(start, start + q.size)
            start += q.size
        self.size = start

    def described(
        self,
        effectiveness: Array,
        clocking_deg: Array,
        arm_m: float,
        thrust_n: float,
        rest_n: float,
        drag_n: Array,
        force_n: float,
    ) -> Iterator[Quantity]:
        def quantity(name: str, guess, width: float, worth: float) -> Quantity:
            guess = np.asarray(guess, dtype=float)
            return Quantity(name, guess.shape, guess, np.full(guess.shape, width), worth)

        yield quantity("effectiveness", effectiveness, 0.5, 0.1)
        yield quantity("clocking_deg", clocking_deg, 10.0, 3.0)
        yield quantity("zero_deg", np.zeros(VANES), 5.0, 1.5)
        yield quantity("roll_arm_m", [arm_m], 0.3 * arm_m, 0.1 * arm_m)
        yield quantity("lag_s", [0.0], 0.05, 0.02)
        yield quantity("side_line_n", np.zeros(2), 0.05 * thrust_n, 0.01 * thrust_n)
        yield quantity("swirl_nm", [0.0], force_n * arm_m, 0.3 * force_n * arm_m)
        yield quantity("thrust_n", [thrust_n - rest_n], 0.5 * thrust_n, 0.05 * thrust_n)
        yield quantity("thrust_trend_n", [0.0], 0.1 * thrust_n, 0.03 * thrust_n)
        yield quantity("ambient_n", [0.0], 0.5 * thrust_n, 0.1 * thrust_n)
        yield quantity("growth_n", drag_n, 0.05 * thrust_n, 0.01 * thrust_n)
        yield quantity("bend", np.zeros(VANES), 0.5, 0.1)

    @property
    def width(self) -> Array:
        """How far each number of x may be off, (size,)."""
        return np.concatenate([q.width.ravel() for q in self.quantities.values()])

    def guess(self) -> Array:
        return np.concatenate([q.guess.ravel() for q in self.quantities.values()])

    def of(self, x: Array, name: str) -> Array:
        """One quantity out of x; zeros where it is not fitted."""
        if name not in self.places:
            return np.zeros(VANES if name == "bend" else 1)
        return x[self.places[name]].reshape(self.quantities[name].shape)

    def weak_prior(self) -> tuple[Array, Array]:
        """Rows W and values v with W x = v, good to 1: how far a careful builder may be off.

        Against any test that tells something they weigh next to nothing; they keep what the test
        did not tell where the vehicle file has it. Wear is held relative to the first value.
        """
        rows = np.diag(1.0 / self.width)
        start = self.places["effectiveness"].start
        for later in range(start + VANES, self.places["effectiveness"].stop):
            rows[later, later] = 1.0 / 0.25
            rows[later, start + (later - start) % VANES] = -1.0 / 0.25
        return rows, rows @ self.guess()

    def effectiveness_rows(self, load_s: Array) -> Array:
        """The weight of each load point at burn loads (m,): shape (m, points)."""
        points = self.load_points_s
        load = np.clip(load_s, points[0], points[-1])
        weights = np.ones((len(load), len(points)))
        for k, here in enumerate(points):
            for other in np.delete(points, k):
                weights[:, k] *= (load - other) / (here - other)
        return weights


class StandModel:
    """The model over the blocks of one test, about given zeros, lag and effectiveness.

    `columns[c]` (m, k_c) are what channel c is made of, and `amounts(x)` how much of each: the
    channel reads columns[c] @ amounts(x)[c] + drift. Both are exact but for second orders of
    zeros and lag, about which the model is set up anew from pass to pass of the fit.
    """

    def __init__(self, blocks: Blocks, unknowns: Unknowns, x: Array) -> None:
        self.unknowns = unknowns
        self.zero_deg = unknowns.of(x, "zero_deg").copy()
        self.lag_s = float(unknowns.of(x, "lag_s")[0])
        vanes = blocks.vane_columns(self.zero_deg, self.lag_s)
        wear = unknowns.effectiveness_rows(blocks.load_s)
        worn = wear @ unknowns.of(x, "effectiveness")
        since_new = worn / unknowns.of(x, "effectiveness")[0]
        share = blocks.share[:, None]

        def over_wear(columns: Array) -> Array:
            return (wear[:, :, None] * columns[:, None, :]).reshape(len(wear), -1)

        side = [over_wear(vanes.force_n), over_wear(vanes.slope_n_deg), worn * vanes.rate_n_s]
        if "bend" in unknowns.places:
            side.append(over_wear(vanes.bend_n))
        axial = [share, share * blocks.load_s[:, None] / max(blocks.full_load_s, 1e-9)]
        axial += [since_new * vanes.growth, since_new * vanes.growth_slope_1_deg]
        if "ambient_n" in unknowns.places:
            axial.append(np.where(blocks.burning[:, None], 1 - share, 0.0))
        lateral = np.hstack([*side, share])
        self.columns = [lateral, lateral, lateral, np.hstack(axial)]

    def amounts(self, x: Array) -> list[Array]:
        """How much of each channel's columns there is."""
        u = self.unknowns
        e, bend = u.of(x, "effectiveness"), u.of(x, "bend")
        off_deg = u.of(x, "zero_deg") - self.zero_deg
        late_s = float(u.of(x, "lag_s")[0]) - self.lag_s
        found = []
        for push, own in zip(self.pushes(x), self.own_lines(x), strict=True):
            parts = [(e * push).ravel(), (e * push * off_deg).ravel(), -late_s * push]
            if "bend" in u.places:
                parts.append((e * push * bend).ravel())
            found.append(np.concatenate([*parts, own]))
        growth = u.of(x, "growth_n")
        axial = [u.of(x, "thrust_n"), u.of(x, "thrust_trend_n"), -growth, -growth * off_deg]
        if "ambient_n" in u.places:
            axial.append(u.of(x, "ambient_n"))
        return [*found, np.concatenate(axial)]

    def pushes(self, x: Array) -> list[Array]:
        """What one newton of each vane adds to side_y, side_z and roll, (4,) each."""
        clocking = np.radians(self.unknowns.of(x, "clocking_deg"))
        arm_m = self.unknowns.of(x, "roll_arm_m")
        return [-np.sin(clocking), np.cos(clocking), np.repeat(arm_m, VANES)]

    def own_lines(self, x: Array) -> list[Array]:
        """What goes with the pressure alone, in side_y, side_z and roll."""
        line = self.unknowns.of(x, "side_line_n")
        return [line[:1], line[1:], self.unknowns.of(x, "swirl_nm")]

    def slopes(self, x: Array) -> list[Array]:
        """The derivatives of `amounts` by x: (k_c, len(x)) for each channel."""
        u = self.unknowns
        e, bend = u.of(x, "effectiveness"), u.of(x, "bend")
        off_deg = u.of(x, "zero_deg") - self.zero_deg
        late_s = float(u.of(x, "lag_s")[0]) - self.lag_s
        clocking = np.radians(u.of(x, "clocking_deg"))
        turn = np.pi / 180 * np.array([-np.cos(clocking), -np.sin(clocking), np.zeros(VANES)])
        points, size = len(e), e.size
        identity = np.tile(np.eye(VANES), (points, 1))  # from a vane to its column at each point
        bent = "bend" in u.places
        found = []
        for channel, push in enumerate(self.pushes(x)):
            rows = 2 * size + VANES + size * bent + 1
            slope = np.zeros((rows, u.size))
            force, zero = slice(0, size), slice(size, 2 * size)
            late, bends = slice(2 * size, 2 * size + VANES), slice(2 * size + VANES, rows - 1)
            pushed = np.tile(push, points)
            own = u.places["effectiveness"]
            slope[force, own] = np.diag(pushed)
            slope[zero, own] = np.diag(pushed * np.tile(off_deg, points))
            slope[zero, u.places["zero_deg"]] = identity * (e.ravel() * pushed)[:, None]
            slope[late, u.places["lag_s"]] = -push[:, None]
            if bent:
                slope[bends, own] = np.diag(pushed * np.tile(bend, points))
                slope[bends, u.places["bend"]] = identity * (e.ravel() * pushed)[:, None]
            if channel < 2:
                by_push, place = np.diag(turn[channel]), u.places["clocking_deg"]
                slope[-1, u.places["side_line_n"].start + channel] = 1
            else:
                by_push, place = np.ones((VANES, 1)), u.places["roll_arm_m"]
                slope[-1, u.places["swirl_nm"]] = 1
            per_column = identity @ by_push  # how the push of each column turns with the unknown
            slope[force, place] = e.ravel()[:, None] * per_column
            slope[zero, place] = (e * off_deg).ravel()[:, None] * per_column
            slope[late, place] = -late_s * by_push
            if bent:
                slope[bends, place] = (e * bend).ravel()[:, None] * per_column
            found.append(slope)
        growth = u.of(x, "growth_n")
        axial = np.zeros((self.columns[3].shape[1], u.size))
        axial[0, u.places["thrust_n"]] = 1
        axial[1, u.places["thrust_trend_n"]] = 1
        axial[2 : 2 + VANES, u.places["growth_n"]] = -np.eye(VANES)
        axial[2 + VANES : 2 + 2 * VANES, u.places["growth_n"]] = -np.diag(off_deg)
        axial[2 + VANES : 2 + 2 * VANES, u.places["zero_deg"]] = -np.diag(growth)
        if "ambient_n" in u.places:
            axial[-1, u.places["ambient_n"]] = 1
        return [*found, axial]


def drift_columns(time_s: Array) -> Array:
    """Zeros that drift straight between knots: (m, knots), each knot's share at each time."""
    count = max(round((time_s[-1] - time_s[0]) / KNOT_S), 1) + 1
    knots = np.linspace(time_s[0], time_s[-1], count)
    return np.column_stack([np.interp(time_s, knots, row) for row in np.eye(count)])
