"""The jet behind a nozzle: its undisturbed core, the lip wave, and the edge it bends.

Wave and fan at the lip are taken as plane, since the vanes stand within a radius of it: the ring's
own curvature, which bends the edge of an over-expanded jet back outwards and that of an
under-expanded one inwards, is left out. So is the mixing layer with the air.
"""

from dataclasses import dataclass

import numpy as np

from mixer.ground.drawn_vane import gas

STANDARD_PRESSURE_PA = 101_325.0
SEPARATION_PRESSURE_RATIO = 0.4  # exit over ambient below which a nozzle flow separates:
# Summerfield's criterion [from memory], a rule of thumb for conical nozzles.
STEEPEST_EDGE_RAD = 1.5  # a jet into vacuum may turn further; no vane reaches there


@dataclass(frozen=True)
class FlowState:
    """A uniform supersonic stream, inclined to the engine axis by `turn_rad`, outwards positive."""

    mach: float
    pressure_pa: float
    gamma: float
    turn_rad: float = 0.0

    @property
    def dynamic_pressure_pa(self) -> float:
        return 0.5 * self.gamma * self.pressure_pa * self.mach**2

    @property
    def across(self) -> "FlowState":
        """What a section on a radial span feels: the part of the stream square to the span.

        A stream along the span makes no pressure on an endless swept wing (Busemann 1935 [from
        memory]); near the jet's edge a vane is swept by the turn.
        """
        return FlowState(self.mach * float(np.cos(self.turn_rad)), self.pressure_pa, self.gamma)


@dataclass(frozen=True)
class Jet:
    """The stream that leaves a nozzle: its undisturbed core, and what the lip makes of it.

    `core` fills the exit and the cone behind it that the lip wave has not crossed; `skirt` is the
    stream between that wave and the jet's edge, at ambient pressure. The lip wave leaves the
    nozzle edge at `lip_wave_rad` to the axis, inwards, and turns the stream: inwards behind a
    shock, outwards through a fan; the jet's edge goes with it.
    """

    core: FlowState
    skirt: FlowState
    exit_radius_m: float
    ambient_pressure_pa: float
    lip_wave_rad: float

    @property
    def exit_over_ambient(self) -> float:
        """Exit pressure over ambient; infinite in vacuum."""
        if self.ambient_pressure_pa == 0.0:
            return np.inf
        return self.core.pressure_pa / self.ambient_pressure_pa

    @property
    def expansion(self) -> str:
        """`matched` (within 2 %), `over-expanded` or `under-expanded`."""
        if abs(self.exit_over_ambient - 1.0) <= 0.02:
            return "matched"
        return "under-expanded" if self.exit_over_ambient > 1.0 else "over-expanded"

    def core_radius_m(self, distance_m: float) -> float:
        """Radius of the undisturbed core `distance_m` behind the exit."""
        return max(self.exit_radius_m - distance_m * np.tan(self.lip_wave_rad), 0.0)

    def edge_radius_m(self, distance_m: float) -> float:
        """Radius of the jet's edge `distance_m` behind the exit.

        R_exit + x tan(turn), and no further in or out than the stream tube is wide, by
        continuity, once all of it has become like the skirt.
        """
        turn = min(self.skirt.turn_rad, STEEPEST_EDGE_RAD)
        straight_m = self.exit_radius_m + distance_m * float(np.tan(turn))
        tube_m = self.exit_radius_m * np.sqrt(mass_flux(self.core) / mass_flux(self.skirt))
        between = max if turn < 0.0 else min
        return float(between(straight_m, tube_m))

    def state_at(self, radius_m: float, distance_m: float) -> FlowState:
        """Stream that meets an edge at a radius and a distance behind the exit.

        Behind a lip shock it is the skirt; within a lip fan the state belongs to the straight
        characteristic from the lip (plane flow: the ring's own curvature is left out).
        """
        if radius_m <= self.core_radius_m(distance_m):
            return self.core
        gamma = self.core.gamma
        ray_rad = np.arctan2(self.exit_radius_m - radius_m, distance_m)
        if self.exit_over_ambient < 1.0 or ray_rad <= self._ray_rad(self.skirt.mach):
            return self.skirt
        mach = gas.root_between(
            lambda m: self._ray_rad(m) - ray_rad, self.core.mach, self.skirt.mach
        )
        change = float(gas.pressure_ratio(mach, gamma) / gas.pressure_ratio(self.core.mach, gamma))
        turn_rad = expansion_turn_rad(self.core, mach)
        return FlowState(mach, self.core.pressure_pa * change, gamma, turn_rad)

    def _ray_rad(self, mach: float) -> float:
        """Angle to the axis, inwards, of the lip fan's characteristic for a Mach number."""
        return float(np.arcsin(1.0 / mach)) - expansion_turn_rad(self.core, mach)


def mass_flux(stream: FlowState) -> float:
    """Density times speed, times the square root of R T_total / gamma: p M sqrt(T_total/T)."""
    total_over_static = 1.0 / float(gas.temperature_ratio(stream.mach, stream.gamma))
    return stream.pressure_pa * stream.mach * float(np.sqrt(total_over_static))


def expansion_turn_rad(core: FlowState, mach: float) -> float:
    """Angle through which the core's stream turns in a fan to reach a Mach number."""
    gamma = core.gamma
    return float(gas.prandtl_meyer_rad(mach, gamma) - gas.prandtl_meyer_rad(core.mach, gamma))


def jet_from_nozzle(
    chamber_pressure_pa: float,
    throat_diameter_m: float,
    expansion_ratio: float,
    gamma: float,
    ambient_pressure_pa: float = STANDARD_PRESSURE_PA,
) -> Jet:
    """Exit stream of an isentropic nozzle and the wave at its lip.

    GasError, in words, where the exit is subsonic: no divergent part, a chamber too weak to choke
    the throat, or an ambient pressure that drives a shock or separation into the nozzle.
    """
    mach = gas.exit_mach(expansion_ratio, gamma)
    choked = chamber_pressure_pa * float(gas.pressure_ratio(1.0, gamma))
    if ambient_pressure_pa >= choked:
        raise gas.GasError(
            f"subsonic exit: {chamber_pressure_pa / 1e5:.3g} bar in the chamber does not choke the"
            f" throat against {ambient_pressure_pa / 1e5:.3g} bar outside"
        )
    core = FlowState(mach, chamber_pressure_pa * float(gas.pressure_ratio(mach, gamma)), gamma)
    if core.pressure_pa < SEPARATION_PRESSURE_RATIO * ambient_pressure_pa:
        raise gas.GasError(
            f"the jet separates inside the nozzle: exit pressure {core.pressure_pa / 1e5:.3g} bar"
            f" is under {SEPARATION_PRESSURE_RATIO:g} of the {ambient_pressure_pa / 1e5:.3g} bar"
            " outside; lower the expansion ratio or raise the chamber pressure"
        )
    skirt, wave = _skirt(core, ambient_pressure_pa)
    radius = 0.5 * throat_diameter_m * np.sqrt(expansion_ratio)
    return Jet(core, skirt, float(radius), ambient_pressure_pa, wave)


def _skirt(core: FlowState, ambient_pressure_pa: float) -> tuple[FlowState, float]:
    """Stream between lip wave and jet edge, and the angle of the wave's head to the axis."""
    ratio = ambient_pressure_pa / core.pressure_pa
    gamma, mach = core.gamma, core.mach
    if ratio > 1.0:  # over-expanded: a shock from the lip brings the edge up to ambient
        normal = np.sqrt(1.0 + (ratio - 1.0) * (gamma + 1.0) / (2.0 * gamma))
        wave = float(np.arcsin(min(normal / mach, 1.0)))
        turn = float(gas.wave_turn_rad(wave, mach**2, gamma))
        behind = gas.normal_shock(float(normal), gamma).mach / np.sin(wave - turn)
        if behind <= 1.0:
            raise gas.GasError(
                f"subsonic jet: against {ambient_pressure_pa / 1e5:.3g} bar outside the shock at"
                f" the nozzle's lip is too strong for Mach {mach:.3g}; raise the chamber pressure"
            )
        return FlowState(float(behind), ambient_pressure_pa, gamma, -turn), wave
    # Under-expanded or matched: a fan from the lip brings the edge down to ambient.
    total = float(gas.pressure_ratio(mach, gamma)) * ratio
    edge = gas.MACH_LIMIT if total == 0.0 else _mach_from_pressure_ratio(total, gamma)
    fall = float(gas.pressure_ratio(edge, gamma) / gas.pressure_ratio(mach, gamma))
    turn = expansion_turn_rad(core, edge)
    return FlowState(edge, core.pressure_pa * fall, gamma, turn), float(np.arcsin(1.0 / mach))


def _mach_from_pressure_ratio(ratio: float, gamma: float) -> float:
    power = (gamma - 1.0) / gamma
    return float(min(np.sqrt((ratio**-power - 1.0) * 2.0 / (gamma - 1.0)), gas.MACH_LIMIT))
