"""`fourvane record`: the record of a test or a flight."""

import click

from hil.commands.record_tap import tap


@click.group()
def record() -> None:
    """The record of a test or a flight: what the node was told, cycle by cycle.

    Example: fourvane record tap --port /dev/ttyUSB0 --port /dev/ttyUSB1 --out flight.record
    """


record.add_command(tap)
