"""Do the tests notice a change of the code? `python -m tests.tools.mutation` tries every one.

    python -m tests.tools.mutation frames receiver          # these, by their names below
    python -m tests.tools.mutation --share 0.1 --seed 3     # a tenth of each
    python -m tests.tools.mutation boxes                    # a kernel: its words, cycle by cycle

Tests are collected once; then each mutant gets a process of its own, forked from there, which ends
at the first test that fails. What a mutant of the same module failed at comes first. Those that
nothing notices stand in `same_meaning.toml` with the reason why they mean the same; any other is a
hole in the tests, and the command ends with 1.
"""

import argparse
import importlib
import os
import random
import signal
import sys
import time
import tomllib
from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import Phase, settings

from firmware_port import RECORD_KERNELS
from mixer.flight import KERNELS
from tests.support.mutants import Mutant, mutants, put_in

HERE = Path(__file__).parent
NODE = ("test_node_safety", "test_node_refusals", "test_state_table", "test_node", "test_outputs")
WATCH = ("test_watch_by_numbers", "test_trusted_sensors", "test_jam_watch_core")
SLOW = (  # by words that stand in no other test's name
    "not test_damaged_frames_never_move_a_vane and not TestAnySender "
    "and not test_no_length_of_any_kind_raises and not test_a_token_is_never_good_again "
    "and not test_a_frame_of_a_wrong_length_does_nothing_in_any_state"
)
TABLES = ("test_table_limits", "test_table_body", "test_table_checks", "test_curve_checks")
WORDS = ("test_kernel_words", "test_record_search", "test_limits_of_forces")
TARGETS: dict[str, tuple[str, ...]] = {
    "frames": ("test_frames", "test_receiver"),
    "receiver": ("test_receiver",),
    "node": (*NODE, "test_fresh_frames", "test_recorder_limits"),
    "control": (*NODE, "test_control_times", "test_recorder_limits"),
    "motion": (
        *NODE,
        "test_fresh_frames",
        "test_watch_on_the_line",
        "test_burn_on_the_line",
        "test_recorder_limits",
    ),
    "servo_pulses": (
        "test_led_pulses",
        "test_servo_pulses",
        "test_watch_on_the_line",
        "test_node_safety",
        "test_node_refusals",
    ),
    **dict.fromkeys(KERNELS, WORDS),
    "zonotope": ("test_nearest_by_hand", *WORDS),
    "roll_and_effort": ("test_roll_by_hand", *WORDS),
    **dict.fromkeys(("checked", "unfit"), TABLES),
    "cycle": ("test_kernel_words", *WATCH),
    "direction": (*WORDS, "test_shortest_edge"),
    **dict.fromkeys(("jam_watch", "angle_sensors"), WATCH),
    "pressure": ("test_kernel_words", "test_trusted_pressure"),
    "commands": ("test_kernel_words", *WATCH, "test_trusted_pressure"),
    **dict.fromkeys(RECORD_KERNELS, ("test_record_words", "test_recorder", "test_recorder_limits")),
}
NOTICED, SURVIVED, NO_TEST = 1, 0, 5


class Hunt:
    """A pytest plugin: instead of running the tests once, run them against each mutant."""

    def __init__(self, module_name: str, share: float, seed: int):
        self.module = importlib.import_module(module_name)
        every = mutants(self.module)
        count = max(1, round(share * len(every)))
        self.mutants = every if share >= 1 else random.Random(seed).sample(every, count)
        self.survivors: list[Mutant] = []
        self.baseline_s = 0.0

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        items = list(session.items)
        began = time.monotonic()
        if self._run(session, items, None)[0] != SURVIVED:
            raise pytest.UsageError("the tests fail without any mutant")
        self.baseline_s = time.monotonic() - began
        for done, mutant in enumerate(self.mutants, 1):
            said, by = self._run(session, items, mutant)
            if said == SURVIVED:
                self.survivors.append(mutant)
            elif by is not None:
                items.insert(0, items.pop(by))
            print(
                f"\r{self.module.__name__}: {done} of {len(self.mutants)}, "
                f"{len(self.survivors)} unnoticed ",
                end="",
                file=sys.stderr,
                flush=True,
            )
        print(file=sys.stderr)
        return True

    def _run(
        self, session: pytest.Session, items: list[pytest.Item], mutant: Mutant | None
    ) -> tuple[int, int | None]:
        """What a process with this mutant in it ends with, and which test that was."""
        reader, writer = os.pipe()
        child = os.fork()
        if child == 0:
            os.close(reader)
            self._be(session, items, mutant, writer)
        os.close(writer)
        with os.fdopen(reader) as told:
            by = told.read()
        _, status = os.waitpid(child, 0)
        said = os.waitstatus_to_exitcode(status)
        return (SURVIVED if said == SURVIVED else NOTICED), int(by) if by else None

    def _be(
        self, session: pytest.Session, items: list[pytest.Item], mutant: Mutant | None, told: int
    ) -> None:
        """The mutant's process; a hang ends it too: by the time it computes, as a busy machine is
        no hang, or by its alarm."""
        silent = os.open(os.devnull, os.O_WRONLY)
        os.dup2(silent, 1)
        os.dup2(silent, 2)
        if mutant is not None:
            signal.signal(signal.SIGPROF, signal.SIG_DFL)
            signal.setitimer(signal.ITIMER_PROF, 3 * self.baseline_s + 5)
            signal.signal(signal.SIGALRM, signal.SIG_DFL)
            signal.alarm(int(30 * self.baseline_s) + 60)
            try:
                put_in(mutant, self.module)
            except Exception:
                os._exit(NOTICED)  # it cannot even be imported
        for i, item in enumerate(items):
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=None)
            if session.testsfailed:
                os.write(told, str(i).encode())
                os._exit(NOTICED)
        os._exit(SURVIVED)


def hunt(target: str, tests: Sequence[str], share: float, seed: int) -> Hunt:
    """Hunt in one module. target: one of TARGETS, or a module's name with its own tests."""
    package = "mixer.flight" if target in (*KERNELS, "servo_pulses") else "firmware_port"
    module_name = target if "." in target else f"{package}.{target}"
    beside = HERE.parent / ("flight" if target in KERNELS else "firmware_port")
    files = list(tests) or [f"{beside}/{name}.py" for name in TARGETS[target]]
    found = Hunt(module_name, share, seed)
    options = ["-o", "addopts=", "-x", "-k", SLOW, "-p", "no:terminal", "-p", "no:cacheprovider"]
    # One example that fails is enough: none is sought that is smaller, none is kept.
    settings.register_profile(
        "hunt",
        phases=[Phase.explicit, Phase.generate],
        derandomize=True,
        database=None,
        deadline=None,
    )
    options += ["--hypothesis-profile", "hunt"]
    pytest.main([*options, *files], plugins=[found])
    if not found.baseline_s:
        raise SystemExit(f"{target}: its tests did not run, or fail without any mutant")
    return found


def same_meaning() -> dict[str, dict[str, str]]:
    """Mutants that mean the same, by module: the reason by the mutant's name."""
    return tomllib.loads((HERE / "same_meaning.toml").read_text(encoding="utf-8"))


def explained(name: str, reasons: dict[str, str]) -> bool:
    """Whether a reason is given for a mutant, or for all that begin like it: "take: x = …"."""
    return name in reasons or any(
        key.endswith("…") and name.startswith(key[:-1]) for key in reasons
    )


def main() -> None:
    """The command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("targets", nargs="*", default=list(TARGETS), metavar="TARGET")
    parser.add_argument("--tests", nargs="*", default=[], metavar="FILE")
    parser.add_argument("--share", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    holes = 0
    known = same_meaning()
    for target in asked.targets:
        found = hunt(target, asked.tests, asked.share, asked.seed)
        reasons = known.get(target, {})
        unnoticed = [mutant.name for mutant in found.survivors]
        fresh = [name for name in unnoticed if not explained(name, reasons)]
        holes += len(fresh)
        print(
            f"{target}: {len(found.mutants)} mutants, {len(unnoticed)} unnoticed, of which "
            f"{len(unnoticed) - len(fresh)} mean the same; seed {asked.seed}"
        )
        for name in fresh:
            print(f"  not noticed: {name}")
        if asked.share >= 1:
            for key in reasons:
                if not any(explained(name, {key: ""}) for name in unnoticed):
                    print(f"  noticed, so that no reason is needed: {key}")
    sys.exit(1 if holes else 0)


if __name__ == "__main__":
    main()
