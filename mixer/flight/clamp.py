"""A number held between two ends."""


def clamp(x, lo, hi):
    """x, or the end that it lies beyond; lo ≤ hi."""
    return lo if x < lo else hi if x > hi else x
