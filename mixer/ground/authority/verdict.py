"""Whether what is within reach meets [requirements]: one judgement, for `envelope` and `check`."""

from dataclasses import dataclass
from functools import partial

import numpy as np

from mixer.ground.authority.band import worst_case_nm
from mixer.ground.authority.cases import UnmetRise, UnmetTogether, unmet_cases
from mixer.ground.authority.required import AXES, Unmet, required_nm, unmet_requirements
from mixer.ground.vehicle.vehicle import Vehicle


@dataclass(frozen=True)
class Judged:
    """`nominal`: moments unmet as the file has its numbers; `unmet`: in the worst case of its
    [uncertainty], which is the verdict; `cases`: what is asked for beyond each by itself.
    """

    nominal: list[Unmet]
    unmet: list[Unmet]
    cases: list[UnmetTogether | UnmetRise]
    asked: bool

    @property
    def met(self) -> bool | None:
        """None where [requirements] asks for no moments."""
        return not (self.unmet or self.cases) if self.asked else None


def judge_reach(vehicle: Vehicle) -> Judged:
    """The required moments against what is within reach over the burn."""
    nominal = unmet = unmet_requirements(vehicle)
    if vehicle.uncertainty is not None:
        unmet = unmet_requirements(vehicle, partial(worst_case_nm, vehicle))
    asked = not bool(np.isnan(required_nm(vehicle.requirements)).all())
    return Judged(nominal, unmet, unmet_cases(vehicle) if asked else [], asked)


def reach_words(vehicle: Vehicle, judged: Judged) -> str:
    """The verdict in a sentence or some; says which case was judged and what "within reach" is."""
    limits = vehicle.requirements
    if limits is None or not judged.asked:
        return "[requirements] states no moments, so none were compared."
    sure = "" if vehicle.uncertainty is None else "In the worst case of [uncertainty]: "
    if not judged.met:
        return f"{sure}{'. '.join(map(str, [*judged.unmet, *judged.cases]))}."
    wanted_nm = required_nm(limits)
    named = [f"{axis} {nm:g}" for axis, nm in zip(AXES, wanted_nm, strict=True) if nm == nm]
    how = "each by itself"
    if limits.together and len(named) > 1:
        how += " and all together"
    soon = "" if limits.rise_time_ms is None else f", each within {limits.rise_time_ms:g} ms"
    return f"{sure}{', '.join(named)} N·m within reach both ways, {how}, over the whole burn{soon}."
