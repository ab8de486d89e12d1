"""What a static test found, number by number, beside what the vehicle file said."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from mixer.ground.identification.fit import Identification, IdentifyError, identify
from mixer.ground.inputs.arrays import VANES
from mixer.ground.static_test.excitation import listed, not_excited
from mixer.ground.static_test.log import StandLog

SURE = 4.0  # standard errors of a difference before a doubt is voiced
WORTH_A_WORD = 0.015  # of a vane's force
LATE_MS = 2.0


@dataclass(frozen=True)
class Finding:
    """One number: `was` in the vehicle file (None where that says nothing), `found` with its
    standard error; `told` whether the test told it.
    """

    quantity: str
    vane: int | None
    unit: str
    was: float | None
    found: float
    error: float
    told: bool

    @property
    def what(self) -> str:
        return self.quantity if self.vane is None else f"{self.quantity}, vane {self.vane}"

    @property
    def differs(self) -> bool:
        """Whether it is more than two standard errors from what the file says."""
        return self.told and self.was is not None and abs(self.found - self.was) > 2 * self.error


def findings(found: Identification) -> list[Finding]:
    """Everything the test was asked, in the order of a report."""
    return list(numbers(found))


def numbers(found: Identification) -> Iterator[Finding]:
    engine, layout = found.vehicle.engine, found.vehicle.layout
    points_s = found.unknowns.load_points_s
    before = found.vehicle.effectiveness(points_s)
    rows = zip(
        points_s, before, found.value("effectiveness"), found.error("effectiveness"),
        found.told("effectiveness"), strict=True,
    )  # fmt: skip
    for load_s, was, value, error, told in rows:
        for v in range(VANES):
            name = f"effectiveness at {load_s:.3g} s of burn load"
            yield Finding(
                name, v + 1, "", float(was[v]), float(value[v]), float(error[v]), bool(told[v])
            )
    yield from per_vane(found, "clocking_deg", "clocking", "deg", layout.clocking_deg)
    yield from per_vane(found, "zero_deg", "edge-on is off neutral by", "deg", np.zeros(VANES))
    yield one(found, "roll_arm_m", "roll arm", "m", layout.roll_arm_m)
    if "bend" in found.unknowns.places:
        yield from per_vane(found, "bend", "curve bent outwards by", "", np.zeros(VANES))
    yield thrust_lost(found)
    yield one(found, "thrust_trend_n", "thrust at rest changes over the burn by", "N", None)
    drag_n = [
        None if curve.drag_n is None else float(curve.drag_at(end) - curve.drag_at(0.0))
        for curve, end in zip(found.vehicle.vanes.curves, found.blocks.reach_deg, strict=True)
    ]
    yield from per_vane(found, "growth_n", "drag more at full deflection", "N", drag_n)
    lag = one(found, "lag_s", "loads read later than angles by", "ms", None)
    yield Finding(lag.quantity, None, "ms", None, 1e3 * lag.found, 1e3 * lag.error, lag.told)
    for axis, value, error, told in zip(
        "yz",
        found.value("side_line_n"),
        found.error("side_line_n"),
        found.told("side_line_n"),
        strict=True,
    ):
        to_deg = float(np.degrees(1.0 / engine.thrust_n))
        name = f"thrust line off the axis towards {axis}"
        yield Finding(name, None, "deg", None, value * to_deg, error * to_deg, bool(told))
    yield one(found, "swirl_nm", "roll that the jet gives by itself", "N m", None)


def per_vane(found: Identification, name: str, quantity: str, unit: str, was) -> Iterator[Finding]:
    """A quantity with one value for each vane."""
    rows = zip(was, found.value(name), found.error(name), found.told(name), strict=True)
    for vane, (before, value, error, told) in enumerate(rows, 1):
        before = None if before is None else float(before)
        yield Finding(quantity, vane, unit, before, float(value), float(error), bool(told))


def one(found: Identification, name: str, quantity: str, unit: str, was: float | None) -> Finding:
    """A quantity with one value."""
    return Finding(
        quantity, None, unit, was,
        float(found.value(name)[0]), float(found.error(name)[0]), bool(found.told(name)[0]),
    )  # fmt: skip


def thrust_lost(found: Identification) -> Finding:
    """Thrust lost to four new vanes at rest, on the file's word for the thrust without them."""
    rest_n = one(found, "thrust_n", "thrust lost to four vanes at rest", "N", None)
    drags = [curve.drag_at(0.0) for curve in found.vehicle.vanes.curves if curve.drag_n is not None]
    was = float(np.sum(drags)) if len(drags) == VANES else None
    lost_n = found.vehicle.engine.thrust_n - rest_n.found
    return Finding(rest_n.quantity, None, "N", was, lost_n, rest_n.error, rest_n.told)


def refuse_if_nothing_told(log: StandLog, found: Identification) -> None:
    """IdentifyError where the test told no vane's effectiveness: too short for its noise, or
    nothing was moved.
    """
    told = found.told("effectiveness")
    if told.any():
        return
    worth = found.unknowns.quantities["effectiveness"].worth
    error = float(found.error("effectiveness").min())
    reasons = not_excited(log, found.vehicle)
    if not reasons:
        reasons = [
            f"the burn of {log.burn_s:.3g} s is too short for the noise of the load cells: a burn "
            f"{(error / worth) ** 2:.2g} times as long, or readings {error / worth:.2g} times as "
            "quiet, would begin to tell"
        ]
    raise IdentifyError(
        f"{log.file}: this test tells no vane's effectiveness better than ± {error:.2g} (at least "
        f"± {worth:g} is wanted): " + "; ".join(reasons)
    )


def not_told(all_findings: list[Finding]) -> list[str]:
    """A sentence for each quantity that the test left open."""
    sentences = []
    for quantity in dict.fromkeys(f.quantity for f in all_findings):
        of_it = [f for f in all_findings if f.quantity == quantity and not f.told]
        if of_it:
            vanes = [f.vane - 1 for f in of_it if f.vane is not None]
            error = max(f.error for f in of_it)
            sentences.append(
                f"not told by this test: {quantity}{', ' + listed(vanes) if vanes else ''} "
                f"(known to ± {error:.2g} {of_it[0].unit}".rstrip()
                + "); the file's value stays"
            )
    return sentences


def second_look(log: StandLog, found: Identification) -> list[str]:
    """What a richer model sees in the log that this one does not: a sentence each."""
    richer = identify(log, found.vehicle, len(found.unknowns.load_points_s) + 1, bend=True)
    sentences = []
    if "bend" not in found.unknowns.places:
        bend, error = richer.value("bend"), richer.error("bend")
        for vane in np.flatnonzero((np.abs(bend) > SURE * error) & (np.abs(bend) > WORTH_A_WORD)):
            sentences.append(
                f"{listed([vane])}: the force curve is bent otherwise than the file's, by "
                f"{bend[vane]:+.1%} ± {error[vane]:.1%} from neutral to the end of travel; "
                "--bend fits that too"
            )
    loads_s = np.linspace(0, found.blocks.full_load_s, 33)
    plain, _ = found.effectiveness_at(loads_s)
    fine, error = richer.effectiveness_at(loads_s)
    off = np.abs(fine - plain)
    for vane in np.flatnonzero(((off > SURE * error) & (off > WORTH_A_WORD)).any(axis=0)):
        sentences.append(
            f"{listed([vane])}: effectiveness over the burn has more shape than "
            f"{len(found.unknowns.load_points_s)} values can follow; "
            f"try --wear-points {len(found.unknowns.load_points_s) + 1}"
        )
    return sentences
