"""All that is beside the short answer: loads, the old network as filters, sums, a map, the capacitor, watts, notes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from xover.acoustic.crossover import CrossoverReading
from xover.acoustic.level import BandLevel
from xover.blocks import Block, Head, Items, Text, fact, plain_table
from xover.electronic.biquad import Band
from xover.figures import db, degrees, hertz, ohm, written
from xover.quantity import QuantityKind, format_quantity
from xover.rules.severity import Severity
from xover.studies.change.bypass.crossover import ChannelSetting, corners_words
from xover.studies.change.bypass.fitness import DriverFitness
from xover.studies.change.bypass.result import BypassStudy
from xover.studies.change.bypass.twin import ChannelTwin
from xover.terms import legend

TITLES: Final = {Severity.STOP: "Stops", Severity.CAUTION: "Cautions", Severity.NOTE: "Notes"}


def details(study: BypassStudy) -> Iterator[Block]:
    """Everything that was worked out, the gravest first."""
    if study.unknown:
        yield Head("What this cannot know")
        yield Items(study.unknown)
    yield from _findings(study, Severity.STOP, Severity.CAUTION)
    yield from _channels(study)
    yield from _twin(study)
    yield from _sums(study)
    yield from _map(study)
    yield from _missing(study)
    yield from _capacitor(study)
    yield from _watts(study)
    yield from _findings(study, Severity.NOTE)


def _findings(study: BypassStudy, *severities: Severity) -> Iterator[Block]:
    for severity in severities:
        found = [f"{f.about}: {f.text}" for f in study.findings if f.severity is severity]
        if found:
            yield Head(TITLES[severity])
            yield Items(tuple(found))


def _channels(study: BypassStudy) -> Iterator[Block]:
    """What each channel sees, and how its driver suits its part of the band."""
    yield Head("Channels: the load of the bare drivers, and how each driver suits its band")
    yield plain_table(
        ["channel", "ohm", "at", "EPDR", "at", "allowed", "verdict"],
        [
            [
                name,
                written("lowest load", c.load.reading.minimum_ohm, f"bare {name}"),
                hertz(c.load.reading.minimum_at_hz),
                written("lowest EPDR", c.load.reading.lowest_epdr_ohm, f"bare {name}"),
                hertz(c.load.reading.lowest_epdr_at_hz),
                "-" if c.load.verdict.minimum_load_ohm is None else f"{c.load.verdict.minimum_load_ohm:g}",
                str(c.load.verdict.level),
            ]
            for name, c in study.channels.items()
        ],
    )
    for name, c in study.channels.items():
        if len(c.wiring.keys) > 1:
            yield Text(f"{name}: {c.wiring.words}{' (assumed)' if c.wiring.assumed else ' as in the network'}.")
    yield plain_table(
        ["driver", "fs", "corner/fs", "resonance", "ka", "-6 dB at", "beaming", "break-up"],
        [_fitness(c.fitness) for c in study.channels.values()],
    )
    yield Text(
        "corner/fs: lower corner over the resonance. ka, -6 dB at: at the upper corner, degrees off the axis for a "
        "piston of its size. A dash: that end of its band has no corner. " + legend("EPDR")
    )


def _fitness(fit: DriverFitness) -> list[str]:
    low, high = fit.lower_hz is not None, fit.upper_hz is not None
    return [
        fit.channel,
        written("resonance", fit.resonance_hz, fit.channel),
        f"{fit.ratio:.1f}" if low and math.isfinite(fit.ratio) else "-",
        str(fit.resonance) if low else "-",
        f"{fit.ka:.1f}" if high and math.isfinite(fit.ka) else "-",
        degrees(fit.half_angle_deg),
        str(fit.beaming) if high else "-",
        str(fit.breakup) if high else "-",
    ]


def _twin(study: BypassStudy) -> Iterator[Block]:
    """The passive network's twin."""
    yield Head(f"The old sound by filters: the twin of network '{study.network}', each driver's voltage as it was")
    yield plain_table(
        ["channel", "gain dB", "delay us", "polarity", "bands", "off dB", "off deg"],
        [
            [
                name,
                *_set(c.twin),
                f"{len(c.twin.bands)}",
                db(c.twin.worst_db, 2),
                f"{c.twin.worst_deg:.1f}" if c.twin.known else "-",
            ]
            for name, c in study.channels.items()
        ],
    )
    yield from _bands((name, c.twin.bands) for name, c in study.channels.items())
    words = (
        "off: the largest error of level and phase against the old network, weighted by the driver's share of the sum."
    )
    if study.twin_sum is not None:
        words += (
            f" The sum behind the twin differs from the old one by {db(study.twin_sum.worst_db, 2, True)} dB at "
            f"most, at {hertz(study.twin_sum.worst_at_hz)}."
        )
    yield Text(words)


def _sums(study: BypassStudy) -> Iterator[Block]:
    """The sums side by side, and what to set for those behind the crossover at hand."""
    known, reached, better = study.passive, study.reached, study.better
    if known is None or reached is None or better is None:
        return
    yield Head(
        f"The sum from {hertz(known.known_from_hz)} to {hertz(known.known_to_hz)}: how far it strays from its mean, dB"
    )
    rows = [
        ("the old network", study.network, known, study.passive_crossovers),
        *([] if study.twin_sum is None else [("its twin", "twin", study.twin_sum.band, study.twin_sum.crossovers)]),
        ("the crossover at hand", "bypass", reached.band, reached.crossovers),
        ("the same, with bands", "bypass with bands", better.band, better.crossovers),
    ]
    yield plain_table(
        ["behind", "rms", "highest", "at", "lowest", "at", "null"],
        [[name, *_strays(band, of), _nulls(crossed, of)] for name, of, band, crossed in rows],
    )
    if not study.coherent:
        yield Text(
            "Both sums of the crossover are those with the best delays, which are not known; the polarity goes with "
            "them. The others are one case among many."
        )
    at = f"{study.crossover.slope.name} at {corners_words(study.crossover.corners_hz)}"
    yield Head(f"{at}: what to set, and the levels that the gains are from")
    yield plain_table(
        ["channel", "gain dB", "delay us", "polarity", "driver dB", "amplifier dB", "set dB"],
        [
            [
                name,
                *_set(s),
                db(study.channels[name].trim.sensitivity_db),
                db(study.channels[name].trim.amplifier_gain_db),
                db(study.channels[name].trim.trim_db, signed=True),
            ]
            for name, s in better.settings.items()
        ],
    )
    yield from _bands((name, s.bands) for name, s in better.settings.items())
    if study.bands:
        yield Head("The same without bands")
        yield plain_table(
            ["channel", "gain dB", "delay us", "polarity"], [[n, *_set(s)] for n, s in reached.settings.items()]
        )
    unsure = [n for n, bears in study.bears_bands.items() if not bears]
    if unsure:
        yield Text(f"No band for {', '.join(unsure)}: the response is not known well enough to be corrected.")
    elif not study.bands:
        yield Text("No band corrects more than what is not known and lowers the rms deviation by 0.1 dB.")
    yield Text(
        "null: depth of the sum with every other way reversed. driver: its mean level in its own band for 2.83 V at "
        "1 m. amplifier: its gain as given; those not given are taken to be alike. set: gain less what the "
        "amplifiers' gains do already. Best means flat on the design axis with the drivers in step (0.5 dB of rms "
        "for 90 degrees); cuts before boosts, Q up to 4, 3 dB of boost at most, none below a driver's resonance. It "
        "holds for the one place that was measured: listen and measure off the axis too."
    )


def _map(study: BypassStudy) -> Iterator[Block]:
    """Deviation against frequency and slope."""
    for chart in study.maps:
        yield Head(f"{chart.lower} to {chart.upper}: rms deviation of the sum in dB against corner and slope")
        rows = []
        for f, line in zip(chart.frequency_hz, chart.rms_deviation_db, strict=True):
            marks = ["!" if f < least else " " for least in chart.least_hz]
            rows.append([hertz(float(f)), *(db(float(v), 2) + mark for v, mark in zip(line, marks, strict=True))])
        yield plain_table(["corner", *(f"{s} " for s in chart.slopes)], rows)
        if chart.best_slope:
            yield Text(
                f"Flattest that {chart.upper} stands: {chart.best_slope} at {hertz(chart.best_hz)}, "
                f"{db(chart.best_db, 2)} dB."
            )
        yield Text(
            f"Each cell with its own best gains, delays and polarity. !: too near the resonance of {chart.upper}."
        )


def _missing(study: BypassStudy) -> Iterator[Block]:
    """What the network also did."""
    yield Head(f"What the old network also did, beyond {study.crossover.slope.name} slopes at these corners")
    for name, c in study.channels.items():
        m, left = c.missing, ""
        if m.bands:
            left = f" (with gain {db(m.gain_db, signed=True)} dB and these bands within {db(m.worst_db)} dB)"
        words = "; ".join(m.words) or "nothing of note"
        yield fact(name, "not known" if math.isnan(m.gain_db) else words + left, 9)
    yield from _bands((name, c.missing.bands) for name, c in study.channels.items())


def _capacitor(study: BypassStudy) -> Iterator[Block]:
    """The protection capacitor."""
    for name, c in study.channels.items():
        capacitor = c.capacitor
        if capacitor is None:
            continue
        yield Head(f"Protection capacitor of {name}: {capacitor.bought_as}, in series, at its own impedance")
        yield plain_table(
            ["value", "-3 dB", "dB", "deg", "ring", "at", "over R", "50 Hz", "ohm", "at"],
            [
                [
                    format_quantity(v.farad, QuantityKind.CAPACITANCE),
                    hertz(v.corner_hz),
                    db(v.at_corner_db, 2),
                    degrees(v.at_corner_deg),
                    db(v.bump_db, signed=True),
                    hertz(v.bump_hz),
                    db(v.bump_over_db, signed=True),
                    db(v.mains_db, 0),
                    ohm(v.lowest_load_ohm),
                    hertz(v.lowest_load_hz),
                ]
                for v in capacitor.beside
            ],
        )
        yield Text(
            f"dB, deg: level and phase at {hertz(c.fitness.lower_hz)}. ring: highest maximum below it, where the "
            "capacitor meets the driver's resonance; over R: more than a resistor would get. The smallest value "
            f"that changes the level by less than {capacitor.allowed_db:g} dB from the corner up. ohm: the channel's "
            "load with it."
        )
        yield Text(
            f"Correction, which undoes the capacitor and raises nothing: gain {db(capacitor.gain_db, signed=True)} dB"
            f"{'' if capacitor.bands else ', no band'}; it leaves {db(capacitor.left_db, 2)} dB and "
            f"{degrees(capacitor.left_deg)} deg."
        )
        yield from _bands([(name, capacitor.bands)])


def _watts(study: BypassStudy) -> Iterator[Block]:
    """Watts of each channel."""
    p = study.power
    if p.reason:
        yield Head("Watts: share of the programme behind each channel's slopes")
    else:
        yield Head(
            f"Watts for {p.level_db:g} dB at {p.distance_m:g} m with {p.headroom_db:g} dB of headroom (programme noise)"
        )
    yield plain_table(
        ["channel", "share", "V rms", "W average", "W peak", "amplifier", "margin dB"],
        [
            [
                name,
                f"{100 * c.power.programme_share:.1f} %",
                _figure(c.power.voltage_rms_v),
                _figure(c.power.average_power_w),
                _figure(c.power.power_w),
                "-" if c.power.rating is None else f"{c.power.rating.power_w:g} W/{c.power.rating.load_ohm:g} ohm",
                db(c.power.margin_db, signed=True),
            ]
            for name, c in study.channels.items()
        ],
    )
    yield Text(
        "share: of the programme's squared voltage that the slopes pass. W peak: average with the headroom, which "
        "each channel may need alone. margin: volts of the amplifier's rating over that."
    )


def _bands(channels: Iterable[tuple[str, Sequence[Band]]]) -> Iterator[Block]:
    rows = [
        [
            name,
            band.kind.words,
            hertz(band.frequency_hz),
            db(band.gain_db, signed=True) if band.kind.has_gain else "-",
            "-" if band.q is None else f"{band.q:.2f}",
        ]
        for name, bands in channels
        for band in bands
    ]
    if rows:
        yield plain_table(["channel", "band", "Hz", "dB", "Q"], rows)


def _set(one: ChannelSetting | ChannelTwin) -> list[str]:
    delay = "-" if math.isnan(one.delay_s) else f"{1e6 * one.delay_s:.0f}"
    polarity = "-" if math.isnan(one.gain_db) else "reversed" if one.polarity < 0 else "normal"
    return [db(one.gain_db, signed=True), delay, polarity]


def _strays(band: BandLevel, of: str) -> list[str]:
    return [
        written("sum rms", band.rms_deviation_db, of),
        written("above mean", band.highest_deviation_db, of),
        hertz(band.highest_at_hz),
        written("below mean", band.lowest_deviation_db, of),
        hertz(band.lowest_at_hz),
    ]


def _nulls(crossed: Sequence[CrossoverReading], network: str) -> str:
    known = any(c.null_depth_db is not None for c in crossed)
    return ", ".join(written("null depth", c.null_depth_db, c.of(network)) for c in crossed) if known else "-"


def _figure(value: float) -> str:
    if math.isnan(value):
        return "-"
    return f"{value:.0f}" if value >= 99.5 else f"{value:.2g}"
