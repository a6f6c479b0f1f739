"""A search that was stopped hands on what it had."""

from __future__ import annotations

from typing import Any


class StoppedError(KeyboardInterrupt):
    """Raised in place of a KeyboardInterrupt by a search that had something already.

    Attributes
    ----------
    partial : what it would have returned, as good as it was by then.
    """

    def __init__(self, partial: Any) -> None:
        super().__init__("stopped")
        self.partial = partial
