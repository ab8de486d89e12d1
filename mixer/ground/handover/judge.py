"""Holds what was found against the vehicle file that is handed over: link by link, what is open."""

from collections.abc import Sequence
from importlib.metadata import version

from mixer.ground.evidence.evidence import Evidence, Tables, about
from mixer.ground.handover.changes import changed, differ, in_words, listed, of_which
from mixer.ground.handover.collect import Collected, Found
from mixer.ground.handover.links import LINKS, Link
from mixer.ground.handover.state import LinkState, Open
from mixer.ground.inputs.log_book import now, readable
from mixer.ground.vehicle.vehicle import Vehicle


class Judge:
    """What is asked of every result: is it about this file, whole, real, and did it pass?"""

    def __init__(self, vehicle: Vehicle, tables: Tables, collected: Collected):
        self.vehicle, self.tables, self.collected = vehicle, tables, collected
        self.file = about(vehicle)
        self.mine = [each for each in collected.results if self.is_mine(each.evidence)]
        self.makers = [each.evidence for each in self.mine if each.evidence.made is not None]

    def is_mine(self, evidence: Evidence) -> bool:
        """Whether it is about this vehicle: by its name, or as a file that this one came from."""
        return evidence.about.name == self.file.name or (
            evidence.made is not None and evidence.made.sha256 == self.file.sha256
        )

    def links(self) -> list[LinkState]:
        """Every link of the chain."""
        return [self.state(link) for link in LINKS]

    def state(self, link: Link) -> LinkState:
        """One link."""
        asked = link.needed and not (
            link.kinds == ("vanes",) and self.vehicle.vanes.geometry is None
        )
        state = LinkState(link, asked=asked)
        of_kind = [each for each in self.mine if each.evidence.kind in link.kinds]
        state.found = max(of_kind, key=lambda each: self.rank(link, each), default=None)
        how = link.how.format(file=self.vehicle.path)
        if state.found is None:
            if asked:
                words = f"no result of fourvane {link.kinds[0]} lies in the folders"
                state.open.append(Open("missing", link.name, words, how))
            return state
        self.hold_against(state, state.found.evidence, how)
        if state.stale and not (asked or link.strict):
            state.open = []  # what changed since is told with the keys
        self.compare(state, of_kind)
        return state

    def rank(self, link: Link, each: Found) -> tuple[bool, bool, str]:
        """Which of several results counts: a real one, about this file as it is, the latest."""
        evidence = each.evidence
        return (
            not self.rehearsed(link, evidence),
            not self.unexplained(link, evidence),
            evidence.at,
        )

    @staticmethod
    def rehearsed(link: Link, evidence: Evidence) -> bool:
        """Whether it was no measurement; where real hardware has to be there it must say so."""
        unstated = link.real and evidence.rehearsal is None
        return link.measured and (evidence.rehearsal is True or unstated)

    def unexplained(self, link: Link, evidence: Evidence) -> list[str]:
        """The keys that it rests on and that have changed since; by a command that keeps record
        of it only where the link must be about these very tables.
        """
        keys = changed(evidence.about.values, self.file.values, link.rests_on)
        if link.of_tables:
            return keys
        return [key for key in keys if self.changed_by(key, evidence) is None]

    def changed_by(self, key: str, since: Evidence) -> Evidence | None:
        """The recorded command that gave a key the value it has now."""
        for maker in reversed(self.makers):
            made = maker.made
            if made is None or maker.at < since.at:
                continue
            now_is = made.values.get(key)
            put = differ(maker.about.values.get(key), now_is)
            if put and not differ(now_is, self.file.values.get(key)):
                return maker
        return None

    def hold_against(self, state: LinkState, evidence: Evidence, how: str) -> None:
        """Everything that one result is asked."""
        link, name = state.link, state.link.name
        before, file = evidence.about.values, self.file.values
        keys = changed(before, file, link.rests_on)
        state.since = [self.since_words(key, evidence) for key in keys]
        bad = self.unexplained(link, evidence)
        other_tables = link.of_tables and evidence.tables.crc32 != self.tables.crc32
        state.stale = bool(bad) or other_tables
        state.about = self.about_words(link, evidence, bad, other_tables)
        if bad:
            state.open.append(Open("stale", name, self.stale_words(link, evidence, bad), how))
        elif other_tables:
            words = (
                f"is about other flight tables: CRC-32 {evidence.tables.crc32}, this file's are "
                f"{self.tables.crc32}"
            )
            state.open.append(Open("stale", name, words, how))
        if evidence.verdict == "fail":
            state.open.append(Open("failed", name, evidence.says, how))
        if evidence.verdict == "open":
            words = f"{evidence.word or 'left open'}: {evidence.says}"
            state.open.append(Open("not judged", name, words, how))
        if self.rehearsed(link, evidence):
            words = "nothing real has been seen"
            state.open.append(Open("rehearsal", name, words, how))
        if evidence.on_board is not None and evidence.on_board != self.tables.bytes_crc32:
            words = (
                f"the board keeps other flight tables: it answers {evidence.on_board} to IDENTIFY, "
                f"with these it would answer {self.tables.bytes_crc32}"
            )
            state.open.append(
                Open("contradicts", name, words, f"fourvane board deploy, then {how}")
            )
        if evidence.fourvane != version("fourvane"):
            words = f"made by version {evidence.fourvane}, this is {version('fourvane')}"
            if link.of_tables:
                state.open.append(Open("stale", name, words, how))
            else:
                state.notes.append(words)
        if evidence.at > now():
            words = f"is dated {readable(evidence.at)}, which is still to come: a clock is wrong"
            state.open.append(Open("contradicts", name, words, how))
        state.open += self.product(link, evidence, how)
        state.open += self.rests_on(link, evidence, how)

    def since_words(self, key: str, evidence: Evidence) -> str:
        """One key that changed, and by what."""
        maker = self.changed_by(key, evidence)
        by = "by hand" if maker is None else f"by {maker.kind}, {readable(maker.at)}"
        return f"{in_words(key, evidence.about.values, self.file.values)}: {by}"

    def stale_words(self, link: Link, evidence: Evidence, keys: Sequence[str]) -> str:
        """In plain words, what was done before what was changed."""
        before, file = evidence.about.values, self.file.values
        date = readable(evidence.at)
        tables = self.tables_after(evidence), file.get("servos.table")
        which = of_which("servos.table", *tables) if None not in tables else []
        if which and link.name == "servo bench":
            keys = [key for key in keys if key != "servos.table"]
            told = f"servo {', '.join(map(str, which))} was benched before its table was changed"
            if not keys:
                return f"{told} ({date})"
            return f"{told}, and before {listed(in_words(key, before, file) for key in keys)}"
        words = listed(in_words(key, before, file) for key in keys)
        return f"was made before the file was changed ({date}): {words}"

    def tables_after(self, evidence: Evidence) -> object:
        """The servo tables that a result was about, or that were made of it."""
        if "servos.table" in evidence.about.values:
            return evidence.about.values["servos.table"]
        made = [each.made for each in self.makers if each.made and each.at >= evidence.at]
        return next((m.values["servos.table"] for m in made if "servos.table" in m.values), None)

    def about_words(
        self, link: Link, evidence: Evidence, bad: Sequence[str], other_tables: bool
    ) -> str:
        """Which file and which tables a result is about."""
        if evidence.about.sha256 == self.file.sha256 and not changed(
            evidence.about.values, self.file.values
        ):
            return "this very file"
        if bad or other_tables:
            return f"an ancestor, {evidence.about.file}"
        same = evidence.tables.crc32 == self.tables.crc32
        tables = "these flight tables" if same else "other flight tables"
        told = f", {tables}" if link.of_tables else ""
        return f"an ancestor, {evidence.about.file}{told}; what it rests on still stands"

    def product(self, link: Link, evidence: Evidence, how: str) -> list[Open]:
        """What a command put into its file and what of that is no longer so, by no command."""
        if evidence.made is None:
            return []
        put = changed(evidence.about.values, evidence.made.values)
        gone = [
            key
            for key in put
            if key in changed(evidence.made.values, self.file.values)
            and self.changed_by(key, evidence) is None
        ]
        if not gone:
            return []
        words = listed(in_words(key, evidence.made.values, self.file.values) for key in gone)
        says = f"what {evidence.kind} found does not stand in this file: {words}"
        return [Open("contradicts", link.name, says, how)]

    def rests_on(self, link: Link, evidence: Evidence, how: str) -> list[Open]:
        """The files behind a result: there, and as they were?"""
        missing, other = [], []
        for name, sha256 in sorted(evidence.files.items()):
            there = self.collected.of_name(name)
            if not there:
                missing.append(name)
            elif not any(self.collected.holds(path, sha256) for path in there):
                other.append(name)
        found = []
        if other:
            words = f"{listed(other)} changed, or was cut off, after this result was got from it"
            found.append(Open("contradicts", link.name, words, how))
        if missing:
            words = f"{listed(missing)}, which it was got from, lies in none of the folders"
            found.append(Open("missing", link.name, words, "name its folder with --from"))
        return found

    def compare(self, state: LinkState, of_kind: Sequence[Found]) -> None:
        """Results of one kind about the same thing that say something else."""
        assert state.found is not None
        counted = state.found.evidence
        for each in of_kind:
            other = each.evidence
            same = not self.unexplained(state.link, other) and (
                other.tables.crc32 == counted.tables.crc32
            )
            if each is state.found or not same or other.verdict == counted.verdict:
                continue
            words = (
                f"{other.verdict} on {readable(other.at)} ({each.places[0]}), {counted.verdict} on "
                f"{readable(counted.at)}, about the same file"
            )
            worse = other.verdict == "fail" and counted.verdict != "fail"
            if worse and (not state.link.measured or other.at > counted.at):
                state.open.append(Open("contradicts", state.link.name, words))
            else:
                state.notes.append(words)
