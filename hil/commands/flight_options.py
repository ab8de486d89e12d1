"""Arguments and options that the commands with simulated flights share."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from mixer.ground.command_line.path_options import RESULT, SOURCE

Decorator = Callable[[Any], Any]

vehicle_argument = click.argument("vehicle_file", metavar="VEHICLE", type=SOURCE)
no_watch_option = click.option(
    "--no-watch", is_flag=True, help="Vanes have no angle sensors: no jam is noticed."
)
first_seed_option = click.option(
    "--first-seed", type=click.IntRange(0, 2**53), default=1, show_default=True
)
workers_option = click.option(
    "--workers", type=click.IntRange(1, 1024), help="Processes; by default all cores."
)
cluster_option = click.option(
    "--cluster",
    metavar="ADDRESS",
    help="A Dask cluster to fly on instead. Whoever runs it, or can reach its ports, can run any "
    "program as you on this machine, and reads your vehicle file: only one that is yours, on a "
    "network that is yours, or by TLS (tls://...).",
)
cluster_tls_option = click.option(
    "--cluster-tls",
    "tls_files",
    nargs=3,
    metavar="CA CERT KEY",
    type=SOURCE,
    help="For a cluster at tls://...: its authority's certificate, your certificate, your key, as "
    "PEM files. Then only who has a certificate of that authority takes part.",
)


def report_option(name: str, more: str = "") -> Decorator:
    """Where the report goes, `name` unless said otherwise."""
    return click.option(
        "--report",
        "report_file",
        type=RESULT,
        default=Path(name),
        show_default=True,
        help=f"Where the report goes{more}.",
    )
