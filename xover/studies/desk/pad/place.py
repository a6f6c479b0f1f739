"""Where a pad goes: the driver's impedance, the band that counts, and the network that feeds it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.amplifier.load import usual_rating
from xover.curve import Complex, Float, log_grid
from xover.errors import OptionError, named, nearest_word
from xover.network import solve
from xover.quantity import hertz, ohms
from xover.readable import Readable
from xover.rules.bands import AUDIO_BAND_HZ, PLAYS_WITHIN_DB
from xover.speaker import Speaker

PER_OCTAVE: Final = 24


@dataclass(frozen=True, eq=False, repr=False)
class PadPlace(Readable):
    """The driver in the band, and a way to solve the network with something else in its place."""

    title: str
    driver: str
    network: str | None
    band_words: str
    frequency_hz: Float
    ohm: Complex
    nominal_ohm: float
    drive: Callable[[Complex], Complex] | None
    warnings: tuple[str, ...]


def resistor_place(nominal_ohm: float | None, band_hz: tuple[float | None, float | None]) -> PadPlace:
    """A resistor in the place of a driver of which nothing else is known. Raises OptionError."""
    if nominal_ohm is None:
        raise OptionError(
            "neither a driver nor its ohms are given",
            f"give {named('speaker')} and {named('driver')}, or {named('nominal_ohm')}, such as 8",
        )
    low, high = band_hz[0] or AUDIO_BAND_HZ[0], band_hz[1] or AUDIO_BAND_HZ[1]
    _check_band(low, high)
    f = log_grid(low, high, 1)  # alike everywhere
    warning = (
        f"worked on a resistor of {ohms(nominal_ohm)}: a driver is none, and its drop and load will differ; "
        "measure its impedance for an answer that holds"
    )
    words = "any: a resistor is the same everywhere"
    return PadPlace(
        f"a resistor of {ohms(nominal_ohm)}",
        "resistor",
        None,
        words,
        f,
        np.full(f.shape, nominal_ohm, dtype=complex),
        nominal_ohm,
        None,
        (warning,),
    )


def driver_place(
    speaker: Speaker,
    name: str | None,
    network: str | None,
    band_hz: tuple[float | None, float | None],
    nominal_ohm: float | None,
) -> PadPlace:
    """A driver over the band where it plays, or the one that was asked for. Raises OptionError."""
    if name is None or name not in speaker.drivers:
        near = nearest_word(name, speaker.drivers) if name else None
        asked = f"has no driver '{name}'" if name else "was given, but no driver of it"
        remedy = f"did you mean {near}?" if near else "it has " + ", ".join(speaker.drivers)
        raise OptionError(f"{speaker.title} {asked}", remedy)
    driver = speaker.drivers[name]
    wide = log_grid(*AUDIO_BAND_HZ, PER_OCTAVE)
    known = wide[np.isfinite(driver.impedance_ohm(wide))]
    if known.size == 0:
        raise OptionError(f"the impedance of {name} is not known from 20 Hz to 20 kHz", "measure it there")
    reach = (float(known[0]), float(known[-1]))
    where = _network_of(speaker, name, network)
    plays = _plays(speaker, name, where, known) if where else None
    low, high = band_hz[0] or (plays or reach)[0], band_hz[1] or (plays or reach)[1]
    _check_band(low, high)
    f = log_grid(low, high, PER_OCTAVE)
    z = driver.impedance_ohm(f)
    if not np.all(np.isfinite(z)):
        raise OptionError(
            f"the impedance of {name} is known from {hertz(reach[0])} to {hertz(reach[1])} only",
            f"the band is {hertz(low)} to {hertz(high)}: narrow it",
        )
    if None not in band_hz:
        words = "as asked"
    elif plays:
        words = f"where network '{where}' drives it within {PLAYS_WITHIN_DB:g} dB of its highest"
    else:
        words = "all that is known of it"
    size = np.abs(driver.impedance_ohm(known))
    nominal = nominal_ohm or usual_rating(float(size.min())) or float(size.min())
    drive = _drive(speaker, name, where, f) if where else None
    return PadPlace(speaker.title, name, where, words, f, z, nominal, drive, driver.notes)


def _check_band(low_hz: float, high_hz: float) -> None:
    if not low_hz < high_hz:
        raise OptionError(
            f"the band from {hertz(low_hz)} to {hertz(high_hz)} is empty", "give its lowest frequency first"
        )


def _network_of(speaker: Speaker, driver: str, network: str | None) -> str | None:
    """The network to put the pad into; None where none was asked for and the default does not hold the driver."""
    if network is None and not speaker.network_names:
        return None
    chosen = network or speaker.default_network()
    if driver in speaker.network(chosen).driver_names:
        return chosen
    if network is not None:
        raise OptionError(f"network '{network}' does not hold the driver '{driver}'", "name one that does")
    return None


def _drive(speaker: Speaker, driver: str, network: str, frequency_hz: Float) -> Callable[[Complex], Complex]:
    opened = speaker.network(network)
    impedances = speaker.impedances_ohm(opened, frequency_hz)
    key = next(card.key for card in opened.drivers if card.driver == driver)

    def drive(ohm: Complex) -> Complex:
        """(n,) voltage at the driver's place with an impedance there."""
        return solve(opened, frequency_hz, {**impedances, driver: ohm}).drive[key]

    return drive


def _plays(speaker: Speaker, driver: str, network: str, known_hz: Float) -> tuple[float, float] | None:
    level = np.abs(_drive(speaker, driver, network, known_hz)(speaker.drivers[driver].impedance_ohm(known_hz)))
    level = np.where(np.isfinite(level), level, 0.0)
    loud = known_hz[level >= level.max() * 10 ** (-PLAYS_WITHIN_DB / 20)]
    if level.max() == 0 or loud.size < 2:
        return None
    return float(loud[0]), float(loud[-1])
