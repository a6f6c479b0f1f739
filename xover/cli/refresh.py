"""xover refresh: like-for-like parts that keep the voicing."""

from __future__ import annotations

import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from xover.cli.complete import network_names, one_of
from xover.cli.options import Force, From, Json, NetworkName, PerOctave, Plot, SpeakerPath, Strict, To, grid
from xover.cli.plot import write_plot
from xover.cli.show import db, hertz, show_heading, show_item, show_json, show_table, show_text, show_warnings
from xover.errors import OptionError, nearest_word

if TYPE_CHECKING:
    from xover.parts.bill import Bill
    from xover.studies.change.refresh.compare import Difference
    from xover.studies.change.refresh.result import Policy, RefreshStudy

StockList = Annotated[
    Path | None,
    typer.Option("--stock", metavar="FILE", help="Price list or parts bin (CSV), the only source then."),
]


def refresh(
    speaker: SpeakerPath,
    network: NetworkName = None,
    reference: Annotated[
        str,
        typer.Option(
            "--reference",
            metavar="NAME",
            help="Network whose voicing is kept: the design.",
            autocompletion=network_names,
        ),
    ] = "original",
    stock: StockList = None,
    replace: Annotated[
        str,
        typer.Option(
            "--replace",
            metavar="WHAT",
            help="What must go whatever it measures: worn (kinds that wear out), all, or needed (nothing).",
            autocompletion=one_of("worn", "all", "needed"),
        ),
    ] = "worn",
    capacitors: Annotated[
        str,
        typer.Option(
            "--capacitors",
            metavar="KIND",
            help="film, or any: new electrolytics of the list too.",
            autocompletion=one_of("film", "any"),
        ),
    ] = "film",
    tolerance: Annotated[
        float, typer.Option("--tolerance", metavar="DB", help="Largest change of a driver's level, 200 Hz to 20 kHz.")
    ] = 0.1,
    write: Annotated[
        str | None, typer.Option("--write", metavar="NAME", help="Add the result to the folder as a network.")
    ] = None,
    from_hz: From = "20",
    to_hz: To = "20k",
    per_octave: PerOctave = 48,
    plot: Plot = None,
    force: Force = False,
    strict: Strict = False,
    as_json: Json = False,
) -> int:
    """Like-for-like parts that keep the voicing, and their bill.

    Tells which old parts may stay, what to buy for one speaker and for the pair, and what it does to the sound.

    The reference is the design with new parts as they were then, losses included. A film capacitor loses less than
    the electrolytic that it replaces: what it lacks is made up by resistors, where that is heard.

    Example: xover refresh examples/attic-two-way/left --stock examples/stock.csv --write refreshed
    """
    from xover.parts.catalogue import Catalogue
    from xover.parts.stock import open_stock
    from xover.speaker import open_speaker
    from xover.studies.change.refresh.study import refresh as study_refresh

    policy = _policy(replace)
    if capacitors not in ("film", "any"):
        raise OptionError(f"--capacitors is '{capacitors[:40]}'", "give film or any")
    if not (math.isfinite(tolerance) and 0.0 < tolerance <= 6.0):
        raise OptionError(f"--tolerance is {tolerance:g}", "give decibels above 0, up to 6")
    opened = open_speaker(speaker)
    catalogue = Catalogue(open_stock(stock) if stock is not None else None, electrolytics=capacitors == "any")
    study = study_refresh(
        opened,
        catalogue,
        grid(from_hz, to_hz, per_octave),
        found=network,
        reference=reference,
        policy=policy,
        tolerance_db=tolerance,
        progress=_say,
    )
    _say("")
    write_plot(study, plot, force)
    written = None
    if write is not None:
        from xover.files.add_network import add_network

        written = add_network(opened.file.path, write, study.netlist, opened.network_names, force)
    status = 1 if strict and not study.held else 0
    if as_json:
        show_json(study)
        return status
    _show(study)
    if written is not None:
        show_text(f"Network '{write}' written to {written}; try 'xover predict {speaker} --network {write}'.", "")
    if plot is not None:
        show_text(f"Figure written to {plot}.", "")
    show_warnings(study.warnings)
    return status


def _policy(text: str) -> Policy:
    from xover.studies.change.refresh.result import Policy

    words = [str(p) for p in Policy]
    if text not in words:
        near = nearest_word(text, words)
        raise OptionError(
            f"--replace is '{text[:40]}'", f"did you mean {near}?" if near else "give one of " + ", ".join(words)
        )
    return Policy(text)


def _say(text: str) -> None:
    """What is going on, on a terminal only; an empty text wipes it away."""
    if sys.stderr.isatty():
        sys.stderr.write(f"\r{text:<60}\r" if not text else f"\r{text:<60}")
        sys.stderr.flush()


def _show(study: RefreshStudy) -> None:
    found = f"'{study.found}'" if study.found else "nothing measured"
    show_heading(f"{study.title}: refresh of {found} to '{study.reference}'")
    show_text(study.headline + ".")
    show_item("parts from", study.source)
    show_heading("Part by part")
    for part in study.exchanged:
        show_item(f"{part.part} {part.design}", part.sentence.removeprefix(f"{part.part}: "), 16)
    show_heading(f"Against '{study.reference}', {hertz(study.band_hz[0])} to {hertz(study.band_hz[1])}")
    rows = []
    if study.before is not None:
        rows.append(_row("as it is now", study.before, None))
    rows.append(_row("refreshed", study.refreshed, study.bill))
    if study.simple is not None:
        rows.append(_row("series resistors only", study.simple.difference, study.simple.bill))
    rows.append(_row("naive swap", study.naive, study.naive_bill))
    show_table(["", "drive dB", "at", "on", "its drive dB", "sum dB", "cost"], rows)
    show_text(
        "drive dB: largest change of any driver's level, and how far down that driver is there. naive swap: every part "
        "by the nearest value, the cheapest coil, nothing made up for."
    )
    if study.simple is not None:
        fitted = "; ".join(f"{name}: {words}" for name, words in study.simple.fitted.items())
        show_item("series only", fitted)
    show_heading("To buy")
    if not study.bill.lines:
        show_text("Nothing.")
        return
    rows = [
        [
            str(line.quantity),
            str(line.quantity_for_pair),
            line.what,
            ", ".join(line.names),
            "-" if line.price is None else f"{line.price:.2f}",
        ]
        for line in study.bill.lines
    ]
    show_table(["one", "pair", "part", "as", "each"], rows)
    if study.bill.cost is not None and study.bill.cost_for_pair is not None:
        more = f", {study.bill.without_price} without a price" if study.bill.without_price else ""
        show_item("cost", f"{study.bill.cost:.2f}, for a pair alike {study.bill.cost_for_pair:.2f}{more}")
    show_heading("Netlist")
    for line in study.netlist.splitlines():
        typer.echo(f"  {line}")


def _row(name: str, difference: Difference, bill: Bill | None) -> list[str]:
    cost = bill.cost if bill is not None else None
    return [
        name,
        db(difference.worst_db, 2),
        hertz(difference.at_hz),
        difference.on,
        db(difference.level_there_db, 0),
        db(difference.worst_sum_db, 2),
        "-" if cost is None else f"{cost:.2f}",
    ]
