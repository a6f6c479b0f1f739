"""One function that turns any result into plain JSON values."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from enum import Enum
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray


def to_plain(value: Any) -> Any:
    """Turn a result into dicts, lists, numbers, strings and None.

    A dataclass becomes an object of its fields, unless it has a method `plain()` that gives the
    shape that the blueprint fixes. NaN and infinity become None: JSON has no word for them, and a
    value that was not measured is null. Complex numbers are never written: a result turns them
    into magnitude and phase first, so one that reaches here raises TypeError.
    """
    if isinstance(value, float):  # first, as most values are
        return value if math.isfinite(value) else None
    if hasattr(value, "plain") and not isinstance(value, type):
        return to_plain(value.plain())
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: to_plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(k): to_plain(v) for k, v in value.items()}
    if isinstance(value, np.ndarray):
        return _array(value)
    if isinstance(value, list | tuple | set | frozenset):
        return [to_plain(v) for v in value]
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Path):
        return str(value)
    if value is None or isinstance(value, bool | str | int):
        return value
    if isinstance(value, np.generic):
        return to_plain(value.item())
    raise TypeError(f"no JSON for {type(value).__name__}")


def _array(value: NDArray[Any]) -> list[Any]:
    """A numeric array at once; anything else item by item."""
    if value.dtype.kind == "f" and value.ndim == 1:
        listed: list[Any] = value.tolist()
        for row in np.flatnonzero(~np.isfinite(value)):
            listed[row] = None
        return listed
    return [to_plain(v) for v in (value if value.ndim > 1 else value.tolist())]
