"""What `board verify` found, in words: figures, verdict, page."""

from collections.abc import Sequence

from hil.verify.verify import Findings
from mixer.ground.reports.page import Chapter, Table, Verdict, render_page

NOT_CYCLES = "Instructions are not cycles: a real core takes more, and waits for its flash."
POWER_OFF = (
    "An armed node moves powered servos without warning. Fingers and tools out of the linkages, "
    "servo power off until you mean it, no pyrotechnics or propellant connected."
)


def figures(findings: Findings) -> list[tuple[str, str]]:
    """Every figure with its name."""
    said = findings.as_dict()
    worst, middle = findings.costs(findings.unit)
    unit = cost_unit(findings)
    no_heap = findings.heap_locked and findings.heap_bytes_per_cycle == 0
    heap = (
        "none, proved under a locked heap"
        if no_heap
        else f"{findings.heap_bytes_per_cycle:g} bytes"
    )
    flags = ", ".join(f"{name} {count}" for name, count in said["flags"].items())
    return [
        ("firmware", findings.release),
        ("flight core", findings.core),
        ("on the board", f"{findings.image_bytes} bytes"),
        ("tables kept there", findings.kept_tables_crc32 or "none"),
        ("cycles compared", f"{findings.played.cycles}, seeds {seed_range(findings.seeds)}"),
        ("answers that differ", f"{findings.played.mismatches}"),
        (f"worst step, {unit}", f"{worst}"),
        (f"median step, {unit}", f"{middle}"),
        ("heap a cycle", heap),
        ("round trips a second", f"{findings.round_trips_per_s:.0f}"),
        ("record of a flight, s", "–" if findings.record_s is None else f"{findings.record_s:.1f}"),
        ("cycles with each flag", flags),
    ]


def cost_unit(findings: Findings) -> str:
    """In what the cost of a step was counted."""
    return "µs" if findings.as_dict()["worst_instructions"] is None else "instructions"


def seed_range(seeds: list[int]) -> str:
    """Consecutive seeds, short."""
    return f"{seeds[0]} to {seeds[-1]}"


def verdict(findings: Findings, tables_crc32: str, real: bool) -> Verdict:
    """Whether the board computes the same; open where it does, but keeps other tables.

    tables_crc32: of the vehicle's tables in bytes. real: whether the board is to fly by what it
    keeps, and no emulated one.
    """
    played = findings.played
    compared = f"{played.cycles} cycles compared, {played.mismatches} answers differ"
    if not findings.passed:
        took = "" if findings.heap_locked else "; a cycle took heap"
        return Verdict("fail", f"{compared}{took}")
    kept = findings.kept_tables_crc32
    if real and kept != tables_crc32:
        there = "no flight tables" if kept is None else f"other flight tables (IDENTIFY: {kept})"
        return Verdict(
            "open",
            f"{compared}, but the board itself keeps {there}, not these ({tables_crc32}): fourvane "
            "board deploy",
            "computes the same, keeps other tables",
        )
    return Verdict("pass", compared)


def verified_page(name: str, findings: Findings, found: Verdict, facts: Sequence) -> str:
    """The HTML page; name: the vehicle's, facts: who and which pieces."""
    return render_page(
        f"Board verified: {name}",
        f"The same cycles played to {findings.board} ({findings.machine}) and to this computer, "
        "every answer compared.",
        [Chapter("What was found", [NOT_CYCLES], [Table(("", ""), figures(findings))])],
        facts,
        found,
        (POWER_OFF,),
    )


def deployed_page(name: str, facts: Sequence) -> str:
    """The HTML page of a deployment."""
    return render_page(
        f"Board deployed: {name}",
        "The node, the flight core and these flight tables were put on the board; it serves from "
        "its next reset on. Whether it computes the same is told by fourvane board verify.",
        [],
        facts,
        cautions=(POWER_OFF,),
    )
