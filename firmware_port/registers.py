"""The emulated board's serial line by its registers (Arm CMSDK UART: DATA, then STATE).

`registers` is where they begin, as words. STATE: bit 0 nothing more can be sent yet, bit 1 a byte
has arrived.
"""

from firmware_port.words import ptr8, ptr32


def uart_receive(registers: ptr32, chunk: ptr8, size: int, patience: int) -> int:
    """Receive up to a zero byte or `size` bytes; return how many have come.

    patience: how many times in a row to look at an empty line before giving up.
    """
    count = 0
    idle = 0
    while count < size and idle < patience:
        if registers[1] & 2:
            byte = registers[0] & 0xFF
            chunk[count] = byte
            count += 1
            if byte == 0:
                return count
            idle = 0
        else:
            idle += 1
    return count


def uart_send(registers: ptr32, data: ptr8, count: int) -> int:
    """Send the first `count` bytes."""
    for i in range(count):
        while registers[1] & 1:
            pass
        registers[0] = data[i]
    return count
