"""The flight core's source, read: its language, the proof of its bounds, C99 made from it, and
machine code for rows side by side.

Imports `mixer.flight` and nothing else of this project.
"""

LANES = 16  # rows side by side: words of theirs fill one of the widest vector registers
