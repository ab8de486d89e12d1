"""What every error about something the user gave has in common."""


class InputError(ValueError):
    """Something the user gave is wrong; the message names it and says what would be right.

    The command line prints the message alone and ends with exit status 2.
    """
