"""The flight core's source, read: its language, the proof of its bounds, C99 made from it.

Imports `mixer.flight` and nothing else of this project.
"""
