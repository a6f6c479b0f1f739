"""Reports of the examples, each made once in a run, however many workers the run has; and the words of a page.

made = made_report("attic", shared)    # shared: a folder that all workers know
"""

from __future__ import annotations

import contextlib
import os
import pickle
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from html.parser import HTMLParser
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

from xover.bench.build_steps import BuildOrder
from xover.figures import noting
from xover.report.answers import Answers
from xover.report.report import Report, make_report
from xover.report.workshop import NotKnown

EXAMPLES: Final = Path(__file__).parents[2] / "examples"
DAY: Final = date(2031, 2, 3)
ATTIC: Final = EXAMPLES / "attic-two-way"
FOLDERS: Final[Mapping[str, Path]] = MappingProxyType(
    {"attic": ATTIC / "left", "hall": EXAMPLES / "hall-horn-two-way", "studio": EXAMPLES / "studio-three-way"}
)
GIVEN: Final[Mapping[str, Mapping[str, Path]]] = MappingProxyType(
    {
        "attic": {"stock": EXAMPLES / "stock.csv"},
        "pair": {"mate": ATTIC / "right", "stock": EXAMPLES / "stock.csv"},
    }
)
MORE: Final[Mapping[str, Path]] = MappingProxyType({"right": ATTIC / "right", "pair": ATTIC / "left"})
DATASHEETS: Final = "datasheets"
LONGEST_WAIT_S: Final = 300.0


@dataclass(frozen=True)
class Made:
    """A page and what its studies say, as plain data that travels between workers.

    Attributes
    ----------
    answer : of the decision. built : name of the network to be built; new : whether it differs from what is there.
    present : name of the network that is there. notes : figures that were written, as `figures.noting` gives them.
    first_reading, first_whole : the first DC reading of the build order, and the first of the finished board.
    not_known : why answers are missing, by name. answers : all of them.
    """

    folder: Path
    html: str
    title: str
    standing: str
    answer: str
    built: str
    new: bool
    first_reading: str
    first_whole: str
    not_known: Mapping[str, str]
    present: str
    notes: tuple[tuple[str, str, str], ...]
    answers: Answers


def made_report(name: str, shared: Path) -> Made:
    """The report of an example, or of a folder as `xover new` makes it."""
    return once(shared / name, lambda: _make(name, shared))


def _make(name: str, shared: Path) -> Made:
    folder = FOLDERS.get(name) or MORE.get(name) or new_folder(shared / "new")
    with noting() as notes:
        report = make_report(folder, **GIVEN.get(name, {}), today=DAY)
    return told(folder, report, notes)


def new_folder(folder: Path) -> Path:
    """A folder with datasheets only."""
    from xover.cli.main import main

    with open(os.devnull, "w") as nowhere, contextlib.redirect_stdout(nowhere):
        assert main(["new", str(folder), "--circuit", "two-way-second-order"]) == 0
    toml = folder / "speaker.toml"
    lines = [line for line in toml.read_text().splitlines() if not line.startswith("instrument")]
    toml.write_text("\n".join(lines).replace("fs_hz = 55", "fs_hz = 52").replace("fs_hz = 1000", "fs_hz = 1010") + "\n")
    for name, farad in (("found.cir", "4.1uF"), ("original.cir", "4.0uF")):
        (folder / name).write_text((folder / name).read_text().replace("3.9uF", farad))
    return folder


def told(folder: Path, report: Report, notes: Sequence[tuple[str, str, str]]) -> Made:
    """What the tests need of a report."""
    order = report.answers.study("build", BuildOrder)
    readings = [c.reading for s in order.sections for step in s.steps for c in step.checks] if order else []
    return Made(
        folder=folder,
        html=report.html,
        title=report.title,
        standing=report.standing,
        answer=report.answers.decision.answer,
        built=report.answers.build.name,
        new=report.answers.build.new,
        first_reading=readings[0] if readings else "",
        first_whole=order.whole_dc[0].reading if order else "",
        not_known={k: a.why for k, a in report.answers.known.items() if isinstance(a, NotKnown)},
        present=report.answers.present,
        notes=tuple(notes),
        answers=report.answers,
    )


def once(path: Path, make: Callable[[], Any]) -> Any:
    """What `make` gives, kept in a file; another worker that wants the same waits for it instead of making it too."""
    kept, lock = path.with_suffix(".kept"), path.with_suffix(".lock")
    ends = time.monotonic() + LONGEST_WAIT_S
    while True:
        if kept.exists():
            return pickle.loads(kept.read_bytes())
        try:
            lock.mkdir()
        except FileExistsError:
            assert time.monotonic() < ends, f"{path.name} was begun by another worker and never finished"
            time.sleep(0.1)
            continue
        try:
            made = make()
            part = path.with_suffix(".part")
            part.write_bytes(pickle.dumps(made))
            part.rename(kept)
            return made
        finally:
            lock.rmdir()


class _Words(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.open: list[str] = []

    def handle_starttag(self, tag: str, _attributes: list[tuple[str, str | None]]) -> None:
        self.open.append(tag)
        if tag == "wbr":  # a place to break a word is no end of it
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        while self.open and self.open.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.found.append(data)


def texts_of(html: str) -> list[str]:
    """The pieces of text of a page as its markup holds them, words in drawings too, places to break them taken out."""
    parser = _Words()
    parser.feed(html.replace("<wbr>", ""))
    parser.close()
    return parser.found


def words_of(html: str) -> str:
    """The text of a page, runs of blanks as one."""
    return " ".join(" ".join(texts_of(html)).split())
