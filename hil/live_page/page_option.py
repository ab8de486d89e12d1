"""The option by which a run is shown on a live page."""

import click

PAGE = click.option(
    "--page",
    is_flag=True,
    help="Show the run on a live page too, on this machine alone; its address is printed.",
)
