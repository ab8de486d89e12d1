"""Both clocks without a sync line: side loads and roll against what the vanes' motion should give.

Each load is a sum of the four vanes' forces, whatever they weigh in it, of what the jet gives by
itself, and of a zero that creeps. The clock under which that explains most is the logger's: least
squares with the weights eliminated (variable projection: Golub and Pereyra 1973), on rows from
which the noise's own memory has been filtered (Cochrane and Orcutt 1949). How late the load cells
are read looks just like an offset of the clock, so that has to be known.
"""

from dataclasses import dataclass

import numpy as np
import scipy

from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.static_test.log import StandLog
from mixer.ground.two_clocks.clock_fit import Clock, clock_of_ends
from mixer.ground.two_clocks.logger_log import LoggerLog
from mixer.ground.two_clocks.play_record import PlayRecordError
from mixer.ground.two_clocks.vane_motion import VaneMotion
from mixer.ground.vehicle.vehicle import Vehicle

BLOCK_S = 0.005  # rows are taken together up to so long: vanes move slower
STEP_S = 0.01  # of the search for the shift
LEAST_EXPLAINED = 0.5  # of the loads' variance
LEAST_AHEAD = 0.05  # by which the best shift has to beat the best one elsewhere
APART_S = 0.5  # how far off elsewhere is
LATE_ERROR_S = 0.0005  # of what was said of the load cells
SERVO_ERROR_S = 0.001  # of a servo that is modelled: frames of pulses, and its dynamics
MOST_ERROR_S = 0.003  # twice the standard error may be as much
DRIFT_SCALE = 1e-4  # of any two clocks of quartz; what is known before
SIDE = slice(0, 3)  # side loads and roll of LOAD_COLUMNS


@dataclass(frozen=True)
class Burning:
    """The rows of the steady burn: `time_s`, `share` of the reference pressure, `loads` (n, 3)."""

    time_s: Array
    share: Array
    loads: Array


def clock_by_motion(
    motion: VaneMotion, log: LoggerLog, vehicle: Vehicle, late_s: float
) -> tuple[Clock, float, int]:
    """The logger's clock, the share of the loads' variance it explains, and rows used.

    late_s: how late the load cells are read. PlayRecordError where nothing fits well enough.
    """
    burn = burning(log, vehicle)
    columns = forces(motion.angle_deg, vehicle)
    shift_s = shift_of(motion, columns, burn, log.file)
    first_s, last_s = float(burn.time_s[0]) - shift_s, float(burn.time_s[-1]) - shift_s
    ends, memory = np.full(2, shift_s), 0.0
    for _ in range(2):
        fitted = scipy.optimize.least_squares(
            residuals,
            ends, x_scale=0.001, diff_step=1e-4, xtol=1e-5, ftol=1e-6,
            bounds=(ends - 0.1, ends + 0.1), max_nfev=12,
            args=(memory, burn, motion, vehicle, first_s, last_s),
        )  # fmt: skip
        ends = fitted.x
        left = residuals(ends, 0.0, burn, motion, vehicle, first_s, last_s)[:-1].reshape(-1, 3)
        memory = float(np.clip((left[1:] * left[:-1]).sum() / (left**2).sum(), 0.0, 0.99))
    explained = 1 - float((left**2).sum()) / len(left) / 3
    if explained < LEAST_EXPLAINED:
        raise PlayRecordError(
            f"{log.file}: the vanes' motion explains {explained:.0%} of side loads and roll; at "
            f"least {LEAST_EXPLAINED:.0%} are needed: another run's log, another vehicle's, or "
            "loads too noisy; wire the node's sync output to the logger"
        )
    scatter = float(np.mean(fitted.fun[:-1] ** 2))
    known = np.linalg.inv(
        fitted.jac[:-1].T @ fitted.jac[:-1] / scatter + drift_known(last_s - first_s)
    )
    systematic_s = np.hypot(LATE_ERROR_S, SERVO_ERROR_S if motion.modelled else 0.0)
    clock = clock_of_ends(ends - late_s, known + systematic_s**2, first_s, last_s)
    if 2 * max(clock.middle_error_s, clock.offset_error_s) > MOST_ERROR_S:
        raise PlayRecordError(
            f"{log.file}: side loads and motion fix the clock to ± "
            f"{2e3 * clock.offset_error_s:.1f} ms only; {1e3 * MOST_ERROR_S:g} ms are "
            "needed: wire the node's sync output to the logger, or run a longer programme"
        )
    return clock, explained, len(burn.time_s)


def explained_share(clock: Clock, motion: VaneMotion, log: LoggerLog, vehicle: Vehicle) -> float:
    """The share of the loads' variance that the motion explains under a clock."""
    burn = burning(log, vehicle)
    first_s, last_s = clock.node_s(burn.time_s[[0, -1]])
    ends = clock.log_s(np.array([first_s, last_s])) - np.array([first_s, last_s])
    left = residuals(ends, 0.0, burn, motion, vehicle, first_s, last_s)[:-1]
    return 1 - float(np.mean(left**2))


def burning(log: LoggerLog, vehicle: Vehicle) -> Burning:
    """The steady burn, in means over some rows. PlayRecordError where there was none."""
    stand = StandLog(log.file, log.time_s, log.pressure_bar, np.zeros((1, VANES)), log.loads)
    share = log.pressure_bar / vehicle.engine.chamber_pressure_bar
    rows = stand.burning & (share > 0.2)
    if rows.sum() < 50:
        raise PlayRecordError(
            f"{log.file}: no burn, and no sync column: without a jet no load tells of the vanes"
        )
    each = max(round(BLOCK_S / log.row_s), 1)
    whole = np.flatnonzero(rows)[: rows.sum() // each * each].reshape(-1, each)
    return Burning(
        log.time_s[whole].mean(axis=1),
        share[whole].mean(axis=1),
        log.loads[whole, SIDE].mean(axis=1),
    )


def forces(angle_deg: Array, vehicle: Vehicle) -> Array:
    """The vanes' forces at the reference pressure, (n, 4)."""
    return np.column_stack([vehicle.force_n(v, angle_deg[:, v]) for v in range(VANES)])


def shift_of(motion: VaneMotion, columns: Array, burn: Burning, file: str) -> float:
    """Log time less node time under which the motion explains most of the loads.

    For each shift the share that a fit of all four forces explains, from their correlations.
    """
    node_s = np.arange(motion.time_s[0], motion.time_s[-1], STEP_S)
    log_s = np.arange(burn.time_s[0], burn.time_s[-1], STEP_S)
    vanes = np.column_stack([np.interp(node_s, motion.time_s, c) for c in columns.T])
    vanes = vanes - vanes.mean(axis=0)
    per_jet = burn.loads / burn.share[:, None]
    loads = np.column_stack([np.interp(log_s, burn.time_s, c) for c in per_jet.T])
    loads = loads - loads.mean(axis=0)
    loads = loads / np.maximum(loads.std(axis=0), 1e-12)
    gram = np.linalg.pinv(vanes.T @ vanes)
    common = np.stack(
        [
            np.column_stack([scipy.signal.correlate(load, vane, method="fft") for vane in vanes.T])
            for load in loads.T
        ]
    )
    explained = np.einsum("lsv,vw,lsw->s", common, gram, common) / (len(log_s) * 3)
    shifts_s = log_s[0] - node_s[0] + (np.arange(len(explained)) - (len(node_s) - 1)) * STEP_S
    best = int(np.argmax(explained))
    elsewhere = np.abs(shifts_s - shifts_s[best]) > APART_S
    second = float(explained[elsewhere].max()) if elsewhere.any() else 0.0
    if explained[best] < second + LEAST_AHEAD:
        raise PlayRecordError(
            f"{file}: side loads fit the vanes' motion about as well at two times "
            f"({explained[best]:.0%} and {second:.0%} explained): do log and record overlap, and "
            "are they of the same run? Wire the node's sync output to the logger"
        )
    return float(shifts_s[best])


def residuals(
    ends: Array, memory: float, burn: Burning, motion: VaneMotion, vehicle: Vehicle,
    first_s: float, last_s: float,
) -> Array:  # fmt: skip
    """What is left of the loads, in parts of their scatter, flat; last what the drift is off."""
    clock = clock_of_ends(ends, np.zeros((2, 2)), first_s, last_s)
    share = burn.share[:, None]
    push = share * forces(motion.at(clock.node_s(burn.time_s)), vehicle)
    along = np.linspace(-1, 1, len(push))[:, None]
    columns = np.hstack([push, push * along, share, share * along, np.ones_like(share), along])
    loads = burn.loads / burn.loads.std(axis=0)
    if memory:
        columns = columns[1:] - memory * columns[:-1]
        loads = loads[1:] - memory * loads[:-1]
    q, _ = np.linalg.qr(columns / np.linalg.norm(columns, axis=0))
    left = loads - q @ (q.T @ loads)
    scatter = max(float(np.sqrt(np.mean(left**2))), 1e-9)
    return np.append(left.ravel(), scatter * clock.drift / DRIFT_SCALE)


def drift_known(span_s: float) -> Array:
    """What is known of both ends before, from clocks being of quartz: inverse covariance."""
    slope = np.array([-1.0, 1.0]) / (span_s * DRIFT_SCALE)
    return np.outer(slope, slope)
