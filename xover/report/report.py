"""A report: one page for the bench."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from xover import __version__
from xover.bench.missing import standing
from xover.blocks import FAULT, Section
from xover.files.atomic import write_text
from xover.readable import Readable
from xover.report.answers import Answers, gather
from xover.report.page import Page, render
from xover.report.workshop import NotKnown, Request, attempt


@dataclass(frozen=True, eq=False, repr=False)
class Report(Readable):
    """One page for the bench.

    Attributes
    ----------
    html : the page, whole: nothing is loaded from beside it or from a network.
    standing : what it rests on, its first sentence. answers : everything that it tells.
    """

    title: str
    standing: str
    html: str
    sections: tuple[Section, ...]
    answers: Answers

    @property
    def faults(self) -> tuple[str, ...]:
        """Headings of the sections in which something is not told by a fault of xover itself: it says so there."""
        return tuple(s.heading for s in self.sections if any(b.tone == FAULT for b in s.not_told))


def make_report(
    speaker: Path | str,
    *,
    networks: Sequence[str] = (),
    stock: Path | None = None,
    mate: Path | None = None,
    most_cost: float | None = None,
    seed: int = 1,
    today: date | None = None,
    processes: int = 1,
    progress: Callable[[float, str], None] = lambda _done, _words: None,
) -> Report:
    """Work out everything that a folder allows, and put it on one page.

    Parameters
    ----------
    speaker : folder, or its speaker.toml.
    networks : of the folder; the last one is what is to be built. By default what the decision recommends.
    stock : price list, the only source of parts then. mate : folder of the other speaker of the pair.
    most_cost : what one speaker's parts may cost. seed : the same seed gives the same page.
    today : the day that the page tells; by default today.
    processes : to share the work between; see `xover.pool`.
    progress : told the share done and what is going on.

    Raises
    ------
    InputError, OptionError.
    """
    request = Request(Path(speaker), tuple(networks), stock, mate, most_cost, seed)
    answers = gather(request, processes, progress)
    progress(1.0, "writing the page")
    from xover.report.contents import all_sections  # loads what the work before has no use for

    words = attempt(standing, answers.plain_speaker, answers.plain_speaker.network_names)
    if isinstance(words, NotKnown):
        words = words.box("what was measured").words
    sections = all_sections(answers)
    day = (today or date.today()).isoformat()
    made = f"Made on {day} by xover {__version__} from the folder '{answers.plain_speaker.file.folder.name}'."
    title = answers.plain_speaker.title
    html = render(Page(title, words, made, sections))
    return Report(title, words, html, sections, answers)


def write_report(report: Report, path: Path | str, force: bool = False) -> None:
    """Write the page, whole or not at all; see `files.atomic.write_text`."""
    write_text(path, report.html, force)
