"""The one error of the board side: what is wrong, where, and what would be right."""


class BoardError(Exception):
    """A board, its port, its firmware or its tools are not as needed. The message is for people."""
