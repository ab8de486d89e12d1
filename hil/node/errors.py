"""The one error of the board side: what is wrong, where, and what would be right."""

from mixer.ground.inputs.csv_files import InputError


class BoardError(InputError):
    """A board, its port, its firmware or its tools are not as needed. The message is for people."""
