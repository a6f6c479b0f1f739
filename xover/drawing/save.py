"""Save a figure: the format by the name's ending, the same bytes each time."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from xover.drawing.style import look
from xover.errors import OptionError
from xover.files.atomic import check_target, write_bytes

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# No date and no version of a library: the same figure gives the same file.
METADATA: Final[dict[str, dict[str, Any]]] = {
    "png": {"Software": "xover"},
    "svg": {"Creator": "xover", "Date": None},
    "pdf": {"Creator": "xover", "Producer": None, "CreationDate": None},
}


def save_figure(figure: Figure, path: Path | str, force: bool = False) -> None:
    """Write a figure as .png, .svg or .pdf, whole or not at all. Text stays text in SVG and PDF.

    Raises
    ------
    OptionError : the name ends in none of the three.
    InputError : the file exists and `force` is not given, or it cannot be written.
    """
    write_bytes(path, figure_bytes(figure, _kind(Path(path))), force)


def check_figure(path: Path | str, force: bool = False) -> None:
    """Raise at once what `save_figure` would raise for this name, before there is anything to draw."""
    _kind(Path(path))
    check_target(path, force)


def _kind(path: Path) -> str:
    kind = path.suffix.lower().removeprefix(".")
    if kind not in METADATA:
        raise OptionError(f"a figure cannot be written as '{path.name}'", "end the name in .png, .svg or .pdf")
    return kind


def figure_bytes(figure: Figure, kind: str) -> bytes:
    """The figure as a file of one of the kinds "png", "svg" and "pdf" holds it."""
    memory = BytesIO()
    with look():
        figure.savefig(memory, format=kind, dpi=figure.dpi, metadata=METADATA[kind])
    return memory.getvalue()
