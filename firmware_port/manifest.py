"""Freezes flight core and node into a firmware: `make ... FROZEN_MANIFEST=.../manifest.py`.

Frozen this way all is bytecode; machine code comes with `fourvane board deploy`.
The list is written by `python -m hil.boards.file_lists`.
"""
# ruff: noqa: F821
# pyright: reportUndefinedVariable=false

package(
    "mixer",
    (
        "__init__.py",
        "flight/__init__.py",
        "flight/allocate.py",
        "flight/angle_sensors.py",
        "flight/boxes.py",
        "flight/burn.py",
        "flight/checked.py",
        "flight/clamp.py",
        "flight/commands.py",
        "flight/cycle.py",
        "flight/deflect.py",
        "flight/direction.py",
        "flight/interpolate.py",
        "flight/jam_watch.py",
        "flight/layout.py",
        "flight/limits.py",
        "flight/pressure.py",
        "flight/roll_and_effort.py",
        "flight/servo_pulses.py",
        "flight/steering.py",
        "flight/tables.py",
        "flight/unfit.py",
        "flight/wanted.py",
        "flight/zonotope.py",
    ),
    base_path="..",
)
package(
    "firmware_port",
    (
        "__init__.py",
        "angle_encoder.py",
        "control.py",
        "control_check.py",
        "frames.py",
        "further_kinds.py",
        "hardware.py",
        "inquiries.py",
        "motion.py",
        "node.py",
        "outputs.py",
        "paced.py",
        "protocol.py",
        "receiver.py",
        "record_cycle.py",
        "record_frames.py",
        "record_log.py",
        "recorder.py",
        "registers.py",
        "serving.py",
        "start.py",
        "table_loading.py",
        "table_store.py",
        "vane_angles.py",
        "words.py",
        "boards/__init__.py",
        "boards/emulated.py",
        "boards/rp2.py",
        "boards/stm32.py",
        "boards/unix.py",
    ),
    base_path="..",
)
