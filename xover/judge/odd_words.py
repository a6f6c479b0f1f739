"""What is told of odd drivers: by what they differ, and what each remedy leaves."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

from xover.blocks import Block, Head, Text, plain_table
from xover.figures import db, hertz, written
from xover.judge.odd import OddDriver, OddRemedy, OddRemedyKind, Trait
from xover.rules.audibility import HARD_DB
from xover.rules.bands import JUDGED_HZ

Cabinets = tuple[str, str]
"""What the cabinet that was asked about, and its mate, are called."""

USUAL: Final[Cabinets] = ("this cabinet", "the other cabinet")


def told_odd(found: Sequence[OddDriver], cabinets: Cabinets = USUAL) -> Iterator[Block]:
    """Each odd driver and its remedies."""
    for odd in found:
        yield Head("The odd driver")
        yield Text(differs_words(odd, cabinets))
        rows = [
            (
                remedy_words(odd, remedy, cabinets),
                db(remedy.left_db),
                "-" if math.isnan(remedy.own_db) else db(remedy.own_db),
                cost_words(remedy),
            )
            for remedy in odd.remedies
        ]
        width = max(len(row[0]) for row in rows)
        rows = [(f"{row[0]:<{width}}", *row[1:]) for row in rows]
        yield plain_table([f"{'what to do':<{width}}", "L/R dB", "own +-dB", "costs"], rows)
        note = "" if odd.mate_known else "The other cabinet is taken to have no odd driver. "
        low, high = (hertz(f) for f in JUDGED_HZ)
        yield Text(
            f"{note}L/R: the largest difference left between the cabinets in a third of an octave, {low} to {high}; "
            f"own: half the range of the odd cabinet's sum. Two of a kind count as equal; real ones differ by up to "
            f"{HARD_DB:g} dB.",
            "quiet",
        )
        if odd.remedy(OddRemedyKind.PAD) is not None:
            yield Text("The resistor gets hot: put it in the netlist, and `xover stress` tells its watts.", "quiet")


def differs_words(odd: OddDriver, cabinets: Cabinets = USUAL) -> str:
    """Which driver differs from which, and by what."""
    here, there = cabinets[odd.in_mate], cabinets[odd.like_in_mate]
    between = odd.in_mate != odd.like_in_mate
    one = " and ".join(odd.keys)
    is_not = "is not" if len(odd.keys) == 1 else "are not"
    like = f"{odd.like} of {there}" if between else odd.like
    of = f" of {here}" if between or odd.in_mate else ""
    said = []
    if not math.isnan(odd.level_db) and {Trait.LEVEL, Trait.SHAPE} & set(odd.traits):
        shape = " and of another shape" if Trait.SHAPE in odd.traits else ""
        said.append(f"{db(abs(odd.level_db))} dB {'louder' if odd.level_db > 0 else 'quieter'}{shape}")
    if Trait.RESONANCE in odd.traits:
        fs = [
            written("resonance", hz, name)
            for hz, name in ((odd.resonance_hz, f"{one} of {here}"), (odd.like_resonance_hz, f"{odd.like} of {there}"))
        ]
        said.append(f"resonance {fs[0]} against {fs[1]}")
    if Trait.DC_RESISTANCE in odd.traits:
        said.append(f"coil {odd.dc_ohm:.1f} ohm against {odd.like_dc_ohm:.1f} ohm")
    doubt = "" if odd.sure else " Which kind is the original, the data do not tell."
    return f"{one}{of} {is_not} of one kind with {like}: {', '.join(said)}.{doubt}"


def remedy_words(odd: OddDriver, remedy: OddRemedy, cabinets: Cabinets = USUAL) -> str:
    """What to do, in few words."""
    at, there = " and ".join(remedy.at), cabinets[not odd.in_mate]
    match remedy.kind:
        case OddRemedyKind.ACCEPT:
            return "leave it"
        case OddRemedyKind.BALANCE:
            return f"turn {cabinets[odd.in_mate]} {'up' if remedy.gain_db > 0 else 'down'} {db(abs(remedy.gain_db))} dB"
        case OddRemedyKind.PAD:
            lead = "lead" if len(remedy.at) == 1 else "leads"
            return f"{remedy.pad_ohm:g} ohm in the {lead} of {at}{f' of {there}' if remedy.in_mate else ''}"
        case OddRemedyKind.MOVE:
            return f"swap {at} with one of {there}: both alike"
        case OddRemedyKind.MATE:
            whose = f" of {there}" if odd.in_mate != odd.like_in_mate else ""
            return f"find {_count(remedy.drivers)} like {odd.like}{whose}"
        case OddRemedyKind.SECOND:
            return f"find {_count(remedy.drivers)} more like {odd.keys[0]}, for {there}"


def _count(number: int) -> str:
    return "one" if number == 1 else str(number)


def cost_words(remedy: OddRemedy) -> str:
    """What is bought."""
    if remedy.drivers:
        return "a driver" if remedy.drivers == 1 else f"{remedy.drivers} drivers"
    return ("nothing", "a resistor")[remedy.parts] if remedy.parts < 2 else f"{remedy.parts} resistors"


def odd_sentence(odd: OddDriver) -> str:
    """The odd driver and its remedies in one paragraph, for an answer that is about something else."""
    left = [f"{remedy_words(odd, r)}: {db(r.left_db)} dB" for r in odd.remedies if not math.isnan(r.left_db)]
    figures = f" What is left between left and right, behind the network: {'; '.join(left)}." if left else ""
    return f"{differs_words(odd)} One channel feeds both: no filter parts them.{figures}"
