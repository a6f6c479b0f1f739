"""What is told of a driver's health: its readings beside what they were held against, and a sentence for each."""

from __future__ import annotations

import math
from collections.abc import Container, Iterable, Iterator
from typing import Final

from xover.blocks import Block, Head, Items, Text, plain_table
from xover.judge.beside import Against, Held, Trouble
from xover.judge.health import DriverHealth, Side
from xover.sentences import and_words, sentence

_MAY_BE: Final = {
    Trouble.AGED: "{its} suspension has aged",
    Trouble.SUSPENSION: "{its} suspension was renewed or has given way",
    Trouble.STIFF_FLUID: "the fluid in {its} gap has set",
    Trouble.LOST_FLUID: "the fluid in {its} gap is gone",
    Trouble.RUBS: "{its} coil rubs",
    Trouble.LEAKS: "{its} box leaks",
    Trouble.SEIZED: "{its} coil is stuck",
    Trouble.SERIES: "a joint or lead in {its} circuit is bad",
    Trouble.SHORTED_TURNS: "turns of {its} coil are shorted",
    Trouble.MAGNET: "{its} magnet has weakened",
    Trouble.MOVING: "{its} cone or magnet is another",
    Trouble.REPLACED: "{it} was replaced, or given another coil",
    Trouble.MOUNTING: "they stood in unlike boxes when they were swept",
    Trouble.SCATTER: "{it} rubs or rattles, or the sweep was disturbed",
}
_LEVEL: Final = "sweep again at a tenth of the voltage: a rub moves the peak, other losses do not"
_KIND: Final = "compare labels, magnets and baskets; 'xover decide' with --mate tells what to do about an odd one"
_REMEDY: Final = {
    Trouble.SUSPENSION: "look at surround and spider; a box tuned for the old one no longer fits",
    Trouble.STIFF_FLUID: f"{_LEVEL}; cleaning the gap and new fluid bring it back",
    Trouble.LOST_FLUID: "ask what fluid belongs in the gap, if any; without it a tweeter stands less power",
    Trouble.RUBS: f"push the cone straight in and listen for a scrape; {_LEVEL}",
    Trouble.LEAKS: "look at gasket, seams and terminals; a box that is open on purpose reads so too",
    Trouble.SEIZED: "do not drive it; move the cone gently by hand, if it is one",
    Trouble.SERIES: "read its resistance with a meter at its own terminals",
    Trouble.SHORTED_TURNS: "read its resistance with a meter; keep it from power, as such a coil runs hot",
    Trouble.MAGNET: "compare their levels in the middle of their band: it is quieter there",
    Trouble.MOVING: _KIND,
    Trouble.REPLACED: _KIND,
    Trouble.MOUNTING: "sweep both in the same box, or both in free air, from lower down",
    Trouble.SCATTER: f"check the leads; {_LEVEL}",
}


def health_words(h: DriverHealth) -> tuple[str, str]:
    """What a driver's sweep shows and may mean, and what to do; what to do is empty where nothing ails it."""
    if h.side is Side.NONE:
        return _sound(h), ""
    first = h.trouble[0]
    remedy = _REMEDY[first]
    if h.by is None:
        return f"{_ALONE[first]}: {_or(h.trouble)}", remedy
    of = _of(h.by)
    match h.side:
        case Side.OWN:
            said = _or(h.trouble)
        case Side.OTHER:
            said = _or(h.trouble, of, f"{of}'s")
        case _ if h.trouble == h.other:
            sheet = any(x.against is Against.SHEET for x in h.held)
            which = "does not tell which" if sheet else "would help to tell which"
            said = f"{_or(h.trouble, 'one of the two', 'the one')}; its datasheet {which}"
        case _:
            said = _or(h.trouble) + "; or " + _or(h.other, of, f"{of}'s")
    return f"{_shown(h, h.by)}: {said}", remedy


_ALONE: Final = {
    Trouble.SCATTER: "the rows on its peak jump about",
    Trouble.LEAKS: "below its peak it reads as a closed box with a hole does",
}


def _sound(h: DriverHealth) -> str:
    if math.isnan(h.re_ohm):
        return "no model follows its sweep: its health is not known"
    if not h.held:
        return "held against nothing: give its datasheet, or the other speaker (--mate)"
    lost = [_of(x) for x in h.held if x.against is not Against.SHEET and math.isnan(x.re_ohm)]
    if lost:
        return f"not held against {and_words(lost)}, whose sweep no model follows"
    if h.by is not None and h.trouble:
        higher = "above" if h.by.ratios.fs > 1.0 else "below"
        return f"resonance {_percent(h.by.ratios.fs)} {higher} that of {_of(h.by)}: a suspension's age explains it"
    return "nothing stands out"


def _of(held: Held) -> str:
    return {Against.MATE: "its mate", Against.TWIN: held.name, Against.SHEET: "its datasheet"}[held.against]


def _or(troubles: Iterable[Trouble], it: str = "it", its: str = "its") -> str:
    return ", or ".join(_MAY_BE[t].format(it=it, its=its) for t in troubles)


def _percent(ratio: float) -> str:
    return f"{abs(100.0 * (ratio - 1.0)):.0f} %"


def _times(ratio: float) -> str:
    if ratio > 2.0:
        return f"{ratio:.1f} times as much"
    return f"{_percent(ratio)} {'more' if ratio > 1.0 else 'less'}"


def _shown(h: DriverHealth, by: Held) -> str:
    """The readings of both, those that differ."""
    r = by.ratios
    said = [
        f"{name} {own:.{digits}f} against {its:.{digits}f}{unit}"
        for name, own, its, ratio, digits, unit, least in (
            ("Zmax/Re", h.rise, by.rise, r.peak, 1, "", 1.2),
            ("resonance", h.fs_hz, by.fs_hz, r.fs, 0, " Hz", 1.05),
            ("Re", h.re_ohm, by.re_ohm, r.re, 2, " ohm", 1.03),
        )
        if ratio > 0 and max(ratio, 1.0 / ratio) > least and math.isfinite(own) and math.isfinite(its)
    ]
    said += [
        f"{name} {_times(ratio)}"
        for name, ratio in (("moving mass over pull", r.mass / r.re), ("coil's rise", r.coil * r.re))
        if ratio > 0 and max(ratio, 1.0 / ratio) > 1.15
    ]
    if not h.peaks:
        said.insert(0, "no peak")
    return f"beside {_of(by)}, {', '.join(said) or 'its peak is unlike'}"


def told_health(found: Iterable[DriverHealth], told: Container[str] = ()) -> Iterator[Block]:
    """A table of the readings, and a sentence for each driver but those of which all was `told`."""
    rows: list[list[str]] = []
    said: dict[str, list[str]] = {}
    for h in found:
        rows.append([h.driver, *_figures(h.fs_hz, h.qms, h.rise, h.re_ohm)])
        rows += [[f"- {_of(x)}", *_figures(x.fs_hz, x.qms, x.rise, x.re_ohm)] for x in h.held]
        if h.driver not in told:
            text, remedy = health_words(h)
            said.setdefault(sentence(text) + (f" {sentence(remedy)}" if remedy else ""), []).append(h.driver)
    if rows:
        yield Head("Health of the drivers")
        yield plain_table(["driver", "fs Hz", "Qms", "Zmax/Re", "Re ohm"], rows)
        if said:
            yield Items(tuple(f"{and_words(names)}: {text}" for text, names in said.items()))
        yield Text(
            "Zmax/Re: how far the peak rises over the DC resistance. A datasheet's driver stands in free "
            "air: a box raises fs, and lining and leaks lower the peak.",
            "quiet",
        )


def _figures(fs_hz: float, qms: float, rise: float, re_ohm: float) -> list[str]:
    values = ((fs_hz, 0), (qms, 1), (rise, 1), (re_ohm, 2))
    return [f"{v:.{n}f}" if math.isfinite(v) else "-" for v, n in values]
