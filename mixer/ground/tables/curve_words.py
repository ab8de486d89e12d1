"""Over the angle of a vane: its force and its servo's pulse, as straight pieces."""

import numpy as np

from mixer.flight import layout as at
from mixer.ground.tables.scales import LONGEST_SEGMENT, Q14
from mixer.ground.tables.straight_pieces import angle_cells, first_cell, force_cells, spread
from mixer.ground.tables.word_list import WordList


def put_curves(words: WordList) -> None:
    for i, curve in enumerate(words.vehicle.vanes.curves):
        lo, hi = words.head[at.TRAVEL_LO + i], words.head[at.TRAVEL_HI + i]
        points = np.round(np.asarray(curve.deflection_deg) * 1000)
        x = spread([lo, *points[(points > lo) & (points < hi)], hi], LONGEST_SEGMENT)
        f = np.round(curve.force_at(x / 1000) / words.force_unit_n)
        dx, df = np.diff(x), np.diff(f)
        if (df < 1).any():
            k = int(np.argmin(df))
            raise words.refuse(
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
        offset, by_angle, by_force = words.once(
            columns,
            lambda offset, x=x: angle_cells(
                x[:-1], x[-1], offset + at.CURVE_STRIDE, at.CURVE_STRIDE
            ),
            lambda offset, f=f: force_cells(f, offset, at.CURVE_STRIDE),
        )
        words.put(at.CURVE_OFF + i, offset)
        words.put(at.CURVE_N + i, len(x))
        words.put(at.CURVE_CELLS + i, by_angle - first_cell(x[0]))
        words.put(at.FORCE_CELLS + i, by_force)


def put_servos(words: WordList) -> None:
    tables = []
    for i, servo in enumerate(words.vehicle.servos):
        lo, hi = words.head[at.TRAVEL_LO + i], words.head[at.TRAVEL_HI + i]
        points = [] if servo.table is None else np.round(servo.table.deflection_deg * 1000)
        x = spread([lo, *(p for p in points if lo < p < hi), hi], LONGEST_SEGMENT)
        tables.append((x, np.round(servo.pulse_us(x / 1000) * 1000)))
    steepest = max(np.abs(np.diff(pulse)).max() for _, pulse in tables)
    q = min(16, 29 - int(np.ceil(np.log2(steepest))))
    words.put(at.PULSE_Q, q)
    for i, (x, pulse) in enumerate(tables):
        slope = np.round(np.diff(pulse) * 2.0**q / np.diff(x))
        offset, by_angle = words.once(
            ([*x[:-1], x[-1] + 1], pulse, [*slope, 0]),
            lambda offset, x=x: angle_cells(x[:-1], x[-1], offset, at.SERVO_STRIDE),
        )
        words.put(at.SERVO_OFF + i, offset)
        words.put(at.SERVO_N + i, len(x))
        words.put(at.SERVO_CELLS + i, by_angle - first_cell(x[0]))
