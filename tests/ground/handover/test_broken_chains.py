"""A whole chain, then broken in many ways: each is named in the hand-over, none passes silently."""

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from mixer.ground.evidence import evidence as writing
from mixer.ground.evidence.evidence import KEY, evidence_of, write_record
from mixer.ground.handover.collect import collect
from mixer.ground.handover.whole import HandOver, hand_over
from mixer.ground.reports.page import Verdict
from mixer.ground.unfinished.to_be_measured import mark
from mixer.ground.vehicle.vehicle import load_vehicle, parse_vehicle
from tests.support.made_chain import PASS, PIECES, Chain, sums

REAL = {"board": "/dev/ttyACM0", "rehearsal": False, "pieces": PIECES}
FAIL = Verdict("fail", "broken: priority")


@pytest.fixture
def chain(whole_chain: Chain, tmp_path: Path) -> Chain:
    return whole_chain.copied(tmp_path / "module")


def laid(chain: Chain, file: Path | None = None) -> HandOver:
    vehicle = load_vehicle(file or chain.file)
    return hand_over(vehicle, sums(vehicle), collect([chain.folder]))


def told(whole: HandOver) -> list[str]:
    return [f"{each.sort}: {each.about}: {each.says}" for each in whole.open]


def test_of_a_whole_chain_nothing_is_open(chain: Chain) -> None:
    whole = laid(chain)
    assert told(whole) == []
    words = {state.link.name: state.word for state in whole.links if state.found}
    assert set(words.values()) == {"holds"}
    assert len(words) == 17


def in_file(before: str, after: str) -> Callable[[Chain], None]:
    """Change the file that is handed over, by hand."""

    def change(chain: Chain) -> None:
        text = chain.file.read_text(encoding="utf-8")
        assert before in text
        chain.file.write_text(text.replace(before, after, 1), encoding="utf-8")

    return change


def rewritten(pulses: dict[int, int]) -> Callable[[Chain], None]:
    """Give servos the table of another one (both counted from 0)."""

    def change(chain: Chain) -> None:
        text = chain.file.read_text(encoding="utf-8")
        rows = re.findall(r"\{deflection_deg.*?\}", text)
        assert len(rows) == 4
        for place, row in enumerate(rows):
            text = text.replace(row, f"@{place}@")
        for place in range(4):
            text = text.replace(f"@{place}@", rows[pulses.get(place, place)])
        chain.file.write_text(text, encoding="utf-8")

    return change


def paper(name: str, kind: str, *found: Verdict, of: str = "", **others) -> Callable[[Chain], None]:
    """Write a result anew, or one more; `of`: about another file of the folder."""

    def change(chain: Chain) -> None:
        vehicle = load_vehicle(chain.folder / of) if of else chain.vehicle()
        chain.paper(name, kind, vehicle, *found, **others)

    return change


def cut(name: str, left: float = 0.8) -> Callable[[Chain], None]:
    """Cut a file off."""

    def change(chain: Chain) -> None:
        path = chain.folder / name
        content = path.read_bytes()
        path.write_bytes(content[: int(left * len(content))])

    return change


def gone(name: str) -> Callable[[Chain], None]:
    return lambda chain: (chain.folder / name).unlink()


def another_vehicles_campaign(chain: Chain) -> None:
    text = chain.file.read_text(encoding="utf-8").replace("Larkspur", "Heron")
    other = parse_vehicle(text, "heron.toml")
    files = list((chain.folder / "campaign").glob("*.parquet"))
    write_record(chain.folder / "campaign", evidence_of("campaign", other, PASS, files=files))


def verdict_by_hand(chain: Chain) -> None:
    paper("check.html", "check", FAIL)(chain)
    path = chain.folder / "check.html"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("&quot;fail&quot;", "&quot;pass&quot;"), encoding="utf-8")


def saved_json_by_hand(chain: Chain) -> None:
    path = chain.folder / "campaign" / "evidence.json"
    data = json.loads(path.read_text(encoding="utf-8"))
    data[KEY]["at"] = "2026-01-01T00:00:00Z"
    path.write_text(json.dumps(data), encoding="utf-8")


def interrupted(name: str) -> Callable[[Chain], None]:
    def change(chain: Chain) -> None:
        (chain.folder / "second").mkdir()
        (chain.folder / "second" / name).write_bytes(b"measured so far")

    return change


def older_result_of_other_version(chain: Chain) -> None:
    evidence = evidence_of("check", chain.vehicle(), PASS).model_copy(update={"fourvane": "0.0.9"})
    path = chain.folder / "check.html"
    path.unlink()
    data = {KEY: evidence.model_copy(update={"check": evidence.sum}).plain}
    (chain.folder / "check.json").write_text(json.dumps(data), encoding="utf-8")


def from_the_future(chain: Chain) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(writing, "now", lambda: "2199-01-01T00:00:00Z")
        paper("check.html", "check", PASS)(chain)


def servo_files_swapped(chain: Chain) -> None:
    """Tables in files beside the vehicle file; after the board was verified two are exchanged."""
    text = chain.file.read_text(encoding="utf-8")
    start, end = text.index("table = ["), text.index("\n]", text.index("table = [")) + 2
    names = ["servo-1.csv", "servo-2.csv", "servo-3.csv", "servo-4.csv"]
    chain.file.write_text(f"{text[:start]}table = {names}{text[end:]}", encoding="utf-8")
    for number, name in enumerate(names):
        rows = "".join(f"{a},{1500 + 10 * number + 10 * a}\n" for a in (-16, 0, 16))
        (chain.folder / name).write_text(f"deflection_deg,pulse_us\n{rows}", encoding="utf-8")
    paper("check.html", "check", PASS)(chain)
    one, other = (chain.folder / name for name in names[1:3])
    first = one.read_bytes()
    one.write_bytes(other.read_bytes())
    other.write_bytes(first)


def library(change: Callable[[Path], None]) -> Callable[[Chain], None]:
    """An exported library, then changed."""

    def made(chain: Chain) -> None:
        folder = chain.folder / "fourvane-c"
        (folder / "src").mkdir(parents=True)
        source = folder / "src" / "fourvane.c"
        source.write_text("int fv;\n", encoding="utf-8")
        sums = {"src/fourvane.c": writing.sha256_of(source)}
        write_record(folder, evidence_of("export", chain.vehicle(), sums=sums))
        change(source)

    return made


def in_place_of(name: str, other: Callable[[Chain], None]) -> Callable[[Chain], None]:
    def change(chain: Chain) -> None:
        (chain.folder / name).unlink()
        other(chain)

    return change


def of_heron(name: str, kind: str) -> Callable[[Chain], None]:
    """The result of another vehicle in the place of one."""

    def change(chain: Chain) -> None:
        text = chain.file.read_text(encoding="utf-8").replace("Larkspur", "Heron")
        chain.paper(name, kind, parse_vehicle(text, "heron.toml"), PASS, **REAL)

    return change


RECORDS = {  # where each result of a test day or a flight stands, of which kind, and its link
    "a play": ("played.html", "stand play --hot", "programme played hot"),
    "a merged log": ("test.html", "stand merge", "stand's log on one clock"),
    "a phasing check": ("fourvane-phasing/phasing.html", "phasing", "phasing check"),
    "a fetched record": ("fetched.html", "record fetch", "record of a flight"),
    "a replay": ("replay.html", "record replay", "flight replayed"),
}
TORN = {
    "a play": "fourvane-stand/hot-1.record",
    "a merged log": "test.csv",
    "a phasing check": "fourvane-phasing/phasing.heard",
    "a fetched record": "flight.record",
    "a replay": "flight.record",
}


def records_broken() -> dict[str, tuple[Callable[[Chain], None], str]]:
    """Each of them failed, rehearsed, another vehicle's and torn."""
    found = {}
    for what, (name, kind, link) in RECORDS.items():
        rehearsed = {**REAL, "board": "unix", "rehearsal": True}
        found[f"{what} that failed"] = (paper(name, kind, FAIL, **REAL), f"failed: {link}: ")
        # Where a real one lies beside it, that one counts.
        if what not in ("a play", "a fetched record"):
            found[f"{what} that was a rehearsal"] = (
                paper(name, kind, PASS, **rehearsed),
                f"rehearsal: {link}: nothing real has been seen",
            )
        found[f"{what} of another vehicle"] = (
            of_heron(name, kind),
            f"contradicts: .*{kind} of another vehicle, Heron",
        )
        torn = TORN[what]
        found[f"{what} whose {torn} was cut off"] = (
            cut(torn),
            f"contradicts: {link}: .*{Path(torn).name} changed, or was cut off",
        )
    return found


OTHER_TABLES = "0badcafe"
BREAKS: dict[str, tuple[Callable[[Chain], None], str]] = {
    "a key changed by hand": (
        in_file("lever_arm_m = {", "lever_arm_m = 2.2 # {"),
        "stale: promises: .*layout.lever_arm_m",
    ),
    "the mass changed after the campaign": (
        in_file("mass_kg = [165.0", "mass_kg = [175.0"),
        "stale: campaign: .*rocket.mass_kg",
    ),
    "a limit loosened after the bench": (
        in_file("drift_deg = 0.15", "drift_deg = 0.9"),
        "stale: servo bench: .*acceptance.drift_deg",
    ),
    "a servo's table changed after it was benched": (
        rewritten({2: 1}),
        "stale: servo bench: servo 3 was benched before its table was changed",
    ),
    "a servo's table changed after the phasing check": (
        rewritten({2: 1}), "stale: phasing check: .*servos.table of servo 3",
    ),
    "a limit of travel changed after the test was played": (
        in_file("travel_deg = [-15.0", "travel_deg = [-14.0"),
        "stale: programme played hot: .*vanes.travel_deg",
    ),
    "travel changed after the log was merged": (
        in_file("travel_deg = [-15.0", "travel_deg = [-14.0"),
        "stale: stand's log on one clock: .*vanes.travel_deg",
    ),
    "a key changed after the flight": (
        in_file("rate_hz = 200", "rate_hz = 100"), "stale: record of a flight: .*control.rate_hz",
    ),
    "a key changed after the replay": (
        in_file("rate_hz = 200", "rate_hz = 100"), "stale: flight replayed: .*control.rate_hz",
    ),
    "a play that nothing real has been seen": (
        in_place_of(
            "fourvane-stand/hot-1.evidence.json",
            paper("hot.html", "stand play --hot", PASS, board="none", rehearsal=True),
        ),
        "rehearsal: programme played hot",
    ),
    "a record fetched from an emulated board": (
        in_place_of(
            "flight.evidence.json",
            paper("f.html", "record fetch", PASS, board="unix", rehearsal=True),
        ),
        "rehearsal: record of a flight",
    ),
    "a replay of a record whose board nobody told": (
        paper("replay.html", "record replay", PASS), "rehearsal: flight replayed",
    ),
    "a play that was interrupted": (
        interrupted("hot-2.record"),
        "damaged: .*hot-2.record: a play's or a flight's record that no result names",
    ),
    "an inspection that was rehearsed": (
        lambda chain: chain.paper(
            "worn.html", "erosion fit", load_vehicle(chain.folder / "drawn.toml"),
            made=load_vehicle(chain.folder / "worn.toml"), rehearsal=True,
        ) and None,
        "rehearsal: inspection of burnt vanes: nothing real has been seen",
    ),
    "a static test that was rehearsed": (
        lambda chain: chain.paper(
            "tested.html", "identify", load_vehicle(chain.folder / "worn.toml"),
            made=load_vehicle(chain.folder / "tested.toml"), rehearsal=True,
        ) and None,
        "rehearsal: static test: nothing real has been seen",
    ),
    **records_broken(),
    "two servos' tables exchanged": (
        rewritten({0: 1, 1: 0}),
        "contradicts: servos adopted: what servo adopt found .*servo 1, 2",
    ),
    "two servo files exchanged": (
        servo_files_swapped,
        "stale: promises: .*servos.table of servo 2, 3",
    ),
    "wear changed by hand": (
        in_file("0.93]", "0.99]"),
        "contradicts: static test: what identify found does not stand .*erosion.effectiveness",
    ),
    "an older table kept on the board": (
        paper("verify.html", "board verify", PASS, on_board=OTHER_TABLES, **REAL),
        f"contradicts: bytes on the board: .*answers {OTHER_TABLES}",
    ),
    "a board verified with the tables of an ancestor": (
        paper("verify.html", "board verify", PASS, of="tested.toml", **REAL),
        "stale: bytes on the board: is about other flight tables",
    ),
    "a board deployed with other tables": (
        paper("deploy.html", "board deploy", on_board=OTHER_TABLES, **REAL),
        f"contradicts: put on the board: .*answers {OTHER_TABLES}",
    ),
    "a rehearsal in place of a verified board": (
        paper("verify.html", "board verify", PASS, board="unix", rehearsal=True),
        "rehearsal: bytes on the board: nothing real has been seen",
    ),
    "no control check": (
        gone("control-check.html"), "missing: control check: no result of fourvane board check",
    ),
    "a control check that failed": (
        paper("control-check.html", "board check", FAIL, **REAL), "failed: control check: broken",
    ),
    "a control check by the tables of an ancestor": (
        paper("control-check.html", "board check", PASS, of="tested.toml", **REAL),
        "stale: control check: is about other flight tables",
    ),
    "a control check of a board that keeps other tables": (
        paper("control-check.html", "board check", PASS, on_board=OTHER_TABLES, **REAL),
        f"contradicts: control check: .*answers {OTHER_TABLES}",
    ),
    "a rehearsal in place of a control check": (
        paper("control-check.html", "board check", PASS, board="none", rehearsal=True),
        "rehearsal: control check: nothing real has been seen",
    ),
    "a control check of another vehicle": (
        of_heron("control-check.html", "board check"),
        "contradicts: .*board check of another vehicle, Heron",
    ),
    "a rehearsal in place of a wiggle": (
        paper("fourvane-bench/wiggle.html", "bench wiggle", PASS, rehearsal=True),
        "rehearsal: wiggle check",
    ),
    "emulated servos adopted": (
        lambda chain: writing.write_beside(
            chain.file,
            evidence_of(
                "servo adopt",
                load_vehicle(chain.folder / "tested.toml"),
                made=chain.vehicle(),
                rehearsal=True,
            ),
        )
        and None,
        "rehearsal: servos adopted",
    ),
    "a truncated journal": (
        cut("fourvane-bench/servo-2-sweep.journal"),
        "contradicts: servo bench: servo-2-sweep.journal changed, or was cut off",
    ),
    "a journal that is gone": (
        gone("fourvane-bench/servo-4-sweep.journal"),
        "missing: servo bench: servo-4-sweep.journal",
    ),
    "a bench that was interrupted": (
        interrupted("servo-1-step.journal"),
        "damaged: .*servo-1-step.journal: a bench's points that no result names",
    ),
    "a campaign that was interrupted": (
        interrupted("flights-000000129.parquet"),
        "damaged: .*flights-000000129.parquet: a campaign's flights that no result names",
    ),
    "another vehicle's campaign": (
        another_vehicles_campaign,
        "contradicts: .*campaign.*: campaign of another vehicle, Heron",
    ),
    "flights changed on the disk": (
        lambda chain: (
            (chain.folder / "campaign" / "flights-000000001.parquet").write_bytes(b"?") and None
        ),
        "contradicts: campaign: flights-000000001.parquet changed",
    ),
    "an inspection replaced": (
        lambda chain: (chain.folder / "inspection.csv").write_text("burn\n") and None,
        "contradicts: inspection of burnt vanes: inspection.csv changed",
    ),
    "a stand's log that is gone": (
        gone("test.csv"), "missing: static test: test.csv, which it was got from",
    ),
    "no check": (gone("check.html"), "missing: promises: no result of fourvane check"),
    "no wiggle": (gone("fourvane-bench/wiggle.html"), "missing: wiggle check"),
    "a failed check": (paper("check.html", "check", FAIL), "failed: promises: broken"),
    "a failed check beside one that passed": (
        paper("again.html", "check", FAIL), "(failed|contradicts): promises: .*(broken|fail)",
    ),
    "a check that was left open": (
        paper("check.html", "check", Verdict("open", "nothing required", "not judged")),
        "not judged: promises: not judged: nothing required",
    ),
    "a page cut off": (cut("failures.html"), "damaged: .*failures.html: is cut off"),
    "a saved result cut off": (
        cut("campaign/evidence.json"), "damaged: .*evidence.json: is no whole JSON",
    ),
    "a verdict changed by hand": (
        verdict_by_hand, "damaged: .*check.html: has been changed since it was written",
    ),
    "a date changed by hand": (
        saved_json_by_hand, "damaged: .*evidence.json: has been changed since it was written",
    ),
    "evidence that cannot be read": (
        lambda chain: (chain.folder / "x.json").write_text('{"evidence": {"kind": 1}}') and None,
        "damaged: .*x.json: carries evidence that cannot be read",
    ),
    "a result of another version": (
        older_result_of_other_version, "stale: promises: made by version 0.0.9",
    ),
    "a clock that is wrong": (from_the_future, "contradicts: promises: is dated 2199"),
    "another servo on the bench than in the static test": (
        paper(
            "fourvane-bench/module.html", "bench all", PASS, of="tested.toml", board="x",
            rehearsal=False, pieces={"servo_serials": {"3": "C1"}},
        ),
        "contradicts: serial numbers: servo 3 is B7 in .*C1 in bench all",
    ),
    "a value that is still to be measured": (
        in_file("rate_hz = 200", f"rate_hz = 200 {mark('servos.slew_deg_s')}"),
        "missing: .*measured.toml, line .*: control.rate_hz is marked",
    ),
    "a library whose source was changed": (
        library(lambda source: source.write_text("int other;\n") and None),
        "contradicts: C library: src/fourvane.c changed",
    ),
    "a library of an ancestor's tables": (
        paper("c.html", "export", of="tested.toml"),
        "stale: C library: is about other flight tables",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BREAKS)
def test_a_broken_chain_is_named(chain: Chain, name: str) -> None:
    change, words = BREAKS[name]
    change(chain)
    found = told(laid(chain))
    assert any(re.match(words, each) for each in found), found


def test_the_file_before_the_bench_was_adopted_is_not_the_one_that_the_chain_is_about(
    chain: Chain,
) -> None:
    found = told(laid(chain, chain.folder / "tested.toml"))
    assert any("what servo adopt found does not stand in this file" in each for each in found)
    assert any("bytes on the board: is about other flight tables" in each for each in found)


def test_a_repaired_servo_that_was_measured_again_passes_and_the_earlier_fail_is_told(
    chain: Chain,
) -> None:
    tested = load_vehicle(chain.folder / "tested.toml")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(writing, "now", lambda: "2026-01-01T00:00:00Z")
        chain.paper("earlier.html", "bench all", tested, FAIL, **REAL)
    whole = laid(chain)
    assert told(whole) == []
    (bench,) = (state for state in whole.links if state.link.name == "servo bench")
    assert "fail on 2026-01-01" in bench.notes[0]


def test_what_changed_since_is_told_key_by_key_with_the_command_that_changed_it(
    chain: Chain,
) -> None:
    since = {state.link.name: state.since for state in laid(chain).links}
    assert any(
        re.match(r"erosion.effectiveness .*: by identify, 20", each)
        for each in since["inspection of burnt vanes"]
    )
    assert any(re.match(r"servos.table \(new\): by servo adopt", e) for e in since["servo bench"])
    assert since["promises"] == []


def test_a_comment_in_the_file_makes_nothing_stale(chain: Chain) -> None:
    in_file("[control]", "[control]  # as agreed")(chain)
    whole = laid(chain)
    assert told(whole) == []
    assert any("an ancestor" in state.about for state in whole.links)
