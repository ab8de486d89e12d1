"""The report on a static test: what it told, how surely, and what it left."""

from collections.abc import Sequence

from mixer.ground.identification import pictures as draw
from mixer.ground.identification.findings import Finding
from mixer.ground.identification.fit import Identification
from mixer.ground.reports.page import CAUTIONS, Chapter, Picture, Table, render_page
from mixer.ground.reports.pictures import svg
from mixer.ground.static_test.log import LOAD_UNITS

STAND_CAUTION = (
    "A static test burns at full pressure: people behind cover, the stand's own rules first. Vanes "
    "stay hot for long after; graphite dust harms lungs and conducts: wet it, wear a mask."
)
MODEL = (
    "Normal forces are the vehicle file's curves times jet pressure over the reference times "
    "effectiveness; clocking, edge-on, roll arm, thrust line and the jet's own roll are fitted "
    "with them. The load cells' zeros may wander; how fast they do is told by the log as well. "
    "Standard errors allow for noise that hangs together and for that wandering. They know nothing "
    "of a load cell's wrong scale or of cross-talk between channels: calibrate the stand with "
    "weights, in place. They are of the four vanes that were burnt, an estimate: how far a new set "
    "in a new burn may be off is told by fourvane erosion fit, from inspections of several burns."
)


def written(finding: Finding) -> tuple[str, ...]:
    """A finding as a row: what, before, found with its error, unit, and a word."""
    digits = 3 if finding.error <= 0 else max(0, min(6, 1 - exponent(finding.error)))
    was = "–" if finding.was is None else f"{finding.was:.{digits}f}"
    word = "differs" if finding.differs else "" if finding.told else "not told"
    return (
        finding.what, was, f"{finding.found:.{digits}f}", f"± {finding.error:.{digits}f}",
        finding.unit, word,
    )  # fmt: skip


def exponent(value: float) -> int:
    """The power of ten of a positive number."""
    return int(f"{value:e}".split("e")[1])


def identify_page(
    found: Identification,
    all_findings: Sequence[Finding],
    changes: Sequence[str],
    warnings: Sequence[str],
    condition: float,
    record: Sequence[tuple[str, str]] = (),
) -> str:
    """The report as HTML. record: date, operator and serial numbers, as facts."""
    blocks = found.blocks
    facts = [
        ("vehicle", found.vehicle.vehicle.name),
        ("log", blocks.log.file),
        ("steady burn", f"{blocks.log.burn_s:.3g} s, {blocks.full_load_s:.3g} s of burn load"),
        ("rows a second", f"{blocks.log.rate_hz:.4g}"),
        ("pressure over the reference", f"{blocks.share[blocks.burning].mean():.3f}"),
        ("condition number of the vanes' movements", f"{condition:.3g} (1 is best)"),
        *record,
    ]
    chapters = [
        Chapter(
            "What the test told",
            [MODEL],
            [
                Table(
                    ("quantity", "vehicle file", "found", "standard error", "unit", ""),
                    [written(finding) for finding in all_findings],
                    "“differs”: more than two standard errors from the vehicle file.",
                )
            ],
            [
                Picture(
                    svg(draw.effectiveness_picture(found)),
                    "Effectiveness over the burn with two standard errors, against the new vane of "
                    "the vehicle file.",
                )
            ],
        ),
        Chapter("What to know", list(warnings) or ["Everything asked for was excited and told."]),
        Chapter("What changed in the vehicle file", list(changes) or ["Nothing was written."]),
        Chapter(
            "The test and the fit",
            [],
            [noise_table(found)],
            [
                Picture(svg(draw.angles_picture(found)), "Angles of vanes 1 to 4 as measured."),
                Picture(
                    svg(draw.loads_picture(found)),
                    "What acted on the vehicle, in averages over "
                    f"{1e3 * blocks.block_s:.0f} ms, and the fit.",
                ),
                Picture(
                    svg(draw.residuals_picture(found)),
                    "What the fit leaves over. It should look like noise at every time; the drift "
                    "is drawn from its start.",
                ),
                Picture(
                    svg(draw.over_deflection_picture(found)),
                    "What is left of each vane's own push, with two standard errors: a bow or a "
                    "slope here means a force curve of another shape.",
                ),
                Picture(
                    svg(draw.memory_picture(found)),
                    "How the noise hangs together over time. “Taken out” should stay within the "
                    "shade, or the standard errors are too small.",
                ),
            ],
        ),
    ]
    return render_page(
        f"Static test of {found.vehicle.vehicle.name}",
        "What four vanes really gave, how they wore, where they stand, and how surely that is "
        "known.",
        chapters,
        facts,
        cautions=(*CAUTIONS, STAND_CAUTION),
    )


def noise_table(found: Identification) -> Table:
    """Noise and drift of each channel."""
    duration_s = found.blocks.time_s[-1] - found.blocks.time_s[0]
    burning = found.blocks.burning
    rows = [
        (
            draw.NAMES[channel],
            f"{found.residuals[burning, channel].std():.3g}",
            str(len(noise.noise.past)),
            f"{(noise.pace * duration_s) ** 0.5:.3g}",
            LOAD_UNITS[channel],
        )
        for channel, noise in enumerate(found.noises)
    ]
    head = ("channel", "noise of an average", "past values it hangs on", "drift over the log", "")
    return Table(head, rows, "Noise as the fit left it, standard deviations.")
