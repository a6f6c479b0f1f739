"""A speaker with networks that stand in no file: to try a change before anything is written."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from xover.errors import OptionError
from xover.network import Network
from xover.speaker.speaker import Speaker


@dataclass(frozen=True, eq=False, repr=False)
class TrialSpeaker(Speaker):
    """A speaker as its folder describes it, and networks beside those of the folder.

    Attributes
    ----------
    trials : by name; each binds drivers of this speaker only.
    """

    trials: Mapping[str, Network] = field(default_factory=dict)

    @property
    def network_names(self) -> tuple[str, ...]:
        """The named networks of the folder, then those that are tried."""
        return (*self.file.speaker.networks, *self.trials)

    def network(self, name: str) -> Network:
        """As ever, or the one that is tried."""
        return self.trials[name] if name in self.trials else super().network(name)


def with_trial(speaker: Speaker, name: str, network: Network) -> TrialSpeaker:
    """The speaker with one more network, or with that one in the place of an earlier trial.

    Parameters
    ----------
    network : of the same drivers.

    Raises
    ------
    OptionError : the folder has a network of that name, or a driver is not this speaker's.
    """
    if name in speaker.file.speaker.networks:
        raise OptionError(f"{speaker.file.path} has a network '{name}' already", "try it under another name")
    strange = [d for d in network.driver_names if d not in speaker.drivers]
    if strange:
        raise OptionError(
            f"{speaker.file.path} has no driver '{strange[0]}'", f"it has {', '.join(speaker.drivers) or 'none'}"
        )
    trials = dict(speaker.trials) if isinstance(speaker, TrialSpeaker) else {}
    return TrialSpeaker(speaker.file, speaker.drivers, {**trials, name: network})
