"""Which part matters, as a person reads it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from xover.blocks import Block, Head, Text, plain_table
from xover.figures import db, hertz
from xover.rules.bands import COUNTS_WITHIN_DB
from xover.sound.change import Worst
from xover.studies.does.sensitivity.study import PER_CENT, PartSensitivity, SensitivityStudy
from xover.terms import TERMS, legend


def tell(study: SensitivityStudy, everything: bool = False) -> Iterator[Block]:
    """The parts that matter most in words, then all of them."""
    yield Head(f"{study.title}: network '{study.network}', which part matters")
    if not study.total_known:
        yield Text("The sound is not known, so the parts are ranked by the drives.")
    elif study.parts:
        yield Text(f"{study.parts[0].name} matters most: {study.parts[0].sentence}.")
    yield Head("Parts, each 1 % larger: what changes, at most")
    yield _table(study.parts)
    yield Text(f"drive: {TERMS['drive']}; load: what the amplifier sees.")
    if everything:
        yield Head("Losses, each larger by a step; couplings, weaker")
        yield _table(study.losses)
        if study.losses:
            yield Text(legend("DCR", "ESR", "df"))
        yield Head("Drivers, the whole impedance 1 % larger")
        yield _table(study.drivers)
    if study.of_sum != "sum":
        yield Text(f"sum: here the {study.of_sum}.")
    yield Text(
        "To first order: twice the step does twice as much, the opposite step the opposite. Drives are looked at "
        f"where they lie within {COUNTS_WITHIN_DB:g} dB of their highest, the sum and the load everywhere; "
        "of several drivers the one that moves most is shown."
    )


def _table(found: Sequence[PartSensitivity]) -> Block:
    if not found:
        return Text("none")
    channels = list(found[0].load)
    header = ["what", "value", "sum dB", "at", "driver", "drive dB"]
    header += ["load %"] if len(channels) == 1 else [f"{channel} load %" for channel in channels]
    rows = []
    for s in found:
        key, drive = s.most_moved
        # The step stands behind the name where the heading does not give it.
        row = [s.name if s.step == PER_CENT else f"{s.name} {s.step}", s.value]
        row += [_signed(s.total.worst, 3), hertz(s.total.worst.at_hz), key, _signed(drive, 3)]
        rows.append([*row, *(_signed(change.worst, 2) for change in s.load.values())])
    return plain_table(header, rows)


def _signed(worst: Worst, digits: int) -> str:
    return "0" if worst.change == 0 else db(worst.change, digits, True)
