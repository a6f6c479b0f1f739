"""What reaches each driver and what the sum is: today, and behind what is to be built."""

from __future__ import annotations

from xover.blocks import Block, Section, Text, table
from xover.figures import written
from xover.report.answers import Answers
from xover.report.sections.common import gone, network_row, pictures
from xover.report.works import Beside
from xover.rounded import db
from xover.sound.prediction import Prediction
from xover.studies.does.load.study import LoadStudy


def section(answers: Answers) -> Section:
    """Sum, drive, before and after, off axis, tolerance, sensitivity, crosstalk."""
    blocks: list[Block] = []
    now = answers.study("sound", Prediction)
    then = answers.study("built sound", Prediction)
    blocks += gone(answers, "sound", "the sum")
    if now is not None:
        blocks += _crossovers([p for p in (now, then) if p is not None])
        blocks += _side_by_side(answers)
        blocks.append(Text(f"One sum or an envelope: {now.timing_reason}.", "quiet"))
    blocks += pictures(answers, "sound", "before and after", "built sound", "angles", "tolerance", "sensitivity")
    for name, what in (("angles", "the sum off the axis"), ("tolerance", "what tolerances do")):
        blocks += gone(answers, name, what)
    return Section("sound", "Sound", tuple(blocks))


def _side_by_side(answers: Answers) -> list[Block]:
    """All networks in figures, where more were asked for than the present one and the one to be built."""
    if not answers.others:
        return []
    shown = [(answers.study("sound", Prediction), answers.study("load", LoadStudy))]
    shown.append((answers.study("built sound", Prediction), answers.study("built load", LoadStudy)))
    for name in answers.others:
        found = answers.study(f"beside {name}", Beside)
        shown.append((None, None) if found is None else (found.sound, found.load))
    rows = [network_row(p.network, p, z) for p, z in shown if p is not None]
    columns = ["network", "sum about its mean, dB", "crossover", "lowest load, ohm"]
    return [table("The networks side by side", columns, rows)]


def _crossovers(predictions: list[Prediction]) -> list[Block]:
    rows = []
    for p in predictions:
        for c in p.crossovers:
            rows.append(
                [
                    f"{' + '.join(c.lower)} to {' + '.join(c.upper)}",
                    p.network,
                    written("crossover", c.frequency_hz, c.of(p.network))
                    if c.frequency_hz is not None
                    else f"none: {c.reason}",
                    db(c.lower_slope_db_per_octave, 0, signed=True),
                    db(c.upper_slope_db_per_octave, 0, signed=True),
                    "-" if c.phase_difference_deg is None else f"{c.phase_difference_deg:.0f}",
                    written("null depth", c.null_depth_db, c.of(p.network)),
                ]
            )
    if not rows:
        return [Text("The drivers do not meet: no acoustic crossover.")]
    columns = ["acoustic crossover", "network", "at", "dB/oct. below", "dB/oct. above", "phase, deg", "null, dB"]
    return [table("Where the drivers meet", columns, rows, numbers=(3, 4, 5, 6))]
