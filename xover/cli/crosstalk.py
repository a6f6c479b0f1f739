"""xover crosstalk: where do I mount the coils?"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

import typer

from xover.cli.options import Force, From, Json, NetworkName, PerOctave, Plot, SpeakerPath, To, chosen_network, grid
from xover.cli.plot import write_plot
from xover.cli.show import db, hertz, show_heading, show_item, show_json, show_table, show_text, show_warnings
from xover.errors import InputError, OptionError
from xover.quantity import Kind, parse_fraction, parse_quantity

if TYPE_CHECKING:
    from xover.sound.changes import Worst
    from xover.studies.bears.crosstalk.stray import Couple
    from xover.studies.bears.crosstalk.study import Case, Crosstalk, DriveEffect

MOST_SHOWN = 4


def crosstalk(
    speaker: SpeakerPath,
    network: NetworkName = None,
    couple: Annotated[
        list[str] | None,
        typer.Option("--couple", metavar="L1:L2=K", help="Two coils and their coupling; both signs are tried. Repeat."),
    ] = None,
    limit: Annotated[
        str, typer.Option("--limit", metavar="DB", help="Change of the sum that coupling may make, dB.")
    ] = "0.1",
    from_hz: From = "20",
    to_hz: To = "20k",
    per_octave: PerOctave = 24,
    plot: Plot = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Where do I mount the coils? What coupling does.

    Without --couple: how much coupling each pair of coils may have. 'xover coil' tells what coupling a distance gives.

    Example: xover crosstalk examples/studio-three-way --couple L3:L4=2%
    """
    couples = [_couple(text) for text in couple or ()]
    limit_db = _limit_db(limit)
    from xover.speaker import open_speaker
    from xover.studies.bears.crosstalk.study import study_crosstalk

    opened = open_speaker(speaker)
    frequencies = grid(from_hz, to_hz, per_octave)
    result = study_crosstalk(opened, chosen_network(opened, network), frequencies, couples, limit_db=limit_db)
    write_plot(result, plot, force)
    if as_json:
        show_json(result)
        return
    _show(result)
    if plot is not None:
        show_text(f"Figure written to {plot}.", "")
    show_warnings(result.warnings)


def _couple(text: str) -> Couple:
    """Read L1:L2=0.02 or L1:L2=2%. Raises OptionError."""
    from xover.studies.bears.crosstalk.stray import Couple

    pair, equals, value = text.partition("=")
    first, colon, second = pair.partition(":")
    if not (equals and colon and first.strip() and second.strip()):
        raise OptionError(f"--couple is {text[:40]}", "write two coils and their coupling, as L1:L2=0.02")
    try:
        return Couple(first.strip(), second.strip(), parse_fraction(value))
    except InputError as error:
        raise OptionError(f"--couple {text[:40]}: {error.problem}", "write the coupling as 0.02 or 2%") from None


def _limit_db(text: str) -> float:
    low = text.strip().lower().removesuffix("db")
    try:
        return parse_quantity(low, Kind.PLAIN)
    except InputError as error:
        raise OptionError(f"--limit: {error.problem}", "give decibels, such as 0.1") from None


def _show(study: Crosstalk) -> None:
    show_heading(f"{study.title}: network '{study.network}', coupling between coils")
    if len(study.cases) <= MOST_SHOWN:
        for case in study.cases:
            _show_case(case, study.judged_by)
    else:
        from xover.sound.candidate_sums import size_of

        worst = max(study.cases, key=lambda case: size_of(case.total))
        show_text(f"The worst of {len(study.cases)} combinations of signs; --json gives them all.")
        _show_case(worst, study.judged_by)
    if study.cases:
        show_text(
            "pass band: where the drive lies within 20 dB of its highest; stop band: where it lies lower, and how far "
            "it rises there. Levels are re the amplifier. A winding sense that is not known can be either."
        )
    if study.pairs:
        _show_limits(study)
    if study.skipped:
        show_item("coupled already", ", ".join(study.skipped) + ": their K cards stay as they are")


def _show_case(case: Case, judged_by: str) -> None:
    show_heading("With " + ", ".join(f"k = {c.k:+.3g} of {c.name}" for c in case.couples))
    rows = [[d.key, _signed(d.pass_band), hertz(d.pass_band.at_hz), *_stop(d)] for d in case.drive]
    show_table(["driver", "pass dB", "at", "stop dB", "at", "from dB", "to dB"], rows)
    if math.isfinite(case.total.change):
        what = "sum" if judged_by == "drives" else judged_by
        show_item("sum", f"{_signed(case.total)} dB at {hertz(case.total.at_hz)} ({what}, 200 Hz to 20 kHz)")
    else:
        show_item("sum", "not known")
    for name, load in case.load.items():
        label = "load" if len(case.load) == 1 else f"load of {name}"
        show_item(label, f"{load.change:+.2g} % at {hertz(load.at_hz)}" if load.change else "unchanged")


def _stop(effect: DriveEffect) -> list[str]:
    rise = effect.stop_band
    if math.isnan(rise.change):
        return ["-", "-", "-", "-"]
    if rise.change == 0:
        return ["0", "-", "-", "-"]
    return [_signed(rise, 1), hertz(rise.at_hz), db(effect.stop_before_db), db(effect.stop_after_db)]


def _show_limits(study: Crosstalk) -> None:
    what = "the drive that moves most" if study.judged_by == "drives" else f"the {study.judged_by}"
    show_heading(f"Coupling that moves {what} by {study.limit_db:g} dB")
    rows = [
        [
            pair.name,
            _k(pair.k_positive),
            _k(pair.k_negative),
            hertz(pair.at_hz),
            "any" if pair.apart_m is None else f"{1e3 * pair.apart_m:.0f}",
        ]
        for pair in study.pairs
    ]
    show_table(["coils", "k above 0", "k below 0", "at", "apart mm"], rows)
    show_text(
        "apart: from centre to centre, for two air coils of 25/55 x 20 mm flat side by side; larger coils need "
        "more, in proportion to their size. 'any' may touch."
    )
    closest = [pair for pair in study.pairs if pair.apart_m is not None]
    if closest:
        names = ", ".join(pair.name for pair in closest[:3])
        show_item("keep apart", f"{names}, or at right angles with one centre on the other's axis or mid-plane")
    carried = [f"{p.name} reaches {', '.join(p.carried)} too" for p in study.pairs if p.carried]
    if carried:
        show_item("tied by K cards", "; ".join(carried))
    show_text(
        "To measure a pair where it stands: L of both in series, then with one reversed; k is the difference over "
        "4 sqrt(L1 L2)."
    )


def _k(value: float | None) -> str:
    """A coupling for a column; a dash where none up to 0.5 matters."""
    return "-" if value is None else f"{value:+.2g}"


def _signed(worst: Worst, digits: int = 2) -> str:
    return "0" if worst.change == 0 else db(worst.change, digits, True)
