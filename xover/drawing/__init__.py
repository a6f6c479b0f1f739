"""Figures, drawn from result objects. matplotlib is imported only once something is drawn."""

from xover.drawing.levels import draw_prediction
from xover.drawing.load import draw_load
from xover.drawing.save import save_figure
from xover.drawing.sensitivity import draw_sensitivity

__all__ = ["draw_load", "draw_prediction", "draw_sensitivity", "save_figure"]
