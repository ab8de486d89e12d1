"""Where the vanes stand, and what follows from it for the allocation: edges, rows, pairs."""

import numpy as np

from mixer.flight import layout as at
from mixer.ground.tables.angles import PARALLEL, cosine, sine
from mixer.ground.tables.scales import Q14, halved_product, halves
from mixer.ground.tables.word_list import WordList

ROLL_CHANGE = 1 << 17  # of the roll, in the allocator's own scale: from end to end


def put_geometry(words: WordList) -> None:
    clocking = words.vehicle.layout.clocking_deg
    for high, low, values in (
        (at.COS, at.COS_LOW, cosine(clocking)),
        (at.SIN, at.SIN_LOW, sine(clocking)),
    ):
        coarse, fine = halves(values)
        words.put(high, coarse)
        words.put(low, fine)
    travel = np.asarray(words.vehicle.vanes.travel_deg) * 1000
    words.put(at.TRAVEL_LO, np.ceil(np.round(travel[:, 0], 6)))
    words.put(at.TRAVEL_HI, np.floor(np.round(travel[:, 1], 6)))
    slew = [servo.slew_deg_s * 1000 for servo in words.vehicle.servos]
    slew = np.floor(np.round(slew, 6))
    words.put(at.SLEW_HIGH, slew // 1000)
    words.put(at.SLEW_LOW, slew % 1000)

    # Edges of Z: one a direction, in the order of their normals' angles over half a turn.
    normals = np.mod(clocking + 90, 180)
    normals[np.isclose(normals, 180, rtol=0, atol=1e-9)] = 0
    edges: list[float] = []
    for normal in np.sort(normals):
        if all(abs(sine(normal - other)) > PARALLEL for other in edges):
            edges.append(float(normal))
    words.put(at.N_EDGES, len(edges))
    for k, normal in enumerate(edges):
        coarse, fine = halves(np.array([cosine(normal), sine(normal)]))
        across, across_fine = halves(cosine(clocking - normal))  # n·b
        parallel = across == 0
        across_fine[parallel] = 0
        middle = np.round(sine(clocking - normal) * Q14) * np.sign(across)  # t·b
        half = np.where(parallel, Q14, 0)
        record = [*coarse, *fine, *np.abs(across), *middle, *half, *across, *across_fine]
        words.put(at.EDGES + k * at.EDGE_STRIDE, record)


def put_allocation(words: WordList) -> None:
    clocking = words.vehicle.layout.clocking_deg
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
        raise words.refuse(
            "layout.clocking_deg",
            clocking.tolist(),
            "these vanes stand too unevenly round the axis for the flight arithmetic; "
            "spread them out",
        )
    one = 2.0**q
    roll = np.round(rows[:, 2] * one)
    words.put(at.ROW_Q, q)
    words.put(at.ROW_X, np.round(rows[:, 0] * one))
    words.put(at.ROW_Y, np.round(rows[:, 1] * one))
    words.put(at.ROW_ROLL, roll)
    words.put(at.WIDTH, np.round(width * one))
    words.put(at.NULL, np.round(null * Q14))
    words.put(at.NULL_EFFORT, np.round(null / (null @ null) * Q14))
    put_pairs(words, roll / one)


def put_pairs(words: WordList, roll) -> None:
    """The pairs of vanes that roll moves apart, K = difference of their roll rows, K rising.

    Below 2^-14 the whole roll moves them apart by less than rounding does.
    """
    pairs = [(i, j, roll[i] - roll[j]) for i in range(4) for j in range(i + 1, 4)]
    pairs = sorted((p for p in pairs if abs(p[2]) > 2.0**-14), key=lambda p: abs(p[2]))
    words.put(at.N_PAIRS, len(pairs))
    for n, (i, j, apart) in enumerate(pairs):
        rise, inverse = halved_product(apart), halved_product(1 / apart)
        most = min(1 << 20, int(ROLL_CHANGE * abs(apart)) + 1)  # roll moves no further
        record = [i, j, rise.mantissa, rise.exponent, inverse.mantissa, inverse.exponent, most]
        words.put(at.PAIRS + n * at.PAIR_STRIDE, record)
