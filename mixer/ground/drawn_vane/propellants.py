"""How much carbon the exhaust of a propellant can burn off a graphite wall: B' at its limit.

B' is carbon burned per unit of gas that diffuses to the wall. Hot enough, diffusion alone limits
it: every oxygen atom the gas brings, in H2O, CO2, OH or O2, leaves as CO, so that

    B' = 12.011 (n_O - n_C) / m

with n_O, n_C the moles of atoms in a mass m of exhaust, the same whatever molecules they form
(mass balance at the wall, equal diffusivities). Pure arithmetic of the mixture.
"""

from typing import Literal, NamedTuple

from mixer.ground.inputs.csv_files import InputError

CARBON_G_MOL, OXYGEN_G_MOL = 12.011, 15.999
BLEND = Literal[
    "lox/ethanol", "lox/ethanol-75", "lox/isopropanol", "lox/methanol", "lox/kerosene",
    "lox/methane", "n2o/ethanol", "n2o/isopropanol", "n2o/kerosene",
]  # fmt: skip


class PropellantError(InputError):
    """A mixture that burns no carbon, said in words."""


class Content(NamedTuple):
    """Moles of carbon and oxygen atoms in a gram."""

    carbon: float
    oxygen: float


class Burning(NamedTuple):
    """B' at the diffusion limit, the factor it is uncertain by either way, and where it is from."""

    limit: float
    spread: float
    source: str


def _of(molar_g: float, carbon: float, oxygen: float) -> Content:
    return Content(carbon / molar_g, oxygen / molar_g)


_ETHANOL, _WATER = _of(46.069, 2.0, 1.0), _of(18.015, 0.0, 1.0)
FUELS = {
    "ethanol": _ETHANOL,
    "ethanol-75": Content(  # three parts to one of water, by mass
        0.75 * _ETHANOL.carbon, 0.75 * _ETHANOL.oxygen + 0.25 * _WATER.oxygen
    ),
    "isopropanol": _of(60.096, 3.0, 1.0),
    "methanol": _of(32.042, 1.0, 1.0),
    "kerosene": _of(13.969, 1.0, 0.0),  # CH1.9423
    "methane": _of(16.043, 1.0, 0.0),
}
OXIDISERS = {"lox": _of(31.998, 0.0, 2.0), "n2o": _of(44.013, 0.0, 1.0)}
# Oxidiser to fuel by mass where the file gives none: what small engines run at [practice].
USUAL_MIXTURE = {
    "lox/ethanol": 1.3, "lox/ethanol-75": 1.1, "lox/isopropanol": 1.4, "lox/methanol": 1.0,
    "lox/kerosene": 2.2, "lox/methane": 2.8, "n2o/ethanol": 4.0, "n2o/isopropanol": 4.0,
    "n2o/kerosene": 6.0,
}  # fmt: skip
# Unequal diffusivities (H2O runs ahead, CO2 lags), a core that is not mixed evenly, and walls not
# quite hot enough: a guess of the arithmetic's error. Without a mixture ratio it is a usual one.
SPREAD_GIVEN, SPREAD_USUAL = 1.4, 1.6
# Nothing said of the propellants: the middle of what usual ones make, 0.14 to 0.31 and beyond.
UNKNOWN = Burning(0.2, 2.0, "assumed: no propellants given, between 0.1 and 0.4 for usual ones")


def burning_limit(propellants: str, mixture_ratio: float) -> float:
    """B' of a blend "oxidiser/fuel" at a mass ratio. PropellantError where it would leave soot."""
    oxidiser, fuel = propellants.split("/")
    carbon = FUELS[fuel].carbon
    oxygen = FUELS[fuel].oxygen + mixture_ratio * OXIDISERS[oxidiser].oxygen
    if oxygen <= carbon:
        least = (carbon - FUELS[fuel].oxygen) / OXIDISERS[oxidiser].oxygen
        raise PropellantError(
            f"{propellants} at {mixture_ratio:g} to 1 has more carbon than oxygen: its exhaust is"
            f" soot; the ratio of oxidiser to fuel must be above {least:.2f}"
        )
    return CARBON_G_MOL * (oxygen - carbon) / (1.0 + mixture_ratio)


def burning_of(propellants: str | None, mixture_ratio: float | None) -> Burning:
    """B' of what the vehicle file says of its propellants."""
    if propellants is None:
        return UNKNOWN
    ratio = USUAL_MIXTURE[propellants] if mixture_ratio is None else mixture_ratio
    said = "a usual ratio, assumed" if mixture_ratio is None else "as given"
    spread = SPREAD_USUAL if mixture_ratio is None else SPREAD_GIVEN
    return Burning(
        burning_limit(propellants, ratio), spread, f"{propellants} at {ratio:g} to 1, {said}"
    )
