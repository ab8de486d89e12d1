"""The one page that every report stands in: self-contained HTML, to read, print and keep."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from jinja2 import Environment

CAUTIONS = (
    "This report is arithmetic on the numbers it was given. It is no leave to test or to fly: "
    "local law and codes, the range's safety officer and licensed people decide that.",
    "Before a servo gets power: hands out of the linkage, pyrotechnics disconnected, the battery "
    "fused. Hot hardware, pressure and graphite dust hurt; keep to the rules of the test stand.",
)


@dataclass(frozen=True)
class Picture:
    """An SVG element (from `pictures.svg`) and the sentence below it."""

    svg: str
    caption: str


@dataclass(frozen=True)
class Table:
    """Column names, rows of cells shown as they are, and the sentence above them. roomy: rows that
    somebody writes into by hand.
    """

    head: Sequence[str]
    rows: Sequence[Sequence[object]]
    caption: str = ""
    roomy: bool = False


@dataclass(frozen=True)
class Chapter:
    """One part of a page, in the order: paragraphs, tables, pictures."""

    heading: str
    paragraphs: Sequence[str] = ()
    tables: Sequence[Table] = ()
    pictures: Sequence[Picture] = ()


@dataclass(frozen=True)
class Verdict:
    """Whether the thing examined passed, and the reason in a sentence.

    `word` stands in the place of the outcome, where it stays open.
    """

    outcome: Literal["pass", "fail", "open"]
    reason: str
    word: str = ""


def render_page(
    title: str,
    lead: str,
    chapters: Iterable[Chapter],
    facts: Sequence[tuple[str, object]] = (),
    verdict: Verdict | None = None,
    cautions: Sequence[str] = CAUTIONS,
) -> str:
    """The HTML of one page: title, lead, verdict, a table of facts, chapters, cautions.

    All text is escaped; only the SVG of pictures goes in as it is. Nothing is loaded from
    elsewhere and nothing runs.
    """
    return (
        templates(Path(__file__).parent / "templates")
        .get_template("page.html")
        .render(
            title=title,
            lead=lead,
            chapters=list(chapters),
            facts=facts,
            verdict=verdict,
            cautions=cautions,
        )
    )


def numeric(cell: object) -> bool:
    """Whether a cell holds a number, which stands better at the right edge of its column."""
    text = str(cell).strip().replace("−", "-").replace("\N{NARROW NO-BREAK SPACE}", "")
    try:
        float(text.rstrip("%").strip())
    except ValueError:
        return False
    return True


@cache
def templates(folder: Path) -> Environment:
    """The HTML templates of a folder; made where a page is, since most calls write none."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        loader=FileSystemLoader(folder),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["svg"] = Markup
    environment.tests["numeric"] = numeric
    return environment
