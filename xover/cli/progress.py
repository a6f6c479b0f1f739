"""A progress bar on standard error, where a person looks at it."""

from __future__ import annotations

import sys
import time
from types import TracebackType

import typer

from xover.blocks import SCREEN_COLUMNS
from xover.cli.show import clean

PATIENCE_S = 1.0
"""A bar is shown from then on, unless it is told otherwise."""
BAR = 40
SHORT_BAR = 20
"""Beside words."""


class ProgressBar:
    """A bar on a terminal, wiped at the end; a pipe or a file gets nothing of it.

    Parameters
    ----------
    patience_s : nothing is shown before so many seconds have gone; by default `PATIENCE_S`.
    """

    def __init__(self, patience_s: float | None = None) -> None:
        self._from = time.monotonic() + (PATIENCE_S if patience_s is None else patience_s)
        self._shown = ""

    def __call__(self, done: float, words: str = "") -> None:
        """Show the share done, 0 to 1, and what is going on in a few words."""
        if time.monotonic() < self._from or not sys.stderr.isatty():
            return
        wide = SHORT_BAR if words else BAR
        text = f"[{'#' * round(wide * done):<{wide}}] {100 * done:3.0f} % {clean(words)}".rstrip()[: SCREEN_COLUMNS - 1]
        if text != self._shown:
            # Blanks over what a longer line has left behind.
            typer.echo("\r" + text.ljust(len(self._shown)), err=True, nl=False)
            self._shown = text

    def wipe(self) -> None:
        """Leave nothing of it behind."""
        if self._shown:
            typer.echo("\r" + " " * len(self._shown) + "\r", err=True, nl=False)
            self._shown = ""

    def __enter__(self) -> ProgressBar:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.wipe()
