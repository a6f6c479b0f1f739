"""The stress as a person reads it."""

from __future__ import annotations

import math
from collections.abc import Iterator

from xover.amplifier.stress import ElementKind, ElementStress, PartRating, RatingVerdict
from xover.blocks import Block, Head, Text, fact, plain_table, sentence
from xover.figures import amount, hertz
from xover.rules.margins import CAPACITOR_MARGIN, CLIPPED_CREST, RESISTOR_MARGIN
from xover.sentences import and_words
from xover.studies.bears.stress.study import StressStudy
from xover.terms import TERMS


def tell(study: StressStudy, everything: bool = False) -> Iterator[Block]:
    yield Head(f"{study.title}: network '{study.network}', stress on its parts")
    for words in study.limits_broken:
        yield Text(words + ".")
    if not study.limits_broken:
        stated = any(r.said is not None for r in study.ratings.values())
        unknown = [r.name for r in study.ratings.values() if r.said and r.verdict is RatingVerdict.NOT_KNOWN]
        but = f", but for {and_words(unknown)}, of which too little is known" if unknown else ""
        yield Text(f"Every rating that a card states is high enough{but}." if stated else "No card states a rating.")
    for level in study.levels:
        yield fact("listening" if level.name == "listening" else "full level", level.sentence, 10)
    if everything:
        yield fact("programme", study.spectrum_words, 10)
    yield fact("full sine", TERMS["full sine"], 10)
    full, quiet = study.full.stress, study.quiet
    yield from _drivers(study, full.of_kind(ElementKind.DRIVER))
    if everything:
        lost = full.power_w - sum(e.power_w for e in full.of_kind(ElementKind.DRIVER) if not math.isnan(e.power_w))
        yield Text(f"{amount(full.power_w)} W in all, {amount(lost)} W of them in the network's parts.")
    resistors = full.of_kind(ElementKind.RESISTOR, ElementKind.LAMP)
    if resistors:
        yield Head("Resistors: watts of heat")
        yield plain_table(
            ["part", "W", *(["listening"] if quiet else []), "full sine", "at", "needed", "usual", "card", "verdict"],
            [
                [
                    e.name,
                    amount(e.power_w),
                    *([amount(quiet.stress.of(e.name).power_w)] if quiet else []),
                    amount(e.sine_power_w),
                    hertz(e.sine_power_at_hz),
                    *_rated(study.ratings.get(e.name)),
                ]
                for e in resistors
            ],
        )
    capacitors = full.of_kind(ElementKind.CAPACITOR)
    if capacitors:
        yield Head("Capacitors: volts")
        yield plain_table(
            ["part", "rms", "peak", "full sine", "at", "needed", "usual", "card", "verdict", "W"],
            [
                [
                    e.name,
                    amount(e.voltage_rms_v),
                    amount(e.crest_voltage_peak_v),
                    amount(e.sine_voltage_peak_v),
                    hertz(e.sine_voltage_at_hz),
                    *_rated(study.ratings.get(e.name)),
                    amount(e.power_w),
                ]
                for e in capacitors
            ],
        )
    coils = full.of_kind(ElementKind.COIL)
    rated = any(e.name in study.ratings and study.ratings[e.name].said is not None for e in coils)
    if coils and (rated or everything):
        yield Head("Coils: amperes")
        yield plain_table(
            ["part", "rms", "peak", "full sine", "at", "card", "verdict", "W in DCR"],
            [
                [
                    e.name,
                    amount(e.current_rms_a),
                    amount(e.crest_current_peak_a),
                    amount(e.sine_current_peak_a),
                    hertz(e.sine_current_at_hz),
                    *_rated(study.ratings.get(e.name))[2:],
                    amount(e.power_w),
                ]
                for e in coils
            ],
        )
    yield from _cautions(study)
    if everything:
        yield from _reading(study)


def _drivers(study: StressStudy, drivers: tuple[ElementStress, ...]) -> Iterator[Block]:
    quiet = study.quiet
    yield Head("Drivers: watts of the programme")
    yield plain_table(
        ["driver", "W", *(["listening"] if quiet else []), "share %", "V rms", "A rms"],
        [
            [
                e.key,
                amount(e.power_w),
                *([amount(quiet.stress.of(e.name).power_w)] if quiet else []),
                _percent(e.power_share),
                amount(e.voltage_rms_v),
                amount(e.current_rms_a),
            ]
            for e in drivers
        ],
    )


def _cautions(study: StressStudy) -> Iterator[Block]:
    yield Head("Cautions")
    for caution in study.cautions:
        yield sentence(caution)
    crest = study.full.crest
    if crest > CLIPPED_CREST:
        yield Text(
            f"Driven into clipping (crest factor {CLIPPED_CREST:g}), all watts are {(crest / CLIPPED_CREST) ** 2:.2g} "
            "times these."
        )
    yield Text(
        f"needed: {RESISTOR_MARGIN:g} times the watts, {CAPACITOR_MARGIN:g} times the volts of the full sine (common "
        "practice); usual: the next rating on sale."
    )


def _reading(study: StressStudy) -> Iterator[Block]:
    yield Head("How to read it")
    yield Text(
        f"{study.outside_share:.1%} of the programme lies outside {hertz(study.frequency_hz[0])} to "
        f"{hertz(study.frequency_hz[-1])} and is not counted."
    )
    for words in study.assumptions[1:]:
        yield sentence(words)


def _rated(rating: PartRating | None) -> list[str]:
    """Needed, usual, card and verdict."""
    if rating is None:
        return ["-", "-", "-", "-"]
    usual = "-" if math.isnan(rating.needed) else "none"
    return [
        amount(rating.needed),
        f"{rating.usual:g}" if rating.usual is not None else usual,
        "-" if rating.said is None else f"{rating.said:g}",
        "-" if rating.said is None else str(rating.verdict),
    ]


def _percent(share: float) -> str:
    return "-" if math.isnan(share) else f"{100.0 * share:.1f}"
