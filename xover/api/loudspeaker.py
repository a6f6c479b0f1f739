"""A loudspeaker from its folder: every question that a command asks, as a method."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from xover.api.asks import asked, asks
from xover.api.draw import draw
from xover.api.opened import Opened
from xover.errors import OptionError
from xover.studies.aged.compare import compare_networks
from xover.studies.aged.condition import condition
from xover.studies.aged.infer import infer
from xover.studies.aged.phone import phone
from xover.studies.aged.verify import pair, verify
from xover.studies.bears.crosstalk import crosstalk
from xover.studies.bears.lamps import lamps
from xover.studies.bears.stress import stress
from xover.studies.bears.tolerance import tolerance
from xover.studies.change.bypass import bypass
from xover.studies.change.decide import decide
from xover.studies.change.redesign import redesign
from xover.studies.change.refresh import refresh
from xover.studies.desk.check import check
from xover.studies.desk.pad import pad
from xover.studies.desk.spice import spice
from xover.studies.does.angles import angles
from xover.studies.does.delay import delay
from xover.studies.does.formula import circuit, circuit_cards, speaker_formula, speaker_judge, speaker_response
from xover.studies.does.load import load
from xover.studies.does.predict import predict
from xover.studies.does.sensitivity import sensitivity

if TYPE_CHECKING:
    from xover.drawing.save import Figure
    from xover.drawing.schematic import Schematic
    from xover.report.report import Report
    from xover.studies.desk.pad.study import PadStudy


class Loudspeaker(Opened):
    """An opened speaker folder; `xover.open` makes it.

    Its methods are the commands, in the order of the job: check, predict, load, formula, sensitivity, angles, delay,
    schematic; infer, condition; stress, lamps, tolerance, crosstalk; refresh, redesign, bypass, decide, pad; verify,
    pair, compare, phone; report, spice. Each gives a result whose figures are attributes in SI units, with the unit in
    the name. `draw` draws it, and `xover.to_json` writes it as the command's --json does.

    Nothing here writes into the folder but `add_network`, which `undo` takes back.

    Attributes
    ----------
    speaker : what the studies work on.
    title, folder, networks, drivers : of the folder.
    changed : whether something is tried that the folder does not hold.
    """

    check = asks(check)
    predict = asks(predict)
    load = asks(load)
    formula = asks(speaker_formula)
    response = asks(speaker_response)
    judge = asks(speaker_judge)
    circuit = asks(circuit)
    circuit_cards = asks(circuit_cards)
    sensitivity = asks(sensitivity)
    angles = asks(angles)
    delay = asks(delay)
    compare = asks(compare_networks)
    infer = asks(infer)
    condition = asks(condition)
    stress = asks(stress)
    lamps = asks(lamps)
    tolerance = asks(tolerance)
    crosstalk = asks(crosstalk)
    refresh = asks(refresh)
    redesign = asks(redesign)
    bypass = asks(bypass)
    decide = asks(decide)
    verify = asks(verify)
    pair = asks(pair)
    phone = asks(phone)
    spice = asks(spice)

    def pad(
        self,
        driver: str,
        *,
        down_db: float,
        network: str | None = None,
        band_hz: tuple[float | None, float | None] = (None, None),
        nominal_ohm: float | None = None,
        input_w: float | None = None,
    ) -> PadStudy:
        """Two resistors that bring a driver down, made for its measured impedance. `xover.pad` needs no speaker.

        Parameters
        ----------
        driver : its name. down_db : how far down, above 0 and up to 60 dB.
        network : that it plays in. band_hz : what counts, Hz; by default where it plays.
        nominal_ohm : for the textbook pair, ohm. input_w : power into the pad, to be split up.

        Raises
        ------
        OptionError, InputError.

        Example
        -------
        >>> speaker.pad("tweeter", down_db=4).designs[0].series_ohm
        """
        given = {
            "speaker": self.speaker,
            "driver": driver,
            "down_db": down_db,
            "network": network,
            "low_hz": band_hz[0],
            "high_hz": band_hz[1],
            "nominal_ohm": nominal_ohm,
            "input_w": input_w,
        }
        return asked(pad, given, low_hz="band_hz", high_hz="band_hz")

    def schematic(self, network: str | None = None, *, other: str | None = None) -> Schematic:
        """The network drawn, with values and losses beside the parts; a notebook shows it, `xover.save` writes it.

        Parameters
        ----------
        network : as `predict`. other : a network of the same wiring: where a value differs, both are written.

        Raises
        ------
        OptionError, InputError.

        Example
        -------
        >>> speaker.schematic("found", other="original")
        """
        from xover.drawing.schematic import draw_schematic

        name = self._name(network)
        before = None if other is None else self.network(other)
        return draw_schematic(self.network(name), before, title=f"{self.title}: network '{name}'")

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
