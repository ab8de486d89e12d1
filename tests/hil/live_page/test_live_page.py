"""The live page: for reading alone, on this machine alone, and never in the way of the run."""

import contextlib
import http.client
import json
import os
import re
import shutil
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from click.testing import CliRunner

import hil.live_page.serve
from hil.bench.open_bench import bench_board
from hil.bench_sessions.paged_port import PagedPort
from hil.commands.bench import bench
from hil.commands.stand import stand
from hil.emulated_servos.faults import emulated_servo
from hil.live_page.live_state import SAMPLES_MOST, LiveState
from hil.live_page.serve import NoPage, live_page
from mixer.ground.command_line.fourvane import fourvane
from tests.support.vehicles import vehicle, vehicle_file

TRAVEL = [[-15.0, 15.0]] * 4
CAUTION = "fingers and tools out of the linkage"


@pytest.fixture(autouse=True)
def ends_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hil.live_page.serve, "LINGER_S", 0.0)
    monkeypatch.setattr(hil.live_page.serve, "TURN_S", 0.01)


@contextmanager
def served() -> Iterator[tuple[LiveState, str]]:
    """A page, and its address."""
    said: list[str] = []
    with live_page(True, "A <run>", [CAUTION], TRAVEL, said.append) as page:
        assert isinstance(page, LiveState)
        yield page, said[0].split()[-1]


def asked(
    address: str, path: str = "", method: str = "GET", host: str | None = None
) -> tuple[int, str, http.client.HTTPMessage]:
    """Status, text and headers of one request below the page's address, or at `/…`."""
    parts = urlsplit(address)
    line = http.client.HTTPConnection(parts.hostname or "", parts.port or 0, timeout=5)
    try:
        headers = {} if host is None else {"Host": host}
        line.request(method, path if path.startswith("/") else parts.path + path, headers=headers)
        answer = line.getresponse()
        return answer.status, answer.read().decode(), answer.headers
    finally:
        line.close()


def test_it_listens_on_this_machine_alone_at_a_long_random_address() -> None:
    with served() as (_, one), served() as (_, other):
        assert urlsplit(one).hostname == "127.0.0.1"
        assert urlsplit(one).path != urlsplit(other).path
        assert len(urlsplit(one).path) > 32  # 24 random bytes


@pytest.mark.parametrize("path", ["/", "/now", "/wrong-token/", "/wrong-token/now", "/%ff/", "//"])
def test_without_the_token_nothing_is_told(path: str) -> None:
    with served() as (_, address):
        assert asked(address, path)[0] == 404


@pytest.mark.parametrize(
    "path", ["x", "../page.py", "serve.py", "%2e%2e/serve.py", "uPlot.LICENSE"]
)
def test_nothing_else_of_the_package_is_served(path: str) -> None:
    with served() as (_, address):
        assert asked(address, path)[0] == 404


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "OPTIONS"])
def test_it_is_for_reading_alone(method: str) -> None:
    with served() as (_, address):
        assert asked(address, "now", method)[0] == 405


def test_a_name_that_was_made_to_point_here_is_refused() -> None:
    with served() as (_, address):
        assert asked(address, "now", host="elsewhere.example:80")[0] == 404
        assert asked(address, "now", host=f"localhost:{urlsplit(address).port}")[0] == 200


def test_what_was_told_is_shown_each_sample_once() -> None:
    with served() as (page, address):
        page.say("servo 2, sweep", 3, 80)
        page.vanes([1.0, 2.0, 3.0, float("nan")], [None, 2.5, None, None])
        first = json.loads(asked(address, "now?since=0")[1])
        assert (first["stage"], first["done"], first["total"]) == ("servo 2, sweep", 3, 80)
        assert first["commanded_deg"] == [1.0, 2.0, 3.0, None]
        assert first["samples"][0][1:] == [1.0, 2.0, 3.0, None, None, 2.5, None, None]
        again = json.loads(asked(address, f"now?since={first['next']}")[1])
        assert again["samples"] == []


@pytest.mark.parametrize("since", ["-1", "x", "9" * 40, ""])
def test_a_senseless_count_is_taken_as_none(since: str) -> None:
    with served() as (page, address):
        page.vanes([0.0] * 4)
        status, text, _ = asked(address, f"now?since={since}")
        assert status == 200
        assert len(json.loads(text)["samples"]) == 1


def test_nothing_is_fetched_from_elsewhere() -> None:
    """The browser is told so, and no file of the page names another host but its maker's."""
    with served() as (_, address):
        assert "default-src 'self'" in asked(address)[2]["Content-Security-Policy"]
    for path in Path(hil.live_page.__file__).parent.glob("page.*"):
        hosts = re.findall(r"https?://[^\"'\s]+", path.read_text())
        assert set(hosts) <= {"http://www.w3.org/2000/svg"}, path  # a name, nothing is fetched


def test_a_long_run_keeps_the_last_samples_alone() -> None:
    state = LiveState("", [], TRAVEL)
    for k in range(SAMPLES_MOST + 10):
        state.vanes([float(k % 9)] * 4)
    told = state.since(0)
    assert (len(told["samples"]), told["next"]) == (SAMPLES_MOST, SAMPLES_MOST + 10)


def test_what_remains_is_told_by_the_pace_so_far(monkeypatch: pytest.MonkeyPatch) -> None:
    now_s = 100.0
    monkeypatch.setattr(time, "monotonic", lambda: now_s)
    state = LiveState("", [], TRAVEL)
    state.say("sweep", 0, 50)
    now_s = 120.0
    state.say("sweep", 10)
    assert state.since(0)["left_s"] == 80.0


def test_readers_that_hang_or_are_many_do_not_hold_the_run() -> None:
    with served() as (page, address):
        parts = urlsplit(address)
        hanging = [http.client.HTTPConnection("127.0.0.1", parts.port or 0) for _ in range(40)]
        for line in hanging:
            line.connect()
            line.send(b"GET /half a requ")
        began_s = time.perf_counter()
        for k in range(2000):
            page.say("on", k, 2000)
            page.vanes([1.0] * 4)
        assert time.perf_counter() - began_s < 2.0
        for line in hanging:
            line.close()


def test_a_page_that_cannot_be_served_leaves_the_run_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    import waitress.server

    def full(*_: object, **__: object) -> None:
        raise OSError(24, "Too many open files")

    monkeypatch.setattr(waitress.server, "create_server", full)
    said: list[str] = []
    with live_page(True, "", [], TRAVEL, said.append) as page:
        page.say("on", 1, 2)
        page.vanes([0.0] * 4)
    assert said == ["no live page: Too many open files; the run goes on without it"]


def test_a_fault_of_the_run_passes_through_and_the_page_ends() -> None:
    before = threading.active_count()
    with pytest.raises(RuntimeError, match="the run's own"), served() as (_, address):
        raise RuntimeError("the run's own")
    with pytest.raises(OSError):
        asked(address)
    for _ in range(200):
        if threading.active_count() <= before:
            return
        time.sleep(0.01)
    pytest.fail("the page's threads stay")


def test_an_open_page_hears_that_the_run_is_over(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hil.live_page.serve, "LINGER_S", 0.5)
    heard: list[bool] = []

    def look(address: str) -> None:
        with contextlib.suppress(OSError, http.client.HTTPException):
            while True:
                heard.append(json.loads(asked(address, "now")[1])["ended"])

    with served() as (_, address):
        looker = threading.Thread(target=look, args=(address,))
        looker.start()
        while not heard:
            time.sleep(0.01)
    looker.join()
    assert not heard[0] and heard[-1]


def test_without_being_asked_for_nothing_is_served() -> None:
    said: list[str] = []
    with live_page(False, "", [], TRAVEL, said.append) as page:
        assert isinstance(page, NoPage)
    assert said == []


def test_the_bench_reads_the_same_with_a_page_and_the_page_sees_it() -> None:
    told = vehicle()
    state = LiveState("", [], TRAVEL)
    readings = []
    for page in (NoPage(), state):
        servos = [emulated_servo(n, None, 1500.0, 10.0) for n in range(1, 5)]
        with bench_board("none", told, servos=servos) as port:
            paged = PagedPort(port, page, told)
            paged.move(2, 1550.0)
            paged.wait(0.5)
            readings.append(paged.read(2))
    assert readings[0] == readings[1]
    shown = state.since(0)
    assert shown["commanded_deg"] == [None, 5.0, None, None]
    assert shown["sensed_deg"][1] == round(readings[1].angle_deg or 0.0, 3)
    assert len(shown["samples"]) == 2


def test_the_bench_prints_the_address_of_its_page(tmp_path: Path) -> None:
    group = type(fourvane)("fourvane", commands={"bench": bench})
    words = ("bench", "hold", "--servo", "2", "--load-nm", "0.3", "--settle-s", "0.05", "--page")
    done = CliRunner().invoke(group, [*words, "--out-dir", str(tmp_path / "out")])
    assert "live page, on this machine alone: http://127.0.0.1:" in done.stderr, done.output
    assert done.exit_code == 0


def test_the_stand_prints_the_address_of_its_page(tmp_path: Path) -> None:
    programme = tmp_path / "short.csv"
    programme.write_text(
        "time_s,vane1_deg,vane2_deg,vane3_deg,vane4_deg\n0,0,0,0,0\n0.2,5,-5,0,5\n0.6,0,0,0,0\n"
    )
    group = type(fourvane)("fourvane", commands={"stand": stand})
    file = vehicle_file(tmp_path, control={"rate_hz": 25})
    words = ["stand", "play", str(programme), "--vehicle", str(file), "--page"]
    done = CliRunner().invoke(group, [*words, "--out-dir", str(tmp_path / "out")])
    assert "live page, on this machine alone: http://127.0.0.1:" in done.stderr, done.output
    assert done.exit_code == 0


@pytest.fixture
def browser() -> str:
    """A headless Chromium; in CI it may not be missing."""
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        if os.environ.get("CI"):
            pytest.fail("no chromium: .ci/board-tools installs it")
        pytest.skip("no chromium on this machine")
    return found


def test_a_browser_shows_state_vanes_and_caution(browser: str, tmp_path: Path) -> None:
    with served() as (page, address):
        page.say("servo 2, sweep", 3, 80)
        for k in range(20):
            page.vanes([-3.0, 4.5, 0.0, 0.1 * k], [None, 4.0, None, None])
        done = subprocess.run(
            [browser, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path}",
             "--virtual-time-budget=3000", "--dump-dom", address],
            capture_output=True, text=True, timeout=60, check=True,
        )  # fmt: skip
    shown = done.stdout
    assert "<title>A &lt;run&gt;</title>" in shown
    assert f"CAUTION: {CAUTION}" in shown
    assert re.search(r'id="stage">servo 2, sweep<', shown)
    assert "3 of 80" in shown and ">live<" in shown
    assert re.search(r'id="sensed2"[^>]*transform="rotate\(4\)"', shown)
    assert re.search(r'id="led1"[^>]*transform="rotate\(-3\)"', shown)
    assert re.search(r'id="sensed1"[^>]*visibility="hidden"', shown)
    assert "vane 2: +4.0°" in shown
    assert shown.count("<canvas") == 2
