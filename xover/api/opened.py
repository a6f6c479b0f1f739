"""An opened speaker folder: its networks and drivers, and changes to try without writing anything."""

from __future__ import annotations

import html
from pathlib import Path
from typing import TYPE_CHECKING, Self

if TYPE_CHECKING:
    from xover.network import Network
    from xover.speaker import Speaker


class Opened:
    """What the folder holds. `xover.open` makes it."""

    def __init__(self, speaker: Speaker, changed: bool = False) -> None:
        self.speaker = speaker
        """What the studies work on; see `xover.speaker`."""
        self.changed = changed
        """Whether it differs from its folder: something is tried that is written nowhere."""

    @property
    def title(self) -> str:
        """The speaker's title, or the folder's name."""
        return self.speaker.title

    @property
    def folder(self) -> Path:
        """Where speaker.toml lies."""
        return self.speaker.file.folder

    @property
    def networks(self) -> tuple[str, ...]:
        """Names of the networks."""
        return self.speaker.network_names

    @property
    def drivers(self) -> tuple[str, ...]:
        """Names of the drivers."""
        return tuple(self.speaker.drivers)

    def network(self, name: str | None = None) -> Network:
        """A network with its parts; by default `found` where there is one, else the first.

        Raises
        ------
        OptionError : no network of that name. InputError : a fault in its netlist.

        Example
        -------
        >>> speaker.network("found").part("C1").farad
        """
        return self.speaker.network(self._name(name))

    def with_values(self, network: str | None = None, *, name: str = "trial", **values: float | str) -> Self:
        """What if: the same speaker with one more network, in which some parts have other values. Nothing is written.

        Parameters
        ----------
        network : the one to start from; by default `found` where there is one, else the first.
        name : of the new network.
        values : by part, in ohm, henry or farad, or as a text with its unit; losses as `L1_dcr`, `C1_esr` (ohm) and
            `C1_df` (a dissipation factor). A loss that is not named stays as it is.

        Raises
        ------
        OptionError : no such part, a value that no crossover has, or a name that the folder has already.
        InputError : a fault in the netlist.

        Example
        -------
        >>> speaker.with_values("found", C1="10uF", C1_esr=0.1).predict("trial")
        """
        from xover.network.retouch import with_values
        from xover.speaker.swap import with_trial

        return type(self)(with_trial(self.speaker, name, with_values(self.network(network), values)), changed=True)

    def with_driver(self, driver: str, source: str | Path) -> Self:
        """What if: the same speaker with another driver in the place of one. Nothing is written.

        Parameters
        ----------
        source : another speaker folder (the driver of the same name there, else its only one), FOLDER:OTHERNAME, or
            tables: "impedance.csv" or "impedance.csv,response.csv".

        Raises
        ------
        OptionError : no such driver, here or there. InputError : a fault in a file of the source.

        Example
        -------
        >>> speaker.with_driver("tweeter", "examples/attic-two-way/right").predict("found")
        """
        from xover.speaker.swap import with_driver

        return type(self)(with_driver(self.speaker, driver, str(source)), changed=True)

    def add_network(self, name: str, netlist: str | Network, *, force: bool = False) -> Self:
        """Write a network into the folder (NAME.cir and its table in speaker.toml), and open the folder anew.

        Parameters
        ----------
        netlist : its text, such as `study.netlist` of a refresh, or a network.
        force : replace a network that was written so before.

        Raises
        ------
        OptionError : no name for a network, or one that is taken. InputError : a file cannot be written.

        Example
        -------
        >>> speaker = speaker.add_network("refreshed", speaker.refresh().netlist)
        """
        from xover.files.toml_edit import add_network
        from xover.network.cards import netlist_text
        from xover.speaker import open_speaker

        text = netlist if isinstance(netlist, str) else netlist_text(netlist)
        add_network(self.speaker.file.path, name, text, force)
        return type(self)(open_speaker(self.speaker.file.path))

    def undo(self) -> Self:
        """Take back the last change that was written into the folder, and open it anew; as the command does.

        Raises
        ------
        OptionError : there is nothing to undo. InputError : a file has changed since, or cannot be written.

        Example
        -------
        >>> speaker = speaker.undo()
        """
        from xover.files.changes import take_back
        from xover.speaker import open_speaker

        take_back(self.speaker.file.path)
        return type(self)(open_speaker(self.speaker.file.path))

    def _name(self, network: str | None) -> str:
        return self.speaker.network_or_default(network)

    def __repr__(self) -> str:
        words = f"{type(self).__name__}: {self.title}; networks {self._listed(self.networks)}; "
        return _flat(words + f"drivers {self._listed(self.drivers)}")

    def _repr_html_(self) -> str:
        return f"<p>{html.escape(repr(self))}</p>"

    @staticmethod
    def _listed(names: tuple[str, ...]) -> str:
        return ", ".join(names) or "none"


def _flat(text: str) -> str:
    """One line: control characters of a file must not reach the terminal."""
    return " ".join("".join(c if c.isprintable() else " " for c in text[:400]).split())
