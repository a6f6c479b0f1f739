"""The ways to change it, each with its parts or settings: refresh, redesign, bypass."""

from __future__ import annotations

import math
from collections.abc import Iterable

from xover.blocks import Block, Cell, Head, Section, Text, table
from xover.electronic.biquad import Band
from xover.figures import written
from xover.quantity import hertz
from xover.report.answers import Answers
from xover.report.sections.common import first_up
from xover.rounded import db
from xover.studies.change.bypass.crossover import ChannelSetting, corners_words
from xover.studies.change.bypass.result import BypassStudy
from xover.studies.change.decide.option import Name, Option
from xover.studies.change.redesign.result import Judged, RedesignStudy
from xover.studies.change.refresh.result import RefreshStudy

MOST_PROPOSALS = 3


def section(answers: Answers) -> Section:
    """The three options that change something, the recommended one first."""
    d = answers.decision
    order = sorted((Name.REFRESH, Name.REDESIGN, Name.BYPASS), key=lambda n: n is not d.recommendation)
    blocks: list[Block] = []
    for name in order:
        option = d.options[name]
        blocks.append(Head(f"{str(name).capitalize()}{' (recommended)' if name is d.recommendation else ''}"))
        if not option.available:
            blocks.append(Text(first_up(f"no option here: {option.why_not}")))
        else:
            blocks += _of(option, answers)
    return Section("proposals", "Proposals", tuple(blocks))


def _of(option: Option, answers: Answers) -> Iterable[Block]:
    if isinstance(option.study, RefreshStudy):
        yield from _refresh(option.study)
    elif isinstance(option.study, RedesignStudy):
        yield from _redesign(option.study)
    elif isinstance(option.study, BypassStudy):
        yield from _bypass(option.study)
        yield from answers.bypassed


def _refresh(study: RefreshStudy) -> Iterable[Block]:
    yield Text(first_up(study.headline))
    rows = [
        [e.part, e.design, e.old or "not measured", "stays" if e.stays else e.fitted, _effect(e.old_effect_db)]
        for e in study.exchanged
    ]
    yield table(
        f"Part by part, to keep the voicing of {study.reference}",
        ["part", "design", "as found", "what to do", "if it stayed, dB"],
        rows,
        numbers=(4,),
    )
    kinds = [("as it is now", study.before), ("refreshed", study.refreshed), ("naive swap", study.naive)]
    told = [
        f"{name} {written('drive moved', d.worst_db, name, unit=True)}"
        + (f" at {hertz(d.at_hz)} on {d.on}" if math.isfinite(d.at_hz) else "")
        for name, d in kinds
        if d is not None
    ]
    low, high = study.band_hz
    yield Text(
        f"Largest change of any driver's level against {study.reference}, {hertz(low)} to {hertz(high)}: "
        f"{'; '.join(told)}. Naive swap: every part by the nearest value, nothing made up for.",
        "quiet",
    )


def _effect(value: float) -> str:
    return "-" if math.isnan(value) else db(value, 2)


def _redesign(study: RedesignStudy) -> Iterable[Block]:
    yield Text(first_up(study.headline))
    known = math.isfinite(study.before.deviation_db)
    rows: list[list[str | Cell]] = [[f"{study.present}, now", *_figures(study.before, study.present), "-", "-"]]
    for p in study.proposals[:MOST_PROPOSALS]:
        cost = written("cost", p.cost, study.of(p))
        share = "-" if math.isnan(p.yield_share) else f"{100.0 * p.yield_share:.0f} %"
        rows.append([p.name, *_figures(p.judged, study.of(p)), cost, share])
    columns = ["proposal", "sum, \u00b1 dB", "null, dB", "lowest, ohm", "EPDR, ohm", "cost", "builds that keep it"]
    yield table("New values for the present circuit", columns, rows, numbers=(1, 2, 3, 4, 5, 6))
    if study.proposals:
        pick = study.proposals[0]
        said = [*pick.better, *(f"worse: {w}" for w in pick.worse)]
        if said:
            yield Text(first_up(f"{pick.name}: {'; '.join(said)}"))
        words = {n: line.what for line in pick.bill.lines for n in line.names}
        if words:
            yield Text("Parts: " + "; ".join(f"{name} {what}" for name, what in words.items()) + ".")
    if not known:
        yield Text("The sum is not known here: slopes and loads were searched for, not a flat response.", "quiet")
    yield Text("A short search of this circuit; 'xover redesign' tries others and takes its time.", "quiet")


def _figures(j: Judged, of: str) -> list[str | Cell]:
    return [*j.figures(of)]


def _bypass(study: BypassStudy) -> Iterable[Block]:
    yield Text(first_up(study.verdict))
    rows: list[list[str | Cell]] = [
        [
            name,
            written("lowest load", c.load.reading.minimum_ohm, f"bare {name}"),
            *_set(ChannelSetting(c.twin.gain_db, c.twin.delay_s, c.twin.polarity)),
            _bands(c.twin.bands),
            f"{db(c.twin.worst_db, 2)} dB, {c.twin.worst_deg:.1f} deg",
        ]
        for name, c in study.channels.items()
    ]
    yield table(
        f"The electronic twin of network {study.network}: dial this in to keep the voicing",
        ["channel", "lowest load, ohm", "gain, dB", "delay", "polarity", "bands", "off by"],
        rows,
        numbers=(1, 2, 3),
    )
    best = study.better or study.reached
    if best is not None:
        slope = f"{study.crossover.slope.name} at {corners_words(study.crossover.corners_hz)}"
        settings: list[list[str | Cell]] = [
            [name, *_set(s), _bands(s.bands) or "none"] for name, s in best.settings.items()
        ]
        yield table(
            f"Or {slope}, set for the flattest sum ({written('sum rms', best.band.rms_deviation_db)} dB rms)",
            ["channel", "gain, dB", "delay", "polarity", "bands"],
            settings,
            numbers=(1, 2),
        )
    for name, c in study.channels.items():
        if c.capacitor is not None:
            e = c.capacitor
            bends = f"{db(e.chosen.at_corner_db, 1, signed=True)} dB and {e.chosen.at_corner_deg:+.0f} deg"
            volts = "" if e.usual_volts is None else f", {e.usual_volts:g} V"
            yield Text(
                f"Protection capacitor in series with the {name}: {e.chosen.farad * 1e6:.3g} uF film{volts}; it "
                f"changes the channel by {bends} at the corner, with its correction by {db(e.left_db, 2)} dB at most."
            )


def _set(s: ChannelSetting) -> list[str | Cell]:
    delay = "not known" if math.isnan(s.delay_s) else f"{s.delay_s * 1e6:.0f} us"
    return [db(s.gain_db, signed=True), delay, "normal" if s.polarity > 0 else "reversed"]


def _bands(bands: Iterable[Band]) -> str:
    return "; ".join(_band(b) for b in bands)


def _band(b: Band) -> str:
    words = f"{b.kind.words} {hertz(b.frequency_hz)}"
    if b.kind.has_gain:
        words += f" {b.gain_db:+.1f} dB"
    return words if b.q is None else f"{words} Q {b.q:.2f}"
