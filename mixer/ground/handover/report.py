"""The hand-over as a page to read, print and sign."""

from collections.abc import Sequence

from mixer.ground.handover.links import LINKS
from mixer.ground.handover.picture import SAID, chain_picture
from mixer.ground.handover.state import LinkState
from mixer.ground.handover.whole import HandOver
from mixer.ground.inputs.log_book import readable
from mixer.ground.reports.facts import counted
from mixer.ground.reports.page import CAUTIONS, Chapter, Picture, Table, Verdict, render_page
from mixer.ground.reports.pictures import svg

NOT_VOUCHED = (
    "That what is on paper here is in the rocket: which vanes, servos, linkages, cables and board "
    "were bolted on, and whether anything was bent, swapped or unplugged since. Serial numbers are "
    "what people typed.",
    "That a measurement was made as its record says. Records carry sums that find mix-ups and "
    "damage; whoever wants to deceive can make them agree.",
    "What the jet does to a vane in flight beyond what a static test showed: vibration, flow that "
    "leaves the nozzle's wall, a chipped edge, the shock of ignition.",
    "Where no phasing check of the vehicle stands above: that its flight computer's demands and "
    "its vanes work against its motion.",
    "The engine, the tanks, the airframe, the recovery, the flight computer and its demands, the "
    "batteries, connectors and the wiring's behaviour under vibration and heat.",
    "The C library on your own processor: its self-test runs there and leaves no record here.",
    "Simulated flights: they know the models that are in them and nothing else.",
    "Whether anything may be tested or flown. Local law and codes, the range's safety officer and "
    "licensed people decide that.",
)
SIGNATURES = (
    "built by", "servos measured by", "static test led by", "tables and board by", "handed over by",
    "taken over by",
)  # fmt: skip


def verdict(whole: HandOver) -> Verdict:
    """Whether anything is open; never more than that."""
    if whole.open:
        counts: dict[str, int] = {}
        for each in whole.open:
            counts[each.sort] = counts.get(each.sort, 0) + 1
        told = ", ".join(f"{count} {SAID.get(sort, sort)}" for sort, count in counts.items())
        return Verdict("fail", f"{counted(len(whole.open), 'thing')} open: {told}.", "open")
    return Verdict(
        "open",
        "Every link is there and about these tables. That is said of the papers, not of the "
        "module.",
        "nothing open",
    )


def page(whole: HandOver) -> str:
    """The HTML page."""
    tables = whole.tables
    return render_page(
        f"Hand-over of the steering module: {whole.file.name}",
        "What was drawn, measured, computed and put on the board, as one chain: what each link "
        "shows, and whether it is about the vehicle file and the flight tables that are handed "
        "over.",
        [
            *open_chapter(whole),
            Chapter(
                "The chain",
                pictures=[
                    Picture(
                        svg(chain_picture(whole.links)),
                        "From the drawing to the bytes on the board. Filled circle: holds; cross: "
                        "broken; diamond: rehearsed only; square: not judged; small circle: not "
                        "asked for.",
                    )
                ],
            ),
            Chapter("Link by link", tables=[Table(LINK_HEAD, link_rows(whole.links))]),
            *since_chapter(whole.links),
            *pieces_chapter(whole),
            Chapter("Where it was found", tables=[Table(("result", "files"), place_rows(whole))]),
            Chapter("What this software cannot vouch for", NOT_VOUCHED),
            Chapter(
                "Signatures",
                ["Who signs has looked at the module itself, not at this page alone."],
                [Table(("", "name", "date", "signature"), signature_rows(), roomy=True)],
            ),
        ],
        [
            ("Vehicle file", whole.path),
            ("Flight tables", "none" if tables.crc32 is None else f"CRC-32 {tables.crc32}"),
        ],
        verdict(whole),
        CAUTIONS,
    )


LINK_HEAD = ("link", "what it shows", "date", "verdict", "about")


def open_chapter(whole: HandOver) -> list[Chapter]:
    """What is open, the worst first."""
    if not whole.open:
        return []
    short = whole.path.name  # a long path, which stands at the top, would squeeze the columns
    rows = [
        (SAID.get(o.sort, o.sort), o.about, o.says, o.do.replace(str(whole.path), short))
        for o in whole.open
    ]
    return [Chapter("What is open", tables=[Table(("", "about", "what", "what to do"), rows)])]


def link_rows(states: Sequence[LinkState]) -> list[tuple[str, ...]]:
    """A row for each link."""
    rows = []
    for state in states:
        if state.found is None:
            word = "missing" if state.open else state.word
            rows.append((state.link.name, "–", "–", word, "–"))
            continue
        evidence = state.found.evidence
        says = "; ".join([evidence.says or "done", *state.notes])
        judged = evidence.word or {"none": "–"}.get(evidence.verdict, evidence.verdict)
        if evidence.rehearsal:
            judged = f"{judged} (rehearsal)"
        date = readable(evidence.at).replace("-", "\N{NON-BREAKING HYPHEN}")
        rows.append((state.link.name, says, date, judged, state.about))
    return rows


def since_chapter(states: Sequence[LinkState]) -> list[Chapter]:
    """Key by key, what changed since a link was made."""
    links: dict[str, list[str]] = {}
    for state in states:
        for words in state.since:
            links.setdefault(words, []).append(state.link.name)
    if not links:
        return []
    text = "Of the keys that each link rests on. A change by a recorded command is part of the way."
    rows = [(words, ", ".join(names)) for words, names in links.items()]
    return [Chapter("What changed since", [text], [Table(("key, and by what", "links"), rows)])]


def pieces_chapter(whole: HandOver) -> list[Chapter]:
    """Who, and on which pieces."""
    if not whole.pieces:
        return []
    return [Chapter("Pieces and people", tables=[Table(("", "as stated"), whole.pieces)])]


def signature_rows() -> list[tuple[str, ...]]:
    """Room to sign."""
    return [(role, "", "", "") for role in SIGNATURES]


def place_rows(whole: HandOver) -> list[tuple[str, str]]:
    """The files that carry each result."""
    order = {link.name: place for place, link in enumerate(LINKS)}
    states = sorted(whole.links, key=lambda state: order[state.link.name])
    rows = [
        (state.link.name, ", ".join(map(str, state.found.places)))
        for state in states
        if state.found is not None
    ]
    return rows + [
        (f"{each.evidence.kind}, in no link", ", ".join(map(str, each.places)))
        for each in whole.others
    ]
