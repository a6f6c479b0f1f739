"""Speaker: an opened folder, with its drivers and its named networks."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from xover.curve import Complex, Float
from xover.errors import InputError, OptionError, nearest_word
from xover.files.netlist import read_netlist
from xover.files.speaker import Amplifier, Listening, SpeakerFile
from xover.network import Network, build_network
from xover.readable import Readable
from xover.speaker.driver import PhaseSource, SpeakerDriver


@dataclass(frozen=True, eq=False, repr=False)
class Speaker(Readable):
    """A loudspeaker as its folder describes it.

    Attributes
    ----------
    file : speaker.toml as read.
    drivers : by the name that the netlists use.
    """

    file: SpeakerFile
    drivers: dict[str, SpeakerDriver]

    @property
    def title(self) -> str:
        """The title, or the folder's name."""
        return self.file.speaker.title or self.file.folder.name

    @property
    def amplifier(self) -> Amplifier | None:
        """What drives it now, if the file says so."""
        return self.file.speaker.amplifier

    @property
    def listening(self) -> Listening | None:
        """How loud and how far, if the file says so."""
        return self.file.speaker.listening

    @property
    def network_names(self) -> tuple[str, ...]:
        """The named networks, in the order of the file."""
        return tuple(self.file.speaker.networks)

    def default_network(self) -> str:
        """`found` where there is one, else the first. Raises InputError when there is none."""
        names = self.network_names
        if not names:
            raise InputError("names no network", 'add [networks.found] with circuit = "found.cir"', self.file.path)
        return "found" if "found" in names else names[0]

    def network_or_default(self, name: str | None) -> str:
        """The name that was given, or the folder's own default. Raises OptionError, InputError."""
        if name is not None and not isinstance(name, str):
            raise OptionError("a network is meant by its name", "write it as text, such as 'found'")
        return name if name is not None else self.default_network()

    def network(self, name: str) -> Network:
        """Read and check a named network; each of its drivers must be known here.

        The file is read again only where it has changed since.

        Raises
        ------
        OptionError : no network of that name. InputError : a fault in its netlist.
        """
        if name not in self.file.speaker.networks:
            near = nearest_word(name, self.network_names)
            known = ", ".join(self.network_names) or "none yet: add [networks.found]"
            raise OptionError(
                f"{self.file.path} has no network '{name}'", f"did you mean {near}?" if near else f"it has {known}"
            )
        path = self.file.file(self.file.speaker.networks[name].circuit)
        try:
            stamp = (path.stat().st_mtime_ns, path.stat().st_size)
        except OSError:
            return self._read(path)  # which tells what is wrong with it
        kept = self._networks.get(name)
        if kept is None or kept[0] != stamp:
            kept = self._networks[name] = stamp, self._read(path)
        return kept[1]

    @cached_property
    def _networks(self) -> dict[str, tuple[tuple[int, int], Network]]:
        """What was read, and what the file looked like then."""
        return {}

    def _read(self, path: Path) -> Network:
        network = build_network(read_netlist(path))
        for card in network.drivers:
            if card.driver not in self.drivers:
                near = nearest_word(card.driver, self.drivers)
                remedy = f"did you mean {near}?" if near else f"add [drivers.{card.driver}] there"
                raise InputError(
                    f"{card.name} binds the driver '{card.driver}', which {self.file.path.name} does not have",
                    remedy,
                    network.path,
                    card.line,
                )
        return network

    def impedances_ohm(self, network: Network, frequency_hz: Float) -> dict[str, Complex]:
        """(n,) impedance of each driver of a network, by its name; NaN where the sweep does not reach."""
        return {name: self.drivers[name].impedance_ohm(frequency_hz) for name in network.driver_names}

    def timing_is_known(self, network: Network) -> tuple[bool, str]:
        """Whether the responses share a time reference, so that one sum is right; and why, in words.

        Known: all phases measured and `timing = "common"`; or all rebuilt as minimum phase, with the
        position of every driver given.
        """
        cards = network.drivers
        sources = {self.drivers[c.driver].phase_source for c in cards}
        if len(cards) == 1:
            return True, "there is one driver only"
        if sources == {PhaseSource.MEASURED}:
            if self.file.speaker.timing == "common":
                return True, "all phases are measured against one time reference"
            return False, 'the phases were measured, but speaker.toml does not say timing = "common"'
        if sources == {PhaseSource.MINIMUM}:
            lost = [c.key for c in cards if self.drivers[c.driver].place_mm(c.name[1:]) is None]
            if not lost:
                return True, "all phases are rebuilt as minimum phase, delays come from the positions"
            return False, f"the phases are rebuilt, but no position_mm is given for {', '.join(lost)}"
        if PhaseSource.NONE in sources:
            return False, "the sound of a driver is not known"
        return False, "some phases are measured and some rebuilt, so the drivers share no time reference"
