"""The sound off the axis as a person reads it."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from xover.acoustic.off_axis import VerticalNulls
from xover.blocks import Block, Head, Text, fact, plain_table
from xover.curve import Float
from xover.figures import at_octaves, db, hertz
from xover.rules.bands import JUDGED_HZ
from xover.studies.does.angles.study import AngleLevels, OffAxisStudy


def tell(study: OffAxisStudy, everything: bool = False) -> Iterator[Block]:
    """How far the sum falls near the axis, both planes at the octaves, and the lobes."""
    yield Head(f"{study.title}: network '{study.network}', off the axis")
    yield Text(_answer(study))
    if everything:
        yield from (fact(driver.key, driver.sentence) for driver in study.drivers)
        yield fact("timing", study.timing_reason)
    for words in study.unknown:
        yield fact("not known", words)
    if study.known:
        yield from _plane("Above (+) and below (-), degrees", study, study.vertical)
        yield from _plane("To the right (+) and left (-), degrees", study, study.horizontal)
    if study.lobes:
        yield Head("The lobe at each crossover")
        columns = ["crossover", "leans deg", "by dB", "min. above", "dB", "min. below", "dB"]
        yield plain_table(columns, [_lobe(lobe) for lobe in study.lobes])
        yield Text("leans: where the sum is loudest between the minima, and how much louder than on the axis.")
        for lobe in study.lobes:
            if lobe.reason:
                yield fact(hertz(lobe.crossover_hz), lobe.reason)


def _answer(study: OffAxisStudy) -> str:
    """How far the sum falls at the nearest angle above and below, in the judged band."""
    low, high = JUDGED_HZ
    inside = (study.frequency_hz >= low) & (study.frequency_hz <= high)
    falls: list[str] = []
    for angle, level in sorted(_beside(study.vertical), key=lambda a: abs(a[0])):
        known = level[inside & np.isfinite(level)]
        if known.size and len(falls) < 2:
            falls.append(
                f"{db(max(0.0, -float(known.min())))} dB {abs(angle):g} deg {'above' if angle > 0 else 'below'}"
            )
    if not falls:
        return f"The {study.of_sum} is not known off the axis."
    band = f"from {hertz(low)} to {hertz(high)}, {study.distance_m:g} m away"
    return f"The {study.of_sum} falls by at most {' and '.join(falls)}, {band}."


def _plane(heading: str, study: OffAxisStudy, plane: AngleLevels) -> Iterator[Block]:
    rows = [
        [f"{hz:g}", db(float(study.axis_db[i])), *(db(float(level[i]), 1, True) for _, level in _beside(plane))]
        for hz, i in at_octaves(study.frequency_hz)
    ]
    yield Head(f"{heading}; dB less that on the axis")
    yield plain_table(["Hz", "axis dB", *(f"{a:+g}" for a, _ in _beside(plane))], rows)


def _beside(plane: AngleLevels) -> list[tuple[float, Float]]:
    """Angles other than the axis, with their levels against it."""
    return [(float(a), level) for a, level in zip(plane.angle_deg, plane.relative_db, strict=True) if a]


def _lobe(lobe: VerticalNulls) -> list[str]:
    row = [hertz(lobe.crossover_hz), _angle(lobe.lobe_deg), db(lobe.lobe_db, 1, True)]
    row += [_angle(lobe.above_deg), _depth(lobe.above_depth_db)]
    return [*row, _angle(lobe.below_deg), _depth(lobe.below_depth_db)]


def _angle(degrees: float | None) -> str:
    """An angle for a column; a dash where there is none."""
    if degrees is None:
        return "-"
    return f"{round(degrees):+d}" if round(degrees) else "0"


def _depth(depth_db: float | None) -> str:
    """How far below the axis."""
    if depth_db is None:
        return "-"
    return "silent" if math.isinf(depth_db) else db(-depth_db, 0, True)
