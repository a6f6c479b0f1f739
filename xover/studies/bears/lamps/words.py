"""The lamps as a person reads them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

import numpy as np

from xover.blocks import Block, Head, Text, fact, plain_table, sentence
from xover.figures import amount, at_octaves, db, hertz, ohm
from xover.rules.audibility import audibility
from xover.studies.bears.lamps.study import LampStudy, Removal
from xover.terms import TERMS

LEAST_SHOWN_DB: Final = 0.005


def tell(study: LampStudy, everything: bool = False) -> Iterator[Block]:
    yield Head(f"{study.title}: network '{study.network}', lamps and resettable fuses")
    if not study.lamps:
        yield Text(
            "This network has no lamp and no resettable fuse: nothing in it depends on the level. One is written as "
            "'R3 a b kind=lamp cold=1 hot=10 watts=5'."
        )
        return
    yield Text(_answer(study))
    rows = []
    for name, law in study.lamps.items():
        hot = "-" if law is None else f"{law.hot_ohm:g}" + ("?" if law.hot_assumed else "")
        rows.append([name, f"{study.cold_ohm[name]:g}", hot, "-" if law is None else f"{law.rated_w:g}"])
    yield plain_table(["lamp", "cold ohm", "hot ohm", "at watts"], rows)
    yield from _levels(study)
    if everything:
        yield from _octaves(study)
    for removal in study.removals:
        yield from _removal(study, removal)
    if everything:
        yield Head("How to read it")
        yield from map(sentence, study.assumptions)


def _answer(study: LampStudy) -> str:
    """What the lamps hold back at the highest level."""
    loudest = study.levels[-1]
    held = [f"{key} by {db(d.programme_db, 1, True)} dB" for key, d in loudest.drivers.items() if key in _moved(study)]
    names = " and ".join(study.lamps)
    if None in study.lamps.values():
        return f"What {names} does as it gets hot is not known."
    if not held:
        return f"{names} changes no driver up to {loudest.voltage_rms_v:g} V."
    return f"At {loudest.voltage_rms_v:g} V of programme {names} moves {' and '.join(held)} from where it is cold."


def _levels(study: LampStudy) -> Iterator[Block]:
    """One row for each voltage: lamps, then the drivers that they move, then the load."""
    moved = _moved(study)
    channels = list(study.levels[0].lowest)
    header = ["V rms"]
    header += [f"{name} {unit}" for name in study.lamps for unit in ("ohm", "W")]
    header += [f"{key} {unit}" for key in moved for unit in ("dB", "W", "W bare")]
    header += ["lowest ohm"] if len(channels) == 1 else [f"{c} lowest ohm" for c in channels]
    rows = []
    for level in study.levels:
        row = [f"{level.voltage_rms_v:g}"]
        for lamp in level.lamps.values():
            row += [amount(lamp.resistance_ohm), amount(lamp.power_w) + ("!" if lamp.over_rating else "")]
        for key in moved:
            d = level.drivers[key]
            row += [db(d.programme_db, 2, True), amount(d.power_w), amount(d.bare_power_w)]
        rows.append(row + [ohm(load.impedance_ohm, 2) for load in level.lowest.values()])
    yield Head("As the level rises")
    yield plain_table(header, rows)
    yield Text(
        "V rms: of the programme at the amplifier; dB: against the cold lamp, for the programme as a whole; bare: "
        "with the lamp bridged; !: over the lamp's watts, it may burn out."
    )
    still = [key for key in study.levels[0].drivers if key not in moved]
    if still:
        yield Text(f"Not changed: {', '.join(still)}.")


def _moved(study: LampStudy) -> list[str]:
    """Drivers that a lamp changes at all, hot or bridged."""
    moved = []
    for key in study.levels[0].drivers:
        changes = [level.drivers[key].change_db for level in study.levels]
        changes += [removal.change_db[key] for removal in study.removals]
        if any(np.any(np.abs(c[np.isfinite(c)]) >= LEAST_SHOWN_DB) for c in changes):
            moved.append(key)
    return moved


def _octaves(study: LampStudy) -> Iterator[Block]:
    loudest, moved = study.levels[-1], _moved(study)
    if not moved or any(math.isnan(lamp.resistance_ohm) for lamp in loudest.lamps.values()):
        return
    rows = []
    for centre, i in at_octaves(study.frequency_hz):
        rows.append([f"{centre:g}", *(db(float(loudest.drivers[key].change_db[i]), 2, True) for key in moved)])
    yield Head(f"Change of the drive at {loudest.voltage_rms_v:g} V against cold, dB")
    yield plain_table(["Hz", *moved], rows)


def _removal(study: LampStudy, removal: Removal) -> Iterator[Block]:
    yield Head(f"Without {removal.lamp}")
    for key, change in removal.programme_db.items():
        if key not in _moved(study):
            continue
        at = f"{db(removal.worst_db[key], 2, True)} dB at {hertz(removal.worst_at_hz[key])}"
        yield fact(key, f"{db(change, 2, True)} dB on average, {at} at most: {audibility(removal.worst_db[key])}", 10)
    for channel, cold in removal.cold_lowest.items():
        bare = removal.bare_lowest[channel]
        name = "load" if len(removal.cold_lowest) == 1 else channel
        yield fact(
            name,
            f"lowest {ohm(cold.impedance_ohm, 2)} ohm at {hertz(cold.at_hz)} with it, {ohm(bare.impedance_ohm, 2)} ohm "
            f"at {hertz(bare.at_hz)} without",
            10,
        )
    watts = "" if math.isnan(removal.plain_w) else f" for {amount(removal.plain_w)} W or more"
    volts = study.levels[-1].voltage_rms_v
    kept = f"a plain resistor of {removal.plain_ohm:g} ohm{watts}" if removal.plain_ohm > 0 else "a piece of wire"
    yield fact("voicing", f"{kept} keeps {TERMS['voicing']} at low level (twice its heat at {volts:g} V)", 10)
    yield fact(
        "caution", "without the lamp nothing holds the watts back: a driver can burn at a level it lived with", 10
    )
