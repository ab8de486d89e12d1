"""What is drawn for each flight, in words, with its size (N,) in flights.

Where it is a direction or four vanes: how large it is.
"""

import numpy as np

DRAWS = {
    "thrust": lambda t: t.thrust_alike[0],
    "burn time": lambda t: t.burn_time_alike[0],
    "mass": lambda t: t.mass_alike[0],
    "inertia": lambda t: t.inertia_alike[0],
    "centre of gravity, along": lambda t: t.cg_shift_m[0],
    "centre of gravity, off the axis": lambda t: np.hypot(*t.cg_offset_m),
    "thrust misaligned": lambda t: np.hypot(*t.misalignment_rad),
    "aerodynamics": lambda t: t.aerodynamics_alike[0],
    "centre of pressure": lambda t: t.cp_shift_m[0],
    "fins askew, either way": lambda t: np.abs(t.fin_cant_rad[0]),
    "wind": lambda t: np.hypot(*t.wind_m_s),
    "gust": lambda t: np.hypot(*t.gust_m_s),
    "gust, when": lambda t: t.gust_time_s[0],
    "weakest vane's force": lambda t: t.vane_force_alike.min(axis=0),
    "most worn vane": lambda t: t.vane_wear_alike.max(axis=0),
    "vane angles, off together": lambda t: np.abs(t.vane_angle_deg.sum(axis=0)),
    "slowest servo": lambda t: t.servo_slew_alike.min(axis=0),
    "latest servo": lambda t: t.servo_lag_alike.max(axis=0),
    "pressure sensor": lambda t: t.sensor_alike[0],
}
