"""Figures and schematics, from result objects. matplotlib is imported only once something is drawn."""

from __future__ import annotations

from importlib import import_module
from typing import Any, Final

_FROM: Final = {
    "draw_load": "does",
    "draw_prediction": "levels",
    "draw_schematic": "schematic",
    "draw_sensitivity": "does",
    "save_figure": "save",
    "save_schematic": "save",
}

__all__ = ["draw_load", "draw_prediction", "draw_schematic", "draw_sensitivity", "save_figure", "save_schematic"]


def __getattr__(name: str) -> Any:
    """Each name is loaded when it is asked for: a schematic needs none of the figures."""
    if name in _FROM:
        return getattr(import_module(f"xover.drawing.{_FROM[name]}"), name)
    raise AttributeError(f"module {__name__} has no attribute {name}")
