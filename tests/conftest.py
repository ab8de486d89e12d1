"""Options and settings that every test shares."""

import gc
import os
import signal
from collections.abc import Iterator
from types import SimpleNamespace

import pytest
from hypothesis import settings

from firmware_port import table_store
from tests.support.pictures import drawn_once

# While tests are collected nothing becomes garbage, and to look for it takes a quarter of the time.
gc.disable()

# One thread of linear algebra for each test process: there are as many processes as cores, and
# threads beyond that only wait for each other. Read by numpy when it is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# A run in the background is started with Ctrl-C ignored, and would hand that on to the programs
# that tests start and end by it.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# CI draws as many examples as Hypothesis would by itself, a newcomer's run half as many.
EXAMPLES = 100 if os.environ.get("CI") else 50
settings.register_profile("fourvane", print_blob=True, deadline=None, max_examples=EXAMPLES)
settings.load_profile("fourvane")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--campaigns", action="store_true", help="only the campaigns, at the size that CI runs"
    )
    parser.addoption("--long", action="store_true", help="campaigns at full size (many minutes)")


def size_of(config: pytest.Config) -> str:
    """How large campaigns are: "long" with --long, "ci" with --campaigns, else "laptop"."""
    if config.getoption("--long"):
        return "long"
    return "ci" if config.getoption("--campaigns") else "laptop"


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Campaigns are the tests that ask for `size`, themselves or through what they ask for."""
    if config.getoption("--campaigns"):
        left = [item for item in items if "size" not in getattr(item, "fixturenames", ())]
        items[:] = [item for item in items if item not in left]
        config.hook.pytest_deselected(items=left)


def pytest_collection_finish() -> None:
    """What the whole run keeps, its tests and modules, is not searched for garbage again and again:
    that took a twentieth of its time."""
    gc.collect()
    gc.freeze()
    gc.enable()


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Below the results: what tests give to `record_property("shown", text)`.

    Printing would be lost in the processes that the tests run in.
    """
    for outcome in ("passed", "failed"):
        for report in terminalreporter.getreports(outcome):
            for name, text in report.user_properties:
                if name == "shown":
                    terminalreporter.write_line(text)


@pytest.fixture(scope="session")
def size(request: pytest.FixtureRequest) -> str:
    """See `size_of`."""
    return size_of(request.config)


@pytest.fixture(scope="session")
def campaign(size: str) -> None:
    """For tests that are long however small: with --campaigns and --long only."""
    if size == "laptop":
        pytest.skip("a campaign: with --campaigns")


@pytest.fixture(scope="session")
def full_size(size: str) -> bool:
    """Whether campaigns are larger than a laptop's."""
    return size != "laptop"


@pytest.fixture(scope="session", autouse=True)
def _pictures_drawn_once(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    own = tmp_path_factory.getbasetemp()
    run = own.parent if "PYTEST_XDIST_WORKER" in os.environ else own
    folder = run / "pictures-drawn"
    folder.mkdir(exist_ok=True)
    with drawn_once(folder):
        yield


@pytest.fixture(scope="session", autouse=True)
def _room_is_made_on_boards_only() -> Iterator[None]:
    """A node of this process would collect all that the tests hold each time it takes tables."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(table_store, "gc", SimpleNamespace(collect=lambda: None))
        yield


@pytest.fixture
def every_picture_drawn() -> Iterator[None]:
    """For tests that look at more of a picture than its words: none is left out here."""
    with drawn_once(None):
        yield
