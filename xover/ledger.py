"""What became of every line of a file of measurements, so that none is lost in silence."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

MOST_SPANS: Final = 5
"""Lines, or runs of them, that are named in a sentence."""


@dataclass(frozen=True)
class Ledger:
    """The lines of a file, each counted once.

    Attributes
    ----------
    lines : of the file. rows : read as numbers. blank : with nothing on them. others : headings and comments.
    not_read : numbers, from 1, of lines that were taken for comments although they look like rows, or stand among them.
    """

    lines: int
    rows: int
    not_read: tuple[int, ...]
    blank: int

    @property
    def others(self) -> int:
        """Headings and comments."""
        return self.lines - self.rows - len(self.not_read) - self.blank


def counted(text: str, rows: int, not_read: Iterable[int], blank: int) -> Ledger:
    r"""The ledger of a text whose lines end in "\n", the last one with it or without."""
    return Ledger(text.count("\n") + (text[-1:] not in ("\n", "")), rows, tuple(not_read), blank)


def spans(numbers: Iterable[int], most: int | None = None) -> str:
    """Rising numbers in few letters, '12-14, 20'; beyond `most` of them how many more there are."""
    runs = [
        [number for _, number in run]
        for _, run in itertools.groupby(enumerate(numbers), key=lambda pair: pair[1] - pair[0])
    ]
    shown = runs if most is None or len(runs) <= most + 1 else runs[:most]
    words = ", ".join(f"{run[0]}" if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in shown)
    more = sum(len(run) for run in runs[len(shown) :])
    return f"{words} and {more} more" if more else words
