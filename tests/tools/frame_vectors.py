"""What stands in frame_vectors.json: `python -m tests.tools.frame_vectors` writes it.

Requests are made here by independent means (`struct`, `binascii`, the package `cobs`); the answers
are those of a node in this process, in the order of the list, each decoded by the same means.
"""

import json
import struct
from binascii import crc_hqx
from pathlib import Path
from zlib import crc32

from cobs import cobs

from firmware_port import protocol as p
from firmware_port.bench import protocol as b
from firmware_port.bench.motion import Bench
from firmware_port.recorder import Recorder
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

FILE = Path(__file__).parents[2] / "firmware_port" / "frame_vectors.json"
ABOUT = (
    "Test vectors of the serial link; all bytes in hexadecimal. crc: CRC-16/IBM-3740. cobs: COBS "
    "without the closing zero. exchanges: requests and answers in the order in which a node took "
    "them; body is without CRC, wire is the whole frame. The node is safe, at rest, paced, without "
    "a servo, and has the tables of an invented vehicle with neutral pulses of 1 500 000 ns. "
    "answer: an answer to a DEMAND with stated numbers. See FRAMES.md."
)
CHECK = b"123456789"


def i24(*values: int) -> bytes:
    """Three bytes each, little-endian, two's complement."""
    return b"".join(struct.pack("<i", value)[:3] for value in values)


def i32(*values: int) -> bytes:
    return struct.pack(f"<{len(values)}i", *values)


def wire(body: bytes) -> bytes:
    """The whole frame of a body."""
    return cobs.encode(body + struct.pack(">H", crc_hqx(body, 0xFFFF))) + b"\0"


def body_of(frame: bytes) -> bytes:
    """The body of a whole frame, its CRC checked."""
    decoded = cobs.decode(frame[:-1])
    assert crc_hqx(decoded, 0xFFFF) == 0
    return decoded[:-2]


TABLE = b"4VFT: forty bytes of any flight tables!!"
DEMAND = struct.pack("<3i", 12_500, -8_000, 0) + i24(2_000_000)
TOKEN = 377_345  # of a node's first ASK, 5000 µs after its start
REQUESTS: tuple[tuple[str, int, bytes, str], ...] = (
    ("DEMAND", p.DEMAND, DEMAND, "pitch 12 500, yaw -8 000, roll 0 mN·m, 2 000 000 Pa; not armed"),
    ("ASK", p.ASK, b"", "a token for arming"),
    ("ARM", p.ARM, i24(TOKEN), "with that token"),
    ("DEMAND", p.DEMAND, i32(0, 0, 0) + i24(0), "nothing is wanted, no pressure; armed"),
    ("JAM", p.JAM, i24(2, 0), "vane 2 stands at 0"),
    ("FREE", p.FREE, i24(2), "vane 2 moves again"),
    ("DISARM", p.DISARM, i24(0), "by the number's order"),
    ("BURN", p.BURN, i32(0, 0), "burn time and burn load 0 µs"),
    ("START", p.START, b"", "the burn has begun"),
    ("BELIEF", p.BELIEF, b"", "what is believed: the clock runs"),
    ("CHECK", p.CHECK, i24(1, 3000), "vanes out by 3.000°, without a right token"),
    ("CHECKED", p.CHECKED, b"", "nothing is checked yet"),
    ("COUNTERS", p.COUNTERS, i24(p.WRONG_VERSION), "from this one on"),
    ("IDENTIFY", p.IDENTIFY, b"", "a node without a name"),
    ("FORCES", p.FORCES, b"", "at rest"),
    (
        "TABLES_BEGIN",
        p.TABLES_BEGIN,
        i24(40, crc32(TABLE) >> 16, crc32(TABLE) & 0xFFFF),
        "40 bytes",
    ),
    ("TABLES_PIECE", p.TABLES_PIECE, i24(0) + TABLE, "the first 40 bytes"),
    ("TABLES_COMMIT", p.TABLES_COMMIT, b"", "they are whole, but no flight tables"),
    ("PACE", p.PACE, i24(5000, 0), "a rehearsal's demands are 5 ms apart"),
    (
        "SEE",
        p.SEE,
        i24(10, -20, 3000, p.NO_ANGLE, 7),
        "what angle sensors would say",
    ),
    ("PASS", p.PASS, i24(5000), "5 ms pass in a rehearsal"),
    ("MOVE", b.MOVE, i24(1, 1_500_000, 2000), "servo 1 to 1 500 000 ns, 2 s"),
    ("TURN", b.TURN, i24(1, 0, 2000), "servo 1 to 0.000°, 2 s"),
    ("LOOK", b.LOOK, i24(1, 2), "servo 1, two samples of an encoder that is not there"),
    ("PLAY_BEGIN", b.PLAY_BEGIN, i24(1, 3, 1000), "servo 1, three pulses, 1 ms apart"),
    ("PLAY_PIECE", b.PLAY_PIECE, i24(0) + struct.pack("<2H", 30_000, 30_000), "two of 1 500 µs"),
    ("PLAY_FILL", b.PLAY_FILL, i24(2, 1, 30_000), "one more of them"),
    ("PLAY_RUN", b.PLAY_RUN, b"", "now"),
    ("PLAY_DATA", b.PLAY_DATA, i24(b.PULSES, 0), "what was put out"),
    ("END", b.END, b"", "the bench is over"),
    ("WATCH", p.FURTHER, bytes((p.WATCH,)) + i24(0), "the jam watch off"),
    ("WATCHED", p.FURTHER, bytes((p.WATCHED,)), "how it stands: off, no sensors"),
    ("RECORD", p.FURTHER, bytes((p.RECORD,)), "what the node has recorded: one arming"),
    ("RECORD_BLOCK", p.FURTHER, bytes((p.RECORD_BLOCK,)) + i24(1), "the CRC-32 of block 1"),
    (
        "RECORD_PIECE",
        p.FURTHER,
        bytes((p.RECORD_PIECE,)) + i24(1, 0),
        "the first twelve words of block 1",
    ),
    ("RECORD_CLEAR", p.FURTHER, bytes((p.RECORD_CLEAR,)) + i24(0), "not the newest block"),
    ("FURTHER", p.FURTHER, b"\x1f\x01\x02\x03", "a further kind, 31, that nobody takes"),
    ("STOP", p.STOP, b"", "the node ends"),
)
CYCLE = {
    "flags": 5,
    "deflection_mdeg": [2400, -2197, 101, 4698],
    "pulse_ns": [1_524_000, 1_478_030, 1_501_010, 1_546_980],
    "cost": 140,
    "moment_mnm": [199_990, -99_996, 2_999],
}


def exchanges() -> list[dict[str, object]]:
    """Every request and what a node answers."""
    loop = Loopback(recorder=Recorder(8))
    Bench(loop.node)
    NodeLink(loop).load_tables(flight_tables(vehicle()).to_bytes())
    found = []
    for sequence, (name, kind, contents, says) in enumerate(REQUESTS, 1000):
        body = struct.pack("<BH", p.VERSION << 6 | kind, sequence) + contents
        if name == "IDENTIFY":  # its tables are those of whoever runs this
            loop.node.store.size = loop.node.store.crc_high = loop.node.store.crc_low = 0
        if name in ("TABLES_COMMIT", "MOVE"):  # only where the vanes rest
            NodeLink(loop).let_pass(5000)
            NodeLink(loop).let_pass(5000)
        loop.write(wire(body))
        (answer,) = (part + b"\0" for part in loop.read(loop.in_waiting).split(b"\0")[:-1])
        told = body_of(answer)
        found.append(
            {
                "name": name,
                "says": says,
                "sequence": sequence,
                "request": {"body": body.hex(), "wire": wire(body).hex()},
                "answer": {"body": told.hex(), "wire": answer.hex()},
                "state": p.STATE_NAMES[told[3] >> 4],
                "verdict": p.VERDICT_NAMES[told[3] & 15],
            }
        )
    return found


def answer_body() -> bytes:
    """An answer to a DEMAND, armed and taken, with the numbers of CYCLE."""
    head = struct.pack("<BHB", p.VERSION << 6 | p.ANSWER | p.DEMAND, 1003, p.ARMED << 4 | p.TAKEN)
    cycle = struct.pack("<B", CYCLE["flags"]) + i24(*CYCLE["deflection_mdeg"], *CYCLE["pulse_ns"])
    return head + cycle + i24(CYCLE["cost"]) + i32(*CYCLE["moment_mnm"])


def vectors() -> dict[str, object]:
    """All of it."""
    checked = [b"", b"\0", CHECK, bytes(range(256))]
    encoded = [b"", b"\0", b"\x11\x22\0\x33", b"\x11\0\0\0", bytes(range(1, 58)), bytes(20)]
    return {
        "about": ABOUT,
        "crc": [{"data": d.hex(), "crc": f"{crc_hqx(d, 0xFFFF):04x}"} for d in checked],
        "cobs": [{"data": d.hex(), "wire": cobs.encode(d).hex()} for d in encoded],
        "exchanges": exchanges(),
        "answer": {**CYCLE, "body": answer_body().hex(), "wire": wire(answer_body()).hex()},
    }


def text() -> str:
    """As it stands in the file."""
    return json.dumps(vectors(), indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8")
    print(FILE)
