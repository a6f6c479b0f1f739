"""Delays, levels and polarities as a person reads them."""

from __future__ import annotations

import math
from collections.abc import Iterator

from xover.blocks import Block, Head, Text, fact, plain_table
from xover.figures import db, hertz
from xover.rules.timing import REBUILT_WITHIN_US
from xover.sentences import and_words, capital
from xover.studies.does.delay.result import DelayStudy, DriverTiming, Unclear

_MORE = (
    "record once more with the wires of one driver swapped (name it behind a minus: FILE@woofer,-tweeter), bare "
    "instead of through the network, or with phase against one loop-back"
)


_SOFTLY = (
    "softly and from 300 Hz up: nothing then keeps the bass from a tweeter, and the load is that of all in parallel"
)


def headline(study: DelayStudy) -> str:
    """The answer in a sentence."""
    told = [_timing(d, study.reference) for d in study.drivers if d.told]
    if study.unclear is None:
        return capital("; ".join(told)) + "."
    why = {
        Unclear.SHARED: "the drivers share too little of the band",
        Unclear.RIVALS: "more than one delay explains what was recorded",
        Unclear.MISFIT: "no delay makes these records agree",
        Unclear.BEYOND: "the likeliest lies beyond the delays that were tried",
        Unclear.WIDE: "what was recorded leaves it open by more than a quarter of a cycle",
    }[study.unclear]
    lost = [d for d in study.drivers if not d.told]
    ways = [f"{d.driver} plays {_way(d)}" for d in lost if d.polarity_told]
    both = "delay" if len(ways) == len(lost) and lost else "delay or polarity"
    names = f" of {' and '.join(d.driver for d in lost)}" if told else ""
    return capital("; ".join([*told, *ways, f"cannot tell {both}{names}: {why}"])) + "."


def tell(study: DelayStudy, everything: bool = False) -> Iterator[Block]:
    """The answer, what it rests on, and what to do."""
    yield Head(f"{study.title}: timing of the drivers, against {study.reference}")
    yield Text(study.headline)
    told = [d for d in study.drivers if d.told]
    if told:
        yield plain_table(["driver", "delay us", "95 %", "level dB", "95 %", "polarity"], [_row(d) for d in told])
        yield Text(
            "later and louder than its own record, read as in this folder but for delay_us and gain_db; "
            "95 %: where the truth lies, 19 times of 20."
        )
        guessed = [d for d in told if d.high_us - d.delay_us > 1.1 * d.as_read_us]
        if guessed:
            yield fact("of that", _as_read(guessed))
    if study.unclear is Unclear.RIVALS and study.rival:
        for answer in (study.drivers, study.rival):
            words = "; ".join(f"{d.driver} {_us(d.delay_us, True)} us, {_way(d)}" for d in answer)
            yield fact("either" if answer is study.drivers else "or", words)
    if not math.isnan(study.rms_db):
        words = f"the sum then misses the recordings by {db(study.rms_db)} dB rms"
        if not math.isnan(study.other_rms_db):
            words += f", with another polarity by {db(study.other_rms_db)} at best"
        yield fact("fit", f"{words}, and by {db(study.folder_rms_db)} as the folder stands")
    if not math.isnan(study.shared_hz[0]):
        words = f"{hertz(study.shared_hz[0])} to {hertz(study.shared_hz[1])}, where two drivers lie within 20 dB"
        yield fact("heard", words)
    if everything or study.within_us < REBUILT_WITHIN_US:
        yield fact("tried", f"delays up to {study.within_us:.0f} us to either side, each polarity")
    if everything:
        yield fact(
            "odds", f"10^{study.odds_log10:.0f} to 1 against any other answer, as far as the errors are as assumed"
        )
    yield from _advice(study)


def _advice(study: DelayStudy) -> Iterator[Block]:
    turned = [d.driver for d in study.drivers if d.reversed and d.polarity_told]
    if study.unclear is Unclear.SHARED:
        yield fact("do", f"record the drivers in parallel without the network, where they share more; {_SOFTLY}")
    elif study.unclear is Unclear.MISFIT:
        words = "check that all records were made at one place and level, gated alike, and which drivers played"
        yield fact("do", f"{words}; narrow --band to where they can be trusted")
    elif study.unclear is Unclear.BEYOND:
        words = "check how each record was gated and timed; if so much is possible, allow it with --most-delay"
        yield fact("do", words)
    elif study.unclear is not None:
        yield fact("do", f"{_MORE}; bare, {_SOFTLY}")
    if turned:
        words = (
            f"look at the wires of {', '.join(turned)}: the recording, the record alone or the netlist has them the "
            "other way round than was said. Nothing is written until that is mended"
        )
        yield fact("do", words)
    elif study.keys is not None:
        yield fact("to keep", "--write puts delay_us, delay_uncertainty_us and gain_db into speaker.toml")


def _timing(d: DriverTiming, reference: str) -> str:
    side = "later" if d.delay_us >= 0 else "earlier"
    return (
        f"{d.driver} sounds {_us(abs(d.delay_us))} us {side} than {reference} and {db(d.gain_db, 1, True)} dB, "
        f"against their own records, {_way(d)}"
    )


def _as_read(guessed: list[DriverTiming]) -> str:
    """What of an interval matters for a sum, and is written."""
    known = and_words(f"+-{_us(d.as_read_us)} us ({d.driver})" for d in guessed)
    return (
        "a part comes from rebuilt phases: how a level goes on beyond its record's ends is a guess. For the sum, as "
        f"the records are read here, the delay is known to {known}: delay_uncertainty_us"
    )


def _way(d: DriverTiming) -> str:
    return "the other way round than was said" if d.reversed else "the way round that was said"


def _row(d: DriverTiming) -> list[str]:
    levels = f"{db(d.gain_low_db, 1, True)} to {db(d.gain_high_db, 1, True)}"
    delays = f"{_us(d.low_us, True)} to {_us(d.high_us, True)}"
    way = "REVERSED" if d.reversed else "as said"
    return [d.driver, _us(d.delay_us, True), delays, db(d.gain_db, 1, True), levels, way]


def _us(value: float, signed: bool = False) -> str:
    digits = 0 if abs(value) >= 9.95 else 1
    return f"{round(value, digits) + 0.0:{'+' if signed else ''}.{digits}f}"
