"""xover sensitivity: which part matters, and where?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from xover.cli.options import Force, From, Json, NetworkName, PerOctave, Plot, SpeakerPath, To, chosen_network, grid
from xover.cli.plot import write_plot
from xover.cli.show import db, hertz, show_heading, show_item, show_json, show_table, show_text, show_warnings

if TYPE_CHECKING:
    from xover.sound.changes import Worst
    from xover.studies.does.sensitivity.study import PartSensitivity, SensitivityStudy

MOST_SENTENCES = 3


def sensitivity(
    speaker: SpeakerPath,
    network: NetworkName = None,
    from_hz: From = "20",
    to_hz: To = "20k",
    per_octave: PerOctave = 48,
    plot: Plot = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Which part matters, and where?

    Example: xover sensitivity examples/attic-two-way/left --network found --plot parts.png
    """
    from xover.speaker import open_speaker
    from xover.studies.does.sensitivity.study import study_sensitivity

    opened = open_speaker(speaker)
    result = study_sensitivity(opened, chosen_network(opened, network), grid(from_hz, to_hz, per_octave))
    write_plot(result, plot, force)
    if as_json:
        show_json(result)
        return
    _show(result)
    if plot is not None:
        show_text(f"Figure written to {plot}.", "")
    show_warnings(result.warnings)


def _show(study: SensitivityStudy) -> None:
    from xover.sound.changes import HEARD_DB

    show_heading(f"{study.title}: network '{study.network}', which part matters")
    if not study.total_known:
        show_text("The sound is not known, so the parts are ranked by the drives.")
    for rank, part in enumerate(study.parts[: MOST_SENTENCES if study.total_known else 0], 1):
        show_item(f"{rank}.", part.sentence, 3)
    show_heading("Parts, each 1 % larger: what changes, at most")
    _show_table(study.parts)
    show_heading("Losses, each larger by a step; couplings, weaker")
    _show_table(study.losses)
    show_heading("Drivers, the whole impedance 1 % larger")
    _show_table(study.drivers)
    if study.of_sum != "sum":
        show_text(f"sum: here the {study.of_sum}.")
    show_text(
        "To first order: twice the step does twice as much, the opposite step the opposite. Drives are looked at "
        f"where they lie within {HEARD_DB:g} dB of their highest, the sum and the load everywhere; "
        "of several drivers the one that moves most is shown."
    )


def _show_table(found: Sequence[PartSensitivity]) -> None:
    if not found:
        show_text("none")
        return
    channels = list(found[0].load)
    header = ["what", "value", "sum dB", "at", "driver", "drive dB"]
    header += ["load %"] if len(channels) == 1 else [f"{channel} load %" for channel in channels]
    rows = []
    for s in found:
        key, drive = s.most_moved
        row = [_label(s), s.value, _signed(s.total.worst, 3), hertz(s.total.worst.at_hz), key, _signed(drive, 3)]
        rows.append([*row, *(_signed(change.worst, 2) for change in s.load.values())])
    show_table(header, rows)


def _label(s: PartSensitivity) -> str:
    """The name, and the step where the heading does not give it."""
    from xover.studies.does.sensitivity.study import PER_CENT

    return s.name if s.step == PER_CENT else f"{s.name} {s.step}"


def _signed(worst: Worst, digits: int) -> str:
    return "0" if worst.change == 0 else db(worst.change, digits, True)
