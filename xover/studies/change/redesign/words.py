"""A redesign in sentences: what gets better, what gets worse, and what cannot be known."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from xover.network import Network
from xover.quantity import ohms
from xover.speaker import Speaker
from xover.studies.change.redesign.goal import Goal
from xover.studies.change.redesign.wish import Wish

if TYPE_CHECKING:
    from xover.studies.change.redesign.result import Judged, RedesignStudy

_LEAST_DB = 0.1
_LEAST_SHARE = 0.03


def differences(before: Judged, after: Judged, wish: Wish) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """(what gets better, what gets worse) against the present network."""
    better: list[str] = []
    worse: list[str] = []

    def tell(what: str, old: float, new: float, least: float, more_is_better: bool, shown: str) -> None:
        if not (math.isfinite(old) and math.isfinite(new)) or abs(new - old) < least:
            return
        (better if (new > old) is more_is_better else worse).append(f"{what} {shown}")

    tell(
        "sum",
        before.deviation_db,
        after.deviation_db,
        _LEAST_DB,
        False,
        f"+-{before.deviation_db:.1f} to +-{after.deviation_db:.1f} dB",
    )
    tell(
        "reversed null",
        before.null_depth_db,
        after.null_depth_db,
        1.0,
        True,
        f"{before.null_depth_db:.0f} to {after.null_depth_db:.0f} dB deep",
    )
    tell(
        "lowest load",
        before.lowest_ohm,
        after.lowest_ohm,
        _LEAST_SHARE * before.lowest_ohm,
        True,
        f"{ohms(before.lowest_ohm)} to {ohms(after.lowest_ohm)}",
    )
    tell("level", before.level_db, after.level_db, 0.3, True, f"{after.level_db - before.level_db:+.1f} dB")
    limit = wish.minimum_load_ohm
    if limit is not None and after.lowest_ohm < limit * 0.999:
        worse.append(f"the load falls below the amplifier's {ohms(limit)}")
    return tuple(better), tuple(worse)


def headline(study: RedesignStudy) -> str:
    """The answer in one sentence."""
    if not study.proposals:
        return "no proposal was found"
    if not study.suitable:
        return (
            f"not suitable: no network tried comes nearer to the target than '{study.present}' as it is; "
            "leave it, refresh it, or try other circuits or drivers"
        )
    best = min(study.proposals, key=lambda p: p.judged.score)
    if math.isnan(best.judged.deviation_db):
        return (
            f"{best.name} ({best.circuit}): each driver nearer to its slope, lowest load "
            f"{ohms(best.judged.lowest_ohm)}; the sum is not known"
        )
    return (
        f"{best.name} ({best.circuit}): the sum within +-{best.judged.deviation_db:.1f} dB of the target, "
        f"where '{study.present}' keeps +-{study.before.deviation_db:.1f} dB"
    )


def redesign_warnings(study: RedesignStudy, speaker: Speaker, goal: Goal, reference: Network) -> tuple[str, ...]:
    """What a reader must know."""
    said: list[str] = []
    if not goal.has_sum:
        known, reason = speaker.timing_is_known(reference)
        why = reason if not known else "not every driver's sound is known"
        said.append(
            f"no one sum is right here: {why}. The search held each driver to its slope and the load to its limit; "
            "how the drivers add up must be measured"
        )
    for name in reference.driver_names:
        driver = speaker.drivers[name]
        assumed = [
            what
            for what, evidence in (("impedance", driver.impedance_evidence), ("sound", driver.response_evidence))
            if str(evidence) != "measured"
        ]
        if assumed:
            said.append(
                f"the {' and the '.join(assumed)} of {name} were not measured: the answer is as good as they are"
            )
    if study.wish.minimum_load_ohm is None:
        said.append("no lowest load of the amplifier is known: the load was left free")
    if study.stopped:
        said.append("the search was stopped: these are the best found until then")
    said.append(
        "resistors get hot and a tweeter dies without its capacitor: check the build with 'xover check' and "
        "'xover stress', and measure it before playing it loud"
    )
    return tuple(dict.fromkeys(said))
