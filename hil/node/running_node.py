"""A node that somebody left running on a line: found, and ended where that moves nothing."""

from firmware_port import protocol as p
from hil.node.errors import BoardError
from hil.node.node_link import NodeLink, Stream
from hil.node.patience import patience

ANSWER_S = 1.0


def end_running_node(line: Stream, port: str) -> bool:
    """Whether a node answered on this line; it has ended then.

    A safe node is stopped, one that only rehearses is disarmed before. BoardError for a node that
    is armed and drives real servos: that is for its flight computer, or for whoever has the switch.
    """
    node = NodeLink(line, timeout_s=patience(ANSWER_S))
    line.write(b"\0")  # what came before is no beginning of a frame
    try:
        state = node.request(p.IDENTIFY).state
    except BoardError:
        return False
    if state != p.SAFE:
        if node.request(p.PACE).verdict == p.UNKNOWN_KIND:  # no rehearsal
            raise BoardError(
                f"{port}: the node on this board is {p.STATE_NAMES[state]}; let its flight "
                f"computer send DISARM, or take the servo power off and then the board's, "
                f"and run again"
            )
        node.disarm()
    node.stop()
    return True
