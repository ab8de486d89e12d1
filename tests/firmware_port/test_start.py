"""Nodes put together from a wiring, on stand-ins for what a board's interpreter has of its own."""

import gc
import importlib
import sys
import time
import types
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from firmware_port import protocol as p
from firmware_port.boards import emulated, rp2, stm32, unix
from firmware_port.stand import protocol as s
from hil.node.node_link import demand_contents, numbers, parse_answer, read_numbers, wire_frame
from mixer.ground.tables.build import flight_tables
from tests.support.stand_nodes import knots
from tests.support.strict_machine import strict_machine
from tests.support.vehicles import vehicle

TABLES = flight_tables(vehicle())
BLOB = TABLES.to_bytes()
MODULES = ("hardware", "serving", "start", "bench.start", "stand.start", "outputs")
DEMAND = demand_contents(200_000, 0, 0, 2_000_000)


class Line:
    """Bytes to a node as they come, and from it as they go."""

    def __init__(self, *arrive: bytes):
        self.arrive = bytearray(b"".join(arrive))
        self.sent = bytearray()

    @property
    def answers(self) -> list:
        return [parse_answer(frame) for frame in bytes(self.sent).split(b"\0") if frame]


class Interpreter:
    """What a board's interpreter has: its modules, the prompt's line, Ctrl-C, ticks."""

    def __init__(self, patch: pytest.MonkeyPatch, board):
        self.prompt = Line()
        self.uart = Line()
        self.ctrl_c: list[int] = []
        self.locks: list[bool] = []
        self.waits_ms: list[int] = []  # each time that somebody asked whether bytes have come
        self.timers: list[Any] = []
        self.uart_options: list[tuple] = []
        self.now_us = 0
        self.board = board
        machine = sys.modules["machine"]
        machine.UART = self._uart_class()  # type: ignore[attr-defined]
        machine.Timer = self._timer_class()  # type: ignore[attr-defined]
        machine.mem32 = Memory()  # type: ignore[attr-defined]
        micropython = types.SimpleNamespace(
            kbd_intr=self.ctrl_c.append,
            heap_lock=lambda: self.locks.append(True),
            heap_unlock=lambda: self.locks.append(False),
        )
        patch.setitem(sys.modules, "micropython", micropython)
        patch.setitem(sys.modules, "select", self._select())
        stdin, stdout = (types.SimpleNamespace(buffer=end(self.prompt)) for end in (Reader, Writer))
        for name in MODULES:
            patch.delitem(sys.modules, f"firmware_port.{name}", raising=False)
        hardware = importlib.import_module("firmware_port.hardware")
        patch.setattr(hardware, "sys", types.SimpleNamespace(stdin=stdin, stdout=stdout))
        patch.setattr(time, "ticks_us", self._ticks, raising=False)
        patch.setattr(gc, "mem_alloc", lambda: 7, raising=False)

    def _ticks(self) -> int:
        self.now_us += 300
        return self.now_us

    def _uart_class(self) -> type:
        here = self

        class UART:
            def __init__(self, *where: Any, **options: Any):
                here.uart_options.append((where, options))

            def any(self) -> int:
                return len(here.uart.arrive)

            def readinto(self, chunk: bytearray, count: int) -> int:
                return Reader(here.uart).readinto(chunk, count)

            def write(self, data: bytes, count: int) -> None:
                Writer(here.uart).write(data, count)

        return UART

    def _timer_class(self) -> type:
        here = self

        class Timer:
            PERIODIC = 1

            def __init__(self, number: int, *, mode: int, period: int, callback: Callable):
                assert (number, mode) == (-1, Timer.PERIODIC)
                here.timers.append((period, callback))

        return Timer

    def _select(self) -> types.SimpleNamespace:
        here = self

        class Poll:
            def register(self, stream: object, what: int) -> None:
                assert what == 1

            def ipoll(self, timeout_ms: int) -> list:
                here.waits_ms.append(timeout_ms)
                return [1] if here.prompt.arrive else []

        return types.SimpleNamespace(poll=Poll, POLLIN=1)


class Reader:
    def __init__(self, line: Line):
        self._line = line

    def readinto(self, chunk: bytearray, count: int) -> int:
        taken = self._line.arrive[:count]
        chunk[: len(taken)] = taken
        del self._line.arrive[:count]
        return len(taken)


class Writer:
    def __init__(self, line: Line):
        self._line = line

    def write(self, data: bytes, count: int) -> None:
        self._line.sent += data[:count]


class Memory(dict):
    """Registers of the emulated board: a timer that counts down, and a UART with nothing to wait
    for."""

    def __getitem__(self, address: int) -> int:
        value = self.get(address, 0x3FFFFFFF)
        self[address] = (value - 2500) & 0x3FFFFFFF
        return value


@pytest.fixture
def interpreter(monkeypatch: pytest.MonkeyPatch) -> Iterator[Interpreter]:
    with strict_machine() as board:
        yield Interpreter(monkeypatch, board)
        for name in MODULES:
            monkeypatch.delitem(sys.modules, f"firmware_port.{name}", raising=False)


def loading() -> bytes:
    """The frames that load TABLES, numbers 1 and up."""
    from zlib import crc32

    crc = crc32(BLOB)
    frames = [wire_frame(p.TABLES_BEGIN, 1, numbers((len(BLOB), crc >> 16, crc & 0xFFFF)))]
    for start in range(0, len(BLOB), p.PIECE):
        contents = numbers((start,)) + BLOB[start : start + p.PIECE]
        frames.append(wire_frame(p.TABLES_PIECE, 2, contents))
    return b"".join(frames)


def frames(*kinds: int) -> bytes:
    return b"".join(wire_frame(kind, 500 + i) for i, kind in enumerate(kinds))


def wired(wiring, folder: Path, **changes: Any) -> types.SimpleNamespace:
    """A board's wiring with its tables in a folder."""
    names = {name: getattr(wiring, name) for name in vars(wiring) if name.isupper()}
    if names["TABLES"]:
        names["TABLES"] = str(folder / "tables.bin")
    return types.SimpleNamespace(**{**names, **changes})


def start(name: str = "start"):
    return importlib.import_module(f"firmware_port.{name}")


# ---- fly -----------------------------------------------------------------------------------------


def test_only_a_wiring_with_angle_sensors_loads_their_code(
    interpreter: Interpreter, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delitem(sys.modules, "firmware_port.vane_angles", raising=False)
    assert start().open_vane_angles(types.SimpleNamespace(VANE_ANGLES=None)) is None
    assert "firmware_port.vane_angles" not in sys.modules
    opened = types.SimpleNamespace(open_angles=lambda wiring: wiring.VANE_ANGLES)
    monkeypatch.setitem(sys.modules, "firmware_port.vane_angles", opened)
    assert start().open_vane_angles(types.SimpleNamespace(VANE_ANGLES=("adc",))) == ("adc",)


def test_a_node_that_flies_over_its_prompt_s_line_waits_for_no_byte(
    interpreter: Interpreter, tmp_path: Path
) -> None:
    interpreter.prompt.arrive += b"\0" + frames(p.STOP)
    start().fly(wired(unix, tmp_path))
    assert set(interpreter.waits_ms) == {0}


def test_a_node_flies_from_stored_tables_over_the_uart_of_its_wiring(
    interpreter: Interpreter, tmp_path: Path
) -> None:
    (tmp_path / "tables.bin").write_bytes(BLOB)
    interpreter.uart.arrive += frames(p.IDENTIFY, p.FORCES, p.STOP)
    start().fly(wired(rp2, tmp_path))
    assert interpreter.uart.sent.startswith(b"\0")
    kinds = [answer.kind for answer in interpreter.uart.answers]
    assert kinds == [p.IDENTIFY, p.FORCES, p.STOP]
    assert interpreter.uart.answers[0].contents[12:] == rp2.NAME.encode()
    (where, options) = interpreter.uart_options[0]
    assert where == (0, 921_600)
    assert (options["tx"].number, options["rx"].number) == (0, 1)
    assert interpreter.ctrl_c == [-1, 3]
    assert interpreter.timers == []  # it was never armed: no watchdog runs


def test_a_board_s_own_pins_are_taken_where_its_wiring_names_none(
    interpreter: Interpreter, tmp_path: Path
) -> None:
    interpreter.uart.arrive += frames(p.STOP)
    start().fly(wired(stm32, tmp_path, VANE_PINS=(2, 4, 6, 8)))
    assert interpreter.uart_options == [((1, 921_600), {"timeout": 0, "rxbuf": 256})]


def test_a_console_ends_a_safe_node_and_leaves_the_rest_of_its_bytes_to_the_prompt(
    interpreter: Interpreter, tmp_path: Path
) -> None:
    (tmp_path / "tables.bin").write_bytes(BLOB)
    interpreter.prompt.arrive += b"\r\x03\x03\r\x01"
    start().fly(wired(rp2, tmp_path))
    assert interpreter.prompt.arrive == b"\x03\r\x01"
    assert set(interpreter.waits_ms) == {0}
    assert interpreter.board.not_low == set()


def test_a_flood_at_the_console_costs_a_cycle_sixteen_bytes_and_ends_nothing(
    interpreter: Interpreter,
) -> None:
    console = start("serving").Console()
    interpreter.prompt.arrive += b"x" * 20 + b"\x03"
    assert not console.asks_to_end()
    assert len(interpreter.prompt.arrive) == 5
    assert console.asks_to_end()
    assert not console.asks_to_end()


def test_an_armed_node_s_watchdog_is_eased_and_fed_after_its_orderly_end(
    interpreter: Interpreter, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "tables.bin").write_bytes(BLOB)
    main = types.SimpleNamespace()
    monkeypatch.setitem(sys.modules, "__main__", main)
    started: list[int] = []
    made = sys.modules["machine"].WDT  # type: ignore[attr-defined]

    class WDT(made):
        def __init__(self, *, timeout: int):
            started.append(timeout)
            super().__init__(timeout=timeout)

    monkeypatch.setattr(sys.modules["machine"], "WDT", WDT)
    node_module = importlib.import_module("firmware_port.node")
    run = node_module.Node.run

    def armed_once(node) -> None:
        node.control.become(p.ARMED)
        node.cycle(5000)
        node.control.become(p.SAFE)
        run(node)

    monkeypatch.setattr(node_module.Node, "run", armed_once)
    interpreter.uart.arrive += frames(p.STOP)
    start().fly(wired(rp2, tmp_path))
    hardware = start("hardware")
    assert started == [rp2.WATCHDOG_MS, hardware.EASED_MS]
    ((period_ms, feed),) = interpreter.timers
    assert period_ms < hardware.EASED_MS / 4
    fed = interpreter.board.fed
    feed(None)
    assert interpreter.board.fed == fed + 1
    assert main.fourvane_fed is not None  # outlives the node's files


def test_a_node_without_a_watchdog_serves_over_the_prompt_s_own_line(
    interpreter: Interpreter, tmp_path: Path
) -> None:
    interpreter.prompt.arrive += frames(p.IDENTIFY, p.STOP)
    start().fly(wired(unix, tmp_path))
    assert [answer.kind for answer in interpreter.prompt.answers] == [p.IDENTIFY, p.STOP]


def test_an_interpreter_without_kbd_intr_serves_too(
    interpreter: Interpreter, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "micropython", types.SimpleNamespace())
    interpreter.prompt.arrive += frames(p.STOP)
    start().fly(wired(unix, tmp_path))
    assert interpreter.ctrl_c == []


def test_ctrl_c_is_off_before_the_node_is_built_and_on_again_if_it_cannot_be(
    interpreter: Interpreter,
) -> None:
    def make() -> None:
        assert interpreter.ctrl_c == [-1]
        raise OSError("no such pin")

    with pytest.raises(OSError):
        start("serving").serve(make, None)
    assert interpreter.ctrl_c == [-1, 3]


def test_the_emulated_board_flies_over_its_registers(interpreter: Interpreter, tmp_path) -> None:
    registers = start("registers")
    hardware = start("hardware")
    uart = Uart(frames(p.IDENTIFY) + frames(p.STOP))
    patched = lambda address, chunk, size, patience: registers.uart_receive(  # noqa: E731
        uart, chunk, size, patience
    )
    hardware.uart_receive = patched
    hardware.uart_send = lambda address, data, count: registers.uart_send(uart, data, count)
    start().fly(wired(emulated, tmp_path))
    answers = [parse_answer(frame) for frame in bytes(uart.sent).split(b"\0") if frame]
    assert [answer.kind for answer in answers if answer] == [p.IDENTIFY, p.STOP]
    assert answers[0] and answers[0].contents[0] == p.INSTRUCTIONS


class Uart:
    """The two registers of a CMSDK UART, which is now and then not ready."""

    def __init__(self, arrive: bytes):
        self.arrive = bytearray(arrive)
        self.sent = bytearray()
        self.looks = 0

    def __getitem__(self, register: int) -> int:
        if register == 0:
            return self.arrive.pop(0) | 0x100
        self.looks += 1
        return (2 if self.arrive and self.looks % 3 else 0) | (1 if self.looks % 2 else 0)

    def __setitem__(self, register: int, value: int) -> None:
        assert register == 0
        self.sent.append(value)


@pytest.mark.parametrize(("size", "first"), [(3, b"abc"), (10, b"abcd\0")])
def test_registers_give_bytes_up_to_a_zero_or_as_many_as_fit(size: int, first: bytes) -> None:
    from firmware_port.registers import uart_receive

    uart = Uart(b"abcd\0ef")
    chunk = bytearray(10)
    assert uart_receive(uart, chunk, size, 8) == len(first)
    assert chunk[: len(first)] == first


# ---- rehearsals, bench and stand -----------------------------------------------------------------


@pytest.mark.parametrize("heap", ["free", "locked", "counted"])
def test_a_rehearsal_runs_with_the_heap_free_locked_or_counted(
    interpreter: Interpreter, heap: str, capsys: pytest.CaptureFixture
) -> None:
    interpreter.prompt.arrive += loading() + frames(p.TABLES_COMMIT, p.ASK)
    module_ = start()
    answered = interpreter.prompt
    token: list[bytes] = []

    def feed() -> None:
        """Arm with the token once it is there, fly, disarm and stop."""
        asked = [a for a in answered.answers if a and a.kind == p.ASK]
        if asked and not token:
            token.append(asked[0].contents)
            answered.arrive += wire_frame(p.ARM, 600, token[0])
            answered.arrive += wire_frame(p.DEMAND, 601, DEMAND)
            answered.arrive += wire_frame(p.DISARM, 602, numbers((0,)))
            answered.arrive += wire_frame(p.DEMAND, 603, DEMAND)
            answered.arrive += wire_frame(p.STOP, 604)

    node_module = importlib.import_module("firmware_port.node")
    turn = node_module.Node.turn

    def turned(node) -> None:
        turn(node)
        feed()

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(node_module.Node, "turn", turned)
        module_.rehearse(wired(unix, Path()), heap)
    verdicts = {a.kind: p.VERDICT_NAMES[a.verdict] for a in answered.answers if a}
    assert verdicts[p.ARM] == verdicts[p.DISARM] == verdicts[p.STOP] == "taken"
    assert interpreter.locks[:2] == ([True, False] if heap == "locked" else [])
    assert capsys.readouterr().out == ("0 1\n" if heap == "counted" else "")
    assert gc.isenabled()


@pytest.mark.parametrize("name", ["bench", "rehearse_bench", "stand", "rehearse_stand"])
def test_bench_and_stand_serve_over_the_prompt_s_line(interpreter: Interpreter, name: str) -> None:
    interpreter.prompt.arrive += frames(p.IDENTIFY, p.STOP)
    wiring = wired(unix, Path(), TABLES=None)
    getattr(start(f"{name.removeprefix('rehearse_')}.start"), name)(wiring)
    assert [answer.kind for answer in interpreter.prompt.answers] == [p.IDENTIFY, p.STOP]
    assert interpreter.ctrl_c == [-1, 3]


SYNC_PIN, TRIGGER_PIN = 10, 11
RUN = 0x4000  # its sync output goes high with the first chip


def told_slowly(interpreter: Interpreter, patch: pytest.MonkeyPatch, *told: bytes) -> None:
    """A host that sends one frame after another, some cycles apart, and at last STOP for as long
    as the node turns."""
    node_module = importlib.import_module("firmware_port.node")
    turn = node_module.Node.turn
    waiting = list(told)
    turns = 0

    def turned(node) -> None:
        nonlocal turns
        turns += 1
        assert turns < 20_000, "the node never stops"
        if turns % 100 == 0:
            frame = waiting.pop(0) if waiting else wire_frame(p.STOP, 999)
            interpreter.prompt.arrive += frame
        turn(node)

    patch.setattr(node_module.Node, "turn", turned)


def play_begun(waits: int) -> list[bytes]:
    """The frames that load a short programme and start it, at once or by the wired input."""
    programme = knots((0, 0), (0.1, 5), (0.3, 0))
    crc = programme.crc
    begin = numbers((3, crc >> 16, crc & 0xFFFF, RUN))
    return [
        loading() + frames(p.TABLES_COMMIT),
        wire_frame(s.BEGIN, 700, begin),
        wire_frame(s.KNOTS, 701, numbers((0,)) + b"".join(programme.pieces)),
        wire_frame(s.GO, 702, numbers((RUN, waits))),
    ]


def verdicts(line: Line) -> dict[int, str]:
    return {answer.kind: p.VERDICT_NAMES[answer.verdict] for answer in line.answers if answer}


def test_the_stand_plays_on_the_wired_pins_and_leaves_the_tables_that_fly_alone(
    interpreter: Interpreter, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told_slowly(interpreter, monkeypatch, *play_begun(0))
    start("stand.start").stand(wired(rp2, tmp_path, STAND=(SYNC_PIN, None)))
    assert verdicts(interpreter.prompt)[s.GO] == "taken"
    calls = interpreter.board.calls
    widths = {call[2] for call in calls if call[:2] == ("pulse", rp2.VANE_PINS[0])}
    assert max(widths) > 1_500_000
    assert {call[2] for call in calls if call[:2] == ("level", SYNC_PIN)} == {0, 1}
    assert interpreter.board.not_low == set()  # no pulse goes on after it
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("level", [0, 1])
def test_the_stand_s_play_waits_for_the_wired_input(
    interpreter: Interpreter, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, level: int
) -> None:
    told_slowly(interpreter, monkeypatch, *play_begun(1))
    interpreter.board.levels[TRIGGER_PIN] = level
    start("stand.start").stand(wired(rp2, tmp_path, STAND=(None, TRIGGER_PIN)))
    assert verdicts(interpreter.prompt)[s.GO] == "taken"
    calls = interpreter.board.calls
    widths = {call[2] for call in calls if call[:2] == ("pulse", rp2.VANE_PINS[0])}
    assert (max(widths) > 1_500_000) == bool(level)


def test_the_stand_s_input_is_pulled_down_so_that_a_broken_wire_starts_nothing(
    interpreter: Interpreter,
) -> None:
    open_stand = start("stand.start").open_stand
    sync, trigger = open_stand(types.SimpleNamespace(STAND=(SYNC_PIN, TRIGGER_PIN)))
    machine = sys.modules["machine"]
    assert interpreter.board.pulls == {TRIGGER_PIN: machine.Pin.PULL_DOWN}  # type: ignore[attr-defined]
    assert trigger.value() == 0
    assert interpreter.board.calls == [("low", SYNC_PIN)]
    assert sync.number == SYNC_PIN


@pytest.mark.parametrize("names", [{}, {"STAND": None}, {"STAND": (None, None)}])
def test_a_wiring_without_stand_pins_opens_none(interpreter: Interpreter, names: dict) -> None:
    assert start("stand.start").open_stand(types.SimpleNamespace(**names)) == (None, None)
    assert interpreter.board.calls == []
    assert interpreter.board.pulls == {}


def test_the_stand_looks_at_the_supply_and_the_angles_of_its_wiring(
    interpreter: Interpreter, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    counts = {1: 1024, 2: 2048, 3: 3072, 4: 2048, 26: 2048}

    class ADC:
        def __init__(self, pin: Any):
            self._counts = counts[pin.number]

        def read_u16(self) -> int:
            return self._counts << 4

    monkeypatch.setattr(sys.modules["machine"], "ADC", ADC, raising=False)
    told = loading() + frames(p.TABLES_COMMIT)
    told_slowly(interpreter, monkeypatch, told, frames(s.LOOK))
    angles = ("adc", (1, 2, 3, 4), (2048,) * 4, (90_000,) * 4, 4)
    wiring = wired(rp2, tmp_path, STAND=None, SUPPLY=(26, 13_200), VANE_ANGLES=angles)
    start("stand.start").stand(wiring)
    (look,) = [a.contents for a in interpreter.prompt.answers if a and a.kind == s.LOOK]
    phase, supply_mv, *mdeg = read_numbers(look)
    assert (phase, supply_mv) == (s.EMPTY, pytest.approx(6600, abs=1))  # half of full scale
    assert mdeg == pytest.approx(
        [-22_500, 0, 22_500, 0], abs=5
    )  # a quarter of the range from neutral


def test_a_rehearsed_stand_takes_time_from_the_link_and_drives_no_pin(
    interpreter: Interpreter, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    passing = [wire_frame(p.PASS, 800 + i, numbers((5000,))) for i in range(20)]
    begun = play_begun(0)
    told = (begun[0], *passing[:3], *begun[1:], *passing[3:], frames(s.HALT), *passing[:9])
    told_slowly(interpreter, monkeypatch, *told)
    start("stand.start").rehearse_stand(wired(rp2, tmp_path))
    answered = verdicts(interpreter.prompt)
    assert (answered[s.GO], answered[p.PASS]) == ("taken", "taken")
    assert interpreter.board.calls == []


# ---- lines, clocks, meters -----------------------------------------------------------------------


def test_a_prompt_s_line_gives_bytes_up_to_a_zero_and_no_more_than_fit(
    interpreter: Interpreter,
) -> None:
    line = start("hardware").ConsoleLine()
    interpreter.prompt.arrive += b"ab\0cdefgh"
    chunk = bytearray(4)
    assert [line.receive(chunk) for _ in range(4)] == [3, 4, 2, 0]


@pytest.mark.parametrize("wait_ms", [0, 5])
def test_only_a_look_at_an_empty_line_takes_time_and_only_where_it_may(
    interpreter: Interpreter, wait_ms: int
) -> None:
    """0: of a node whose clock runs."""
    line = start("hardware").open_console(unix, wait_ms)
    assert line.receive(bytearray(4)) == 0
    assert interpreter.waits_ms == [wait_ms]
    interpreter.prompt.arrive += b"a"
    assert line.receive(bytearray(4)) == 1
    assert interpreter.waits_ms[2:] == [0, 0]
    assert line.receive_one(bytearray(1)) == 0
    assert interpreter.waits_ms[4:] == [0]


def test_a_timer_that_counts_down_tells_microseconds_and_instructions(
    interpreter: Interpreter,
) -> None:
    clock, meter, unit = start("hardware").open_clock(emulated)
    assert unit == p.INSTRUCTIONS
    then = clock.now()
    assert clock.between(then, then - 2500) == 100
    assert clock.between(5, (5 - 2500) & 0x3FFFFFFF) == 100  # through its reload
    assert clock.since(then) == 100
    began = meter.now()
    assert meter.since(began) == 0  # its own cost is taken off


def test_a_board_with_time_meters_in_microseconds(interpreter: Interpreter) -> None:
    clock, meter, unit = start("hardware").open_clock(unix)
    assert clock is meter
    assert unit == p.MICROSECONDS
    assert meter.since(meter.now()) == 300


def test_pulses_are_only_recorded_where_no_servo_is_wired(interpreter: Interpreter) -> None:
    pulses = start("outputs").open_pulses(unix)
    pulses.write([1, 2, 3, 4])
    assert pulses.pulse_ns == [1, 2, 3, 4]
    pulses.off()
    assert pulses.pulse_ns == [0, 0, 0, 0]


@pytest.mark.parametrize("folder", ["", "bench", "stand"])
def test_a_manifest_freezes_every_file_of_its_board(folder: str) -> None:
    from hil.boards.deploy import board_sources

    frozen: list[str] = []

    def package(name: str, files: tuple[str, ...], base_path: str) -> None:
        frozen.extend(f"{name}/{file}" for file in files)

    def freeze(path: Path) -> None:
        names = {"package": package, "include": lambda other: freeze(path.parent / other)}
        exec(compile(path.read_text(encoding="utf-8"), str(path), "exec"), names)

    freeze(Path(__file__).parents[2] / "firmware_port" / folder / "manifest.py")
    sources = board_sources(bench=folder == "bench", stand=folder == "stand")
    assert sorted(frozen) == sorted(sources)


def test_a_watchdog_runs_from_the_first_armed_cycle_on(interpreter: Interpreter) -> None:
    watchdog = start("hardware").Watchdog(100)
    watchdog.feed()
    assert not watchdog.runs
    watchdog.feed(True)
    assert watchdog.runs
    watchdog.feed()
    assert interpreter.board.fed == 2


def test_a_board_without_a_record_s_code_has_no_record(interpreter, monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "firmware_port.recorder", None)
    assert start("start")._recorder() is None
