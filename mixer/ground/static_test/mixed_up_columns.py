"""Whether each angle column of a static-test log moves the loads as its vane should."""

import itertools
from dataclasses import dataclass

import numpy as np

from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.static_test.log import LOAD_COLUMNS, VANE_COLUMNS, StandLog
from mixer.ground.vehicle.vehicle import Vehicle

BLOCK_S = 0.04
SURE_DEG = 8.0  # standard error of a direction that may accuse a column
FAR_DEG = 25.0  # further than this from where its vane stands is no misclocking
CORRELATED = 3.0  # how much noise that is not white may widen an error


@dataclass(frozen=True)
class Effect:
    """What one newton of a vane, by its angle column, adds to side_y_n, side_z_n and roll_nm."""

    side_y: float
    side_z: float
    roll_m: float

    @property
    def reversed(self) -> bool:
        """Whether a positive angle rolls the wrong way."""
        return self.roll_m < 0

    @property
    def direction_deg(self) -> float:
        """The clocking of a vane that pushes so."""
        sign = -1 if self.reversed else 1
        return float(np.degrees(np.arctan2(-sign * self.side_y, sign * self.side_z)))

    def away_deg(self, clocking_deg: Array) -> Array:
        """How far each of some clockings (n,) lies from the direction of the push."""
        return np.abs((clocking_deg - self.direction_deg + 180) % 360 - 180)


def refuse_mixed_up_columns(log: StandLog, vehicle: Vehicle) -> None:
    """InputError where an angle column moves the loads as another vane's should."""
    clocking_deg = vehicle.layout.clocking_deg
    effects = column_effects(log, vehicle)
    stands_for: dict[int, int] = {}
    wrong: list[str] = []
    for vane, effect in enumerate(effects):
        if effect is None:
            continue
        away_deg = effect.away_deg(clocking_deg)
        nearest = int(np.argmin(away_deg))
        name = VANE_COLUMNS[vane]
        if away_deg[nearest] > FAR_DEG:
            wrong.append(
                f"{name} pushes as a vane at {effect.direction_deg % 360:.0f} deg would, where "
                f"none stands (vane {vane + 1}: {clocking_deg[vane]:g} deg)"
            )
            continue
        stands_for[vane] = nearest
        if nearest != vane:
            wrong.append(f"{name} moves the loads as vane {nearest + 1} should")
        if effect.reversed:
            wrong.append(
                f"{name} has the wrong sign: positive turns the vane clockwise as seen from "
                "outside along its shaft"
            )
    if wrong:
        # One load channel accounts for all four columns: the likelier reading comes first.
        wrong = otherwise(effects, clocking_deg) + wrong + swaps(stands_for)
        raise InputError("\n".join(f"{log.file}: {sentence}" for sentence in wrong))


def swaps(stands_for: dict[int, int]) -> list[str]:
    """Which columns are swapped with which, where it comes out in pairs."""
    return [
        f"{VANE_COLUMNS[a]} and {VANE_COLUMNS[b]} are swapped"
        for a, b in stands_for.items()
        if a < b and stands_for.get(b) == a
    ]


def otherwise(effects: list[Effect | None], clocking_deg: Array) -> list[str]:
    """Another reading of the same evidence: the load channels may be what is wrong."""
    known = [effect for effect in effects if effect is not None]
    if len(known) < VANES:
        return []
    changes = itertools.product((False, True), (1, -1), (1, -1), (1, -1))
    for swapped, *signs in sorted(changes, key=lambda change: change[0] + change[1:].count(-1)):
        turned = [
            Effect(
                signs[0] * (e.side_z if swapped else e.side_y),
                signs[1] * (e.side_y if swapped else e.side_z),
                signs[2] * e.roll_m,
            )
            for e in known
        ]
        if all(
            not effect.reversed and effect.away_deg(clocking_deg)[vane] < FAR_DEG
            for vane, effect in enumerate(turned)
        ):
            words = ["side_y_n and side_z_n are swapped"] if swapped else []
            words += [
                f"{name} has the wrong sign"
                for name, sign in zip(LOAD_COLUMNS, signs, strict=False)
                if sign < 0
            ]
            return [f"the angles are right and {' and '.join(words)}; or else"]
    return []


def column_effects(log: StandLog, vehicle: Vehicle) -> list[Effect | None]:
    """What each angle column does to the side loads and roll; None where they cannot tell.

    An ordinary least-squares line of each load on the forces that all four columns should give,
    with pressure, wear, time and a constant beside them.
    """
    loads, basis = regression(log, vehicle)
    scale = np.sqrt((basis**2).mean(axis=0)) + 1e-12
    u, size, vt = np.linalg.svd(basis / scale, full_matrices=False)
    inverse = vt.T / np.maximum(size, 1e-6 * size[0])
    effects = (inverse @ (u.T @ loads)) / scale[:, None]
    noise = CORRELATED * (loads - basis @ effects).std(axis=0)
    errors = np.sqrt((inverse**2).sum(axis=1))[:, None] / scale[:, None] * noise
    return [credible(effects[vane], errors[vane]) for vane in range(VANES)]


def credible(effect: Array, error: Array) -> Effect | None:
    """The effect (3,) of a column, where its errors (3,) let it speak."""
    push = float(np.hypot(effect[0], effect[1]))
    error_deg = float(np.degrees(np.hypot(error[0], error[1]) / max(push, 1e-12)))
    if error_deg > SURE_DEG or abs(effect[2]) < 3 * error[2]:
        return None
    return Effect(*effect.tolist())


def regression(log: StandLog, vehicle: Vehicle) -> tuple[Array, Array]:
    """Side loads and roll (m, 3), and what they are explained by (m, 8), in blocks of the burn."""
    burning = np.flatnonzero(log.burning)
    per_block = max(int(BLOCK_S * log.rate_hz), 1)
    blocks = burning[: len(burning) // per_block * per_block]

    def means(values: Array) -> Array:
        return values[blocks].reshape(-1, per_block, *values.shape[1:]).mean(axis=1)

    share = log.pressure_bar / vehicle.engine.chamber_pressure_bar
    forces = [share * vehicle.force_n(v, log.vanes_deg[:, v]) for v in range(VANES)]
    load_s = log.burn_load_s(vehicle.engine.chamber_pressure_bar)
    others = [share, share * load_s, log.time_s, np.ones_like(share)]
    return means(log.loads[:, :3]), means(np.column_stack([*forces, *others]))
