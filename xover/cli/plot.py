"""The figure of a result, where --plot asks for one."""

from __future__ import annotations

from pathlib import Path


def write_plot(result: object, plot: Path | None, force: bool) -> None:
    """Draw a result of a study into a file; nothing without a file. Raises OptionError, InputError."""
    if plot is not None:
        from xover.api.draw import draw

        draw(result).save(plot, force=force)
