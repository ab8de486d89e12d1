"""Where the command `fourvane` begins: what comes before it can be interrupted without a traceback.

Importing its libraries takes a second, in which people do press Ctrl-C.
"""

import sys

INTERRUPTED = 130


def main() -> None:
    """Import the command and run it."""
    try:
        from mixer.ground.command_line.fourvane import fourvane
    except KeyboardInterrupt:
        sys.stderr.write("interrupted; nothing was begun\n")
        sys.exit(INTERRUPTED)
    fourvane()
