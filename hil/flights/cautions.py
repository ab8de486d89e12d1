"""What no simulated flight tells, and what none is leave for."""

LEFT_OUT = (
    "What the simulated rocket leaves out: bending of the airframe, slosh of the propellant, the "
    "wake of one vane on another, Mach number in the aerodynamics, what leaving gas and emptying "
    "tanks do to roll, hinge moments on servos with play, separation of the nozzle's flow in the "
    "tail-off, errors of attitude and rate sensors. Each can make a real rocket behave worse.",
    "What it takes in: pulses in frames, latency and play of the servos as [servos] states them, a "
    "mean wind that grows with height, turbulence of the Dryden form by that wind (MIL-F-8785C), "
    "one gust, jet damping in pitch and yaw, and thrust that grows with height where the vehicle "
    "file tells throat and expansion ratio.",
    "The demands come from a plain proportional-derivative hold, there to test the steering with: "
    "it holds the axis vertical and the roll at null, and guides the rocket nowhere.",
)
NOTHING_REQUIRED = (
    "Nothing was judged: the vehicle file has no attitude_error_deg, roll_rate_deg_s or "
    "margin_percent in [requirements]."
)
FLYING_CAUTION = (
    "A good simulated flight is no leave to fly. Whether, where and when a rocket flies is "
    "decided by local law, the range's safety officer and licensed people, and by nobody else."
)
