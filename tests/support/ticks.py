"""The interpreter's ticks, moved by hand: they wrap as a board's do."""

SMALL_WRAP, LARGE_WRAP = 2**30, 2**32  # µs: of the ticks of most boards, and of a 32-bit counter


class Ticks:
    """Microseconds since something, as `time.ticks_us` tells them."""

    def __init__(self, now_us: int, wrap_us: int):
        self.now_us = now_us
        self.wrap_us = wrap_us
        self.wraps = 0

    def __call__(self) -> int:
        return self.now_us

    def advance(self, us: int) -> None:
        self.now_us += us
        if self.now_us >= self.wrap_us:
            self.now_us -= self.wrap_us
            self.wraps += 1
