"""Many steerings that run side by side: N `Steering` objects of one vehicle, equal bit for bit."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mixer.flight import FlightTables
from mixer.flight import layout as at
from mixer.flight.layout import LONGEST_DT_US
from mixer.ground.batch_allocator import BatchAllocator
from mixer.ground.batch_schedule import (
    lever_gains,
    load_rate,
    pressure_ratio,
    put_in_eighths,
    set_force_gain,
)
from mixer.ground.batch_tables import LAST_TIME_US, VANES, BatchTables
from mixer.ground.batch_words import LARGEST, Mask, Words, words

LONGEST_SCHEDULE_US = 16_000_000  # as in `Steering`
Rows = int | slice | NDArray[np.intp] | Mask


class SteeringBlock:
    """N steerings with the same flight tables, each with its own demand, load, time and jams.

    The state is the flight core's words (`mixer.flight.layout`), a column for each steering.

    After each `step`: `deflection_mdeg`, `pulse_ns`, `force` (4, N), `moment_mnm` (3, N) and
    `flags` (N,), as `Steering` has them. Rows are chosen by number, slice, numbers or mask.
    """

    def __init__(self, tables: FlightTables | BatchTables, n: int):
        self._t = tables if isinstance(tables, BatchTables) else BatchTables(tables)
        self._s = words(at.STATE_WORDS, n)
        self._allocator = BatchAllocator(self._t, n, n)
        self.deflection_mdeg = self._allocator.deflection_mdeg = self._four(at.DEFLECTION)
        self.pulse_ns = self._allocator.pulse_ns = self._four(at.PULSE)
        self.force = self._allocator.force = self._four(at.FORCE)
        self.moment_mnm = self._s[at.MOMENT : at.MOMENT + 3]
        self.flags = self._s[at.FLAGS]
        self.time_us, self.load_us = self._s[at.TIME], self._s[at.LOAD]
        self.reset(slice(None))

    def _four(self, where: int) -> Words:
        return self._s[where : where + 4]

    @property
    def jammed(self) -> Words:
        """(N,): bit 0 for vane 1."""
        return self._s[at.JAMMED]

    def reset(self, rows: Rows) -> None:
        """Back to the moment before ignition: vanes neutral and free, new, no demand yet."""
        s = self._s
        s[:, rows] = 0
        s[at.AGE, rows] = self._t[at.TIMEOUT_US]
        for vane in range(1, 5):
            self.free(rows, vane)
        runs = np.zeros(s.shape[1], np.bool_)
        runs[rows] = True
        self.step(np.zeros(s.shape[1], np.int32), np.zeros(s.shape[1], np.int32), runs)
        s[at.FLAGS, rows] = 0

    def start(self, rows: Rows, time_us: ArrayLike, load_us: ArrayLike) -> None:
        """Set burn time and burn load, for runs that do not begin at ignition."""
        self._s[at.TIME, rows] = time_us
        self._s[at.LOAD, rows] = load_us
        self._s[at.RATE, rows] = 16384

    def demand(self, demands_mnm: ArrayLike, heard: Mask | None = None) -> Mask:
        """Take demands (3, N), integers in mN·m, where `heard`; return which were taken, (N,).

        One out of range changes nothing but that row's next flags.
        """
        demands = np.asarray(demands_mnm)
        most = np.array([self._t[at.MNM_MAX]] * 2 + [self._t[at.ROLL_MNM_MAX]])[:, None]
        good = ((demands >= -most) & (demands <= most)).all(axis=0)
        heard = np.ones_like(good) if heard is None else heard
        self._s[at.BAD, heard & ~good] = at.BAD_DEMAND
        taken = heard & good
        np.copyto(self._s[at.DEMAND : at.DEMAND + 3], demands, casting="unsafe", where=taken[None])
        self._s[at.AGE, taken] = 0
        return taken

    def release(self, rows: Rows) -> None:
        """Drop the demand: the vanes go to neutral at the slew rate until there is another."""
        self._s[at.AGE, rows] = self._t[at.TIMEOUT_US]

    def jam(self, rows: Rows, vane: int, deflection_mdeg: ArrayLike) -> None:
        """Vane 1 … 4 stands still at this deflection (held inside its travel) until it is freed."""
        i = vane - 1
        place = np.clip(deflection_mdeg, self._t.travel_lo[i], self._t.travel_hi[i])
        for where in (at.DEFLECTION, at.LIMIT_LO, at.LIMIT_HI):
            self._s[where + i, rows] = place
        self._s[at.JAMMED, rows] |= 1 << i

    def free(self, rows: Rows, vane: int) -> None:
        """Vane 1 … 4 moves again, from where it stood."""
        i = vane - 1
        self._s[at.LIMIT_LO + i, rows] = self._t.travel_lo[i]
        self._s[at.LIMIT_HI + i, rows] = self._t.travel_hi[i]
        self._s[at.JAMMED, rows] &= ~(1 << i)

    def step(self, pressure_pa: ArrayLike, dt_us: ArrayLike, runs: Mask | None = None) -> Words:
        """Run one control cycle, `dt_us` (N,) ≥ 0 after the last one; return the flags (N,).

        Where `runs` is given, the steerings that do not run now stay as they are.
        """
        stays = None if runs is None or runs.all() else ~runs
        before = None if stays is None else self._s.copy()
        n = self._s.shape[1]
        pressure = np.broadcast_to(np.clip(pressure_pa, -1, LARGEST).astype(np.int32), n)
        dt = np.broadcast_to(np.clip(dt_us, 0, LARGEST >> 1).astype(np.int32), n)
        self._cycle(pressure, dt)
        if before is not None:
            np.copyto(self._s, before, where=stays)
        return self.flags

    def _cycle(self, pressure_pa: Words, dt_us: Words) -> None:
        t, s, allocator = self._t, self._s, self._allocator
        flags = s[at.BAD].copy()
        s[at.BAD] = 0
        stale = s[at.AGE] >= t[at.TIMEOUT_US]
        dt_us = np.minimum(dt_us, LONGEST_SCHEDULE_US)
        s[at.AGE] += np.where(stale, 0, dt_us)
        no_thrust = pressure_pa < t[at.PA_MIN]
        flags |= np.where(stale, at.STALE_DEMAND, 0)
        flags |= np.where(no_thrust, at.NO_THRUST, 0)
        flags |= np.where(s[at.JAMMED] != 0, at.JAMMED_VANE, 0)
        neutral = stale | no_thrust

        moment_gain = self._schedule(pressure_pa, dt_us)
        self._put_windows(np.minimum(dt_us, LONGEST_DT_US), neutral)
        allocator.prepare()
        allocator.allocate()
        flags |= np.where(allocator.primary_limited & ~neutral, at.PRIMARY_LIMITED, 0)
        flags |= np.where(allocator.roll_limited & ~neutral, at.ROLL_LIMITED, 0)
        flags |= np.where(self._held_back(flags), at.SLEW_LIMITED, 0)
        s[at.FLAGS] = flags
        self._put_moments(moment_gain)

    def _schedule(self, pressure_pa: Words, dt_us: Words) -> Words:
        """Advance load and time, set force gains and wanted forces; return the moments' gain."""
        t, s = self._t, self._s
        ratio = pressure_ratio(t, pressure_pa)
        rate = load_rate(t, ratio)
        mean = (rate + s[at.RATE]) >> 1
        s[at.RATE] = rate
        sixteenths = mean * (dt_us >> 10)
        fraction = s[at.LOAD_FRACTION] + ((sixteenths & 15) << 10) + mean * (dt_us & 1023)
        s[at.LOAD] += (sixteenths >> 4) + (fraction >> 14)
        s[at.LOAD_FRACTION] = fraction & 16383
        s[at.TIME] += dt_us
        for time in (s[at.LOAD], s[at.TIME]):
            time.clip(0, LAST_TIME_US, out=time)
        set_force_gain(t, ratio, s[at.LOAD], self._allocator.box)
        gain, moment_gain = lever_gains(t, s[at.TIME])
        exponent = t[at.GAIN_EXP]
        gains = [(gain, exponent)] * 2 + [(t[at.ROLL_GAIN], t[at.ROLL_GAIN_EXP])]
        for axis, (gain, exponent) in enumerate(gains):
            demand = s[at.DEMAND + axis].astype(np.int64)
            put_in_eighths(demand, gain, exponent, self._allocator.want[axis])
        return moment_gain

    def _put_windows(self, dt_us: Words, neutral: Mask) -> None:
        """What each vane reaches this cycle: travel, cut to what the slew allows."""
        s, box = self._s, self._allocator.box
        for i in VANES:
            slew = self._t[at.SLEW_MDEG_S + i]
            step = (slew // 1000 * dt_us + slew % 1000 * dt_us // 1000) // 1000
            lo, hi = box.window_lo[i], box.window_hi[i]
            np.maximum(s[at.DEFLECTION + i] - step, s[at.LIMIT_LO + i], out=lo)
            np.minimum(s[at.DEFLECTION + i] + step, s[at.LIMIT_HI + i], out=hi)
            nearest = np.minimum(lo.clip(0), hi)
            np.copyto(lo, nearest, where=neutral)
            np.copyto(hi, nearest, where=neutral)

    def _held_back(self, flags: Words) -> Mask:
        """Where slew held a vane back."""
        box, x = self._allocator.box, self.deflection_mdeg
        limit_lo, limit_hi = self._four(at.LIMIT_LO), self._four(at.LIMIT_HI)
        lo, hi = box.window_lo, box.window_hi
        limited = flags & (at.PRIMARY_LIMITED | at.ROLL_LIMITED) != 0
        near = np.where(limited, (hi - lo) >> 6, 0)
        low = x <= lo + near
        cut = np.where(low, lo > limit_lo, (x >= hi - near) & (hi < limit_hi))
        on_the_way = (x != 0) & (limit_lo != limit_hi)
        return np.any(np.where(lo == hi, on_the_way, cut), axis=0)

    def _put_moments(self, gain: Words) -> None:
        """What the commanded deflections give, mN·m."""
        t, force = self._t, self.force
        for moment, row in zip(self.moment_mnm, (t.cos, t.sin), strict=False):
            share = sum(((force[i] * row[i] + 8192) >> 14) for i in VANES)
            np.right_shift((share >> 2) * gain, t[at.MOMENT_EXP], out=moment)
        roll = (force.sum(axis=0, dtype=np.int32) >> 2) * t[at.ROLL_MOMENT]
        np.right_shift(roll, t[at.ROLL_MOMENT_EXP], out=self.moment_mnm[2])
