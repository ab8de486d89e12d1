"""A play whose time and angles come over the link: no vane is there."""

from firmware_port import protocol as p
from firmware_port.paced import Paced
from firmware_port.stand.play import Play


def rehearsed(node):
    """A node whose time and angles come over the link, with a play; gives the play."""
    Paced(node)
    play = Play(node)

    def see(words):
        for i in range(4):
            play.seen[i] = words[i]
        return p.TAKEN

    node.handle(p.SEE, see, 5)
    return play
