"""What a report was asked for, and the jobs that it is made of: each process does them from one opened speaker."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any, Final, TypeVar

from xover.blocks import FAULT, GONE, Picture, Text
from xover.curve import Float, log_grid
from xover.drawing.page import inline_page
from xover.errors import InputError, XoverError
from xover.network import Network
from xover.parts.catalogue import Catalogue
from xover.parts.stock import open_stock
from xover.sentences import sentence
from xover.speaker import Speaker, open_speaker
from xover.studies.change.decide.option import DecisionCase
from xover.studies.change.decide.setup import SpeakerWith
from xover.studies.change.decide.study import set_up

Kind = TypeVar("Kind")
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


class Workshop:
    """The speaker, the parts on sale, and what the decision is worked out from."""

    def __init__(self, request: Request) -> None:
        self.request = request
        self.speaker = open_speaker(request.path)
        self.frequency_hz: Float = log_grid(20.0, 20_000.0, PER_OCTAVE)

    @cached_property
    def catalogue(self) -> Catalogue:
        """What may be bought."""
        return Catalogue(open_stock(self.request.stock) if self.request.stock is not None else None)

    @cached_property
    def case(self) -> DecisionCase:
        """What the options are worked out from."""
        return set_up(
            self.speaker,
            self.catalogue,
            mate=self.request.mate,
            seed=self.request.seed,
            most_cost=self.request.most_cost,
            maps=True,
            frequency_hz=self.frequency_hz,
        )

    def with_networks(self, proposed: Mapping[str, Network]) -> Speaker:
        """The speaker with networks that do not stand in its folder."""
        if not proposed:
            return self.speaker
        return SpeakerWith(self.speaker.file, self.speaker.drivers, proposed)


@lru_cache(maxsize=1)
def open_workshop(request: Request) -> Workshop:
    """The workshop of this process. Raises InputError, OptionError."""
    return Workshop(request)


@dataclass(frozen=True)
class NotKnown:
    """An answer that could not be worked out from what the folder has."""

    why: str

    def box(self, what: str) -> Text:
        """What stands in its place."""
        return Text(f"Not told: {what}. {sentence(self.why)}", GONE)


@dataclass(frozen=True)
class Fault(NotKnown):
    """An answer that a fault of xover itself has kept from being worked out; `why` tells the kind of error."""

    def box(self, what: str) -> Text:
        """What stands in its place, and what to do."""
        return Text(
            f"Not told: {what}. This is a fault of xover itself, not of your files ({self.why}); the rest of the page "
            "stands. Set XOVER_DEBUG=1, run it again, and report what it prints.",
            FAULT,
        )


def attempt(work: Callable[..., Kind], *given: Any) -> Kind | NotKnown:
    """What `work` gives, else why it gives nothing, as `NotKnown`; with XOVER_DEBUG a fault of our own is raised."""
    try:
        return work(*given)
    except InputError as fault:  # a page that is mailed tells no folders of this machine
        line = "" if fault.line is None else f", line {fault.line}"
        place = "" if fault.path is None else f" ({fault.path.name}{line})"
        return NotKnown(" ".join(str(InputError(f"{fault.problem}{place}", fault.remedy)).split()))
    except XoverError as fault:
        return NotKnown(" ".join(str(fault).split()))
    except Exception as fault:
        if os.environ.get("XOVER_DEBUG"):
            raise
        words = "".join(c if c.isprintable() else " " for c in f"{type(fault).__name__}: {fault}"[:1000])
        return Fault(" ".join(words.split())[:200])


@dataclass(frozen=True, eq=False)
class Answer:
    """A study and its figure, or what stands in the place of one that could not be drawn."""

    study: Any
    picture: Picture | Text


@dataclass(frozen=True)
class Job:
    """A piece of work: a function of a module that takes the workshop and what is given.

    Attributes
    ----------
    name : of the answer. words : what is going on.
    """

    name: str
    words: str
    work: Callable[..., Any]
    given: tuple[Any, ...] = ()


def do(request: Request, job: Job) -> Any:
    """Its answer, worked out in this process, or why there is none; see `attempt`."""

    def work() -> Any:
        with inline_page(notes=False):  # the page shows the notes of a figure as text
            return job.work(open_workshop(request), *job.given)

    return attempt(work)
