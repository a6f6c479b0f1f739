"""One function that turns any result into plain JSON values."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from enum import Enum
from pathlib import Path
from typing import Any

import numpy as np


def to_plain(value: Any) -> Any:
    """Turn a result into dicts, lists, numbers, strings and None.

    A dataclass becomes an object of its fields, unless it has a method `plain()` that gives the
    shape that the blueprint fixes. NaN and infinity become None: JSON has no word for them, and a
    value that was not measured is null. Complex numbers are never written: a result turns them
    into magnitude and phase first, so one that reaches here raises TypeError.
    """
    if hasattr(value, "plain") and not isinstance(value, type):
        return to_plain(value.plain())
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: to_plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(k): to_plain(v) for k, v in value.items()}
    if isinstance(value, np.ndarray):
        return [to_plain(v) for v in value.tolist()]
    if isinstance(value, list | tuple | set | frozenset):
        return [to_plain(v) for v in value]
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Path):
        return str(value)
    if isinstance(value, bool) or value is None or isinstance(value, str | int):
        return value
    if isinstance(value, np.generic):
        return to_plain(value.item())
    if isinstance(value, float):
        return value if np.isfinite(value) else None
    raise TypeError(f"no JSON for {type(value).__name__}")
