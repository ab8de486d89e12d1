"""What a steering is told between cycles: demands, jams, sensed angles, where the burn stands."""

from mixer.flight.clamp import clamp
from mixer.flight.cycle import cycle
from mixer.flight.layout import *
from mixer.flight.limits import hold, let_go


def demand(w, pitch_mnm, yaw_mnm, roll_mnm):
    """Take a demand; 0, and nothing changed but the next flags, where it is out of range."""
    most = w[MNM_MAX]
    most_roll = w[ROLL_MNM_MAX]
    if (
        (pitch_mnm >= -most and pitch_mnm <= most)
        and (yaw_mnm >= -most and yaw_mnm <= most)
        and (roll_mnm >= -most_roll and roll_mnm <= most_roll)
    ):
        w[DEMAND] = pitch_mnm
        w[DEMAND + 1] = yaw_mnm
        w[DEMAND + 2] = roll_mnm
        w[AGE] = 0
        return 1
    w[BAD] = BAD_DEMAND
    return 0


def release(w):
    """Drop the demand: the vanes go to neutral at the slew rate until there is another."""
    w[AGE] = w[TIMEOUT_US]


def jam(w, vane, deflection):
    """Vane 0 to 3 stands still at this deflection, held inside its travel, until it is freed."""
    w[WATCH_DECLARED] &= ~(1 << vane)
    hold(w, vane, deflection)


def free(w, vane):
    """Vane 0 to 3 moves again, from where it stood."""
    w[WATCH_DECLARED] &= ~(1 << vane)
    let_go(w, vane)


def sensed(w, vane1_mdeg, vane2_mdeg, vane3_mdeg, vane4_mdeg):
    """What the angle sensors say, for the next cycle; NO_READING where one says nothing now."""
    w[WATCH_READING] = clamp(vane1_mdeg, -NO_READING, NO_READING)
    w[WATCH_READING + 1] = clamp(vane2_mdeg, -NO_READING, NO_READING)
    w[WATCH_READING + 2] = clamp(vane3_mdeg, -NO_READING, NO_READING)
    w[WATCH_READING + 3] = clamp(vane4_mdeg, -NO_READING, NO_READING)
    if w[WATCH_STATE] == WATCH_WAITING:
        w[WATCH_STATE] = WATCH_ON


def trust(w, vanes):
    """A check on the ground has seen the sensors of these vanes, bit 0 for vane 1, follow their
    commands: they are believed from here on, as if they had been seen to in flight.
    """
    if w[WATCH_STATE] != WATCH_OFF:
        w[WATCH_BELIEVED] |= vanes & 15


def watch(w, on):
    """Switch the watch off: what it declared is free and what it saw forgotten; or on again."""
    if on == 0:
        for vane in range(VANES):
            if w[WATCH_DECLARED] & (1 << vane) != 0:
                let_go(w, vane)
        w[WATCH_DECLARED] = 0
        w[WATCH_SENSORS] = 0
        w[WATCH_BELIEVED] = 0
        w[SENSORS_OUT] = 0
        w[WATCH_STATE] = WATCH_OFF
    elif w[WATCH_STATE] == WATCH_OFF:
        w[WATCH_STATE] = WATCH_WAITING


def start(w, time_us, load_us):
    """The burn has begun: set burn time and burn load, from which they run on."""
    w[TIME] = time_us
    w[LOAD] = load_us
    w[RATE] = 16384
    w[BURN] = SAID
    w[SINCE_US] = 0
    w[BELIEVED_EXPECTED] = 1
    w[EXPECTED_HINT] = w[EXPECTED_OFF]
    w[WEAR_HINT] = w[WEAR_OFF]
    w[LEVER_HINT] = w[LEVER_OFF]


def begin(w):
    """The burn has begun: a clock that stands, or that the jet has started, runs on from where it
    is; said again it changes nothing.
    """
    if w[BURN] < SAID:
        start(w, w[TIME], w[LOAD])


def wait(w, load_us):
    """The burn has yet to begin, of vanes with this burn load."""
    start(w, 0, load_us)
    w[BURN] = WAITING
    w[RATE] = 0


def reset(w):
    """Back to the moment before ignition: vanes neutral and free, new, no demand yet."""
    for i in range(STATE_WORDS):
        w[i] = 0
    wait(w, 0)
    release(w)
    for vane in range(VANES):
        free(w, vane)
    cycle(w, 0, 0)
    w[FLAGS] = 0
