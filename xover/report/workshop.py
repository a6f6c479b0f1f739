"""What a report was asked for, and the jobs that it is made of: each process does them from one opened speaker."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any, Final

from xover.blocks import Picture
from xover.curve import Float, log_grid
from xover.drawing.page import inline_page
from xover.errors import NoSolutionError, OptionError
from xover.network import Network
from xover.parts.catalogue import Catalogue
from xover.parts.stock import open_stock
from xover.speaker import Speaker, open_speaker
from xover.studies.change.decide.option import DecisionCase
from xover.studies.change.decide.setup import SpeakerWith
from xover.studies.change.decide.study import set_up

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


@dataclass(frozen=True, eq=False)
class Answer:
    """A study and its figure."""

    study: Any
    picture: Picture


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
    """Its answer, worked out in this process; `NotKnown` where the folder does not have what it needs.

    A fault in a file is raised.
    """
    workshop = open_workshop(request)
    try:
        with inline_page(notes=False):  # the page shows the notes of a figure as text
            return job.work(workshop, *job.given)
    except (OptionError, NoSolutionError) as fault:
        return NotKnown(" ".join(str(fault).split()))
