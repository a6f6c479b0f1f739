"""The answer in sentences: is it safe, what to set, what it gives, what to heed, what to do next; and the verdict."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from xover.amplifier.load import LoadLevel
from xover.blocks import SCREEN_COLUMNS, Block, Facts, Head, Note, Table, Text, fact, plain_table
from xover.curve import Evidence
from xover.electronic.biquad import Band
from xover.figures import hertz, written
from xover.judge.network import measured_impedance
from xover.rules.bands import LEAST_KNOWN
from xover.rules.instruments import Instrument
from xover.rules.severity import Severity
from xover.sentences import and_words
from xover.sound.prediction import Sound
from xover.speaker import Speaker
from xover.studies.change.bypass.channels import Voices, Wiring
from xover.studies.change.bypass.crossover import Crossover, corners_words
from xover.studies.change.bypass.details import details
from xover.studies.change.bypass.known import HEARD
from xover.studies.change.bypass.power import PowerSplit
from xover.studies.change.bypass.result import BypassChannel, BypassFinding, BypassStudy, Gap

MOST_LINES: Final = 24
LABEL: Final = 9
MOST_CAUTIONS: Final = 3
MOST_GAPS: Final = 2


def unknown_words(
    speaker: Speaker,
    voices: Voices,
    crossover: Crossover,
    power: PowerSplit,
    channels: Mapping[str, BypassChannel],
) -> tuple[str, ...]:
    """What cannot be told from what is in the folder, one sentence each, the heaviest first."""
    said = []
    drivers = {n: speaker.drivers[n] for c in channels.values() for n in c.wiring.names}
    if voices.silent:
        said.append(
            f"the sum, the best gains, delays and bands, and watts: {voices.silence} is known where it plays. The "
            "old network as filters rests on impedance alone, and still holds"
        )
    assumed = [n for n, d in drivers.items() if d.has_response and d.response_evidence is Evidence.ASSUMED]
    if assumed:
        said.append(
            f"how {and_words(assumed)} really sound{'s' if len(assumed) == 1 else ''}: a flat response at the "
            "sensitivity given stands in; levels and watts follow from it, the shape of the sum, delays and bands are "
            "worth little"
        )
    if not voices.coherent and voices.known:
        said.append(
            f"delays: {voices.timing_reason}. Sums behind the crossover are those with the best delays, as if each "
            "driver's were unknown by a pure delay: find it by measuring, where the sum with one driver reversed "
            "has its deepest null"
        )
    guessed = [n for n, d in drivers.items() if d.impedance_evidence is not Evidence.MEASURED]
    if guessed:
        kinds = dict.fromkeys(str(drivers[n].impedance_evidence) for n in guessed)
        said.append(
            f"the load, and the old network as filters, as surely as from a sweep: the impedance of "
            f"{and_words(guessed)} is {and_words(kinds)}, not measured"
        )
    if crossover.assumed:
        said.append(f"what your crossover is set to: {crossover.source}; {crossover.slope.name} is taken")
    if power.reason:
        said.append(f"watts at the listening level: {power.reason}")
    if any(c.load.verdict.minimum_load_ohm is None for c in channels.values()):
        said.append("whether the amplifiers allow these loads: no minimum_load_ohm in [bypass.channels] or [amplifier]")
    ended = [n for c in channels.values() if c.fitness.upper_hz is not None for n in c.wiring.names]
    no_size = [n for n in ended if drivers[n].diameter_mm is None]
    if no_size:
        said.append(f"beaming of {and_words(no_size)}: no diameter_mm")
    if any(c.power.rating is not None and c.power.rating.load_assumed for c in channels.values()):
        names = [n for n, c in channels.items() if c.power.rating is not None and c.power.rating.load_assumed]
        said.append(
            f"into which load the watts of {and_words(names)} are rated: no rated_load_ohm, the lowest load allowed is "
            "taken, which gives the fewest volts"
        )
    return tuple(said)


def gaps_of(speaker: Speaker, voices: Voices, power: PowerSplit, wirings: Sequence[Wiring]) -> tuple[Gap, ...]:
    """What cannot be told, in brief, the heaviest first, each with what to do about it."""
    drivers = {n: speaker.drivers[n] for w in wirings for n in w.names}
    found = []
    if voices.silent:
        found.append(
            Gap(
                f"sum, delays and watts: {voices.silence}; the gains are the old network's",
                "measure all responses with one microphone at one spot",
            )
        )
    by_phone = [n for n, d in drivers.items() if d.has_response and d.response_instrument is Instrument.PHONE]
    unheard = [n for n, d in drivers.items() if d.has_response and d.response_instrument not in HEARD]
    if unheard:
        found.append(
            Gap(
                f"the sound of {and_words(unheard)}: gains follow sensitivities alone",
                f"measure the response of {and_words(unheard)} at one spot with one microphone",
            )
        )
    if by_phone:
        found.append(
            Gap(
                f"the treble of {and_words(by_phone)}, heard by a phone: levels are matched, nothing is equalised",
                f"measure {and_words(by_phone)} with a calibrated microphone before you equalise",
            )
        )
    if not voices.coherent and voices.known and not unheard:
        found.append(
            Gap(
                "delays and polarity: the drivers share no time reference",
                "try both polarities and all delays: right is where the other polarity leaves the deepest dip",
            )
        )
    guessed = [n for n in drivers if not measured_impedance(speaker, n)]
    if guessed:
        typical = all(drivers[n].impedance_instrument is Instrument.ASSUMED for n in guessed)
        rest = "typical values" if typical else "a datasheet"
        found.append(
            Gap(f"the loads of {and_words(guessed)}, but from {rest}", f"sweep the impedance of {and_words(guessed)}")
        )
    if math.isnan(power.level_db):
        found.append(Gap("watts: how loud you play", "say level_db and distance_m in [listening]"))
    return tuple(found)


def verdict_words(
    speaker: Speaker, findings: Sequence[BypassFinding], channels: Mapping[str, BypassChannel], templates: Sequence[str]
) -> str:
    """The answer in a sentence."""
    if templates:
        return f"no verdict yet: the values of {and_words(templates)} are a template's"
    stops = [f for f in findings if f.severity is Severity.STOP]
    if stops:
        return f"no: {and_words(dict.fromkeys(f.about for f in stops))} to be mended first"
    unread = [n for n, c in channels.items() if math.isnan(c.load.reading.minimum_ohm)]
    if unread:
        return f"not to be told: the impedance of {and_words(unread)} is not known"
    if any(c.load.verdict.minimum_load_ohm is None for c in channels.values()):
        return "nothing forbids it; whether the amplifiers allow the loads is not known"
    partly = [n for n, c in channels.items() if c.load.verdict.level is LoadLevel.UNKNOWN]
    if partly:
        spans = [hertz_span(channels[n].load.reading.covered_hz) for n in partly]
        return (
            f"not to be told: the impedance of {and_words(partly)} is known from {and_words(spans)} only, not where "
            f"{'it plays' if len(partly) == 1 else 'they play'}; sweep it over all of 20 Hz to 20 kHz"
        )
    if any(not measured_impedance(speaker, n) for c in channels.values() for n in c.wiring.names):
        return "perhaps: nothing forbids it, but the loads are not measured"
    low = [n for n, c in channels.items() if c.load.verdict.limit_broken]
    if low:
        return f"with care: the load of {and_words(low)} is at the edge of what its amplifier allows"
    return "yes, with the cautions: every channel's load fits its amplifier"


def warnings_of(speaker: Speaker, passive: Sound, voices: Voices) -> tuple[str, ...]:
    """What a reader must know of the data."""
    said: list[str] = [
        note for name in dict.fromkeys(b.group for b in voices.branches) for note in speaker.drivers[name].notes
    ]
    said += [gap.note for gap in passive.total.gaps if not gap.counted_absent]
    if len(passive.network.channels) > 1:
        said.append(
            "the network has several channels already: its twin holds for all of them fed with the same signal, as no "
            "electronic crossover is in it"
        )
    lamps = [p.name for p in passive.network.resistors if p.is_lamp]
    if lamps:
        said.append(f"{and_words(lamps)}: taken cold; what a lamp or resettable fuse does when loud no filter imitates")
    return tuple(dict.fromkeys(said))


def tell(study: BypassStudy, everything: bool = False) -> Iterator[Block]:
    """The answer in 24 lines; everything else where it is asked for."""
    yield from _short(study)
    if everything:
        yield from details(study)
        yield from map(Note, study.remarks)


def _short(study: BypassStudy) -> Iterator[Block]:
    """The main answer: of what may be left out, as much as there is room for. Of a template, its verdict alone."""
    head = Head(f"{study.title}: each driver on its own amplifier")
    if study.templates:
        yield from (head, _fact("safe?", study.verdict), _next(study))
        return
    stops = [f.brief for f in study.findings if f.severity is Severity.STOP]
    stops += [f"as it is, network {f.where}: {f.text}: {f.remedy}." for f in study.today]
    cautions = [f.brief for f in study.findings if f.severity is Severity.CAUTION and f.brief][:MOST_CAUTIONS]
    # In the order of the answer; what has the highest number is left out first, 0 never.
    blocks: list[tuple[int, Block]] = [(0, head), (0, _fact("safe?", study.verdict))]
    blocks += [(0, _fact("STOP", words)) for words in stops]
    blocks += [(3, _crossover(study)), (2, _table(study))]
    blocks += [(9, b) for b in _reading(study)]
    blocks += [(4, b) for b in (*_equaliser(study), *_sum(study))]
    blocks += [(1, b) for b in _protection(study)]
    blocks += [(7 + 5 * i, _fact("not known", gap.words)) for i, gap in enumerate(study.gaps[:MOST_GAPS])]
    blocks += [(5 + 5 * i, _fact("caution", words)) for i, words in enumerate(cautions)]
    blocks += [(6, _needs(study)), (1, _wire(study)), (0, _next(study))]
    blocks += [(8, _fact("more", "--all tells loads, old network, map and notes"))]
    while _lines([b for _, b in blocks]) > MOST_LINES and any(number for number, _ in blocks):
        last = max(range(len(blocks)), key=lambda i: blocks[i][0])
        del blocks[last]
    yield from (b for _, b in blocks)


def hertz_span(band_hz: tuple[float, float]) -> str:
    """A band in words."""
    return f"{hertz(band_hz[0])} to {hertz(band_hz[1])}"


def _fact(label: str, words: str) -> Facts:
    return fact(label, words, LABEL)


def _lines(blocks: Sequence[Block]) -> int:
    """Lines that these take on a terminal."""
    count = 0
    for block in blocks:
        if isinstance(block, Head):
            count += 1 + _wrapped(block.words, SCREEN_COLUMNS)
        elif isinstance(block, Facts):
            count += sum(_wrapped(words, SCREEN_COLUMNS - block.width - 3) for _, words in block.pairs)
        elif isinstance(block, Text):
            count += _wrapped(block.words, SCREEN_COLUMNS - 2)
        elif isinstance(block, Table):
            cells = [block.columns, *([c.words for c in row] for row in block.rows)]
            wide = sum(2 + max(map(len, column)) for column in zip(*cells, strict=True)) > SCREEN_COLUMNS
            count += 2 * len(cells) + 3 if wide else len(cells) + 1
    return count


def _wrapped(words: str, columns: int) -> int:
    return len(textwrap.wrap(words, columns, break_on_hyphens=False, break_long_words=False))


def _crossover(study: BypassStudy) -> Block:
    at = study.crossover
    source = "assumed, from how it crosses today" if at.assumed else at.source
    return _fact(
        "crossover", f"{at.slope.name} at {corners_words(at.corners_hz)}, {6 * at.slope.order} dB/octave ({source})"
    )


def _table(study: BypassStudy) -> Block:
    """One line for each channel."""
    edges: list[float | None] = [None, *study.crossover.corners_hz, None]
    rows = []
    for i, (name, setting) in enumerate(study.settings.items()):
        c = study.channels[name]
        sure = study.bears_bands[name]
        rows.append(
            [
                name,
                _plays(edges[i], edges[i + 1]),
                _gain(c.trim.trim_db if study.better is not None else setting.gain_db, sure),
                _delay(setting.delay_s if study.heard else math.nan),
                "-" if math.isnan(study.delay_s) else "reversed" if setting.polarity < 0 else "normal",
                _watts(c),
            ]
        )
    return plain_table(["channel", "plays", "gain", "delay", "polarity", "watts"], rows)


def _gain(value: float, sure: bool) -> str:
    """To tenths where the responses were swept, else to whole decibels."""
    return "-" if math.isnan(value) else f"{round(value, 1 if sure else 0) + 0.0:{'.1f' if sure else '.0f'}} dB"


def _plays(low: float | None, high: float | None) -> str:
    if low is None:
        return f"below {hertz(high)}"
    return f"above {hertz(low)}" if high is None else f"{hertz(low)} to {hertz(high)}"


def _delay(seconds: float) -> str:
    """To two digits: what a delay is worth setting to."""
    if math.isnan(seconds):
        return "-"
    us = float(f"{1e6 * seconds:.2g}")
    return f"{us:.0f} us" if us < 1000.0 else f"{us / 1000.0:.1f} ms"


def _watts(channel: BypassChannel) -> str:
    """What the amplifier must be rated for, and what it is, both into the same load."""
    power, rating = channel.power, channel.power.rating
    need = power.power_w if rating is None else rating.power_w * 10.0 ** (-power.margin_db / 10.0)
    needed = "?" if math.isnan(need) else _figure(need)
    return f"{needed} W" if rating is None else f"{needed} of {rating.power_w:g} W"


def _figure(value: float) -> str:
    return f"{value:.0f}" if value >= 9.95 else f"{value:.1g}"


def _reading(study: BypassStudy) -> Iterator[Block]:
    p = study.power
    if not p.reason:
        yield Text(f"watts: on peaks at {p.level_db:g} dB and {p.distance_m:g} m, of what its amplifier is rated for")


def _equaliser(study: BypassStudy) -> Iterator[Block]:
    bands = [f"{n} {', '.join(map(_band, s.bands))}" for n, s in study.settings.items() if s.bands]
    if bands:
        yield _fact("equaliser", "; ".join(bands))


def _band(band: Band) -> str:
    verb = "cut" if band.gain_db < 0 else "boost"
    return f"{verb} {abs(band.gain_db):.1f} dB at {hertz(float(f'{band.frequency_hz:.2g}'))}, Q {band.q or 1.0:.1f}"


def _sum(study: BypassStudy) -> Iterator[Block]:
    """What it gives, beside the old network."""
    better, old = study.better, study.passive
    if better is None or old is None or not study.heard:
        return
    name = "bypass with bands" if study.bands else "bypass"
    now = written("sum deviation", better.band.half_range_db, name)
    band = f"from {hertz(better.band.known_from_hz)} to {hertz(better.band.known_to_hz)}"
    if study.coherent and old.known_share < LEAST_KNOWN * better.band.known_share:
        yield _fact("sum", f"+-{now} dB {band}; that of network '{study.network}' is not known over as much")
    elif study.coherent:
        then = written("sum deviation", old.half_range_db, study.network)
        yield _fact("sum", f"+-{now} dB {band}; network '{study.network}' gives +-{then} dB")
    else:
        yield _fact("sum", f"+-{now} dB once the delays are right; the old network's: not known")


def _protection(study: BypassStudy) -> Iterator[Block]:
    for name, c in study.channels.items():
        capacitor = c.capacitor
        if capacitor is not None:
            yield _fact("protect", f"{capacitor.bought_as}, in series with the {name}: it stops DC and thumps")
    if all(c.capacitor is None for c in study.channels.values()):
        name = list(study.channels)[-1]
        yield _fact("protect", f"a capacitor in series with the {name}: sweep its impedance to know which")


def _needs(study: BypassStudy) -> Block:
    """What the electronic crossover must be able to do; with one at hand, what it must have beside its slopes."""
    parts = []
    if study.delay_s > 0:
        parts.append(f"{_delay(study.delay_s)} of delay")
    elif math.isnan(study.delay_s):
        parts.append("a delay")
    if study.bands:
        parts.append(f"{study.bands} equaliser band{'s' if study.bands > 1 else ''}")
    if study.crossover.assumed:
        corners = f"{study.crossover.slope.name} at {corners_words(study.crossover.corners_hz)}"
        words = and_words([f"{len(study.channels)} channels", corners, "a gain for each", *parts])
        return _fact("needs", words)
    words = f"{and_words(['a gain for each', *parts])}, beside the slopes"
    if study.lacking:
        words += f"; [bypass.channels] lacks {and_words(study.lacking)}"
    return _fact("needs", words)


def _wire(study: BypassStudy) -> Block:
    return _fact(
        "wiring",
        "old network out whole (keep it); two wires to each driver, no minus shared (it shorts a bridged amplifier); "
        f"start low, {list(study.channels)[-1]} unplugged",
    )


def _next(study: BypassStudy) -> Block:
    """The one thing to do now."""
    if study.templates:
        return _fact("next", f"write what you measured, or the datasheet's values, of {and_words(study.templates)}")
    low = [c.fitness for c in study.channels.values() if c.fitness.ratio < c.fitness.least_ratio]
    if study.stops and low:
        least = hertz(max(fit.least_ratio * fit.resonance_hz for fit in low))
        return _fact("next", f"ask again with a corner of {least} or more (--frequency)")
    if study.stops:
        return _fact("next", "mend what stops it, and ask again")
    if study.gaps and not study.heard:
        return _fact("next", study.gaps[0].remedy)
    if study.crossover.assumed:
        return _fact("next", "write crossover and amplifiers into [bypass], and ask again")
    if study.gaps:
        return _fact("next", study.gaps[0].remedy)
    return _fact("next", "set it, measure the sum, and listen to it beside the old network")
