"""Facts: for other programs as JSON knows them, for people as counted things."""

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any


def plain(value: Any) -> Any:
    """A value made of what JSON knows."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if hasattr(value, "tolist"):  # arrays and numbers of numpy, which need not be imported here
        return plain(value.tolist())
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return str(value) if isinstance(value, Path) else value


def counted(count: int, name: str) -> str:
    """'1 row', '12 300 rows'."""
    return f"{count:,} {name}{'' if count == 1 else 's'}".replace(",", "\N{NARROW NO-BREAK SPACE}")
