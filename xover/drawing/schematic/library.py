"""A copy of schemdraw of our own.

Loaded the plain way schemdraw imports pyplot for a canvas that we do not use, which takes most of a second and picks
a screen for the user's notebook; and it keeps a stack of open drawings, into which our symbols would fall if the user
has one open. Our copy has no such canvas, and the user's own, loaded before or after, is left as it is.
"""

from __future__ import annotations

import sys
from functools import cache
from importlib import import_module
from threading import Lock
from types import ModuleType
from typing import Final, NamedTuple

_NAME: Final = "schemdraw"
_SCREEN_CANVAS: Final = "schemdraw.backends.mpl"
_LOADING: Final = Lock()


class Library(NamedTuple):
    """The modules that a drawing takes its symbols and its canvas from."""

    elements: ModuleType
    canvas: ModuleType
    transform: ModuleType


def load() -> Library:
    """The library, loaded once."""
    with _LOADING:
        return _load()


@cache
def _load() -> Library:
    theirs = _take_out()
    try:
        sys.modules[_SCREEN_CANVAS] = None  # type: ignore[assignment]  # an import of it fails, as without matplotlib
        return Library(*(import_module(f"{_NAME}.{part}") for part in ("elements", "backends.svg", "transform")))
    finally:
        _take_out()
        sys.modules.update(theirs)


def _take_out() -> dict[str, ModuleType]:
    """Forget the package and all its modules; gives what there was."""
    names = [name for name in sys.modules if name == _NAME or name.startswith(_NAME + ".")]
    return {name: sys.modules.pop(name) for name in names}
