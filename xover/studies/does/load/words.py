"""The load as a person reads it."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from xover.amplifier.faults import CapacitorStress
from xover.amplifier.load import ASSUMPTION, LoadLevel
from xover.blocks import FAIL, Block, Cell, Gap, Head, Text, fact, plain_table, sentence, table
from xover.figures import at_octaves, db, degrees, hertz, load_of, ohm, written
from xover.judge.words import stops_of
from xover.studies.does.load.study import ChannelLoad, LoadStudy
from xover.terms import TERMS


def tell(study: LoadStudy, everything: bool = False) -> Iterator[Block]:
    """The verdict, each channel, each driver's faults, and the watts for a level."""
    yield Head(f"{study.title}: network '{study.network}', load of the amplifier")
    several = len(study.channels) > 1
    for name, channel in study.channels.items():
        stopped = channel.verdict.level is LoadLevel.TOO_LOW and stops_of(study)
        said = "this amplifier must not drive it" if stopped else channel.verdict.sentence
        yield sentence(f"channel {name}: {said}" if several else said)
    for number, channel in enumerate(study.channels.values()):
        yield from _channel(channel, study.network, several, everything, first=number == 0)
    yield from faults(study, "Each driver open, then shorted")
    need = study.listening
    if need is not None:
        yield Head("Power for the listening level")
        yield sentence(need.sentence)
        if need.power_into_rated_w is not None:
            yield Text(
                f"{need.power_into_rated_w:.0f} W into the rated load on peaks, "
                f"{need.average_power_into_rated_w:.2g} W on average."
            )
        if everything:
            yield Text(f"Assumed: {need.assumption}.")


def faults(study: LoadStudy, caption: str) -> Iterator[Block]:
    """What a driver that is dead, open or shorted, makes of the load and of a capacitor."""
    rows = [
        [
            case.driver,
            str(case.kind),
            "none" if case.minimum_ohm is None else ohm(case.minimum_ohm, 2),
            hertz(case.at_hz),
            *_worst(case.capacitors),
        ]
        for case in study.faults
    ]
    columns = ["driver", "fault", "lowest ohm", "at", "capacitor", "x drive", "V peak", "rated V"]
    yield table(caption, columns, rows, numbers=(2, 5, 6, 7))
    if study.bounds:
        short = ", ".join(dict.fromkeys(bound.driver for bound in study.bounds))
        yield Text(f"Lowest ohm: sought where all is known; where {short} was not swept it may be lower.")
    yield Text(
        "x drive: the capacitor's highest voltage over the amplifier's; V peak: at its rated power; ! over the rating. "
        "An unplugged driver can leave a series-resonant short, and its capacitor far over the amplifier's voltage: "
        "never play loud with a driver disconnected, and switch off before you unplug one.",
        "quiet",
    )


def _worst(capacitors: tuple[CapacitorStress, ...]) -> list[str | Cell]:
    known = [c for c in capacitors if not math.isnan(c.magnification)]
    if not known:
        return ["-", "-", "-", "-"]
    worst = max(known, key=lambda c: c.magnification)
    rated = "-" if worst.rating_v is None else f"{worst.rating_v:g}"
    return [
        worst.name,
        f"{worst.magnification:.1f}" if worst.bounded else "unbounded",
        "-" if worst.peak_v is None or not np.isfinite(worst.peak_v) else f"{worst.peak_v:.0f}",
        rated if not worst.over_rating else Cell(f"{rated}!", FAIL),
    ]


def _channel(channel: ChannelLoad, network: str, several: bool, everything: bool, *, first: bool) -> Iterator[Block]:
    r, verdict = channel.reading, channel.verdict
    of = load_of(network, channel.channel)
    if several:
        yield Head(f"Channel {channel.channel}: {', '.join(channel.drivers)}")
    meaning = f": {TERMS['EPDR']}" if first else ""
    hot = ""
    if verdict.epdr_caution:
        hot = f"; under half of the {verdict.minimum_load_ohm:g} ohm allowed: a linear amplifier will run hot when loud"
    yield fact(
        "lowest EPDR",
        f"{written('lowest EPDR', r.lowest_epdr_ohm, of, unit=True)} at {hertz(r.lowest_epdr_at_hz)}{meaning}{hot}",
    )
    rating = "none of the usual ratings" if r.usual_rating_ohm is None else f"{r.usual_rating_ohm:g} ohm"
    yield fact("may be rated", f"{rating} (IEC 60268-5: the lowest impedance is at least 80 % of the rating)")
    yield Gap()
    rows = [
        [f"{f:g}", ohm(r.impedance_ohm[i]), degrees(r.phase_deg[i]), ohm(r.epdr_ohm[i])]
        for f, i in at_octaves(r.frequency_hz)
    ]
    yield plain_table(["Hz", "ohm", "deg", "EPDR ohm"], rows)
    if not everything:
        return
    yield Gap()
    yield fact("EPDR", f"it assumes {ASSUMPTION}")
    yield fact("lowest", f"{written('lowest load', r.minimum_ohm, of, unit=True)} at {hertz(r.minimum_at_hz)}")
    yield fact("highest", f"{ohm(r.maximum_ohm)} ohm at {hertz(r.maximum_at_hz)}")
    yield fact(
        "phase",
        f"{degrees(r.most_capacitive_deg)} deg at {hertz(r.most_capacitive_at_hz)}, "
        f"{degrees(r.most_inductive_deg)} deg at {hertz(r.most_inductive_at_hz)}",
    )
    if channel.demand is not None:
        d = channel.demand
        yield fact(
            "at rated voltage",
            f"{d.rated_voltage_v:.1f} V rms: {d.current_rms_a:.1f} A rms, {d.current_peak_a:.1f} A peak at "
            f"{hertz(d.current_at_hz)} (a sine; the rated load draws {d.rated_current_rms_a:.1f} A rms); "
            f"{d.true_power_w:.0f} W at {hertz(d.true_power_at_hz)}",
        )
    if channel.source is not None:
        e = channel.source
        yield fact(
            "output resistance",
            f"{e.output_ohm:g} ohm turns the impedance into response: {db(e.highest_db, 2, True)} dB at "
            f"{hertz(e.highest_at_hz)}, {db(e.lowest_db, 2, True)} dB at {hertz(e.lowest_at_hz)}",
        )
