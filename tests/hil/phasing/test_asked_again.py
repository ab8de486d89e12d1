"""What stays doubtful is asked for again: all of it, and not for ever."""

from hil.phasing.rehearsal import Rehearsal, Wrong
from hil.phasing.verdict import ROUNDS, examine
from tests.support.vehicles import vehicle


def test_one_doubtful_axis_has_every_motion_made_again() -> None:
    """With two axes swapped the motion that moves it is another axis's."""
    chosen = vehicle()
    rehearsal = Rehearsal(chosen, 1, Wrong())
    rehearsal._gain[0] *= 0.01
    found, held = examine(rehearsal.listener, rehearsal, rehearsal, chosen)
    assert found.axes[0].outcome == "too weak to tell"
    made = [each.motion.key for each in held]
    assert all(made.count(key) == ROUNDS for key in made) and len(set(made)) == 6
