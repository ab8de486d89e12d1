"""Evidence on a page: a table for people, and the whole of it for other programs."""

import html
import json
import re
from collections.abc import Callable
from pathlib import Path

from mixer.ground.evidence.evidence import About, Evidence
from mixer.ground.inputs.log_book import readable
from mixer.ground.inputs.whole_files import write_whole
from mixer.ground.reports.console import progress
from mixer.ground.reports.page import templates

NAME = "fourvane-evidence"
TEMPLATES = Path(__file__).parent / "templates"
PLACE = "<!-- evidence -->"  # in the frame of every page
META = re.compile(rf'<meta name="{NAME}" content="([^"]*)">')
WORDS = {"none": "nothing is judged here", "open": "open"}


def stamped(page: str, evidence: Evidence) -> str:
    """A rendered page that says what it is about. May be done again for another vehicle."""
    text = html.escape(json.dumps(evidence.plain, ensure_ascii=False), quote=True)
    page = page.replace("</head>", f'<meta name="{NAME}" content="{text}">\n</head>', 1)
    about = templates(TEMPLATES).get_template("about.html").render(rows=rows(evidence))
    return page.replace(PLACE, f"{about}{PLACE}", 1)


def write_page(path: Path, render: Callable[[], str], evidence: Evidence) -> None:
    """Draw a page, which may take seconds, and write it whole with what it is about."""
    with progress("Drawing the page", None):
        text = stamped(render(), evidence)
    with write_whole(path) as stream:
        stream.write(text)


def on_page(page: str) -> list[str]:
    """The evidence of a stamped page as JSON; a page that compares vehicles has several."""
    return [html.unescape(text) for text in META.findall(page)]


def rows(evidence: Evidence) -> list[tuple[str, str]]:
    """The facts that tell one result from another."""
    tables = evidence.tables
    found = [
        ("Command", f"fourvane {evidence.kind}, version {evidence.fourvane}"),
        ("Time", readable(evidence.at)),
        ("Vehicle file", named(evidence.about)),
        ("Assumed, not in the file", "; ".join(evidence.about.assumed) or "nothing"),
        (
            "Flight tables",
            f"none can be made: {tables.refused}"
            if tables.crc32 is None
            else f"CRC-32 {tables.crc32} (IDENTIFY: {tables.bytes_crc32})",
        ),
    ]
    if evidence.made is not None:
        found.append(("Vehicle file written", named(evidence.made)))
    if evidence.board is not None:
        found.append(("Board", evidence.board))
    if evidence.firmware is not None:
        found.append(("Firmware", evidence.firmware))
    if evidence.on_board is not None:
        found.append(("Tables kept on the board", f"IDENTIFY: {evidence.on_board}"))
    if evidence.rehearsal is not None:
        found.append(("Rehearsal", "yes: no real hardware" if evidence.rehearsal else "no"))
    if evidence.files:
        found.append(("Rests on", ", ".join(sorted(evidence.files))))
    found.append(("Verdict", evidence.word or WORDS.get(evidence.verdict, evidence.verdict)))
    return found


def named(about: About) -> str:
    return f"{about.file} of {about.name}, SHA-256 {about.sha256}"
