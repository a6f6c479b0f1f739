"""What the amplifier sees, today and then; what happens with a driver unplugged."""

from __future__ import annotations

import math

from xover.amplifier.faults import FaultCase
from xover.amplifier.load import LoadLevel
from xover.blocks import FAIL, MARGINAL, PASS, UNKNOWN, Block, Cell, Section, Text, table
from xover.figures import load_of, written
from xover.quantity import hertz
from xover.report.answers import Answers
from xover.report.sections.common import first_up, gone, pictures
from xover.rounded import degrees, ohm
from xover.studies.does.load.study import ChannelLoad, LoadStudy

_VERDICTS = {
    LoadLevel.FITS: PASS,
    LoadLevel.EDGE: MARGINAL,
    LoadLevel.TOO_LOW: FAIL,
    LoadLevel.UNKNOWN: UNKNOWN,
}


def section(answers: Answers) -> Section:
    """Load, EPDR, rating, faults."""
    blocks: list[Block] = gone(answers, "load", "the load")
    studies = [s for s in (answers.study("load", LoadStudy), answers.study("built load", LoadStudy)) if s is not None]
    if studies:
        last = studies[-1]
        blocks += [Text(first_up(c.verdict.sentence), "lead") for c in last.channels.values()]
        blocks += [Text(first_up(c.verdict.epdr_sentence)) for c in last.channels.values()]
        blocks.append(_loads(studies))
        if last.listening is not None:
            blocks.append(Text(first_up(last.listening.sentence)))
    if studies:
        blocks.append(_faults(studies[-1]))
        blocks.append(
            Text(
                "x drive: the capacitor's highest voltage over the amplifier's. An unplugged driver can leave a "
                "series-resonant short: switch off before you unplug one, and never play loud without it.",
                "quiet",
            )
        )
    blocks += pictures(answers, "load", "built load")
    return Section("load", "Load", tuple(blocks))


def _loads(studies: list[LoadStudy]) -> Block:
    rows = [_row(study.network, channel) for study in studies for channel in study.channels.values()]
    columns = ["network, channel", "lowest, ohm", "highest, ohm", "phase, deg", "lowest EPDR, ohm", "may be rated"]
    return table("The load in figures", columns, rows)


def _row(network: str, channel: ChannelLoad) -> list[str | Cell]:
    r, of = channel.reading, load_of(network, channel.channel)
    rated = "none of the usual" if r.usual_rating_ohm is None else f"{r.usual_rating_ohm:g} ohm"
    return [
        of,
        Cell(
            f"{written('lowest load', r.minimum_ohm, of)} at {hertz(r.minimum_at_hz)}",
            _VERDICTS[channel.verdict.level],
        ),
        f"{ohm(r.maximum_ohm)} at {hertz(r.maximum_at_hz)}",
        f"{degrees(r.most_capacitive_deg)} to {degrees(r.most_inductive_deg)}",
        f"{written('lowest EPDR', r.lowest_epdr_ohm, of)} at {hertz(r.lowest_epdr_at_hz)}",
        rated,
    ]


def _faults(study: LoadStudy) -> Block:
    rows = []
    for case in study.faults:
        lowest = "none" if case.minimum_ohm is None else f"{ohm(case.minimum_ohm, 2)} at {_at(case)}"
        rows.append([f"{case.driver} {case.kind}", lowest, *_worst(case)])
    columns = ["fault", "lowest load, ohm", "capacitor", "x drive", "volts, peak", "rated"]
    return table(f"Each driver open, then shorted: network {study.network}", columns, rows, numbers=(3, 4, 5))


def _at(case: FaultCase) -> str:
    return "all frequencies" if case.at_hz is None else hertz(case.at_hz)


def _worst(case: FaultCase) -> list[str | Cell]:
    known = [c for c in case.capacitors if not math.isnan(c.magnification)]
    if not known:
        return ["-"] * 4
    worst = max(known, key=lambda c: c.magnification)
    peak = "-" if worst.peak_v is None or not math.isfinite(worst.peak_v) else f"{worst.peak_v:.0f}"
    rated = "-" if worst.rating_v is None else f"{worst.rating_v:g}"
    return [
        worst.name,
        f"{worst.magnification:.1f}" if worst.bounded else "unbounded",
        Cell(peak, FAIL) if worst.over_rating else peak,
        rated,
    ]
