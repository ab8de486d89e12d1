"""Over the burn: expected pressure, wear, lever arm; and the pressure they go with."""

from typing import Any

import numpy as np

from mixer.flight import layout as at
from mixer.ground.inputs.arrays import Array
from mixer.ground.tables.scales import (
    EIGHTHS,
    FAR_EIGHTHS,
    LEVER_STEP,
    LONGEST_TICKS,
    MOST_MNM,
    NO_THRUST_RATIO,
    PRESSURE_RATIO_MAX,
    Q14,
    TICK_S,
    in_ticks,
    scaled,
)
from mixer.ground.tables.straight_pieces import at_least_two, over_time
from mixer.ground.tables.word_list import WordList
from mixer.ground.vehicle.curves import straight

RATE_EXPONENT = 0.8  # Bartz 1957
TRUSTED_BURNS = 1.1  # burn times up to which a reading may be doubted


def put_pressure(words: WordList) -> None:
    reference_pa = words.vehicle.engine.chamber_pressure_bar * 1e5
    most_pa = int(PRESSURE_RATIO_MAX * reference_pa)
    shift = max(most_pa.bit_length() - 16, 0)
    words.put(at.PA_SHIFT, shift)
    words.put(at.PA_MANT, round(2.0 ** (29 + shift) / reference_pa))
    words.put(at.PA_MAX, most_pa)
    words.put(at.PA_MIN, int(np.ceil(NO_THRUST_RATIO * reference_pa)))
    engine = words.vehicle.engine
    words.put(at.BELIEVED_LOW, np.round(engine.believed_pressure * Q14))
    words.put(at.TRUST_US, round(TRUSTED_BURNS * engine.burn_time_s * 1e6))
    put_expected(words, *engine.expected_bar())
    rate = np.round((np.arange(65) / 32) ** RATE_EXPONENT * Q14)
    words.put(at.RATE_OFF, words.append(rate[:64], np.diff(rate)))


def put_expected(words: WordList, time_s: Array, bar: Array) -> None:
    ticks = in_ticks(time_s)
    ratio = straight(ticks * TICK_S, time_s, bar) / words.vehicle.engine.chamber_pressure_bar
    ratio = np.minimum(np.round(ratio * Q14), 32767)
    words.put(at.EXPECTED_OFF, words.append_leaped(ticks, *over_time(ticks, ratio, 32768)))
    words.put(at.EXPECTED_N, len(ticks))


def put_wear(words: WordList) -> None:
    erosion = words.vehicle.erosion
    load_s = [0.0, 1.0] if erosion is None else erosion.load_s
    ticks = in_ticks(load_s)
    columns: list[Any] = []
    for row in np.round(words.vehicle.effectiveness(ticks * TICK_S).T * Q14):
        columns += over_time(ticks, row, 65536)
    words.put(at.WEAR_OFF, words.append_leaped(ticks, *columns))
    words.put(at.WEAR_N, len(ticks))


def put_lever(words: WordList) -> None:
    lever = words.vehicle.layout.lever_arm_m
    ticks = np.unique(np.round(np.asarray(lever.time_s) / TICK_S))
    arm = words.vehicle.lever_arm_m_at(ticks * TICK_S)
    fine = [ticks[:1]]
    for k in range(len(ticks) - 1):
        change = abs(np.log(arm[k + 1] / arm[k]))
        longest = 2048 if change else LONGEST_TICKS
        n = max(np.ceil(change / LEVER_STEP), np.ceil((ticks[k + 1] - ticks[k]) / longest), 1)
        fine.append(np.round(np.linspace(ticks[k], ticks[k + 1], int(n) + 1))[1:])
    ticks = at_least_two(np.unique(np.concatenate(fine)))
    arm = words.vehicle.lever_arm_m_at(ticks * TICK_S)
    per_mnm = 1 / (words.force_unit_n * arm * 1000)
    exponent = scaled(per_mnm.max(), 28).exponent
    if exponent < 24:
        raise words.refuse(
            "layout.lever_arm_m",
            float(arm.min()),
            "1 mN·m, the step of a demand, is more than two counts on this vehicle: its lever "
            f"arm times its largest vane force is {EIGHTHS * words.force_unit_n * arm.min():.2g} "
            "N·m and must be 2 or more",
        )
    gain = np.round(per_mnm * 2.0**exponent)
    moment = words.force_unit_n * 4 * arm * 1000
    moment_exponent = scaled(moment.max() * 1.0001, 14).exponent
    moment = np.round(moment * 2.0**moment_exponent)
    offset = words.append_leaped(
        ticks, *over_time(ticks, gain, 1), *over_time(ticks, moment, 32768)
    )
    words.put(at.LEVER_OFF, offset)
    words.put(at.LEVER_N, len(ticks))
    words.put(at.GAIN_EXP, exponent)
    words.put(at.MOMENT_EXP, moment_exponent)
    words.put(at.MNM_MAX, min(MOST_MNM, int(0.999 * FAR_EIGHTHS / per_mnm.max())))
