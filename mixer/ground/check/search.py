"""The search for a flight that breaks a promise, on a vehicle's own tables.

Hypothesis makes flights, stays near what came close to a bound, and shrinks what breaks a promise
to the smallest flight that still does. The same seed finds the same. Needs the extra `check`.
"""

import contextlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from hypothesis import Phase, Verbosity, find, settings, target
from hypothesis.configuration import set_hypothesis_home_dir
from hypothesis.errors import NoSuchExample

from mixer.ground.check.promises import PROMISES, JudgedFigure, Promise
from mixer.ground.check.smallest import smallest
from mixer.ground.check.steering_on_trial import SteeringOnTrial
from mixer.ground.check.strategies import flights
from mixer.ground.check.trial_flight import BreachError, TrialFlight
from mixer.ground.inputs.work_folder import WorkFolder


@dataclass(frozen=True)
class CounterExample:
    """The smallest flight found that breaks a promise, and how it does."""

    flight: TrialFlight
    breach: str

    def code(self, promise: str, vehicle_file: Path) -> str:
        """A few lines of Python that fly it again and raise the breach."""
        return (
            "from mixer.ground import load_vehicle\n"
            f"from mixer.ground.check.promises import {promise}\n"
            "from mixer.ground.check.steering_on_trial import SteeringOnTrial\n"
            "from mixer.ground.check.trial_flight import TrialCycle, TrialFlight\n"
            "\n"
            f"flight = {self.flight}\n"
            f"{promise}(SteeringOnTrial(load_vehicle({str(vehicle_file)!r})), flight)\n"
        )


@dataclass
class Searched:
    """What a search for breaches of one promise has found so far."""

    promise: Promise
    flights: int = 0
    closest: dict[str, JudgedFigure] = field(default_factory=dict)
    ill_conditioned: int = 0
    counter_example: CounterExample | None = None

    @property
    def name(self) -> str:
        return self.promise.__name__

    @property
    def says(self) -> str:
        """The promise in words."""
        return " ".join((self.promise.__doc__ or "").split())

    @property
    def kept(self) -> bool:
        return self.counter_example is None

    def breaks(self, trial: SteeringOnTrial, flight: TrialFlight) -> bool:
        """Whether the flight breaks the promise; remember what was measured."""
        self.flights += 1
        try:
            measured = self.promise(trial, flight)
        except BreachError:
            return True
        for figure in measured.figures:
            if figure.name not in self.closest or figure.share > self.closest[figure.name].share:
                self.closest[figure.name] = figure
        self.ill_conditioned += measured.ill_conditioned
        if measured.figures:
            target(max(figure.share for figure in measured.figures))
        return False


def search(
    trial: SteeringOnTrial,
    promise: Promise,
    examples: int,
    seed: int,
    tried: Callable[[int], object],
) -> Searched:
    """Try a promise on `examples` flights, fewer where one breaks it; `tried` is told how many."""
    finding = Searched(promise)

    def breaks(flight: TrialFlight) -> bool:
        broken = finding.breaks(trial, flight)
        tried(finding.flights)
        return broken

    quiet = settings(
        max_examples=examples,
        database=None,
        deadline=None,
        verbosity=Verbosity.quiet,
        phases=(Phase.generate, Phase.target),
    )
    try:
        broken = find(
            flights(trial.vehicle),
            breaks,
            settings=quiet,
            random=Random(f"{seed} {finding.name}"),
        )
    except NoSuchExample:
        return finding
    shown = smallest(broken, lambda flight: bool(breach_of(trial, promise, flight)))
    breach = breach_of(trial, promise, shown)
    if not breach:
        raise RuntimeError(f"{finding.name}: broken once and kept the next time by {shown}")
    finding.counter_example = CounterExample(shown, breach)
    return finding


def breach_of(trial: SteeringOnTrial, promise: Promise, flight: TrialFlight) -> str:
    """How the flight breaks the promise, in words; empty where it keeps it."""
    try:
        promise(trial, flight)
    except BreachError as breach:
        return str(breach)
    return ""


def check_promises(
    trial: SteeringOnTrial,
    examples: int,
    seed: int,
    done: Callable[[float], object] = lambda amount: None,
    promises: Sequence[Promise] = PROMISES,
) -> list[Searched]:
    """Search for a breach of each promise; `done` is told how many flights of
    examples · len(promises) are behind.
    """
    findings = []
    with nothing_left_behind():
        for number, promise in enumerate(promises):

            def tried(flights: int, before: int = number * examples) -> None:
                done(before + min(flights, examples))

            findings.append(search(trial, promise, examples, seed, tried))
            done((number + 1) * examples)
    return findings


@contextlib.contextmanager
def nothing_left_behind() -> Iterator[None]:
    """Hypothesis keeps notes in a folder where it is called; here they are thrown away."""
    with WorkFolder("check") as folder:
        set_hypothesis_home_dir(folder)
        try:
            yield
        finally:
            set_hypothesis_home_dir(None)
