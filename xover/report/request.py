"""What a report was asked for."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

PER_OCTAVE: Final = 48
BUILDS: Final = 2000
"""Builds of the tolerance figure; `xover tolerance` draws more."""


@dataclass(frozen=True)
class Request:
    """What a report was asked for.

    Attributes
    ----------
    path : speaker folder, or its speaker.toml.
    networks : networks to show beside the present one; the last one is what is to be built. Empty: what is decided.
    stock : price list, or None. mate : folder of the other speaker of the pair, or None.
    most_cost : what one speaker's parts may cost. seed : of all drawing of lots.
    token : differs from one report to the next, so that nothing is kept from one to the other.
    """

    path: Path
    networks: tuple[str, ...] = ()
    stock: Path | None = None
    mate: Path | None = None
    most_cost: float | None = None
    seed: int = 1
    token: str = ""
