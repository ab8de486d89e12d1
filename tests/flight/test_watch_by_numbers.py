"""The jam watch reading by reading, vane by vane: where each of its limits lies, to the unit.

Each vane has limits of its own, so that none is judged by another's.
"""

from array import array

import pytest

from mixer.flight import commands, jam_watch
from mixer.flight import layout as at
from mixer.ground.tables.build import words_of
from tests.support.vehicles import vehicle

DT_US = 5_000
NOISE, FREES = 300, 600  # 0.001°: no more than that is no movement, and frees no vane
SILENCE_US = 100_000
WORDS = words_of(vehicle())
EACH = range(at.VANES)
WAYS = (1, -1)


class Watched:
    """Words of a steering whose watch is on, seen through one vane."""

    def __init__(self, vane: int):
        self.vane = vane
        self.bit = 1 << vane
        self.w = w = array("i", WORDS)
        commands.reset(w)
        for each in EACH:
            w[at.WATCH_BAND + each] = 1_000 + 100 * each
            w[at.WATCH_WAIT_US + each] = 50_000 + DT_US * each
            w[at.TRAVEL_LO + each], w[at.TRAVEL_HI + each] = -12_000 - each, 13_000 + each
            w[at.SLEW_HIGH + each] = 200 + 20 * each
            w[at.DEFLECTION + each] = 3_000 - 50 * each
            w[at.SERVO_CELLS + each] = at.END  # before the bands, and no band
        w[at.WATCH_BELIEVED] = 15 & ~self.bit
        self.band = w[at.WATCH_BAND + vane]
        self.wait_us = w[at.WATCH_WAIT_US + vane]
        self.slew = w[at.SLEW_HIGH + vane]

    def command(self, deflection: int) -> None:
        self.w[at.DEFLECTION + self.vane] = deflection

    def see(self, reading: int = at.NO_READING, dt_us: int = DT_US) -> None:
        """A cycle; what belongs to other vanes stays."""
        others = self.of_others()
        readings = [at.NO_READING] * at.VANES
        readings[self.vane] = reading
        commands.sensed(self.w, *readings)
        jam_watch.look(self.w, dt_us)
        assert self.of_others() == others
        assert list(self.w[at.WATCH_READING : at.WATCH_READING + at.VANES]) == [at.NO_READING] * 4

    def of_others(self) -> list[int]:
        w, others = self.w, [each for each in EACH if each != self.vane]
        rows = (at.DEFLECTION, at.WATCH_SEEN, at.WATCH_FROM, at.WATCH_ANCHOR, at.LIMIT_LO)
        rows += (at.LIMIT_HI, at.WATCH_STILL_US, at.WATCH_GAP_US)
        masks = (at.JAMMED, at.WATCH_BELIEVED, at.SENSORS_OUT, at.WATCH_SENSORS, at.WATCH_DECLARED)
        return [w[row + each] for row in rows for each in others] + [
            w[mask] & ~self.bit for mask in masks
        ]

    def follow(self) -> None:
        """The sensor is seen to follow to 0, where the command is too."""
        for reading in (2_000, 0):
            self.command(reading)
            self.see(reading)
        self.see(0)
        assert self.told() == (1, 0, 0)

    def told(self) -> tuple[int, int, int]:
        """Whether the sensor is believed, whether it is out, whether the vane is declared."""
        masks = (self.w[at.WATCH_BELIEVED], self.w[at.SENSORS_OUT], self.w[at.WATCH_DECLARED])
        believed, out, declared = (mask >> self.vane & 1 for mask in masks)
        return believed, out, declared

    def waits(self, reading: int = 0, found: tuple[int, int, int] = (1, 0, 1)) -> None:
        """Read so from here on, the vane is declared when it has waited as long as it should."""
        self.see(reading)
        for _ in range(self.wait_us // DT_US):
            self.see(reading)
            assert self.told() != found
        self.see(reading)
        assert self.told() == found

    def jam(self, stands: int, way: int) -> None:
        """Declared where it stands, near 0, a command far to one side of it."""
        self.follow()
        self.command(way * 5_000)
        self.waits(stands)


@pytest.fixture(params=EACH)
def one(request: pytest.FixtureRequest) -> Watched:
    return Watched(request.param)


# ---- which sensors are believed ------------------------------------------------------------------


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize(("moved", "believed"), [(0, 0), (1, 1)])
def test_a_sensor_is_believed_that_has_moved_by_more_than_its_band_and_noise(
    one: Watched, way: int, moved: int, believed: int
) -> None:
    one.command(0)
    one.see(0)
    one.command(way * (one.band + NOISE + moved))
    one.see(way * (one.band + NOISE + moved), 50_000)
    assert one.told() == (believed, 0, 0)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize(("off", "believed"), [(0, 0), (-1, 1)])
def test_and_that_is_nearer_to_its_command_than_its_band(
    one: Watched, way: int, off: int, believed: int
) -> None:
    one.command(0)
    one.see(0)
    one.command(way * (2_000 + one.band + off))
    one.see(way * 2_000, 50_000)
    assert one.told() == (believed, 0, 0)


def test_the_first_reading_is_no_jump_and_no_movement_wherever_it_is(one: Watched) -> None:
    one.command(9_000)
    one.see(9_000)
    assert one.told() == (0, 0, 0)
    assert one.w[at.WATCH_SENSORS] == one.bit


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize(("beyond", "out"), [(0, 0), (1, 1)])
def test_a_reading_outside_the_travel_by_more_than_the_band_is_none(
    one: Watched, way: int, beyond: int, out: int
) -> None:
    end = one.w[(at.TRAVEL_HI if way > 0 else at.TRAVEL_LO) + one.vane]
    one.follow()
    one.command(end)
    one.see(end, 100_000)
    one.see(end + way * (one.band + beyond))
    assert one.told() == (1 - out, out, 0)
    assert one.w[at.WATCH_SEEN + one.vane] == end + way * one.band


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("near", [0, 1])  # to the command, or far from it
@pytest.mark.parametrize(("beyond", "out"), [(0, 0), (1, 1)])
def test_a_sensor_jumps_that_moves_by_twice_the_slew_and_more_than_a_vane_is_freed_by(
    one: Watched, way: int, near: int, beyond: int, out: int
) -> None:
    """Times in begun steps of 1.024 ms, the slew in 0.001° a ms and one more."""
    far, start = 2 * (one.slew + 1) * 5 + FREES, -1_500
    one.follow()
    one.see(way * start)
    one.command(way * (start + far) * near)
    one.see(way * (start + far + beyond), 5 * 1024 - 1)
    assert one.told() == (1 - out, out, 0)


def test_a_jump_is_one_from_the_vane_s_own_last_reading(one: Watched) -> None:
    """The others stand where it jumps to, and say so."""
    w = one.w
    one.follow()
    for each in EACH:
        w[at.DEFLECTION + each] = 9_000
        w[at.WATCH_SEEN + each] = 0 if each == one.vane else 9_000
    commands.trust(w, 15)
    commands.sensed(w, *[9_000] * at.VANES)
    jam_watch.look(w, DT_US)
    assert w[at.SENSORS_OUT] & one.bit


def test_a_sensor_that_is_out_has_to_follow_anew_from_where_it_was_seen(one: Watched) -> None:
    one.follow()
    one.command(9_000)
    one.see(9_000)
    assert one.told() == (0, 1, 0)
    for reading in (9_000, 9_000 - one.band - NOISE):
        one.command(reading)
        one.see(reading, 50_000)
        assert one.told() == (0, 1, 0)
    one.command(9_000 - one.band - NOISE - 1)
    one.see(9_000 - one.band - NOISE - 1)
    assert one.told() == (1, 0, 0)


@pytest.mark.parametrize("cycles", [1, 2])
def test_a_sensor_is_out_that_says_nothing_for_longer_than_a_tenth_of_a_second(
    one: Watched, cycles: int
) -> None:
    one.follow()
    for _ in range(cycles):
        one.see(dt_us=SILENCE_US // cycles)
    assert one.told() == (1, 0, 0)
    one.see(dt_us=1)
    assert one.told() == (0, 1, 0)


def test_where_there_is_no_sensor_none_is_out(one: Watched) -> None:
    commands.sensed(one.w, *[at.NO_READING] * at.VANES)
    for _ in range(3):
        one.see(dt_us=SILENCE_US)
    assert one.told() == (0, 0, 0)


def test_a_silence_begins_anew_with_each_reading(one: Watched) -> None:
    one.follow()
    for _ in range(4):
        one.see(dt_us=SILENCE_US)
        one.see(0, 1)
    assert one.told() == (1, 0, 0)


# ---- which vanes are declared --------------------------------------------------------------------


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize(("beyond", "declared"), [(0, 0), (1, 1)])
def test_a_vane_is_jammed_whose_command_is_farther_away_than_its_band(
    one: Watched, way: int, beyond: int, declared: int
) -> None:
    one.follow()
    one.command(way * (one.band + beyond))
    for _ in range(100):
        one.see(0)
    assert one.told() == (1, 0, declared)


@pytest.mark.parametrize("way", WAYS)
def test_it_is_declared_after_its_wait_and_the_longest_time_without_a_reading(
    one: Watched, way: int
) -> None:
    """On the other side of neutral than its command, and as far."""
    stands = -way * 2_000
    one.follow()
    one.command(-stands)
    one.waits(stands)
    w = one.w
    assert (w[at.JAMMED], w[at.WATCH_FOUND]) == (one.bit, 1)
    assert w[at.WATCH_FROM + one.vane] == -stands
    assert [w[row + one.vane] for row in (at.DEFLECTION, at.LIMIT_LO, at.LIMIT_HI)] == [stands] * 3


def test_a_wait_that_is_a_microsecond_longer_is_over_one_reading_later(one: Watched) -> None:
    one.follow()
    one.command(5_000)
    one.w[at.WATCH_WAIT_US + one.vane] += 1
    for _ in range(one.wait_us // DT_US + 2):
        one.see(0)
    assert one.told() == (1, 0, 0)
    one.see(0)
    assert one.told() == (1, 0, 1)


@pytest.mark.parametrize("way", WAYS)
def test_time_without_a_reading_counts_and_puts_the_end_off(one: Watched, way: int) -> None:
    """Three cycles of it bring none, which is 20 ms without a reading."""
    stands = -way * 2_000
    one.follow()
    one.command(-stands)
    one.see(stands)
    one.see(stands + way * NOISE)
    for _ in range(3):
        one.see()
    for _ in range(one.wait_us // DT_US - 1):
        one.see(stands)
        assert one.told() == (1, 0, 0)
    one.see(stands)
    assert one.told() == (1, 0, 1)


def test_where_there_is_nothing_to_wait_for_the_first_reading_declares(one: Watched) -> None:
    one.follow()
    one.command(5_000)
    one.w[at.WATCH_WAIT_US + one.vane] = 0
    one.see(0)
    assert one.told() == (1, 0, 1)


def test_a_silence_of_an_earlier_wait_does_not_put_off_this_one(one: Watched) -> None:
    one.follow()
    one.command(5_000)
    for reading in (0, at.NO_READING, at.NO_READING, 0):
        one.see(reading)
    one.command(0)
    one.see(0)
    one.command(5_000)
    one.waits()


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize(("moved", "declared"), [(0, 1), (1, 0)])
def test_a_vane_that_moves_by_more_than_noise_begins_its_wait_anew(
    one: Watched, way: int, moved: int, declared: int
) -> None:
    one.follow()
    one.command(way * 5_000)
    for _ in range(one.wait_us // DT_US + 1):
        one.see(0)
    one.see(way * (NOISE + moved))
    assert one.told() == (1, 0, declared)
    for _ in range(one.wait_us // DT_US):
        one.see(way * (NOISE + moved))
        assert one.told() == (1, 0, declared)
    one.see(way * (NOISE + moved))
    assert one.told() == (1, 0, 1)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("reads", [0, 1])
@pytest.mark.parametrize("past", [0, 1])  # the command comes as near as the band, or past it
def test_a_command_that_does_not_stay_on_one_side_begins_the_wait_anew(
    one: Watched, way: int, past: int, reads: int
) -> None:
    """Whether or not a reading comes just then."""
    one.follow()
    one.command(way * 5_000)
    for _ in range(one.wait_us // DT_US + 1):
        one.see(0)
    one.command(-way * 5_000 if past else way * one.band)
    one.see(0 if reads else at.NO_READING)
    one.command(way * 5_000)
    one.waits()


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("between", ["a long silence", "off and on"])
def test_the_wait_begins_anew_for_a_sensor_that_was_not_watched_meanwhile(
    one: Watched, way: int, between: str
) -> None:
    """A check on the ground tells it to be sound again."""
    one.follow()
    one.command(way * 5_000)
    for _ in range(one.wait_us // DT_US + 1):
        one.see(0)
    if between == "off and on":
        commands.watch(one.w, 0)
        commands.watch(one.w, 1)
    else:
        one.see(dt_us=SILENCE_US + 1)
    commands.trust(one.w, one.bit)
    one.waits(found=(1, int(between == "a long silence"), 1))


def test_a_vane_whose_sensor_is_not_believed_is_not_declared_but_its_sensor_out(
    one: Watched,
) -> None:
    one.command(5_000)
    one.waits(found=(0, 1, 0))
    assert (one.w[at.JAMMED], one.w[at.WATCH_FOUND]) == (0, 0)


@pytest.mark.parametrize("way", WAYS)
def test_such_a_sensor_waits_anew_too_once_its_command_is_as_near_as_the_band(
    one: Watched, way: int
) -> None:
    one.command(0)
    one.see(0)
    for _ in range(2):
        one.command(way * 5_000)
        for _ in range(one.wait_us // DT_US + 1):
            one.see(0)
        one.command(way * one.band)
        for _ in range(100):
            one.see(0)
        assert one.told() == (0, 0, 0)
    one.command(way * 5_000)
    one.waits(found=(0, 1, 0))


def test_jams_are_counted_up_to_an_end(one: Watched) -> None:
    one.w[at.WATCH_FOUND] = at.LAST_US - 1
    for _ in range(2):
        one.jam(0, 1)
        commands.free(one.w, one.vane)
        assert one.w[at.WATCH_FOUND] == at.LAST_US


# ---- which are freed -----------------------------------------------------------------------------


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("stands", [0, 200])
@pytest.mark.parametrize(("beyond", "declared"), [(0, 1), (1, 0)])
def test_a_declared_vane_is_free_once_it_has_moved_by_more_than_noise_and_play(
    one: Watched, way: int, stands: int, beyond: int, declared: int
) -> None:
    one.jam(stands, 1)
    one.see(stands + way * (FREES + beyond))
    assert one.told() == (1, 0, declared)
    assert one.w[at.JAMMED] == one.bit * declared
    travel = one.w[at.TRAVEL_LO + one.vane], one.w[at.TRAVEL_HI + one.vane]
    limits = one.w[at.LIMIT_LO + one.vane], one.w[at.LIMIT_HI + one.vane]
    assert limits == ((stands, stands) if declared else travel)


@pytest.mark.parametrize("how", ["jam", "free", "watch"])
def test_what_the_caller_says_of_a_vane_goes_before_what_the_watch_declared(
    one: Watched, how: str
) -> None:
    one.jam(0, 1)
    if how == "watch":
        commands.watch(one.w, 0)
    elif how == "free":
        commands.free(one.w, one.vane)
    else:
        commands.jam(one.w, one.vane, 3_000)
    assert one.told()[2] == 0
    assert one.w[at.JAMMED] == (one.bit if how == "jam" else 0)


def test_a_sensor_that_is_out_frees_no_vane(one: Watched) -> None:
    one.jam(0, 1)
    one.see(9_000)
    one.see(9_000)
    assert one.told() == (0, 1, 1)


def test_a_sensor_of_a_declared_vane_is_believed_again_once_it_came_back(one: Watched) -> None:
    one.jam(0, 1)
    one.see(9_000)
    one.see(0, 50_000)
    assert one.told() == (1, 0, 1)


def test_a_declared_vane_stays_so_while_nothing_is_read(one: Watched) -> None:
    one.jam(0, 1)
    one.see(dt_us=SILENCE_US)
    assert one.told() == (1, 0, 1)
    one.see(dt_us=1)
    assert one.told() == (0, 1, 1)


def test_a_watch_that_is_off_takes_no_reading(one: Watched) -> None:
    commands.watch(one.w, 0)
    commands.sensed(one.w, 1, 2, 3, 4)
    seen = list(one.w)
    jam_watch.look(one.w, DT_US)
    assert list(one.w) == seen
