"""Freezes node and servo bench into a firmware: `make ... FROZEN_MANIFEST=.../manifest.py`.

Frozen this way all is bytecode; machine code comes with `fourvane bench`.
The list is written by `python -m hil.boards.file_lists`.
"""
# ruff: noqa: F821
# pyright: reportUndefinedVariable=false

include("../manifest.py")

package(
    "firmware_port",
    (
        "bench/__init__.py",
        "bench/motion.py",
        "bench/play.py",
        "bench/protocol.py",
        "bench/start.py",
    ),
    base_path="../..",
)
