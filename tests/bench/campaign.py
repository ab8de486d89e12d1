"""A campaign in this tree and in another one, in processor time of one worker.

python -m tests.bench.campaign OTHER_TREE [--flights 1000]

Each tree flies its own demo vehicle; the first flights, which may compile, are not counted.
"""

import os
import resource
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import click

HERE = Path(__file__).parents[2]
COMMAND = """
try:
    from mixer.ground.command_line.fourvane import fourvane
except ImportError:  # before ground had packages
    from mixer.ground.command import fourvane
fourvane()
"""


def seconds(tree: Path, flights: int) -> float:
    """Processor time of a campaign, its worker's included."""
    with tempfile.TemporaryDirectory() as folder:
        for file in (tree / "mixer/ground/demo").iterdir():
            if file.is_file():
                shutil.copy(file, folder)
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run(
            [sys.executable, "-c", COMMAND, "campaign", "demo.toml",
             "--flights", str(flights), "--workers", "1"],
            cwd=folder,
            env={**os.environ, "PYTHONPATH": str(tree)},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            check=False,  # a requirement that is not met says nothing about speed
        )  # fmt: skip
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


@click.command()
@click.argument("other", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--flights", default=1000, show_default=True)
def main(other: Path, flights: int) -> None:
    """Time campaigns of OTHER and of this tree."""
    trees = (other.resolve(), HERE)
    for tree in trees:
        seconds(tree, 1)
    theirs, ours = (seconds(tree, flights) for tree in trees)
    click.echo(
        f"{flights} flights: {theirs:.1f} s, {ours:.1f} s: {theirs / ours:.2f} times as fast"
    )


if __name__ == "__main__":
    main()
