"""xover tolerance: what do the tolerances of the parts do?"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

import typer

from xover.cli.complete import one_of
from xover.cli.options import (
    Force,
    From,
    Jobs,
    Json,
    NetworkName,
    PerOctave,
    Plot,
    SpeakerPath,
    Strict,
    To,
    chosen_network,
    grid,
)
from xover.cli.plot import write_plot
from xover.cli.progress import ProgressBar
from xover.cli.show import (
    db,
    hertz,
    octave_centres,
    ohm,
    show_heading,
    show_item,
    show_json,
    show_table,
    show_text,
    show_warnings,
)
from xover.errors import InputError, OptionError
from xover.quantity import Kind, parse_fraction, parse_quantity

if TYPE_CHECKING:
    from xover.search.draws import PartSpread
    from xover.studies.bears.tolerance.bands import Share
    from xover.studies.bears.tolerance.pairs import PairDifference
    from xover.studies.bears.tolerance.study import ToleranceStudy


def tolerance(
    speaker: SpeakerPath,
    network: NetworkName = None,
    builds: Annotated[int, typer.Option("--builds", metavar="N", help="How many builds to draw.")] = 10_000,
    seed: Annotated[int, typer.Option("--seed", metavar="N", help="The same seed draws the same builds.")] = 1,
    jobs: Jobs = 1,
    distribution: Annotated[
        str,
        typer.Option(
            "--distribution",
            metavar="NAME",
            help="uniform or normal, within the tolerance.",
            autocompletion=one_of("uniform", "normal"),
        ),
    ] = "uniform",
    limit: Annotated[
        str, typer.Option("--limit", metavar="DB", help="How far the sum may stray from nominal, 200 Hz to 20 kHz.")
    ] = "1",
    match: Annotated[
        str, typer.Option("--match", metavar="SHARE", help="How closely left and right parts could be paired.")
    ] = "1%",
    wanted: Annotated[
        str | None, typer.Option("--yield", metavar="SHARE", help="Share of builds that must keep within --limit.")
    ] = None,
    from_hz: From = "20",
    to_hz: To = "20k",
    per_octave: PerOctave = 24,
    plot: Plot = None,
    force: Force = False,
    strict: Strict = False,
    as_json: Json = False,
) -> int:
    """What do the parts' tolerances do to sum, load and pair?

    Example: xover tolerance examples/attic-two-way/left --network original --limit 1 --yield 90% --strict
    """
    from xover.speaker import open_speaker
    from xover.studies.bears.tolerance.study import study_tolerance

    limit_db = _decibels(limit, "--limit")
    share = None if wanted is None else _fraction(wanted, "--yield")
    if share is not None and not 0 < share <= 1:
        raise OptionError(f"--yield is {wanted}", "give a share above 0 and up to 100%")
    if strict and share is None:
        raise OptionError("--strict has no limit to hold the builds to", "add --yield, such as --yield 90%")
    opened = open_speaker(speaker)
    with ProgressBar() as bar:
        result = study_tolerance(
            opened,
            chosen_network(opened, network),
            grid(from_hz, to_hz, per_octave),
            builds=builds,
            seed=seed,
            jobs=jobs,
            distribution=distribution,
            limit_db=limit_db,
            match=_fraction(match, "--match"),
            progress=bar,
        )
    broken = share is not None and not result.passing.share >= share  # not known is not enough
    status = 1 if strict and broken else 0
    write_plot(result, plot, force)
    if as_json:
        show_json(result)
        return status
    _show(result, share, broken)
    if plot is not None:
        show_text(f"Figure written to {plot}.", "")
    show_warnings(result.warnings)
    return status


def _decibels(text: str, option: str) -> float:
    stripped = text.strip()
    number = stripped[:-2] if stripped.lower().endswith("db") else stripped
    try:
        return parse_quantity(number, Kind.PLAIN)
    except InputError as error:
        raise OptionError(f"{option}: {error.problem}", error.remedy) from None


def _fraction(text: str, option: str) -> float:
    try:
        return parse_fraction(text)
    except InputError as error:
        raise OptionError(f"{option}: {error.problem}", error.remedy) from None


def _show(study: ToleranceStudy, wanted: float | None, broken: bool) -> None:
    low, high = study.band_hz
    show_heading(f"{study.title}: network '{study.network}', {study.builds:,} builds within tolerance")
    show_text(f"Values {study.distribution.words}; seed {study.seed}. Judged from {hertz(low)} to {hertz(high)}.")
    if study.total_known:
        _show_sum(study)
        typer.echo()
        show_item(f"within {study.limit_db:g} dB", _passing(study.passing, wanted, broken))
        _show_pairs(study)
    else:
        show_text("The sum is not known there: only the drives and the load are shown.")
    for name, load in study.load.items():
        several = f" {name}" if len(study.load) > 1 else ""
        q = load.quantile_ohm
        text = f"{ohm(q[0], 2)} to {ohm(q[-1], 2)} ohm in 95 % of builds, {ohm(load.lowest_ohm, 2)} ohm at worst"
        if load.below is not None:
            text += f"; below the amplifier's {load.limit_ohm:g} ohm: {_per_cent(load.below)}"
        show_item(f"lowest load{several}", text)
    _show_parts(study)
    _show_drives(study)


def _show_sum(study: ToleranceStudy) -> None:
    show_heading(f"The {study.of_sum}, and how far builds lie from it, dB")
    f, total, corner = study.frequency_hz, study.total, study.corners.total
    header = ["Hz", "nominal", "2.5 %", "16 %", "median", "84 %", "97.5 %"]
    header += [] if corner is None else ["corners", "to"]
    rows = []
    for centre in octave_centres(float(f[0]), float(f[-1])):
        i = min(range(f.size), key=lambda row: abs(math.log(f[row] / centre)))
        row = [f"{centre:g}", db(total.nominal_db[i]), *(db(c[i], 2, True) for c in total.change_db)]
        row += [] if corner is None else [db(corner.lowest_db[i], 2, True), db(corner.highest_db[i], 2, True)]
        rows.append(row)
    show_table(header, rows)
    wide = study.widest_sum
    text = (
        f"Widest at {hertz(wide.at_hz)}: 95 % of builds lie between {db(wide.low_db, 2, True)} and "
        f"{db(wide.high_db, 2, True)} dB."
    )
    if math.isfinite(study.sum_doubt_db):
        text += (
            f" So many builds place the 2.5 % and 97.5 % lines to +-{study.sum_doubt_db:.2g} dB or better "
            "(95 % sure, order statistics)."
        )
    show_text(text)
    if corner is not None:
        farthest = study.widest_corner
        assert farthest is not None
        show_text(
            f"Worst corners, every part at an end of its tolerance: farthest apart at {hertz(farthest.at_hz)}, "
            f"{db(farthest.low_db, 2, True)} to {db(farthest.high_db, 2, True)} dB. {_excess(study)}"
        )


def _excess(study: ToleranceStudy) -> str:
    corner = study.corners.total
    assert corner is not None
    if corner.excess_db == 0.0:
        return f"None of the {study.builds:,} builds lay outside."
    size = f"{corner.excess_db:.2g}" if corner.excess_db >= 0.001 else "less than 0.001"
    return (
        f"The worst of the {study.builds:,} builds lay {size} dB outside, at {hertz(corner.at_hz)}: an extreme "
        "lies between the ends there."
    )


def _passing(passing: Share, wanted: float | None, broken: bool) -> str:
    text = f"all through the band: {_per_cent(passing)} of the builds"
    if wanted is None:
        return text
    text += f"; {100 * wanted:g} % is asked for: " + ("not reached" if broken else "reached")
    if passing.low < wanted < passing.high:
        text += ", but so few builds cannot tell for certain"
    return text


def _per_cent(share: Share) -> str:
    if math.isnan(share.share):
        return "not known"
    if share.count == 0:
        return f"none (under {100 * share.high:.2g} %, 95 % sure)"
    if share.count == share.of:
        return f"all (over {100 * share.low:.4g} %, 95 % sure)"
    return f"{100 * share.share:.1f} % ({100 * share.low:.1f} to {100 * share.high:.1f} %, 95 % sure)"


def _show_pairs(study: ToleranceStudy) -> None:
    show_item("left against right", f"any two builds: {_pair(study.independent)}")
    show_item("", f"parts paired to {100 * study.match:g} %: {_pair(study.matched)}")


def _pair(pair: PairDifference) -> str:
    from xover.acoustic.audibility import audibility

    return (
        f"usually {pair.usual_db:.2f} dB apart where it is most, {pair.rarely_over_db:.2f} dB in one pair of 40 "
        f"({audibility(pair.rarely_over_db)})"
    )


def _show_parts(study: ToleranceStudy) -> None:
    show_heading("Which part to buy tighter")
    show_text(study.shares.sentence[:1].upper() + study.shares.sentence[1:] + ".")
    rows = []
    for ranked in study.shares.parts:
        own = [s for s in study.spreads if s.part in ranked.name.split(" + ")]
        per_cent = "-" if math.isnan(ranked.share) else f"{100 * ranked.share:.1f}"
        row = [ranked.name, ", ".join(_value(s) for s in own), f"+-{100 * ranked.tolerance:g} %"]
        rows.append([*row, str(own[0].kind), _from(own), per_cent, db(ranked.spread_db, 3)])
    show_table(["part", "value", "tolerance", "kind", "from", "share %", "alone dB"], rows)
    if study.total_known:
        show_text(
            f"share: of the variance of the {study.of_sum}; {100 * study.shares.rest:.1f} % is of no part by itself. "
            "alone: what the part by itself would leave, dB rms."
        )


def _value(spread: PartSpread) -> str:
    from xover.parts.kinds import PartKind
    from xover.quantity import format_quantity

    kinds = {
        PartKind.RESISTOR: Kind.RESISTANCE,
        PartKind.LAMP: Kind.RESISTANCE,
        PartKind.AIR_COIL: Kind.INDUCTANCE,
        PartKind.CORED_COIL: Kind.INDUCTANCE,
    }
    return format_quantity(spread.value, kinds.get(spread.kind, Kind.CAPACITANCE))


def _from(spreads: list[PartSpread]) -> str:
    from xover.curve import Evidence

    return "assumed" if any(s.evidence is Evidence.ASSUMED for s in spreads) else "card"


def _show_drives(study: ToleranceStudy) -> None:
    show_heading("Drive of each driver: where 95 % of builds lie, at the widest")
    rows = []
    for key in study.drive:
        wide, corner = study.widest_drive(key), study.corners.drive.get(key)
        row = [key, db(wide.low_db, 2, True), db(wide.high_db, 2, True), hertz(wide.at_hz)]
        rows.append([*row, "-" if corner is None else f"{corner.excess_db:.2g}"])
    show_table(["driver", "from dB", "to dB", "at", "beyond corners dB"], rows)
    show_text(
        "Within 20 dB of the drive's highest. beyond corners: how far the worst build lies outside the worst corners, "
        "anywhere."
    )
