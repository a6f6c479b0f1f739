"""Left against right: how like the two boards and their drivers are."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from xover.bench.words import and_words
from xover.curve import Evidence
from xover.figures import written
from xover.network import Network
from xover.network.parts import shown_value, value_of
from xover.quantity import ohms
from xover.rules.likeness import PAIR_FS, PAIR_PARTS, PAIR_RE
from xover.sound.resonance import swept_resonance_hz
from xover.speaker import Speaker, SpeakerDriver
from xover.studies.aged.condition.parts import signed_percent


@dataclass(frozen=True)
class PairPart:
    """One part on both sides; the other is "" where it is not there. difference : other over this less one."""

    name: str
    this: str
    other: str
    difference: float | None
    alike: bool


@dataclass(frozen=True)
class PairDriver:
    """One driver on both sides.

    Attributes
    ----------
    fs_hz, other_fs_hz : highest peak of the measured impedance, as mounted; NaN where there is no sweep or no peak.
    re_ohm, other_re_ohm : as read with a meter, else the sweep's lowest resistance; NaN where not known.
    alike : None where nothing can be compared. sentence : in words.
    """

    name: str
    fs_hz: float
    other_fs_hz: float
    re_ohm: float
    other_re_ohm: float
    alike: bool | None
    sentence: str


@dataclass(frozen=True)
class PairMatch:
    """Both speakers.

    Attributes
    ----------
    mate : its title. network, mate_network : titles of what is compared. sentence : in words.
    """

    mate: str
    network: str
    mate_network: str
    parts: tuple[PairPart, ...]
    drivers: tuple[PairDriver, ...]
    sentence: str


def pair_match(speaker: Speaker, network: Network, mate: Speaker, mate_network: Network) -> PairMatch:
    """Compare two boards part by part, and the drivers by their sweeps."""
    theirs = {p.name.lower(): p for p in mate_network.parts}
    parts = []
    for part in network.parts:
        other = theirs.pop(part.name.lower(), None)
        same = other is not None and type(other) is type(part)
        change = value_of(other) / value_of(part) - 1.0 if other is not None and same and value_of(part) else None
        alike = other is not None and same and abs(change or 0.0) <= PAIR_PARTS
        parts.append(PairPart(part.name, shown_value(part), shown_value(other) if other else "", change, alike))
    parts += [PairPart(p.name, "", shown_value(p), None, False) for p in theirs.values()]
    drivers = tuple(
        _driver(name, speaker.drivers[name], mate.drivers[name])
        for name in network.driver_names
        if name in mate.drivers
    )
    return PairMatch(
        mate=mate.title,
        network=network.title,
        mate_network=mate_network.title,
        parts=tuple(parts),
        drivers=drivers,
        sentence=_sentence(parts, drivers),
    )


def _sentence(parts: list[PairPart], drivers: tuple[PairDriver, ...]) -> str:
    unlike = [p for p in parts if not p.alike]
    if not unlike:
        text = f"all parts of the two boards are alike within {100 * PAIR_PARTS:g} %"
    else:
        words = and_words(
            f"{p.name} ({signed_percent(p.difference)})" if p.difference is not None else f"{p.name} (on one side only)"
            for p in unlike
        )
        text = f"more than {100 * PAIR_PARTS:g} % apart: {words}"
    odd = [d.name for d in drivers if d.alike is False]
    if odd:
        return f"{text}; {and_words(odd)} {'is' if len(odd) == 1 else 'are'} not the same on both sides by the sweeps"
    if drivers and all(d.alike for d in drivers):
        return f"{text}; the drivers are alike by their sweeps"
    return f"{text}; the drivers were not swept on both sides"


def _driver(name: str, this: SpeakerDriver, other: SpeakerDriver) -> PairDriver:
    fs, re = zip(*(_figures(d) for d in (this, other)), strict=True)
    judged = [
        abs(b / a - 1.0) <= limit
        for (a, b), limit in ((fs, PAIR_FS), (re, PAIR_RE))
        if math.isfinite(a) and math.isfinite(b)
    ]
    alike = all(judged) if judged else None
    said = []
    if math.isfinite(fs[0]) and math.isfinite(fs[1]):
        said.append(
            f"resonance {written('resonance', fs[0], name)} and "
            f"{written('resonance', fs[1], f'{name} of the mate')} ({signed_percent(fs[1] / fs[0] - 1.0)})"
        )
    if math.isfinite(re[0]) and math.isfinite(re[1]):
        said.append(f"Re {ohms(re[0])} and {ohms(re[1])} ({signed_percent(re[1] / re[0] - 1.0)})")
    text = f"{name}: {', '.join(said) if said else 'not swept on both sides'}"
    if alike is not None:
        text += f", {'alike' if alike else 'not the same driver, or one of them has changed'}"
    return PairDriver(name, fs[0], fs[1], re[0], re[1], alike, text)


def _figures(driver: SpeakerDriver) -> tuple[float, float]:
    """Resonance and DC resistance from what was measured; NaN where nothing was."""
    curve = driver.impedance
    if curve is None or curve.evidence is not Evidence.MEASURED:
        return math.nan, math.nan
    fs = swept_resonance_hz(curve)
    printed = driver.datasheet is not None and driver.re_ohm == driver.datasheet.re_ohm
    read = driver.re_ohm if driver.re_ohm is not None and not printed else float(np.min(curve.value.real))
    return fs, read
