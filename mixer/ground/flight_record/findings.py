"""What a replayed record tells of a flight, as facts."""

from typing import Any

import numpy as np

from mixer.flight import FLAG_NAMES, FlightTables
from mixer.flight import layout as at
from mixer.ground.flight_record import record_layout as r
from mixer.ground.flight_record.replay import Replayed

ARMED_STATES = ("safe", "armed", "link-lost", "checking")
DAMAGED = 16  # of the node's counters, see firmware_port/protocol.py
REFUSALS = {1: "repeated", 2: "stale", 3: "out-of-range", 4: "not-armed", 5: "wrong-length",
            6: "unknown-kind", 8: "wrong-token", 9: "not-now", 17: "wrong-version"}  # fmt: skip
AXES = ("pitch", "yaw", "roll")
Q14 = 1 << 14


def facts(found: Replayed, tables: FlightTables) -> dict[str, Any]:
    """The figures of a replay, by names that tell their units."""
    columns = found.columns
    times_s = np.cumsum(columns["dt_us"]) / 1e6
    late = late_cycles(found, tables)
    return {
        "exact": found.exact,
        "cycles": found.cycles,
        "cycles_before_the_first_snapshot": found.skipped,
        "cycles_without_room": found.lost,
        "cycles_unchecked": found.unchecked,
        "integers_compared": found.compared,
        "integers_that_differ": found.differing,
        "first_cycle_that_differs": found.first_cycle,
        "what_differs": found.first_words,
        "duration_s": float(times_s[-1]) if found.cycles else 0.0,
        "cycles_flagged": flagged(columns["flags"]),
        "worst_shortfall_nm": shortfalls(columns),
        "late_cycles": int(late.sum()),
        "longest_cycle_ms": float(columns["dt_us"].max() / 1e3) if found.cycles else 0.0,
        "longest_silence_ms": longest_silence_ms(columns),
        "times_link_lost": sum(
            state == ARMED_STATES.index("link-lost") for _, state in found.states
        ),
        "frames_refused": refused(found),
        "frames_damaged": frames_damaged(found),
        "burn_time_s": last(columns["time_us"]) / 1e6,
        "burn_load_s": last(columns["load_us"]) / 1e6,
        "effectiveness": effectiveness(columns),
        "doubted_pressure_cycles": int((columns["flags"] & at.DOUBTED_PRESSURE != 0).sum()),
        "vanes_behind": vanes_behind(columns, tables),
    }


def last(column: np.ndarray) -> int:
    return int(column[-1]) if column.size else 0


def flagged(flags: np.ndarray) -> dict[str, int]:
    """Cycles with each flag."""
    return {name: int((flags >> bit & 1).sum()) for bit, name in enumerate(FLAG_NAMES)}


def shortfalls(columns: dict[str, np.ndarray]) -> dict[str, float]:
    """The largest that each moment fell short of what was demanded, while the demand counted."""
    idle = columns["flags"] & (at.NO_THRUST | at.STALE_DEMAND) != 0
    short = np.abs(columns["demand_mnm"] - columns["moment_mnm"])[~idle]
    worst = short.max(axis=0) if len(short) else np.zeros(3)
    return {axis: float(value) / 1e3 for axis, value in zip(AXES, worst, strict=True)}


def late_cycles(found: Replayed, tables: FlightTables) -> np.ndarray:
    """Cycles that began more than a quarter of a period after the time that a node waits."""
    period_us = tables.words[at.PERIOD_US]
    demanded = found.columns["demanded"].astype(bool)
    waits_us = np.where(
        np.concatenate(([False], demanded[:-1])), period_us + (period_us >> 2), period_us
    )
    return found.columns["dt_us"] > waits_us[: len(demanded)] + (period_us >> 2)


def longest_silence_ms(columns: dict[str, np.ndarray]) -> float:
    """The longest time without a demand."""
    longest = silent = 0
    for dt_us, demanded in zip(columns["dt_us"], columns["demanded"], strict=True):
        silent = 0 if demanded else silent + int(dt_us)
        longest = max(longest, silent)
    return longest / 1e3


def grown(found: Replayed, counter: int) -> int:
    """By how much a counter grew from the first arming to the last end that were recorded."""
    values = [counts[counter] for counts in found.counts if counter in counts]
    return values[-1] - values[0] if len(values) > 1 else 0


def refused(found: Replayed) -> dict[str, int]:
    """Frames that were refused, by the verdict."""
    heard = [told.second for _, told in found.told if told.what == r.FRAME_REFUSED]
    by_verdict = {
        name: grown(found, number) + heard.count(number) for number, name in REFUSALS.items()
    }
    return {name: count for name, count in by_verdict.items() if count}


def frames_damaged(found: Replayed) -> int:
    """Frames that the codec refused."""
    heard = sum(told.what == r.FRAME_DAMAGED for _, told in found.told)
    return grown(found, DAMAGED) + heard


def effectiveness(columns: dict[str, np.ndarray]) -> list[float] | None:
    """What the wear table believed at the last cycle with a jet; None where there was none."""
    burning = np.flatnonzero(columns["ratio_q14"] > 0)
    if not burning.size:
        return None
    n = burning[-1]
    return [float(kappa / columns["ratio_q14"][n]) for kappa in columns["kappa_q14"][n]]


def vanes_behind(columns: dict[str, np.ndarray], tables: FlightTables) -> dict[str, Any] | None:
    """For each vane with readings: how far its angle was from the command before, and in how many
    readings farther than a healthy one comes to; None without readings.
    """
    readings, commands = columns["reading_mdeg"], columns["deflection_mdeg"]
    behind: dict[str, Any] = {}
    for vane in range(at.VANES):
        # A reading is taken before its cycle, so it stands against the command of the one before.
        there = np.flatnonzero(readings[1:, vane] != at.NO_READING) + 1
        if not there.size:
            continue
        apart = np.abs(readings[there, vane] - commands[there - 1, vane])
        band = tables.words[at.WATCH_BAND + vane]
        behind[str(vane + 1)] = {
            "readings": int(there.size),
            "farthest_deg": float(apart.max() / 1e3),
            "mean_deg": float(apart.mean() / 1e3),
            "outside_its_band": int((apart > band).sum()),
            "band_deg": band / 1e3,
        }
    return behind or None


def stretches(flags: np.ndarray, times_s: np.ndarray, bits: int) -> list[tuple[float, float, int]]:
    """From, to, and the flags seen of each stretch of cycles with any of these."""
    marked = np.concatenate(([False], flags & bits != 0, [False]))
    edges = np.flatnonzero(np.diff(marked.astype(int)))
    return [
        (
            float(times_s[start]),
            float(times_s[end - 1]),
            int(np.bitwise_or.reduce(flags[start:end] & bits)),
        )
        for start, end in zip(edges[::2], edges[1::2], strict=True)
    ]
