"""Freezes node and test stand into a firmware: `make ... FROZEN_MANIFEST=.../manifest.py`.

Frozen this way all is bytecode; machine code comes with `fourvane stand play`.
The list is written by `python -m hil.boards.file_lists`.
"""
# ruff: noqa: F821
# pyright: reportUndefinedVariable=false

include("../manifest.py")

package(
    "firmware_port",
    (
        "stand/__init__.py",
        "stand/play.py",
        "stand/points.py",
        "stand/programme.py",
        "stand/protocol.py",
        "stand/rehearsed.py",
        "stand/start.py",
        "stand/sync_output.py",
    ),
    base_path="../..",
)
