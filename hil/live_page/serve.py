"""The page's server: this machine alone, a random token in its address, nothing but reading."""

import contextlib
import json
import logging
import secrets
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from html import escape
from pathlib import Path
from typing import Any, Protocol

from hil.live_page.live_state import Angles, LiveState

HERE = Path(__file__).parent
HOST = "127.0.0.1"
TOKEN_BYTES = 24
TURN_S = 0.1
LINGER_S = 0.6  # two questions of an open page
LONGEST_END_S = 1.0
ASSETS = {
    "": ("page.html", "text/html; charset=utf-8"),
    "page.js": ("page.js", "text/javascript; charset=utf-8"),
    "page.css": ("page.css", "text/css; charset=utf-8"),
    "uPlot.js": ("uPlot.iife.min.js", "text/javascript; charset=utf-8"),
    "uPlot.css": ("uPlot.min.css", "text/css; charset=utf-8"),
}
JSON = "application/json"
HEADERS = [
    ("Cache-Control", "no-store"),
    ("Content-Security-Policy", "default-src 'self'; style-src 'self' 'unsafe-inline'"),
    ("Referrer-Policy", "no-referrer"),
    ("X-Content-Type-Options", "nosniff"),
    ("X-Frame-Options", "DENY"),
]
Start = Callable[[str, list[tuple[str, str]]], Any]


class Shown(Protocol):
    """What a run tells the page; nothing of it raises or waits."""

    def say(self, stage: str, done: float | None = None, total: float | None = None) -> None: ...
    def vanes(
        self, commanded_deg: Angles | None = None, sensed_deg: Angles | None = None
    ) -> None: ...


class NoPage:
    """Where nobody asked for a page."""

    def say(self, stage: str, done: float | None = None, total: float | None = None) -> None:
        """Nobody looks."""

    def vanes(self, commanded_deg: Angles | None = None, sensed_deg: Angles | None = None) -> None:
        """Nobody looks."""


def application(state: LiveState, token: str) -> Callable[[dict[str, Any], Start], Iterable[bytes]]:
    """The WSGI application (PEP 3333) that shows a state under /TOKEN/."""
    assets = {name: (HERE / file).read_bytes() for name, (file, _) in ASSETS.items()}
    assets[""] = page_of(assets[""].decode(), state).encode()

    def answer(environ: dict[str, Any], start: Start) -> Iterable[bytes]:
        status, kind, body = answered(environ)
        length = ("Content-Length", str(len(body)))
        start(status, [("Content-Type", kind), length, *HEADERS])
        return [b"" if environ["REQUEST_METHOD"] == "HEAD" else body]

    def answered(environ: dict[str, Any]) -> tuple[str, str, bytes]:
        if environ["REQUEST_METHOD"] not in ("GET", "HEAD"):
            return "405 Method Not Allowed", "text/plain", b"this page is for reading\n"
        # A page elsewhere that has its name point here comes with that name.
        host = environ.get("HTTP_HOST", "").rpartition(":")[0]
        first, _, name = environ.get("PATH_INFO", "").removeprefix("/").partition("/")
        if host not in (HOST, "localhost") or not secrets.compare_digest(
            first.encode("utf-8", "replace"), token.encode()
        ):
            return "404 Not Found", "text/plain", b"not found\n"
        if name == "about":
            return "200 OK", JSON, json.dumps(state.about()).encode()
        if name == "now":
            since = environ.get("QUERY_STRING", "").removeprefix("since=")
            count = int(since) if since.isascii() and since.isdigit() and len(since) < 12 else 0
            return "200 OK", JSON, json.dumps(state.since(count)).encode()
        if name in assets:
            return "200 OK", ASSETS[name][1], assets[name]
        return "404 Not Found", "text/plain", b"not found\n"

    return answer


def page_of(frame: str, state: LiveState) -> str:
    """The page with title and cautions in it: these show though no script should run."""
    cautions = "\n".join(f"<p>CAUTION: {escape(text)}</p>" for text in state.cautions)
    return frame.replace("{title}", escape(state.title)).replace("{cautions}", cautions)


@contextlib.contextmanager
def live_page(
    wanted: bool,
    title: str,
    cautions: Sequence[str],
    travel_deg: Sequence[Sequence[float]],
    say: Callable[[str], object],
) -> Iterator[Shown]:
    """A page for the run in this block; its address goes to `say`. Not wanted: nothing is served.

    Where it cannot be served the run goes on without it, and `say` hears why.
    """
    if not wanted:
        yield NoPage()
        return
    from waitress.server import create_server  # for those who want a page

    logging.getLogger("waitress").setLevel(logging.CRITICAL)
    state = LiveState(title, cautions, travel_deg)
    token = secrets.token_urlsafe(TOKEN_BYTES)
    sockets: dict[int, Any] = {}
    try:
        server: Any = create_server(
            application(state, token), map=sockets, host=HOST, port=0, threads=2
        )
    except OSError as error:
        say(f"no live page: {error.strerror or error}; the run goes on without it")
        yield NoPage()
        return
    ended = threading.Event()
    thread = threading.Thread(
        target=served, args=(server, sockets, ended), name="live page", daemon=True
    )
    thread.start()
    say(f"live page, on this machine alone: http://{HOST}:{server.effective_port}/{token}/")
    try:
        yield state
    finally:
        state.end("the run is over")
        ended.set()
        thread.join(timeout=LINGER_S + LONGEST_END_S)


def served(server: Any, sockets: dict[int, Any], ended: threading.Event) -> None:
    """Serve until a moment after the end, so that open pages hear of it.

    Whatever happens to the page stays in its own thread.
    """
    from waitress import wasyncore

    until_s = float("inf")
    with contextlib.suppress(Exception):
        while time.monotonic() < until_s:
            wasyncore.loop(timeout=TURN_S, map=sockets, count=1)
            if ended.is_set():
                until_s = min(until_s, time.monotonic() + LINGER_S)
    with contextlib.suppress(Exception):
        server.task_dispatcher.shutdown(timeout=LONGEST_END_S)
        wasyncore.close_all(sockets)
