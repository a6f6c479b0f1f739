"""The tables of `xover bypass`."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from xover.cli.show import db, degrees, hertz, ohm, show_heading, show_item, show_table, show_text
from xover.quantity import Kind, format_quantity

if TYPE_CHECKING:
    from xover.acoustic.level import BandLevel
    from xover.electronic.biquad import Band
    from xover.studies.change.bypass.crossover import ChannelSetting
    from xover.studies.change.bypass.fitness import DriverFitness
    from xover.studies.change.bypass.result import BypassStudy


def show_findings(study: BypassStudy, notes: bool) -> None:
    """What forbids switching on and what to heed, or the notes."""
    from xover.studies.change.bypass.result import Gravity
    from xover.studies.change.bypass.words import TITLES

    for severity in (Gravity.NOTE,) if notes else (Gravity.STOP, Gravity.CAUTION):
        found = [f for f in study.findings if f.severity is severity]
        if found:
            show_heading(TITLES[severity])
        for finding in found:
            show_item("-", f"{finding.about}: {finding.text}", 1)


def show_channels(study: BypassStudy) -> None:
    """What each channel sees, and how its driver suits its part of the band."""
    show_heading("Channels: the load of the bare drivers, and how each driver suits its band")
    show_table(
        ["channel", "ohm", "at", "EPDR", "at", "allowed", "verdict"],
        [
            [
                name,
                ohm(c.load.reading.minimum_ohm, 2),
                hertz(c.load.reading.minimum_at_hz),
                ohm(c.load.reading.lowest_epdr_ohm, 2),
                hertz(c.load.reading.lowest_epdr_at_hz),
                "-" if c.load.verdict.minimum_load_ohm is None else f"{c.load.verdict.minimum_load_ohm:g}",
                str(c.load.verdict.level),
            ]
            for name, c in study.channels.items()
        ],
    )
    for name, c in study.channels.items():
        if len(c.wiring.keys) > 1:
            assumed = " (assumed)" if c.wiring.assumed else " as in the network"
            show_text(f"{name}: {c.wiring.words}{assumed}.")
    show_table(
        ["driver", "fs", "corner/fs", "resonance", "ka", "-6 dB at", "beaming", "break-up"],
        [_fitness(c.fitness) for c in study.channels.values()],
    )
    show_text(
        "corner/fs: lower corner over the resonance. ka, -6 dB at: at the upper corner, degrees off the axis for a "
        "piston of its size. A dash: that end of its band has no corner."
    )


def _fitness(fit: DriverFitness) -> list[str]:
    low, high = fit.lower_hz is not None, fit.upper_hz is not None
    return [
        fit.channel,
        hertz(fit.resonance_hz),
        f"{fit.ratio:.1f}" if low and math.isfinite(fit.ratio) else "-",
        str(fit.resonance) if low else "-",
        f"{fit.ka:.1f}" if high and math.isfinite(fit.ka) else "-",
        degrees(fit.half_angle_deg),
        str(fit.beaming) if high else "-",
        str(fit.breakup) if high else "-",
    ]


def show_twin(study: BypassStudy) -> None:
    """The passive network's twin."""
    show_heading(f"The twin of network '{study.network}': dial this in to keep the voicing")
    show_table(
        ["channel", "gain dB", "delay us", "polarity", "trim dB", "bands", "off dB", "off deg"],
        [
            [
                name,
                db(c.twin.gain_db, signed=True),
                _micro(c.twin.delay_s),
                _polarity(c.twin.polarity),
                db(c.trim.twin_trim_db, signed=True),
                f"{len(c.twin.bands)}",
                db(c.twin.worst_db, 2),
                f"{c.twin.worst_deg:.1f}",
            ]
            for name, c in study.channels.items()
        ],
    )
    _show_bands((name, c.twin.bands) for name, c in study.channels.items())
    words = (
        "trim: gain against the highest, less what the amplifiers' gains do already. off: the largest error of "
        "level and phase against the old network, weighted by the driver's share of the sum."
    )
    if study.twin_sum is not None:
        words += (
            f" The sum behind the twin differs from the old one by {db(study.twin_sum.worst_db, 2, True)} dB at "
            f"most, at {hertz(study.twin_sum.worst_at_hz)}."
        )
    show_text(words)


def show_crossover(study: BypassStudy) -> None:
    """The sums side by side, and what to set for those behind the crossover at hand."""
    from xover.studies.change.bypass.crossover import corners_words

    if study.passive is None or study.twin_sum is None or study.reached is None or study.better is None:
        return
    at_hand = f"{study.crossover.slope.name} at {corners_words(study.crossover.corners_hz)}"
    known = study.passive
    show_heading(
        f"The sum from {hertz(known.known_from_hz)} to {hertz(known.known_to_hz)}: how far it strays from its mean, dB"
    )
    bare = study.reached.crossovers
    show_table(
        ["behind", "rms", "highest", "at", "lowest", "at", "null"],
        [
            ["the old network", *_strays(study.passive), _nulls([c.null_depth_db for c in study.passive_crossovers])],
            ["its twin", *_strays(study.twin_sum.band), _nulls([c.null_depth_db for c in study.twin_sum.crossovers])],
            ["the crossover at hand", *_strays(study.reached.band), _nulls([c.null_depth_db for c in bare])],
            [
                "the same, with bands",
                *_strays(study.better.band),
                _nulls([c.null_depth_db for c in study.better.crossovers]),
            ],
        ],
    )
    if not study.coherent:
        show_text(
            "Both sums of the crossover are those with the best delays, which are not known; the polarity goes with "
            "them. The others are one case among many."
        )
    show_heading(f"{at_hand}: what to set for the best sum")
    show_table(
        ["channel", "gain dB", "delay us", "polarity", "trim dB", "driver dB", "amplifier dB"],
        [
            [
                name,
                *_set(s),
                db(study.channels[name].trim.trim_db, signed=True),
                db(study.channels[name].trim.sensitivity_db),
                db(study.channels[name].trim.amplifier_gain_db),
            ]
            for name, s in study.reached.settings.items()
        ],
    )
    if any(s.bands for s in study.better.settings.values()):
        show_heading("The same, with bands")
        show_table(
            ["channel", "gain dB", "delay us", "polarity"], [[n, *_set(s)] for n, s in study.better.settings.items()]
        )
        _show_bands((name, s.bands) for name, s in study.better.settings.items())
    else:
        show_text("No band lowers the rms deviation by 0.1 dB or more.")
    show_text(
        "null: depth of the sum with every other way reversed. driver: its mean level in its own band for 2.83 V at "
        "1 m. amplifier: its gain as given; those not given are taken to be alike. trim: gain less what the "
        "amplifiers' gains do already. Best means flat on the design axis with the drivers in step (0.5 dB of rms "
        "for 90 degrees); bands by least squares, Q up to 4, 6 dB of boost at most. It holds for the one place that "
        "was measured: listen and measure off the axis too."
    )


def show_map(study: BypassStudy) -> None:
    """Deviation against frequency and slope."""
    for chart in study.maps:
        show_heading(f"{chart.lower} to {chart.upper}: rms deviation of the sum in dB against corner and slope")
        rows = []
        for i, f in enumerate(chart.frequency_hz):
            cells = [
                db(float(v), 2) + ("!" if f < least else " ")
                for v, least in zip(chart.rms_deviation_db[i], chart.least_hz, strict=True)
            ]
            rows.append([hertz(float(f)), *cells])
        show_table(["corner", *(f"{s} " for s in chart.slopes)], rows)
        if chart.best_slope:
            show_text(
                f"Flattest that {chart.upper} stands: {chart.best_slope} at {hertz(chart.best_hz)}, "
                f"{db(chart.best_db, 2)} dB."
            )
        show_text(
            f"Each cell with its own best gains, delays and polarity. !: too near the resonance of {chart.upper}."
        )


def show_missing(study: BypassStudy) -> None:
    """What the network also did."""
    show_heading(f"What the old network also did, beyond {study.crossover.slope.name} slopes at these corners")
    for name, c in study.channels.items():
        m = c.missing
        if math.isnan(m.gain_db):
            show_item(name, "not known", 9)
            continue
        words = "; ".join(m.words) or "nothing of note"
        left = (
            f" (with gain {db(m.gain_db, signed=True)} dB and these bands within {db(m.worst_db)} dB)"
            if m.bands
            else ""
        )
        show_item(name, words + left, 9)
    _show_bands((name, c.missing.bands) for name, c in study.channels.items())


def show_capacitor(study: BypassStudy) -> None:
    """The protection capacitor."""
    for name, c in study.channels.items():
        capacitor = c.capacitor
        if capacitor is None:
            continue
        volts = "" if capacitor.usual_volts is None else f", {capacitor.usual_volts:g} V"
        e = capacitor.chosen
        show_heading(
            f"Protection capacitor of {name}: {format_quantity(e.farad, Kind.CAPACITANCE)} film{volts}, in series, "
            "at its own impedance"
        )
        show_table(
            ["value", "-3 dB", "dB", "deg", "ring", "at", "over R", "50 Hz", "ohm", "at"],
            [
                [
                    format_quantity(v.farad, Kind.CAPACITANCE),
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
        show_text(
            f"dB, deg: level and phase at {hertz(c.fitness.lower_hz)}. ring: highest maximum below it, where the "
            "capacitor meets the driver's resonance; over R: more than a resistor would get. The smallest value "
            f"that changes the level by less than {capacitor.allowed_db:g} dB from the corner up. ohm: the channel's "
            "load with it."
        )
        show_text(
            f"Correction: gain {db(capacitor.gain_db, signed=True)} dB"
            + ("" if capacitor.bands else ", no band")
            + f"; it leaves {db(capacitor.left_db, 2)} dB and {degrees(capacitor.left_deg)} deg."
        )
        _show_bands([(name, capacitor.bands)])


def show_watts(study: BypassStudy) -> None:
    """Watts of each channel and its trim."""
    p = study.power
    if p.reason:
        show_heading("Watts: share of the programme behind each channel's slopes")
    else:
        show_heading(
            f"Watts for {p.level_db:g} dB at {p.distance_m:g} m with {p.headroom_db:g} dB of headroom (programme noise)"
        )
    show_table(
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
    show_text(
        "share: of the programme's squared voltage that the slopes pass. W peak: average with the headroom, which "
        "each channel may need alone. margin: volts of the amplifier's rating over that."
    )


def _show_bands(channels: Iterable[tuple[str, Sequence[Band]]]) -> None:
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
        show_table(["channel", "band", "Hz", "dB", "Q"], rows)


def _set(setting: ChannelSetting) -> list[str]:
    return [db(setting.gain_db, signed=True), _micro(setting.delay_s), _polarity(setting.polarity)]


def _strays(band: BandLevel) -> list[str]:
    return [
        db(band.rms_deviation_db, 2),
        db(band.highest_deviation_db, signed=True),
        hertz(band.highest_at_hz),
        db(band.lowest_deviation_db, signed=True),
        hertz(band.lowest_at_hz),
    ]


def _nulls(depths: Sequence[float | None]) -> str:
    return ", ".join(db(d, 0) for d in depths) if any(d is not None for d in depths) else "-"


def _micro(seconds: float) -> str:
    return "-" if math.isnan(seconds) else f"{1e6 * seconds:.0f}"


def _polarity(sign: int) -> str:
    return "reversed" if sign < 0 else "normal"


def _figure(value: float) -> str:
    if math.isnan(value):
        return "-"
    return f"{value:.0f}" if value >= 99.5 else f"{value:.2g}"
