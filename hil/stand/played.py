"""What a play leaves for the log book beside its record, and what comes after it."""

from pathlib import Path

from hil.stand.options import Played, PlayOptions
from hil.stand.session import HOT
from mixer.ground.evidence.evidence import Evidence, evidence_of, write_beside
from mixer.ground.reports.page import Verdict

KINDS = {False: "stand play", True: "stand play --hot"}


def evidence_of_play(options: PlayOptions, play: Played) -> Evidence:
    """Of which files, tables and board the play was, written beside its record."""
    record = play.record
    says = f"{record.outcome}, {record.time_s[-1]:.2f} s"
    evidence = evidence_of(
        KINDS[options.hot],
        play.vehicle,
        Verdict("pass", says, "played") if record.whole else Verdict("fail", says, "cut short"),
        files=[options.programme_file, Path(record.file)],
        pieces=play.stated,
        board=options.board,
        rehearsal=options.rehearsal,
    )
    write_beside(Path(record.file), evidence)
    return evidence


def next_of_play(options: PlayOptions, play: Played) -> str:
    """After the cold run the hot one, after that one clock for record and log."""
    call = f"{options.programme_file} --vehicle {options.vehicle_file}"
    if play.result["run"] == HOT:
        log = options.log or "LOG"
        record = play.result["record"]
        return (
            f"fourvane stand merge {log} {record} --vehicle {options.vehicle_file} --out test.csv"
        )
    again = "" if play.record.whole else "the same once more, then "
    log = " --emulated-log log.csv" if options.rehearsal else ""
    return f"{again}fourvane stand play {call} --board {options.board} --hot{log}"
