"""What every error about something the user gave has in common, and how it may be shown."""

import unicodedata


class InputError(ValueError):
    """Something the user gave is wrong; the message names it and says what would be right.

    The command line prints the message alone and ends with exit status 2.
    """


def visible(text: str) -> str:
    """Text whose control characters, which a terminal would obey, and undecodable bytes stand as
    escapes; lines and tabs stay.
    """
    return "".join(
        each.encode("unicode_escape").decode()
        if each not in "\n\t" and unicodedata.category(each) in ("Cc", "Cs")
        else each
        for each in text
    )
