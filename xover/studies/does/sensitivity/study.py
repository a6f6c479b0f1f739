"""Which part matters: what a small change of each part does to every driver, to the sum and to the load."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from xover.amplifier.programme import cold_lamps, driven_together
from xover.curve import Complex, Float
from xover.network.adjoint import (
    Parameter,
    ParameterKind,
    drive_gradient,
    impedance_gradient,
    network_parameters,
)
from xover.quantity import QuantityKind, format_quantity
from xover.readable import Readable, Warned
from xover.sound.change import Worst
from xover.sound.prediction import Sound, sound_of
from xover.sound.small_steps import Change, LoadChange, drive_change, load_change, sum_change
from xover.sound.sums import known_level_db, responses
from xover.speaker import Speaker

SHARE: Final = 0.01
"""Values of parts and impedances of drivers change by 1 %."""
PER_CENT: Final = "+1 %"
LOSS_OHM: Final = 0.1
"""The resistance of a coil, a capacitor or a 0 ohm link changes by this: from zero there is no 1 %."""
DF_STEP: Final = 0.01
"""Dissipation factors change by 0.01."""
K_STEP: Final = 0.001
"""Couplings weaken by 0.001: a close one has no room to grow."""

_KINDS: Final = {
    ParameterKind.OHM: QuantityKind.RESISTANCE,
    ParameterKind.DCR: QuantityKind.RESISTANCE,
    ParameterKind.ESR: QuantityKind.RESISTANCE,
    ParameterKind.HENRY: QuantityKind.INDUCTANCE,
    ParameterKind.FARAD: QuantityKind.CAPACITANCE,
    ParameterKind.DISSIPATION: QuantityKind.PLAIN,
    ParameterKind.COUPLING: QuantityKind.PLAIN,
}
_VALUES: Final = (ParameterKind.OHM, ParameterKind.HENRY, ParameterKind.FARAD)
# Short for tables, whole for sentences.
_WORDS: Final = {
    ParameterKind.DCR: ("dcr", "more DC resistance of"),
    ParameterKind.ESR: ("esr", "more ESR of"),
    ParameterKind.DISSIPATION: ("df", "more dissipation factor of"),
    ParameterKind.COUPLING: ("coupling", "weaker coupling"),
    ParameterKind.DRIVER: ("impedance", "of the impedance of"),
}


@dataclass(frozen=True, eq=False, repr=False)
class PartSensitivity(Readable):
    """How all results depend on one parameter.

    Attributes
    ----------
    parameter : which one.
    step : by how much it changes, in words: "+1 %", "+0.1 ohm", "+0.01", "-0.001".
    drive : by driver's key. total : the acoustic sum. load : by channel.
    """

    parameter: Parameter
    step: str
    drive: Mapping[str, Change]
    total: Change
    load: Mapping[str, LoadChange]

    @property
    def name(self) -> str:
        """The part; of a loss, a coupling or a driver, what of it."""
        p = self.parameter
        return p.part if p.kind in _VALUES else f"{p.part} {_WORDS[p.kind][0]}"

    @property
    def value(self) -> str:
        """The value as a shop prints it; a dash for a driver."""
        p = self.parameter
        return "-" if p.value is None else format_quantity(p.value, _KINDS[p.kind])

    @property
    def most_moved(self) -> tuple[str, Worst]:
        """The driver whose drive changes most, by its key, and how."""
        return max(((key, change.worst) for key, change in self.drive.items()), key=lambda pair: _size(pair[1]))

    @property
    def sentence(self) -> str:
        """What it does to the sum, in one sentence."""
        p, worst = self.parameter, self.total.worst
        of = ("of" if self.step == PER_CENT else "in") if p.kind in _VALUES else _WORDS[p.kind][1]
        start = f"{self.step.lstrip('+-')} {of} {p.part}"
        if math.isnan(worst.change):
            return f"{start}: what it does to the sum is not known"
        if worst.change == 0:
            return f"{start} does not move the sum"
        at = format_quantity(worst.at_hz, QuantityKind.FREQUENCY)
        return f"{start} moves the sum by at most {abs(worst.change):.2g} dB at {at}"


@dataclass(frozen=True, eq=False, repr=False)
class SensitivityStudy(Warned):
    """How the results of one network depend on its parts, its losses and its drivers.

    Attributes
    ----------
    parts, losses, drivers : ranked by what a step moves the sum at most; where the sum is not known, the drives.
        Couplings and 0 ohm links stand among the losses, as there is no 1 % of them.
    of_sum : what the sum is: the sum itself, or the highest that an unknown timing allows.
    total_known : False where no sum is known at any frequency.
    """

    title: str
    network: str
    frequency_hz: Float
    parts: tuple[PartSensitivity, ...]
    losses: tuple[PartSensitivity, ...]
    drivers: tuple[PartSensitivity, ...]
    of_sum: str
    total_known: bool
    warnings: tuple[str, ...]
    sound: Sound = field(repr=False)

    @property
    def everything(self) -> tuple[PartSensitivity, ...]:
        """Parts, losses and drivers, each ranked among themselves."""
        return (*self.parts, *self.losses, *self.drivers)

    def plain(self) -> dict[str, Any]:
        """Curves by parameter's name, and the ranking."""
        return {
            "title": self.title,
            "network": self.network,
            "frequency_hz": self.frequency_hz,
            "sum_is": self.of_sum,
            "steps": {
                "value": SHARE,
                "driver": SHARE,
                "dcr_ohm": LOSS_OHM,
                "esr_ohm": LOSS_OHM,
                "df": DF_STEP,
                "k": K_STEP,
            },
            "sensitivity": {s.parameter.name: _plain(s) for s in self.everything},
            "ranking": {
                "parts": [s.parameter.name for s in self.parts],
                "losses": [s.parameter.name for s in self.losses],
                "drivers": [s.parameter.name for s in self.drivers],
            },
            "warnings": self.warnings,
        }


def _plain(s: PartSensitivity) -> dict[str, Any]:
    return {
        "part": s.parameter.part,
        "kind": s.parameter.kind,
        "value": s.parameter.value,
        "step": s.step,
        "drive": s.drive,
        "sum": s.total,
        "load": next(iter(s.load.values())) if len(s.load) == 1 else s.load,
        "sentence": s.sentence,
    }


def study_sensitivity(speaker: Speaker, network_name: str, frequency_hz: Float) -> SensitivityStudy:
    """Work out how one network of a speaker depends on each of its parts.

    All changes are exact derivatives times a small step, so that they hold for either sign and add up. The source
    is ideal; several channels carry the same voltage. Where the drivers' timing is not known the sum is the highest
    that any timing allows: the magnitudes of the drivers added.

    Parameters
    ----------
    frequency_hz : (n,) rising.

    Raises InputError, OptionError, NoSolutionError.
    """
    sound = sound_of(speaker, network_name, frequency_hz)
    solution = sound.solution
    drive, load = drive_gradient(solution), impedance_gradient(solution)
    reach, driver_ohm = responses(speaker, sound), speaker.impedances_ohm(sound.network, frequency_hz)
    found = []
    for parameter in network_parameters(sound.network):
        name = parameter.name
        step, words = _step(parameter, driver_ohm)
        moved = {key: gradient[name] * step for key, gradient in drive.items()}
        found.append(
            PartSensitivity(
                parameter=parameter,
                step=words,
                drive={key: drive_change(frequency_hz, moved[key], solution.drive[key]) for key in moved},
                total=sum_change(frequency_hz, sound, reach, moved),
                load={
                    channel: load_change(frequency_hz, gradient[name] * step, solution.impedance_ohm[channel])
                    for channel, gradient in load.items()
                },
            )
        )
    known = bool(np.isfinite(known_level_db(sound)).any())
    ranked = sorted(found, key=lambda s: _rank(s, known))
    driver = ParameterKind.DRIVER
    return SensitivityStudy(
        title=speaker.title,
        network=network_name,
        frequency_hz=frequency_hz,
        parts=tuple(s for s in ranked if s.step == PER_CENT and s.parameter.kind is not driver),
        losses=tuple(s for s in ranked if s.step != PER_CENT),
        drivers=tuple(s for s in ranked if s.parameter.kind is driver),
        of_sum="sum" if sound.total.coherent else "highest sum that any timing allows",
        total_known=known,
        warnings=_warnings(speaker, sound),
        sound=sound,
    )


def _step(parameter: Parameter, driver_ohm: Mapping[str, Complex]) -> tuple[Complex | float, str]:
    """By how much a parameter changes, in its own unit, and in words."""
    if parameter.value is None:
        return SHARE * driver_ohm[parameter.part], PER_CENT
    if parameter.kind in _VALUES and parameter.value != 0:
        return SHARE * parameter.value, PER_CENT
    if parameter.kind is ParameterKind.COUPLING:
        step = -math.copysign(K_STEP, parameter.value)
    else:
        step = DF_STEP if parameter.kind is ParameterKind.DISSIPATION else LOSS_OHM
    return step, f"{step:+g}" + (" ohm" if step == LOSS_OHM else "")


def _rank(s: PartSensitivity, by_sum: bool) -> float:
    return -_size(s.total.worst if by_sum else s.most_moved[1])


def _size(worst: Worst) -> float:
    """How much, -1 where it is not known."""
    return abs(worst.change) if math.isfinite(worst.change) else -1.0


def _warnings(speaker: Speaker, sound: Sound) -> tuple[str, ...]:
    network = sound.network
    said: list[str] = [note for name in network.driver_names for note in speaker.drivers[name].notes]
    if not sound.total.coherent:
        said.append(
            "the timing between the drivers is not known, so the changes of the sum are those of the highest sum "
            f"that any timing allows: {sound.timing_reason}"
        )
    said += [gap.note for gap in sound.total.gaps]
    said += driven_together(network)
    said += cold_lamps(network, "its changes hold at low level only")
    return tuple(dict.fromkeys(said))
