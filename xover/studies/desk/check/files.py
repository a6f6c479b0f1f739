"""What was read of each file of measurements: rows, band, lines that did not read, and gaps."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from xover.blocks import Block, Head, Items, table
from xover.curve import Curve, Float
from xover.ledger import MOST_SPANS, spans
from xover.plain import some_of
from xover.quantity import hertz
from xover.speaker import Speaker

MOST_FILES: Final = 4
"""Files that are told one by one, unless all is asked for or lines of them did not read."""
MOST_GAPS: Final = 3
_BESIDE: Final = 8
"""Steps to either side of one that say what is usual there."""
_EVEN: Final = 0.15
_WIDE: Final = (1.75, 2.5)
"""A step so many times the usual is a gap: where the steps beside it are even (middle half within that share), else."""


@dataclass(frozen=True)
class Gap:
    """A hole in a sweep, so many times as wide as the steps beside it."""

    from_hz: float
    to_hz: float
    times: float


@dataclass(frozen=True)
class SweepFile:
    """A file of one or more drivers.

    Attributes
    ----------
    file : as speaker.toml names it. rows : lines read as numbers. not_read : lines, from 1, left out as comments
        although they look like rows or stand among them. others : headings and comments.
    band_hz : lowest and highest frequency. sure : largest uncertainty that the file states, as a share, and where;
        None where it states none.
    """

    file: str
    rows: int
    not_read: tuple[int, ...]
    others: int
    band_hz: tuple[float, float]
    gaps: tuple[Gap, ...]
    sure: tuple[float, float] | None = None

    def plain(self) -> dict[str, Any]:
        """The number of lines not read, and their own in few letters."""
        names = "file rows band_hz gaps"
        return some_of(
            self, names, not_read=len(self.not_read), lines_not_read=spans(self.not_read), others=self.others
        ) | ({} if self.sure is None else dict(zip(("stated_uncertainty", "stated_at_hz"), self.sure, strict=True)))

    def told(self, everything: bool) -> str:
        """In one sentence."""
        words = f"{self.file}: {self.rows} rows, {hertz(self.band_hz[0])} to {hertz(self.band_hz[1])}"
        if self.sure is not None:
            words += f"; sure to {100.0 * self.sure[0]:.2g} % at worst, at {hertz(self.sure[1])}, as it says itself"
        if self.not_read:
            named = spans(self.not_read, None if everything else MOST_SPANS)
            words += f"; {len(self.not_read)} line{'s' * (len(self.not_read) > 1)} not read: {named}"
        if everything:
            words += f"; {self.others} of headings or comments" if self.others else ""
            words += f"; {self.gaps_told}" if self.gaps else ""
        return words

    @property
    def gaps_told(self) -> str:
        """The widest gaps in words; empty without any."""
        widest = sorted(sorted(self.gaps, key=lambda gap: -gap.times)[:MOST_GAPS], key=lambda gap: gap.from_hz)
        shown = ", ".join(
            f"{hertz(gap.from_hz)} to {hertz(gap.to_hz)} ({gap.times:.0f} times the usual step)" for gap in widest
        )
        more = f" and in {len(self.gaps) - len(widest)} more gaps" if len(self.gaps) > len(widest) else ""
        return f"no row from {shown}{more}" if shown else ""


def sweep_files(speaker: Speaker) -> tuple[SweepFile, ...]:
    """Every file of measurements that a speaker's drivers name, each once, in their order."""
    found: dict[str, SweepFile] = {}
    for name, entry in speaker.file.speaker.drivers.items():
        driver = speaker.drivers[name]
        for file, curve in ((entry.impedance, driver.impedance), (entry.response, driver.response)):
            if file is not None and curve is not None and file not in found:
                found |= {made.file: made for made in _of_curve(file, curve)}
    return tuple(found.values())


def _of_curve(file: str, curve: Curve) -> Iterator[SweepFile]:
    ledger = curve.ledger
    if ledger is not None:
        band = curve.lowest_hz, curve.highest_hz
        sure = None if curve.stated is None else curve.stated.worst()
        yield SweepFile(file, ledger.rows, ledger.not_read, ledger.others, band, gaps_of(curve.frequency_hz), sure)


def gaps_of(frequency_hz: Float) -> tuple[Gap, ...]:
    """Where steps are wider than those beside them, in Hz and in ln f: even steps of either kind have none."""
    if frequency_hz.size < 2 * _BESIDE:
        return ()
    steps = np.stack([np.diff(frequency_hz), np.diff(np.log(frequency_hz))])
    padded = np.pad(steps, ((0, 0), (1, 1)), mode="reflect")
    # Few rows are looked at: those that are wider than one of their neighbours.
    at = np.flatnonzero((steps > _WIDE[0] * np.minimum(padded[:, :-2], padded[:, 2:])).all(axis=0))
    near = np.clip(at[:, None] + np.arange(-_BESIDE, _BESIDE + 1), 0, steps.shape[1] - 1)
    window = np.sort(steps[:, near], axis=2)
    usual = window[:, :, _BESIDE]
    spread = ((window[:, :, _BESIDE + _BESIDE // 2] - window[:, :, _BESIDE - _BESIDE // 2]) / usual).min(axis=0)
    times = (steps[:, at] / usual).min(axis=0)
    wide = times >= np.where(spread < _EVEN, *_WIDE)
    ends = zip(frequency_hz[at[wide]].tolist(), frequency_hz[at[wide] + 1].tolist(), times[wide].tolist(), strict=True)
    return tuple(Gap(*end) for end in ends)


def told_files(files: Sequence[SweepFile], everything: bool) -> Iterator[Block]:
    """One line a file; of many that read whole only how many more there are."""
    if not files:
        return
    first = sorted(files, key=lambda file: not file.not_read)
    doubtful = sum(bool(file.not_read) for file in files)
    most = len(files) if everything or len(files) <= MOST_FILES + 1 else max(MOST_FILES, doubtful)
    items = [file.told(everything) for file in first[:most]]
    more = len(files) - most
    if more > 0:
        items.append(f"and {more} more files, every row of them read: see --all")
    yield Head("The files, as they were read")
    yield Items(tuple(items))


def files_table(files: Sequence[SweepFile]) -> Block:
    """The same for the page."""
    rows = [
        [f.file, f"{f.rows}", *map(hertz, f.band_hz), spans(f.not_read, MOST_SPANS) or "none", f.gaps_told or "none"]
        for f in files
    ]
    return table(
        "What was read of each file", ["file", "rows", "from", "to", "lines not read", "gaps"], rows, numbers=(1,)
    )
