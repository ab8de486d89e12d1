"""The links of the chain, in order: one row for each kind of result.

A new kind of record needs one row here, and evidence of its kind in its file or page.
"""

from dataclasses import dataclass

STEERED = ("engine.", "layout.", "vanes.", "erosion.", "servos.", "control.")
PLAYED = ("layout.clocking_deg", "vanes.travel_deg", "servos.", "control.")
FLOWN = (*STEERED, "rocket.", "requirements.")


@dataclass(frozen=True)
class Link:
    """One link.

    kinds: of evidence, as `Evidence.kind` has them. rests_on: how the keys begin that it hangs on.
    how: the command that makes it, {file} the vehicle file. needed: the chain is open without it.
    strict: where it is there it has to hold, needed or not. real: a rehearsal does not do.
    of_tables: must be about these very flight tables. measured: on hardware, so that a later one
    takes the place of an earlier one that says something else.
    """

    name: str
    kinds: tuple[str, ...]
    rests_on: tuple[str, ...]
    how: str
    needed: bool = True
    strict: bool = True
    real: bool = False
    of_tables: bool = False
    measured: bool = False


BENCH_RUNS = ("all", "sweep", "step", "frequency", "hold", "endurance")
LINKS = (
    Link(
        "drawing and life", ("vanes",), ("engine.", "vanes."),
        "fourvane vanes {file} --out vanes.html",
    ),
    Link(
        "inspection of burnt vanes", ("erosion fit",), ("engine.", "vanes.", "erosion."),
        "fourvane erosion fit inspection.csv --vehicle {file} --out worn.toml", measured=True,
    ),
    Link(
        "programme played cold", ("stand play",), PLAYED,
        "fourvane stand play programme.csv --vehicle {file} --board PORT",
        needed=False, real=True, measured=True,
    ),
    Link(
        "programme played hot", ("stand play --hot",), PLAYED,
        "fourvane stand play programme.csv --vehicle {file} --board PORT --hot",
        needed=False, real=True, measured=True,
    ),
    Link(
        "stand's log on one clock", ("stand merge",), PLAYED,
        "fourvane stand merge LOG RECORD --vehicle {file} --out test.csv",
        needed=False, real=True, measured=True,
    ),
    Link(
        "static test", ("identify",), ("engine.", "layout.", "vanes.", "erosion.", "uncertainty."),
        "fourvane identify test.csv --vehicle {file} --out tested.toml", measured=True,
    ),
    Link(
        "wiggle check", ("bench wiggle",), ("layout.clocking_deg", "servos.", "vanes.travel_deg"),
        "fourvane bench wiggle --board PORT --vehicle {file}", real=True, measured=True,
    ),
    Link(
        "servo bench", tuple(f"bench {run}" for run in BENCH_RUNS),
        ("servos.", "vanes.travel_deg", "acceptance."),
        "fourvane bench all --board PORT --vehicle {file}", real=True, measured=True,
    ),
    Link(
        "servos adopted", ("servo adopt",), ("servos.",),
        "fourvane servo adopt fourvane-bench --vehicle tested.toml --out measured.toml",
        real=True, measured=True,
    ),
    Link(
        "moments within reach", ("envelope",), (*STEERED, "requirements.", "uncertainty."),
        "fourvane envelope {file}", needed=False, strict=False, of_tables=True,
    ),
    Link(
        "promises", ("check",), (*STEERED, "requirements.", "uncertainty."),
        "fourvane check {file} --report check.html", of_tables=True,
    ),
    Link(
        "one flight", ("ascent",), FLOWN,
        "fourvane ascent {file}", needed=False, strict=False, of_tables=True,
    ),
    Link("failures", ("failures",), FLOWN, "fourvane failures {file}", of_tables=True),
    Link("campaign", ("campaign",), FLOWN, "fourvane campaign {file}", of_tables=True),
    Link(
        "C library", ("export",), (), "fourvane export {file} --out fourvane-c",
        needed=False, of_tables=True,
    ),
    Link(
        "put on the board", ("board deploy",), (),
        "fourvane board deploy --board PORT {file} --report deploy.html",
        needed=False, real=True, of_tables=True, measured=True,
    ),
    Link(
        "bytes on the board", ("board verify",), (),
        "fourvane board verify --board PORT {file} --report verify.html",
        real=True, of_tables=True, measured=True,
    ),
    Link(
        "control check", ("board check",), (),
        "fourvane board check {file} --board PORT --report control-check.html",
        real=True, of_tables=True, measured=True,
    ),
    Link(
        "phasing check", ("phasing",), PLAYED, "fourvane phasing {file} --port PORT",
        needed=False, real=True, measured=True,
    ),
    Link(
        "record of a flight", ("record fetch", "record tap"), STEERED,
        "fourvane record fetch --board PORT --vehicle {file}",
        needed=False, real=True, measured=True,
    ),
    Link(
        "flight replayed", ("record replay",), STEERED,
        "fourvane record replay flight.record --vehicle {file}",
        needed=False, real=True, measured=True,
    ),
)  # fmt: skip

# Working files that only mean something to a result that names them: suffix, whose they are, and
# what is to be done where none does.
AGAIN = "run the same command again"
WORKING = {
    ".journal": ("a bench's points", AGAIN),
    ".parquet": ("a campaign's flights", AGAIN),
    ".record": (
        "a play's or a flight's record",
        "fourvane stand merge or fourvane record replay makes a result of it",
    ),
}
