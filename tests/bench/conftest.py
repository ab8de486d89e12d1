"""Benchmarks are collected where asked for (`pytest -n 0 tests/bench`) and not otherwise."""

from pathlib import Path

import pytest

HERE = Path(__file__).parent


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    asked = [Path(argument.split("::")[0]).resolve() for argument in config.args]
    return None if any(path.is_relative_to(HERE) for path in asked) else True
