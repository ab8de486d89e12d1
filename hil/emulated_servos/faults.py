"""Emulated servos to try the bench on: healthy ones that differ as servos do, and faulty ones."""

import random
from dataclasses import replace

from hil.emulated_servos.linkage import Linkage
from hil.emulated_servos.servo import EmulatedServo, ServoFault, ServoKind

FAULTS = ("stripped tooth", "sticking band", "reversed lead", "loose horn", "dead encoder")


def healthy_kind(seed: int, neutral_us: float = 1500.0, us_per_deg: float = 10.0) -> ServoKind:
    """A servo like its siblings: every figure some per cent off, the linkage a little unequal."""
    rng = random.Random(f"servo {seed}")

    def about(value: float, share: float) -> float:
        return value * rng.uniform(1 - share, 1 + share)

    plain = ServoKind()
    arm_mm = about(plain.linkage.arm_mm, 0.02)
    return replace(
        plain,
        neutral_us=neutral_us + rng.uniform(-4, 4),
        us_per_deg=about(us_per_deg, 0.02),
        natural_hz=about(plain.natural_hz, 0.08),
        damping=about(plain.damping, 0.1),
        slew_deg_s=about(plain.slew_deg_s, 0.06),
        latency_s=about(plain.latency_s, 0.2),
        dead_band_deg=about(plain.dead_band_deg, 0.4),
        stiction_deg=about(plain.stiction_deg, 0.5),
        backlash_deg=about(plain.backlash_deg, 0.4),
        linkage=Linkage(
            horn_mm=arm_mm,
            arm_mm=plain.linkage.arm_mm,
            horn_neutral_deg=rng.uniform(86, 94),
            arm_neutral_deg=rng.uniform(88, 92),
        ),
    )


def some_fault(name: str, seed: int) -> ServoFault:
    """A fault of that name, of a size and at a place that the seed picks."""
    rng = random.Random(f"{name} {seed}")
    if name == "stripped tooth":
        return ServoFault(
            tooth_at_deg=rng.uniform(-10, 10),
            tooth_pitch_deg=rng.uniform(1.5, 5),
            tooth_chance=rng.uniform(0.3, 0.8),
        )
    if name == "sticking band":
        width_deg, middle_deg = rng.uniform(3, 8), rng.uniform(-9, 9)
        return ServoFault(
            sticking_from_deg=middle_deg - width_deg / 2,
            sticking_to_deg=middle_deg + width_deg / 2,
            sticking_deg=rng.uniform(1.3, 3),
        )
    if name == "reversed lead":
        return ServoFault(reversed_lead=True)
    if name == "loose horn":
        return ServoFault(loose_horn_deg=rng.uniform(1.5, 4))
    if name == "dead encoder":
        return ServoFault(encoder=rng.choice(("frozen", "silent", "no magnet")))
    raise ValueError(f"no fault {name}; known are {', '.join(FAULTS)}")


def emulated_servo(
    seed: int,
    fault: str | None = None,
    neutral_us: float = 1500.0,
    us_per_deg: float = 10.0,
) -> EmulatedServo:
    """A healthy emulated servo of its own, or one with the named fault."""
    broken = some_fault(fault, seed) if fault else None
    return EmulatedServo(healthy_kind(seed, neutral_us, us_per_deg), fault=broken, seed=seed)
