"""Lines, clocks and meters of the different boards; `wiring` names which one a board has.

A line gives `receive(chunk)`, how many bytes it has put in, at once, and `send(data, count)`.
A clock gives `now()`, `between(then, now)` and `since(then)` in µs. A meter gives `now()` and
`since(then)` in its own unit.
"""

import sys

from firmware_port import protocol as p
from firmware_port.registers import uart_receive, uart_send

PATIENCE = 64  # looks at an empty register line before other work is done


class RegisterLine:
    """A UART read and written by its registers."""

    def __init__(self, address):
        self._registers = address

    def receive(self, chunk):
        return uart_receive(self._registers, chunk, len(chunk), PATIENCE)

    def send(self, data, count):
        uart_send(self._registers, data, count)


class UartLine:
    """A `machine.UART`."""

    def __init__(self, uart):
        self._uart = uart

    def receive(self, chunk):
        waiting = self._uart.any()
        if not waiting:
            return 0
        return self._uart.readinto(chunk, min(waiting, len(chunk))) or 0

    def send(self, data, count):
        self._uart.write(data, count)


class ConsoleLine:
    """The line that also carries the interpreter's prompt: USB, or a terminal.

    wait_ms: how long a look at an empty line may take, where nothing else is to be done.
    """

    def __init__(self, wait_ms=0):
        import select

        self._wait_ms = wait_ms
        self._in = sys.stdin.buffer
        self._out = sys.stdout.buffer
        self._poll = select.poll()
        self._poll.register(sys.stdin, select.POLLIN)
        self._one = bytearray(1)

    def receive(self, chunk):
        count = 0
        if self._arrived(self._wait_ms):
            while count < len(chunk) and self.receive_one(self._one):
                byte = self._one[0]
                chunk[count] = byte
                count += 1
                if byte == 0:
                    break
        return count

    def receive_one(self, one):
        """One byte, at once, where one has come; how many that is."""
        if self._arrived(0):
            return self._in.readinto(one, 1)
        return 0

    def _arrived(self, wait_ms):
        for _ in self._poll.ipoll(wait_ms):
            return True
        return False

    def send(self, data, count):
        self._out.write(data, count)


class TicksClock:
    """The interpreter's microseconds, which wrap at 2³⁰ or a multiple of it: only differences mean
    anything. They are never negative, so that a gap of more than half of that (9 minutes) is not
    taken for a time yet to come.
    """

    WRAP = 0x3FFFFFFF

    def __init__(self):
        import time

        self.now = time.ticks_us

    def between(self, then, now):
        return (now - then) & self.WRAP

    def since(self, then):
        return (self.now() - then) & self.WRAP


class TimerClock:
    """An Arm CMSDK timer that counts down; on the emulated board with counted instructions exact.

    Kept below 2³⁰ so that readings stay small integers. CTRL +0, VALUE +4, RELOAD +8.
    """

    RELOAD = 0x3FFFFFFF

    def __init__(self, address, per_us):
        import machine

        self.words = machine.mem32
        self.value = address + 4
        self._per_us = per_us
        machine.mem32[address + 8] = self.RELOAD
        machine.mem32[address] = 1

    def now(self):
        return self.words[self.value]

    def between(self, then, now):
        return ((then - now) & self.RELOAD) // self._per_us

    def since(self, then):
        return self.between(then, self.now())


class InstructionMeter:
    """Instructions, where the emulator makes each last `ns_per_instruction`; its own cost is taken
    off. The clock's timer is read directly, so that little is in between."""

    def __init__(self, clock, ns_per_tick, ns_per_instruction):
        self._words = clock.words
        self._value = clock.value
        self._tick = ns_per_tick
        self._half = ns_per_instruction // 2
        self._instruction = ns_per_instruction
        self._idle = 0
        idle = 0
        for _ in range(3):  # the last one counts: the first is dearer
            then = self.now()
            idle = self.since(then)
        self._idle = idle

    def now(self):
        return self._words[self._value]

    def since(self, then):
        ticks = (then - self._words[self._value]) & TimerClock.RELOAD
        return (ticks * self._tick + self._half) // self._instruction - self._idle


EASED_MS = 8000  # as long as RP2's lasts
FED_MS = 1000


class Watchdog:
    """A `machine.WDT` from the first armed cycle on: it cannot be stopped, and would reset a board
    that is only being deployed to or looked at."""

    def __init__(self, timeout_ms):
        self._timeout_ms = timeout_ms
        self._timer = None

    def feed(self, armed=False):
        if self._timer is None:
            if not armed:
                return
            import machine

            self._timer = machine.WDT(timeout=self._timeout_ms)
        self._timer.feed()

    @property
    def runs(self):
        """Whether it would bite: from the first arming to the next reset."""
        return self._timer is not None

    def ease(self):
        """The node has ended in order, its pulses too: leave the board to who is at its prompt.

        It waits as long as it can and a timer feeds it, which has to outlive the node's files.
        """
        if self._timer is None:
            return
        import machine

        import __main__  # pyright: ignore[reportMissingImports]

        timer = machine.WDT(timeout=EASED_MS)
        timer.feed()
        __main__.fourvane_fed = machine.Timer(
            -1, mode=machine.Timer.PERIODIC, period=FED_MS, callback=lambda _: timer.feed()
        )


def shares_the_prompt(wiring):
    """Whether the flight computer's line is the one that carries the prompt."""
    return wiring.LINK[0] != "uart"


def open_console(wiring, wait_ms=0):
    """The prompt's line; wait_ms: see `ConsoleLine`."""
    if wiring.LINK[0] == "registers":
        return RegisterLine(wiring.LINK[1])
    return ConsoleLine(wait_ms)


def open_line(wiring):
    """The line that the flight computer is wired to."""
    if shares_the_prompt(wiring):
        return open_console(wiring)
    import machine

    _, number, transmit, receive, baud = wiring.LINK
    if transmit is None:
        return UartLine(machine.UART(number, baud, timeout=0, rxbuf=256))
    tx = machine.Pin(transmit)
    rx = machine.Pin(receive)
    return UartLine(machine.UART(number, baud, tx=tx, rx=rx, timeout=0, rxbuf=256))


def open_clock(wiring):
    """Clock, meter, and the unit the meter counts in."""
    if wiring.TIMER is None:
        clock = TicksClock()
        return clock, clock, p.MICROSECONDS
    address, ticks_per_us, ns_per_tick, ns_per_instruction = wiring.TIMER
    clock = TimerClock(address, ticks_per_us)
    return clock, InstructionMeter(clock, ns_per_tick, ns_per_instruction), p.INSTRUCTIONS
