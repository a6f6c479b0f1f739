"""Figures, drawn from result objects. matplotlib is imported only once something is drawn."""

from xover.drawing.levels import draw_prediction
from xover.drawing.load import draw_load
from xover.drawing.save import save_figure

__all__ = ["draw_load", "draw_prediction", "save_figure"]
