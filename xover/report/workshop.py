"""One opened speaker in each process, from which all answers of a report are worked out."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property, lru_cache

from xover.curve import Float, log_grid
from xover.network import Network
from xover.parts.catalogue import Catalogue
from xover.parts.stock import open_stock
from xover.report.request import PER_OCTAVE, Request
from xover.speaker import Speaker, open_speaker
from xover.studies.change.decide.option import Case
from xover.studies.change.decide.setup import SpeakerWith
from xover.studies.change.decide.study import set_up


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
    def case(self) -> Case:
        """What the options are worked out from."""
        return set_up(
            self.speaker,
            self.catalogue,
            seed=self.request.seed,
            most_cost=self.request.most_cost,
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
