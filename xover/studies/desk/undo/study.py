"""The last change of a folder taken back."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from xover.blocks import Block, Text
from xover.files.changes import take_back
from xover.files.links import FILE_NAME


@dataclass(frozen=True)
class Undone:
    """What was taken back, or with `looked` would be.

    Attributes
    ----------
    removed : names of files that had not been there. put_back : of those that are again as they were.
    left : how many earlier changes can be undone too.
    """

    folder: Path
    looked: bool
    removed: tuple[str, ...]
    put_back: tuple[str, ...]
    left: int


def undone(folder: Path, look: bool = False) -> Undone:
    """Raises as `files.changes.take_back`."""
    named = folder.suffix.lower() == Path(FILE_NAME).suffix and not os.path.isdir(folder)
    file = folder if named else folder / FILE_NAME
    told = take_back(file, look)
    return Undone(file.parent, look, told.removed, told.put_back, told.left)


def tell(result: Undone) -> Iterator[Block]:
    """Each file and what became of it."""
    done = [f"{name} removed" for name in result.removed]
    done += [f"{name} put back as it was" for name in result.put_back]
    yield Text(f"{'Would be undone' if result.looked else 'Undone'}: {', '.join(done)}.", flush=True)
    if result.left:
        yield Text(f"{result.left} earlier change{'s' if result.left > 1 else ''} can be undone too.", flush=True)
