"""The codec of the serial link, the same file at both ends; allocates nothing.

A frame on the wire: COBS of (body, CRC-16 of the body, high byte first), then one zero byte.
COBS: Cheshire & Baker, IEEE/ACM Transactions on Networking 7(2), 1999. The CRC is CRC-16/IBM-3740
(polynomial 0x1021, start 0xFFFF, not reflected); of a body with its own CRC behind it, it is 0. It
does not see zeros gained or lost at the very end, so every kind of frame checks its length too.
Numbers in a body are little-endian, two's complement, of 3 or 4 bytes.
"""

from firmware_port.words import const, ptr8, ptr32

_SMALLEST = const(-0x3FFFFFFF)  # what is farther out would cost heap on a board
_LARGEST = const(0x3FFFFFFF)


def crc16(data: ptr8, count: int) -> int:
    """CRC-16/IBM-3740 of the first `count` bytes."""
    crc = 0xFFFF
    for i in range(count):
        x = (crc >> 8) ^ data[i]
        x ^= x >> 4
        crc = ((crc << 8) ^ (x << 12) ^ (x << 5) ^ x) & 0xFFFF
    return crc


def cobs_encode(data: ptr8, count: int, out: ptr8) -> int:
    """Write the first `count` bytes without zeros; return how many, at most n + 1 + n // 254."""
    code_at = 0
    end = 1
    code = 1
    for i in range(count):
        if code == 0xFF:  # a full block: the next one begins without a zero between them
            out[code_at] = code
            code_at = end
            end += 1
            code = 1
        byte = int(data[i])
        if byte == 0:
            out[code_at] = code
            code_at = end
            end += 1
            code = 1
        else:
            out[end] = byte
            end += 1
            code += 1
    out[code_at] = code
    return end


def seal(body: ptr8, count: int, wire: ptr8) -> int:
    """Put the CRC behind a body of `count` bytes and write the whole frame, zero and all, to the
    wire; return the frame's length. The body's buffer needs two bytes of room.
    """
    crc = int(crc16(body, count))
    body[count] = crc >> 8
    body[count + 1] = crc & 0xFF
    end = int(cobs_encode(body, count + 2, wire))
    wire[end] = 0
    return end + 1


def cobs_decode(data: ptr8, count: int) -> int:
    """Undo `cobs_encode` in place; return how many bytes it was, or -1 for what is not COBS."""
    read = 0
    write = 0
    while read < count:
        code = int(data[read])
        read += 1
        end = read + code - 1
        if code == 0 or end > count:
            return -1
        while read < end:
            byte = int(data[read])
            if byte == 0:
                return -1
            data[write] = byte
            write += 1
            read += 1
        if code != 0xFF and read < count:
            data[write] = 0
            write += 1
    return write


def gather(chunk: ptr8, frame: ptr8, limit: int, state: ptr32) -> int:
    """Move received bytes into a frame until its end; return 1 where a zero byte ended it.

    state: next byte in chunk, end of chunk, bytes in frame so far. Bytes beyond `limit` are
    counted and dropped, so that an endless frame does no harm.
    """
    at = state[0]
    end = state[1]
    fill = state[2]
    ended = 0
    while at < end and ended == 0:
        byte = int(chunk[at])
        at += 1
        if byte == 0:
            ended = 1
        elif fill < limit:
            frame[fill] = byte
            fill += 1
        else:
            fill = limit + 1
    state[0] = at
    state[2] = fill
    return ended


def pack(words: ptr32, first: int, count: int, width: int, out: ptr8, at: int) -> int:
    """Write words as numbers of `width` bytes, held inside what fits; return the end."""
    most = _LARGEST
    if width == 3:
        most = 0x7FFFFF
    for i in range(first, first + count):
        value = words[i]
        if value > most:
            value = most
        elif value < -most:
            value = -most
        for _ in range(width):
            out[at] = value & 0xFF
            value >>= 8
            at += 1
    return at


def unpack(data: ptr8, at: int, count: int, width: int, words: ptr32, first: int) -> int:
    """Read numbers of `width` bytes into words, held inside ±(2³⁰ − 1); return the end."""
    for i in range(first, first + count):
        value = (int(data[at + width - 1]) ^ 0x80) - 0x80
        for k in range(width - 2, -1, -1):
            value = (value << 8) | int(data[at + k])
        if value > _LARGEST:
            value = _LARGEST
        elif value < _SMALLEST:
            value = _SMALLEST
        words[i] = value
        at += width
    return at
