"""What a drawing came to: the numbers for scripts, and pass, fail or not sure with its reason."""

from typing import Any

import numpy as np

from mixer.ground.evidence.evidence import tables_of
from mixer.ground.reports.page import Verdict
from mixer.ground.vane_life.strength import RARE
from mixer.ground.vane_report.examined import DrawnVane
from mixer.ground.vane_report.melt_report import melt_result
from mixer.ground.vane_report.pressure_check import largest_error


def vane_result(found: DrawnVane) -> dict[str, Any]:
    """The numbers of the report, for `--json`. `passed` is null where the verdict is not sure."""
    vehicle, curve, life, hinge = found.vehicle, found.curve, found.life, found.hinge
    thrust, core = vehicle.engine.thrust_n, curve.jet.core
    rated_nm = found.geometry.servo_torque_nm
    load_s, deflection_deg = hinge.peak_at
    told = verdict(found)
    return {
        "vehicle": vehicle.vehicle.name,
        "verdict": told.word or told.outcome,
        "passed": {"pass": True, "fail": False}.get(told.outcome),
        "reason": told.reason,
        "warnings": found.warnings,
        "assumed": found.assumed,
        "jet": {
            "mach": core.mach,
            "pressure_bar": core.pressure_pa / 1e5,
            "dynamic_pressure_bar": core.dynamic_pressure_pa / 1e5,
            "expansion": curve.jet.expansion,
            "exit_over_ambient": curve.jet.exit_over_ambient,
            "edge_turn_deg": np.degrees(curve.jet.skirt.turn_rad),
            "edge_radius_mm": 1e3 * curve.edge_radius_m,
        },
        "deflection_deg": curve.deflection_deg,
        "force_n": curve.force_n,
        "drag_n": curve.drag_n,
        "normal_force_n": curve.normal_force_n,
        "axial_force_n": curve.axial_force_n,
        "centre_of_pressure_mm": curve.centre_of_pressure_mm,
        "hinge_moment_nm": curve.hinge_moment_nm,
        "detachment_deg": curve.detachment_deg,
        "roll_arm_m": curve.roll_arm_m,
        "roll_arm_of_file_m": vehicle.layout.roll_arm_m,
        "ideal_thrust_n": found.ideal_thrust_n,
        "thrust_of_file_n": thrust,
        "thrust_loss_at_rest": 4.0 * curve.drag_at_rest_n / thrust,
        "thrust_loss_two_deflected": 2.0 * (curve.drag_at_rest_n + curve.drag_n.max()) / thrust,
        "thrust_loss_all_deflected": 4.0 * float(curve.drag_n.max()) / thrust,
        "force_over_kappa": [s.__dict__ for s in found.scaled],
        "force_over_kappa_error": largest_error(found.scaled),
        "hinge_peak_nm": hinge.peak_nm,
        "hinge_peak_band_nm": hinge.peak_band_nm,
        "hinge_peak_at_load_s": load_s,
        "hinge_peak_at_deg": deflection_deg,
        "servo_torque_margin": None if rated_nm is None else hinge.margin(rated_nm),
        "servo_torque_margin_band": None if rated_nm is None else hinge.margin_band(rated_nm),
        "if_the_servo_lets_go": hinge.let_go,
        **_life_result(found),
        "bending": [
            {
                "place": b.place,
                "stress_mpa": b.stress_mpa,
                "mean_strength_mpa": b.mean_strength_mpa,
                "margin": b.margin,
                "chance_of_breaking": b.worst_chance,
            }
            for b in found.strength
        ],
        "heat_shock_merit": found.shock,
        "mass_g": found.mass_g,
        "dominating_uncertainty": life.dominating.name,
        "burn_time_s": vehicle.engine.burn_time_s,
        "notes": list(curve.notes),
    }


def _life_result(found: DrawnVane) -> dict[str, Any]:
    """Life and wear; all null where solids in the exhaust make them worthless."""
    life = found.life
    told = {
        "life_s": life.life_s,
        "life_low_s": life.low_s,
        "life_high_s": life.high_s,
        "life_ends_by": life.ends_by,
        "local_failure_s": life.local_s,
        "bulk_failure_s": life.bulk_s,
        "mean_temperature_at_end_k": life.mean_at_k(float(found.time_s[-1])),
        "effectiveness_at_end": found.effectiveness,
        "edge_lost_mm": float(found.edges[-1].recession_mm.max()),
        "face_lost_mm": found.edges[-1].face_mm,
        "tail_lost_mm": found.tail_lost_mm,
        **melt_result(found),
    }
    return dict.fromkeys(told) if found.solids else told


def verdict(found: DrawnVane) -> Verdict:
    """Pass, fail, or not sure where a band or a missing model leaves it open."""
    burn_s, life = found.vehicle.engine.burn_time_s, found.life
    rated_nm = found.geometry.servo_torque_nm
    fails, unsure = [], []
    if tables_of(found.vehicle).refused:
        fails.append("no flight tables can be made of the file")
    if found.solids:
        unsure.append("solids in the exhaust: no life is computed")
    elif life.life_s < burn_s:
        fails.append(f"estimated life {life.life_s:.3g} s against a burn of {burn_s:g} s")
    elif life.low_s < burn_s:
        unsure.append(f"life {_life_words(found)}, {life.low_s:.3g} s at worst")
    if life.material.oxidises and not found.solids:
        unsure.append(f"{life.material.name} oxidises, and no model here holds that")
    if rated_nm is not None:
        worst, best = found.hinge.margin_band(rated_nm)
        if best < 1.0:
            fails.append(f"servo torque margin {worst:.2f} to {best:.2f}")
        elif worst < 1.0:
            unsure.append(f"servo torque margin {worst:.2f} to {best:.2f}")
    for place in found.strength:
        said = (
            f"bending of {place.stress_mpa.max():.2g} MPa at the {place.place}: strength"
            f" {place.margin:.2g} times that, chance of breaking {_chance(place.worst_chance)}"
        )
        if place.margin < 1.0:
            fails.append(said)
        elif place.worst_chance > RARE:
            unsure.append(said)
    if fails:
        return Verdict("fail", "; ".join(fails + unsure) + ".")
    if unsure:
        return Verdict("open", "; ".join(unsure) + ".", "not sure")
    margin = (
        "no servo torque given"
        if rated_nm is None
        else "servo torque margin {:.2f} to {:.2f}".format(*found.hinge.margin_band(rated_nm))
    )
    return Verdict("pass", f"life {_life_words(found)}; {margin}.")


def _life_words(found: DrawnVane) -> str:
    burn_s, life = found.vehicle.engine.burn_time_s, found.life
    if np.isfinite(life.life_s):
        return f"estimated {life.life_s:.3g} s against a burn of {burn_s:g} s"
    return f"over {life.horizon_s:g} s by the estimate, against a burn of {burn_s:g} s"


def _chance(chance: float) -> str:
    return f"1 in {1.0 / chance:.2g}" if chance < 0.1 else f"{chance:.0%}"
