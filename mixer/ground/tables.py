"""Building the flight tables: every number becomes an integer here, once.

Counts: 4096 = the largest |force| of any new vane at reference pressure within travel; forces in
the tables are in eighths of a count. Angles 0.001°, pulses ns, times 1.024 ms, cosines Q14. What is
rounded is rounded to nearest, except travel, which is rounded inwards.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from mixer.flight import FlightTables
from mixer.flight import layout as at
from mixer.ground.curves import straight
from mixer.ground.pieces import (
    angle_cells,
    at_least_two,
    first_cell,
    force_cells,
    over_time,
    spread,
)
from mixer.ground.quantities import Array
from mixer.ground.table_limits import assembled, refuse_unfit
from mixer.ground.vehicle_errors import Problem, VehicleError
from mixer.ground.watch_limits import watch_limits

if TYPE_CHECKING:
    from mixer.ground.vehicle import Vehicle

COUNTS = 4096  # the largest force
EIGHTHS = 8 * COUNTS
Q14 = 1 << 14
LONGEST_TICKS = 32768  # in time
LONGEST_SEGMENT = 8192  # in angle: a slope's rounding then stays below a quarter of an eighth
PARALLEL = 2.0**-15  # sine of an angle that a Q14 cosine cannot tell from 0
FAR_EIGHTHS = 1 << 25  # demands are taken up to 1024 times the largest vane force
MOST_MNM = 1 << 29
RATE_EXPONENT = 0.8  # Bartz 1957
PRESSURE_RATIO_MAX = 2.0
NO_THRUST_RATIO = 0.05
TRUSTED_BURNS = 1.1  # burn times up to which a reading may be doubted
ROLL_CHANGE = 1 << 17  # of the roll, in the allocator's own scale: from end to end
TICK_S = (1 << at.TICK) / 1e6  # the tables' step of time


def build(vehicle: "Vehicle") -> FlightTables:
    """Flight tables of a vehicle; VehicleError, in words, where it does not fit the arithmetic."""
    from mixer.ground.kernel_code.bounds import bound_cycle  # reads the core; not needed to load
    from mixer.ground.kernel_code.spans import WordOverflowError

    refuse_unfit(vehicle)
    tables = FlightTables(assembled(Words(vehicle).assemble, vehicle))
    try:
        bound_cycle(list(tables.words))
    except WordOverflowError as error:
        message = (
            "this vehicle does not fit the flight core's 32-bit arithmetic; nearest causes: very "
            f"uneven clocking, curves with very steep and very flat parts, extreme sizes ({error})"
        )
        raise VehicleError(str(vehicle.path), [Problem("", None, message)]) from error
    return tables


def largest_force_n(vehicle: "Vehicle") -> float:
    """The force of 4096 counts in N: the largest of any new vane within its travel."""
    return max(
        float(np.abs(curve.force_at(travel)).max())
        for curve, travel in zip(vehicle.vanes.curves, vehicle.vanes.travel_deg, strict=True)
    )


def slew_mdeg_s(tables: FlightTables) -> list[int]:
    """The four slews that flight tables hold, 0.001°/s."""
    whole, left = (tables.words[place : place + 4] for place in (at.SLEW_HIGH, at.SLEW_LOW))
    return [1000 * high + low for high, low in zip(whole, left, strict=True)]


@dataclass(frozen=True)
class Scaled:
    """value ≈ mantissa · 2^-exponent."""

    mantissa: int
    exponent: int


def scaled(value: float, bits: int) -> Scaled:
    """The value with a mantissa of at most `bits` bits."""
    exponent = bits - int(np.ceil(np.log2(abs(value))))
    if round(abs(value) * 2.0**exponent) >= 1 << bits:
        exponent -= 1
    return Scaled(round(value * 2.0**exponent), exponent)


def halved_product(value: float) -> Scaled:
    """The value as the flight core's product by halves of 9 bits takes it: exponent 9 or more."""
    exponent = min(max(scaled(value, 19).exponent, 9), 30)
    return Scaled(round(value * 2.0**exponent), exponent)


class Words:
    """The words of one vehicle's flight tables, in the order of `mixer/flight/layout.py`."""

    def __init__(self, vehicle: "Vehicle"):
        self.vehicle = vehicle
        self.force_unit_n = largest_force_n(vehicle) / EIGHTHS
        self.head = [0] * at.BODY
        self.body: list[int] = []
        self.places: dict[bytes, list[int]] = {}

    def assemble(self) -> list[int]:
        self.put_control()
        self.put_pressure()
        self.put_geometry()
        self.put_allocation()
        self.put_curves()
        self.put_servos()
        self.put_wear()
        self.put_lever()
        self.put_roll()
        self.put_watch()
        return self.head + self.body

    def refuse(self, key: str, value: object, message: str) -> VehicleError:
        return VehicleError(str(self.vehicle.path), [Problem(key, str(value), message)])

    def put(self, where: int, values) -> None:
        values = [int(v) for v in np.atleast_1d(values)]
        self.head[where : where + len(values)] = values

    def append(self, *columns) -> int:
        """Add columns to the body, one after another; return where they start."""
        offset = at.BODY + len(self.body)
        for column in columns:
            self.body += [int(v) for v in column]
        return offset

    def append_records(self, *columns) -> int:
        """Add columns to the body, row by row; return where they start."""
        return self.append(*zip(*columns, strict=True))

    def append_leaped(self, starts, *columns) -> int:
        """The same for records that begin before everything and at `starts`, for a search by leaps.

        columns: for these records and the first of the ends that close the table.
        """
        ends = np.zeros((len(columns), at.LEAP - 1))
        return self.append_records(
            [-at.END, *starts, *[at.END] * at.LEAP], *np.hstack([np.array(columns), ends])
        )

    def once(self, columns, *cells: Callable[[int], list[int]]) -> list[int]:
        """Add records and the cells that lead to them, or find them if they are there already.

        cells: given the place of the records. Returns the places of records and cells.
        """
        key = np.array(columns).tobytes()
        if key not in self.places:
            offset = self.append_records(*columns)
            self.places[key] = [offset, *(self.append(cell(offset)) for cell in cells)]
        return self.places[key]

    def put_control(self) -> None:
        control = self.vehicle.control
        self.put(at.POLICY, ("nearest", "direction").index(control.policy))
        self.put(at.PERIOD_US, round(1e6 / control.rate_hz))
        self.put(at.TIMEOUT_US, round(1e3 * control.demand_timeout_ms))

    def put_pressure(self) -> None:
        reference_pa = self.vehicle.engine.chamber_pressure_bar * 1e5
        most_pa = int(PRESSURE_RATIO_MAX * reference_pa)
        shift = max(most_pa.bit_length() - 16, 0)
        self.put(at.PA_SHIFT, shift)
        self.put(at.PA_MANT, round(2.0 ** (29 + shift) / reference_pa))
        self.put(at.PA_MAX, most_pa)
        self.put(at.PA_MIN, int(np.ceil(NO_THRUST_RATIO * reference_pa)))
        engine = self.vehicle.engine
        self.put(at.BELIEVED_LOW, np.round(engine.believed_pressure * Q14))
        self.put(at.TRUST_US, round(TRUSTED_BURNS * engine.burn_time_s * 1e6))
        self.put_expected(*engine.expected_bar())
        rate = np.round((np.arange(65) / 32) ** RATE_EXPONENT * Q14)
        self.put(at.RATE_OFF, self.append(rate[:64], np.diff(rate)))

    def put_expected(self, time_s: Array, bar: Array) -> None:
        ticks = in_ticks(time_s)
        ratio = straight(ticks * TICK_S, time_s, bar) / self.vehicle.engine.chamber_pressure_bar
        ratio = np.minimum(np.round(ratio * Q14), 32767)
        self.put(at.EXPECTED_OFF, self.append_leaped(ticks, *over_time(ticks, ratio, 32768)))
        self.put(at.EXPECTED_N, len(ticks))

    def put_geometry(self) -> None:
        clocking = self.vehicle.layout.clocking_deg
        for high, low, values in (
            (at.COS, at.COS_LOW, cosine(clocking)),
            (at.SIN, at.SIN_LOW, sine(clocking)),
        ):
            coarse, fine = halves(values)
            self.put(high, coarse)
            self.put(low, fine)
        travel = np.asarray(self.vehicle.vanes.travel_deg) * 1000
        self.put(at.TRAVEL_LO, np.ceil(np.round(travel[:, 0], 6)))
        self.put(at.TRAVEL_HI, np.floor(np.round(travel[:, 1], 6)))
        slew = [servo.slew_deg_s * 1000 for servo in self.vehicle.servos]
        slew = np.floor(np.round(slew, 6))
        self.put(at.SLEW_HIGH, slew // 1000)
        self.put(at.SLEW_LOW, slew % 1000)

        # Edges of Z: one a direction, in the order of their normals' angles over half a turn.
        normals = np.mod(clocking + 90, 180)
        normals[np.isclose(normals, 180, rtol=0, atol=1e-9)] = 0
        edges: list[float] = []
        for normal in np.sort(normals):
            if all(abs(sine(normal - other)) > PARALLEL for other in edges):
                edges.append(float(normal))
        self.put(at.N_EDGES, len(edges))
        for k, normal in enumerate(edges):
            coarse, fine = halves(np.array([cosine(normal), sine(normal)]))
            across, across_fine = halves(cosine(clocking - normal))  # n·b
            parallel = across == 0
            across_fine[parallel] = 0
            middle = np.round(sine(clocking - normal) * Q14) * np.sign(across)  # t·b
            half = np.where(parallel, Q14, 0)
            record = [*coarse, *fine, *np.abs(across), *middle, *half, *across, *across_fine]
            self.put(at.EDGES + k * at.EDGE_STRIDE, record)

    def put_allocation(self) -> None:
        clocking = self.vehicle.layout.clocking_deg
        matrix = np.array([cosine(clocking), sine(clocking), np.ones(4)])
        null = np.linalg.svd(matrix)[2][3]
        null /= null[np.argmax(np.abs(null))]
        rows = -np.linalg.pinv(matrix) / null[:, None]
        width = 1 / np.abs(null)
        # for each vane the most fraction bits with which every product fits 32 bits
        most = np.maximum.reduce(
            [
                (np.abs(rows[:, 0]) + np.abs(rows[:, 1])) * 65536 + 1,
                np.abs(rows[:, 2]) * 65536 + 1,
                width * 16384,
            ]
        )
        q = np.minimum(14, np.floor(np.log2((2**31 - 1) / most))).astype(int)
        if q.min() < 8:
            raise self.refuse(
                "layout.clocking_deg",
                clocking.tolist(),
                "these vanes stand too unevenly round the axis for the flight arithmetic; "
                "spread them out",
            )
        one = 2.0**q
        roll = np.round(rows[:, 2] * one)
        self.put(at.ROW_Q, q)
        self.put(at.ROW_X, np.round(rows[:, 0] * one))
        self.put(at.ROW_Y, np.round(rows[:, 1] * one))
        self.put(at.ROW_ROLL, roll)
        self.put(at.WIDTH, np.round(width * one))
        self.put(at.NULL, np.round(null * Q14))
        self.put(at.NULL_EFFORT, np.round(null / (null @ null) * Q14))
        self.put_pairs(roll / one)

    def put_pairs(self, roll) -> None:
        """The pairs of vanes that roll moves apart, K = difference of their roll rows, K rising.

        Below 2^-14 the whole roll moves them apart by less than rounding does.
        """
        pairs = [(i, j, roll[i] - roll[j]) for i in range(4) for j in range(i + 1, 4)]
        pairs = sorted((p for p in pairs if abs(p[2]) > 2.0**-14), key=lambda p: abs(p[2]))
        self.put(at.N_PAIRS, len(pairs))
        for n, (i, j, apart) in enumerate(pairs):
            rise, inverse = halved_product(apart), halved_product(1 / apart)
            most = min(1 << 20, int(ROLL_CHANGE * abs(apart)) + 1)  # roll moves no further
            record = [i, j, rise.mantissa, rise.exponent, inverse.mantissa, inverse.exponent, most]
            self.put(at.PAIRS + n * at.PAIR_STRIDE, record)

    def put_curves(self) -> None:
        for i, curve in enumerate(self.vehicle.vanes.curves):
            lo, hi = self.head[at.TRAVEL_LO + i], self.head[at.TRAVEL_HI + i]
            points = np.round(np.asarray(curve.deflection_deg) * 1000)
            x = spread([lo, *points[(points > lo) & (points < hi)], hi], LONGEST_SEGMENT)
            f = np.round(curve.force_at(x / 1000) / self.force_unit_n)
            dx, df = np.diff(x), np.diff(f)
            if (df < 1).any():
                k = int(np.argmin(df))
                raise self.refuse(
                    "vanes.force_n",
                    curve.force_n.tolist(),
                    f"vane {i + 1}: between {x[k] / 1000:g} and {x[k + 1] / 1000:g} deg the force "
                    "rises by less than an eighth of a count (1/32768 of the largest force); "
                    "leave such points out",
                )
            slope = np.round(df * Q14 / dx)
            inverse = np.round(dx * 65536 / df)
            # below and above the curve deflections stand still; the end of travel itself still
            # belongs to the last piece, so what follows begins one step later
            columns = (
                [x[0], *x[:-1], x[-1] + 1, at.END],
                [-at.END, *f, at.END],
                [0, *slope, 0, 0],
                [0, *inverse, 0, 0],
            )
            offset, by_angle, by_force = self.once(
                columns,
                lambda offset, x=x: angle_cells(
                    x[:-1], x[-1], offset + at.CURVE_STRIDE, at.CURVE_STRIDE
                ),
                lambda offset, f=f: force_cells(f, offset, at.CURVE_STRIDE),
            )
            self.put(at.CURVE_OFF + i, offset)
            self.put(at.CURVE_N + i, len(x))
            self.put(at.CURVE_CELLS + i, by_angle - first_cell(x[0]))
            self.put(at.FORCE_CELLS + i, by_force)

    def put_servos(self) -> None:
        tables = []
        for i, servo in enumerate(self.vehicle.servos):
            lo, hi = self.head[at.TRAVEL_LO + i], self.head[at.TRAVEL_HI + i]
            points = [] if servo.table is None else np.round(servo.table.deflection_deg * 1000)
            x = spread([lo, *(p for p in points if lo < p < hi), hi], LONGEST_SEGMENT)
            tables.append((x, np.round(servo.pulse_us(x / 1000) * 1000)))
        steepest = max(np.abs(np.diff(pulse)).max() for _, pulse in tables)
        q = min(16, 29 - int(np.ceil(np.log2(steepest))))
        self.put(at.PULSE_Q, q)
        for i, (x, pulse) in enumerate(tables):
            slope = np.round(np.diff(pulse) * 2.0**q / np.diff(x))
            offset, by_angle = self.once(
                ([*x[:-1], x[-1] + 1], pulse, [*slope, 0]),
                lambda offset, x=x: angle_cells(x[:-1], x[-1], offset, at.SERVO_STRIDE),
            )
            self.put(at.SERVO_OFF + i, offset)
            self.put(at.SERVO_N + i, len(x))
            self.put(at.SERVO_CELLS + i, by_angle - first_cell(x[0]))

    def put_wear(self) -> None:
        erosion = self.vehicle.erosion
        load_s = [0.0, 1.0] if erosion is None else erosion.load_s
        ticks = in_ticks(load_s)
        columns: list[Any] = []
        for row in np.round(self.vehicle.effectiveness(ticks * TICK_S).T * Q14):
            columns += over_time(ticks, row, 65536)
        self.put(at.WEAR_OFF, self.append_leaped(ticks, *columns))
        self.put(at.WEAR_N, len(ticks))

    def put_lever(self) -> None:
        lever = self.vehicle.layout.lever_arm_m
        ticks = np.unique(np.round(np.asarray(lever.time_s) / TICK_S))
        arm = self.vehicle.lever_arm_m_at(ticks * TICK_S)
        # 1/L is interpolated: steps of 0.4 % in L keep it within 2e-6
        fine = [ticks[:1]]
        for k in range(len(ticks) - 1):
            change = abs(np.log(arm[k + 1] / arm[k]))
            longest = 2048 if change else LONGEST_TICKS
            n = max(np.ceil(change / 0.004), np.ceil((ticks[k + 1] - ticks[k]) / longest), 1)
            fine.append(np.round(np.linspace(ticks[k], ticks[k + 1], int(n) + 1))[1:])
        ticks = at_least_two(np.unique(np.concatenate(fine)))
        arm = self.vehicle.lever_arm_m_at(ticks * TICK_S)
        per_mnm = 1 / (self.force_unit_n * arm * 1000)
        exponent = scaled(per_mnm.max(), 28).exponent
        if exponent < 24:
            raise self.refuse(
                "layout.lever_arm_m",
                float(arm.min()),
                "1 mN·m, the step of a demand, is more than two counts on this vehicle: its lever "
                "arm times its largest vane force must be 2 N·m or more",
            )
        gain = np.round(per_mnm * 2.0**exponent)
        moment = self.force_unit_n * 4 * arm * 1000
        moment_exponent = scaled(moment.max() * 1.0001, 14).exponent
        moment = np.round(moment * 2.0**moment_exponent)
        offset = self.append_leaped(
            ticks, *over_time(ticks, gain, 1), *over_time(ticks, moment, 32768)
        )
        self.put(at.LEVER_OFF, offset)
        self.put(at.LEVER_N, len(ticks))
        self.put(at.GAIN_EXP, exponent)
        self.put(at.MOMENT_EXP, moment_exponent)
        self.put(at.MNM_MAX, min(MOST_MNM, int(0.999 * FAR_EIGHTHS / per_mnm.max())))

    def put_roll(self) -> None:
        arm = self.vehicle.layout.roll_arm_m
        per_mnm = 1 / (self.force_unit_n * arm * 1000)
        gain = scaled(per_mnm, 28)
        if gain.exponent < 22:
            raise self.refuse(
                "layout.roll_arm_m",
                arm,
                "1 mN·m, the step of a demand, is more than eight counts on this vehicle: its roll "
                "arm times its largest vane force must be 0.5 N·m or more",
            )
        moment = scaled(self.force_unit_n * 4 * arm * 1000, 14)
        self.put(at.ROLL_GAIN, gain.mantissa)
        self.put(at.ROLL_GAIN_EXP, gain.exponent)
        self.put(at.ROLL_MOMENT, moment.mantissa)
        self.put(at.ROLL_MOMENT_EXP, moment.exponent)
        self.put(at.ROLL_MNM_MAX, min(MOST_MNM, int(0.999 * FAR_EIGHTHS / per_mnm)))

    def put_watch(self) -> None:
        band_deg, wait_s = watch_limits(self.vehicle)
        self.put(at.WATCH_BAND, np.ceil(band_deg * 1e3))
        self.put(at.WATCH_WAIT_US, np.ceil(wait_s * 1e6))


def in_ticks(time_s: ArrayLike) -> Array:
    """Times as ticks of the tables, with more between them where they are far apart."""
    ticks = np.unique(np.round(np.asarray(time_s) / TICK_S))
    return at_least_two(spread(ticks, LONGEST_TICKS))


def halves(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Values up to 1 as Q14, and what is left of them in Q28."""
    whole = np.round(values * 2.0**28)
    coarse = np.round(whole / Q14)
    return coarse, whole - coarse * Q14


def cosine(angle_deg):
    """cos of degrees, exactly 0 and ±1 at (within 1e-9 of) quarter turns."""
    return sine(np.asarray(angle_deg) + 90)


def sine(angle_deg):
    """sin of degrees, exactly 0 and ±1 at (within 1e-9 of) quarter turns."""
    angle = np.asarray(angle_deg, dtype=float)
    quarter = np.round(angle / 90)
    rest = angle - 90 * quarter
    rest = np.where(np.abs(rest) < 1e-9, 0.0, rest)
    turn = np.mod(quarter, 4).astype(int)
    rad = np.radians(rest)
    return np.choose(turn, [np.sin(rad), np.cos(rad), -np.sin(rad), -np.cos(rad)])
