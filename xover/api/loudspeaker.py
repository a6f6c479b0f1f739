"""A loudspeaker from its folder: every question that a command asks, as a method."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from xover.api.draw import draw
from xover.api.remedy import WhatToDo
from xover.api.sound import WhatItDoes
from xover.api.strain import WhatItBears
from xover.api.wear import WhatAgeHasDone
from xover.errors import OptionError

if TYPE_CHECKING:
    from xover.drawing.save import Figure
    from xover.report.report import Report


class Loudspeaker(WhatItDoes, WhatAgeHasDone, WhatItBears, WhatToDo):
    """An opened speaker folder; `xover.open` makes it.

    Its methods are the commands, in the order of the job: check, predict, load, formula, sensitivity, angles,
    schematic; infer, condition; stress, lamps, tolerance, crosstalk; refresh, redesign, bypass, decide, pad; verify,
    pair, compare; report, spice. Each gives a result whose figures are attributes in SI units, with the unit in the
    name. `draw` draws it, and `xover.to_json` writes it as the command's --json does.

    Nothing here writes into the folder but `add_network`.

    Attributes
    ----------
    speaker : what the studies work on.
    title, folder, networks, drivers : of the folder.
    changed : whether something is tried that the folder does not hold.
    """

    def draw(self, result: object, *, number: int | None = None) -> Figure:
        """Draw a result of this speaker; as `xover.draw`, and a redesign too.

        Parameters
        ----------
        number : of a redesign, the proposal that stands out, from 1; by default the one picked.

        Raises
        ------
        OptionError : there is no figure of such a result.

        Example
        -------
        >>> speaker.draw(speaker.predict("found"))
        """
        return draw(result, number=number, speaker=self.speaker)

    def report(
        self,
        *,
        networks: Sequence[str] = (),
        stock: str | Path | None = None,
        mate: str | Path | None = None,
        most_cost: float | None = None,
        seed: int = 1,
        progress: Callable[[float, str], None] | None = None,
    ) -> Report:
        """One page for the bench, worked out from the folder; its text is `html`.

        Parameters
        ----------
        networks : of the folder; the last is what is to be built. By default what the decision recommends.
        stock : price list or parts bin (.csv), the only source then. mate : folder of the other speaker of the pair.
        most_cost : what one speaker's parts may cost. seed : the same gives the same page.
        progress : is told the share done, and what is going on.

        Raises
        ------
        InputError. OptionError : also where something is tried that the folder does not hold.

        Example
        -------
        >>> Path("bench.html").write_text(speaker.report().html, encoding="utf-8")
        """
        from xover.report.report import make_report

        if self.changed:
            raise OptionError("a report is of the folder, which does not hold what is tried", "write it: add_network")
        return make_report(
            self.folder,
            networks=tuple(networks),
            stock=None if stock is None else Path(stock),
            mate=None if mate is None else Path(mate),
            most_cost=most_cost,
            seed=seed,
            progress=progress or (lambda _done, _words: None),
        )


def open(path: str | Path) -> Loudspeaker:
    """Open a speaker folder, or its speaker.toml; every file that it names is read and checked.

    Raises
    ------
    InputError : a fault in speaker.toml or in a table: one line that names file, line and remedy.

    Example
    -------
    >>> speaker = xover.open("examples/attic-two-way/left")
    """
    from xover.speaker import open_speaker

    return Loudspeaker(open_speaker(path))


def new(folder: str | Path, circuit: str = "two-way-second-order", *, force: bool = False) -> Loudspeaker:
    """Start a speaker folder from a ready topology, and open it. The drivers in it are placeholders.

    Parameters
    ----------
    circuit : one of `xover.circuits()`. force : overwrite files that are there already.

    Raises
    ------
    OptionError : no such circuit, or a file is there already. InputError : the folder cannot be made.

    Example
    -------
    >>> xover.new("my-speaker", "two-way-third-order").networks
    """
    from xover.studies.desk.new.study import start_folder

    start_folder(Path(folder), circuit, force)
    return open(folder)
