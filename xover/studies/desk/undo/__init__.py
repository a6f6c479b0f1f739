"""Take back what was written into a folder last."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from xover.declare import Ask, question
from xover.units import FOLDER, YES

if TYPE_CHECKING:
    from xover.studies.desk.undo.study import Undone


@question(told_in="study")
def undo(
    folder: Annotated[Path, Ask("Speaker folder, or its speaker.toml.", FOLDER, place=True)],
    *,
    look: Annotated[bool, Ask("Tell what would be undone, and change nothing.", YES)] = False,
) -> "Undone":
    """Take back the last change that was written into a folder.

    That of --write, of --into, of new --force and of add_network; again and again, up to 20 changes. Where one of the
    files has changed since, nothing is undone. Pages, figures and files named with --output or --plot are left alone.

    Example: xover undo my-speaker

    >>> speaker = speaker.undo()
    """
    from xover.studies.desk.undo.study import undone

    return undone(folder, look)
