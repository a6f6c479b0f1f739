"""xover compare: two curves, networks or speakers: where do they differ, and is it audible?"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from xover.cli.complete import one_of
from xover.cli.options import Force, From, Json, PerOctave, Plot, Strict, To, frequency, grid
from xover.cli.plot import write_plot
from xover.cli.show import (
    db,
    degrees,
    hertz,
    show_heading,
    show_item,
    show_json,
    show_table,
    show_text,
    show_warnings,
)
from xover.errors import OptionError, nearest_word

if TYPE_CHECKING:
    from xover.studies.aged.compare.curves import What
    from xover.studies.aged.compare.study import Comparison

Channel = Annotated[
    str | None, typer.Option("--channel", metavar="NAME", help="Amplifier channel, where the network has several.")
]
MOST_STRETCHES = 6


def compare(
    first: Annotated[str, typer.Argument(metavar="A", help="A table, a speaker folder, or FOLDER:NETWORK.")],
    second: Annotated[str, typer.Argument(metavar="B", help="What A is held against.")],
    of: Annotated[
        str | None,
        typer.Option(
            "--of",
            metavar="WHAT",
            help="sum or impedance of a network [default: as the tables, else sum].",
            autocompletion=one_of("sum", "impedance"),
        ),
    ] = None,
    match: Annotated[
        str, typer.Option("--match", metavar="HZ..HZ", help="Band over which levels are matched, or none.")
    ] = "200..15k",
    threshold: Annotated[
        float, typer.Option("--threshold", metavar="DB", help="Differences beyond this are pointed out.")
    ] = 0.5,
    unit: Annotated[
        str | None,
        typer.Option(
            "--unit",
            metavar="UNIT",
            help="dB or ohm, for tables whose header does not say.",
            autocompletion=one_of("dB", "ohm"),
        ),
    ] = None,
    channel: Channel = None,
    from_hz: From = "20",
    to_hz: To = "20k",
    per_octave: PerOctave = 48,
    plot: Plot = None,
    force: Force = False,
    strict: Strict = False,
    as_json: Json = False,
) -> int:
    """Two curves, networks or speakers: the audible difference.

    The difference is A less B. Levels are matched first: their mean difference over a band, evenly weighted over the
    octaves, is taken off. An impedance is compared as it is, in per cent and degrees. Before and after a repair, left
    and right, measured and predicted: whatever holds the same quantity.

    Example: xover compare examples/attic-two-way/left:found examples/attic-two-way/left:original
    """
    from xover.studies.aged.compare.curves import open_operand
    from xover.studies.aged.compare.study import compare as study

    if not (math.isfinite(threshold) and 0.0 < threshold <= 20.0):
        raise OptionError(f"--threshold is {threshold:g}", "give decibels above 0, up to 20")
    stated = _unit(unit)
    result = study(
        open_operand(first, stated, channel),
        open_operand(second, stated, channel),
        grid(from_hz, to_hz, per_octave),
        what=None if of is None else _what(of),
        match_band_hz=None if match == "none" else band(match, "--match"),
        threshold_db=threshold,
    )
    status = 1 if strict and result.audible else 0
    write_plot(result, plot, force)
    if as_json:
        show_json(result)
        return status
    _show(result)
    if plot is not None:
        show_text(f"Figure written to {plot}.", "")
    show_warnings(result.warnings)
    return status


def band(text: str, option: str) -> tuple[float, float]:
    """Two rising frequencies such as 200..15k. Raises OptionError."""
    low, dots, high = text.partition("..")
    if not dots:
        raise OptionError(f"{option} is {text[:40]}", "write it as 200..15k")
    ends = (frequency(low, option), frequency(high, option))
    if not ends[0] < ends[1]:
        raise OptionError(f"{option} is {text[:40]}", "write the lower frequency first")
    return ends


def _unit(text: str | None) -> Literal["dB", "ohm"] | None:
    if text is None:
        return None
    if text.lower() == "db":
        return "dB"
    if text.lower() == "ohm":
        return "ohm"
    raise OptionError(f"--unit is '{text[:40]}'", "give dB or ohm")


def _what(text: str) -> What:
    from xover.studies.aged.compare.curves import What

    words = [str(w) for w in What]
    if text not in words:
        near = nearest_word(text, words)
        raise OptionError(f"--of is '{text[:40]}'", f"did you mean {near}?" if near else "give sum or impedance")
    return What(text)


def _show(c: Comparison) -> None:
    ohms = c.percent is not None
    show_heading(c.title)
    show_text(f"{c.first.evidence.capitalize()} less {c.second.evidence}.", "")
    if c.match_band_hz is not None:
        low, high = (hertz(f) for f in c.match_band_hz)
        show_item("level", f"{db(c.offset_db, 2, True)} dB as a whole, {low} to {high}: taken off below")
    else:
        show_item("level", "as it is" if ohms else "as it is, not matched")
    show_item("known from", f"{hertz(c.known_hz[0])} to {hertz(c.known_hz[1])}")
    show_item(
        "difference",
        f"rms {db(c.rms_db, 2)} dB from {hertz(c.judged_hz[0])} to {hertz(c.judged_hz[1])}; largest "
        f"{db(c.worst_db, 2, True)} dB{_as_percent(c.worst_db) if ohms else ''} at {hertz(c.worst_at_hz)}",
    )
    _show_octaves(c)
    if ohms:
        return
    show_heading(f"Beyond {c.threshold_db:g} dB (common practice, no published source)")
    if not c.audible:
        show_text("Nothing: no octave, and no stretch of a third of an octave or more.")
        return
    for stretch in c.stretches[:MOST_STRETCHES]:
        show_item(
            f"{hertz(stretch.from_hz)} to {hertz(stretch.to_hz)}",
            f"{db(stretch.worst_db, 1, True)} dB at {hertz(stretch.at_hz)}, {stretch.octaves:.1f} octaves wide: "
            f"{stretch.words}",
            22,
        )
    left = len(c.stretches) - MOST_STRETCHES
    if left > 0:
        show_text(f"... and {left} more, smaller.")
    if not c.stretches:
        heard = ", ".join(f"{o.centre_hz:g}" for o in c.octaves if o.audible)
        show_text(f"No stretch stays on one side that wide; octaves on average: {heard} Hz.")


def _show_octaves(c: Comparison) -> None:
    rows = []
    for octave in c.octaves:
        if math.isnan(octave.difference_db):
            continue
        row = [f"{octave.centre_hz:g}", db(octave.difference_db, 2, True)]
        if c.percent is not None:
            row.append(f"{100.0 * math.expm1(octave.difference_db * math.log(10.0) / 20.0):+.1f}")
        if c.phase_difference_deg is not None:
            row.append(degrees(_phase_at(c, octave.centre_hz)))
        if c.percent is None:
            row.append(f"* {octave.words}" if octave.audible else "")
        rows.append(row)
    width = max((len(r[-1]) for r in rows), default=0) if c.percent is None else 0
    head = ["octave", "dB"]
    head += ["per cent"] if c.percent is not None else []
    head += ["deg"] if c.phase_difference_deg is not None else []
    head += ["beyond the threshold"] if c.percent is None and width else []
    typer.echo()
    if c.percent is None:
        rows = [[*r[:-1], f"{r[-1]:<{max(width, 20)}}"] if width else r[:-1] for r in rows]
    show_table(head, rows)
    if c.phase_difference_deg is not None:
        show_text("deg: difference of phase at the octave's centre, as it is.")


def _phase_at(c: Comparison, hz: float) -> float:
    import numpy as np

    assert c.phase_difference_deg is not None  # the caller has looked
    return float(c.phase_difference_deg[int(np.argmin(np.abs(np.log(c.frequency_hz / hz))))])


def _as_percent(change_db: float) -> str:
    return f" ({100.0 * math.expm1(change_db * math.log(10.0) / 20.0):+.1f} %)"
