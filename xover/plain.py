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

from xover.declare import declared


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
        shape = value.plain()
        if dataclasses.is_dataclass(value) and isinstance(shape, Mapping):
            shape = dict(shape) | {k: v for k, v in _figures(value).items() if k not in shape}
        return to_plain(shape)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        keys = {name: fig.json for name, fig in declared(value)}
        named = {f.name: keys.get(f.name, f.name) for f in dataclasses.fields(value)}
        return {key or name: to_plain(getattr(value, name)) for name, key in named.items() if key is not None}
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


def fields_of(result: Any, **keys: str | None) -> dict[str, Any]:
    """Fields of a dataclass for its method `plain`: by their own names or other keys; None leaves one out."""
    named = {f.name: keys.get(f.name, f.name) for f in dataclasses.fields(result)}
    return {key: getattr(result, name) for name, key in named.items() if key is not None}


def some_of(value: Any, names: str, **more: Any) -> dict[str, Any]:
    """Some attributes of a result by their own names, and more under other ones: the shape for a `plain()`."""
    return {name: getattr(value, name) for name in names.split()} | more


def _figures(value: Any) -> dict[str, Any]:
    """Figures that the class declares, by their key."""
    return {fig.json or name: getattr(value, name) for name, fig in declared(value) if fig.json is not None}


def _array(value: NDArray[Any]) -> list[Any]:
    """A numeric array at once; anything else item by item."""
    if value.dtype.kind == "f" and value.ndim == 1:
        listed: list[Any] = value.tolist()
        for row in np.flatnonzero(~np.isfinite(value)):
            listed[row] = None
        return listed
    return [to_plain(v) for v in (value if value.ndim > 1 else value.tolist())]
