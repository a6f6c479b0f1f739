"""Which two resistors bring a driver down, or stand in for its old level control; and the driver that they go to."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from xover.amplifier.load import usual_rating
from xover.curve import Complex, Float, log_grid
from xover.errors import OptionError, named, nearest_word
from xover.network import solve
from xover.parts.pad import (
    DB,
    HEAT_RULE,
    WORDS,
    ControlKind,
    PadAim,
    PadPower,
    PadResistors,
    aim_of_drop,
    aim_of_pad,
    best_pad,
    fixed_equivalent,
    measured_setting,
    pad_cost,
    pad_load_ohm,
    pad_power,
    pad_transfer,
    preferred_pad,
    textbook_pad,
)
from xover.quantity import hertz, ohms
from xover.readable import Readable
from xover.rules.audibility import audibility
from xover.rules.bands import AUDIO_BAND_HZ, PLAYS_WITHIN_DB
from xover.rules.margins import NO_DROP_DB
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


PREFERRED: Final = ("E24", "E12")


@dataclass(frozen=True)
class Control:
    """A level control and where it stands."""

    kind: ControlKind
    track_ohm: float
    setting: float


def what_is_wanted(
    down_db: float | None,
    control: str | None,
    track_ohm: float | None,
    setting: float | None,
    read_series_ohm: float | None,
    read_other_ohm: float | None,
) -> float | Control:
    """The drop, or the control by its track and setting, or by two readings. Raises OptionError."""
    if (down_db is None) == (control is None):
        raise OptionError(
            f"give either {named('down_db')} or {named('control')}", "such as 4 dB, or a rheostat with its track"
        )
    placed = (track_ohm, setting, read_series_ohm, read_other_ohm)
    if down_db is not None:
        if placed != (None, None, None, None):
            raise OptionError(
                f"{named('down_db')} needs no {named('track_ohm')}, {named('setting')} or readings",
                f"leave them out, or name a {named('control')}",
            )
        return down_db
    kind = ControlKind(str(control))
    match placed:
        case (float(track), float(where), None, None):
            return Control(kind, track, where)
        case (None, None, float(series), float(other)):
            return Control(kind, *measured_setting(kind, series, other))
    raise OptionError(
        "the control's place is not given",
        f"give {named('track_ohm')} and {named('setting')}, "
        f"or {named('read_series_ohm')} and {named('read_other_ohm')}",
    )


@dataclass(frozen=True, eq=False, repr=False)
class PadDesign(Readable):
    """One pair of resistors and what it does in the band.

    Attributes
    ----------
    series_ohm : 0: a link. parallel_ohm : across the driver; infinite (null): none.
    least_drop_db, most_drop_db : from the pad's input to the driver.
    lowest_load_ohm, highest_load_ohm : magnitude that the filter sees.
    level_error_db : largest distance from the aim, either way. load_error : largest, of the aimed magnitude.
    rms_error_db : root of the cost that was minimised, level and load together.
    network_least_db, network_most_db : change of the voltage at the driver when soldered into the network, against
        the network without a pad, or with the old control; NaN without a network.
    level_db : (n,) transfer of the pad. load_ohm : (n,) magnitude.
    """

    name: str
    series_ohm: float
    parallel_ohm: float
    least_drop_db: float
    most_drop_db: float
    lowest_load_ohm: float
    highest_load_ohm: float
    level_error_db: float
    load_error: float
    rms_error_db: float
    network_least_db: float
    network_most_db: float
    power: PadPower
    level_db: Float
    load_ohm: Float


@dataclass(frozen=True, eq=False, repr=False)
class PadStudy(Readable):
    """Pairs of resistors for one driver, side by side.

    Attributes
    ----------
    driver : its name, or "resistor" where only a nominal impedance is known. network : into which it was put, or None.
    band_words : why this band. frequency_hz : (n,).
    lowest_ohm, highest_ohm : of the driver in the band. nominal_ohm : what the textbook pair was made for.
    attenuation_db : the drop that is wanted, or the control's own mean.
    control : the old control, or None.
    input_w : power into the pad that the shares are to be taken of, as given, or None.
    """

    title: str
    driver: str
    network: str | None
    band_words: str
    frequency_hz: Float
    lowest_ohm: float
    highest_ohm: float
    nominal_ohm: float
    attenuation_db: float
    control: Control | None
    input_w: float | None
    designs: tuple[PadDesign, ...]
    sentences: tuple[str, ...]
    warnings: tuple[str, ...]

    def design(self, name: str) -> PadDesign:
        """One of them by name."""
        return next(d for d in self.designs if d.name == name)

    @property
    def pick(self) -> PadDesign:
        """The one of values on sale to solder: in the network, where there is one, nearest to the wanted drop."""
        sold = [self.design(name) for name in PREFERRED]
        if self.network is None or self.control is not None:
            return sold[0]
        return min(sold, key=lambda d: _network_error(d, self.attenuation_db))


def study_pad(
    what: float | Control,
    speaker: Speaker | None = None,
    driver: str | None = None,
    network: str | None = None,
    band_hz: tuple[float | None, float | None] = (None, None),
    nominal_ohm: float | None = None,
    input_w: float | None = None,
) -> PadStudy:
    """Compare pads, or fixed resistors for an old level control.

    Parameters
    ----------
    what : the wanted drop in dB, or the control.
    speaker, driver : whose measured impedance it is for; without them `nominal_ohm` must serve as a resistor.
    network : named network that the driver plays in; the folder's own default if not given.
    band_hz : lowest and highest frequency that count; None: where the driver plays.
    nominal_ohm : for the textbook pair; if not given, the usual rating that the lowest impedance allows (IEC 60268-5).
    input_w : power into the pad, passed on.

    Raises OptionError: a driver that is not there, no driver and no ohms, a band that its sweep does not reach.
    InputError: faults in the folder's files, a drop or a control that makes no sense.
    """
    load = (
        resistor_place(nominal_ohm, band_hz)
        if speaker is None
        else driver_place(speaker, driver, network, band_hz, nominal_ohm)
    )
    f, z = load.frequency_hz, load.ohm
    if isinstance(what, Control):
        exact = fixed_equivalent(what.kind, what.track_ohm, what.setting)
        if exact.parallel_ohm == 0:
            raise OptionError("the control stands at its silent end", "give the setting that you like, above 0")
        aim = aim_of_pad(f, z, exact)
        pads = {"control": exact} | {
            s: preferred_pad(aim, s, series_only=what.kind is ControlKind.RHEOSTAT) for s in PREFERRED
        }
        drop = -float(aim.level_db.mean())
        if what.kind is not ControlKind.L_PAD and drop > NO_DROP_DB:
            pads["L-pad"] = textbook_pad(load.nominal_ohm, drop)
    else:
        aim, drop = aim_of_drop(f, z, what), what
        pads = {"textbook": textbook_pad(load.nominal_ohm, drop), "best fit": best_pad(aim)}
        pads |= {s: preferred_pad(aim, s) for s in PREFERRED}
        exact = None
    before = _in_network(load, exact)
    designs = tuple(_judge(name, pad, aim, load, before) for name, pad in pads.items())
    size = np.abs(z)
    study = PadStudy(
        load.title,
        load.driver,
        load.network,
        load.band_words,
        f,
        float(size.min()),
        float(size.max()),
        load.nominal_ohm,
        drop,
        what if isinstance(what, Control) else None,
        input_w,
        designs,
        (),
        load.warnings,
    )
    return _with_sentences(study)


def _in_network(load: PadPlace, pad: PadResistors | None) -> Complex | None:
    """(n,) voltage at the driver in the network, behind a pad or without one; None without a network."""
    if load.drive is None:
        return None
    if pad is None:
        return load.drive(load.ohm)
    seen = pad_load_ohm(pad.series_ohm, pad.parallel_ohm, load.ohm)
    return np.asarray(load.drive(seen) * pad_transfer(pad.series_ohm, pad.parallel_ohm, load.ohm))


def _judge(name: str, pad: PadResistors, aim: PadAim, load: PadPlace, before: Complex | None) -> PadDesign:
    level = DB * np.log(np.abs(pad_transfer(pad.series_ohm, pad.parallel_ohm, aim.ohm)))
    seen = np.abs(pad_load_ohm(pad.series_ohm, pad.parallel_ohm, aim.ohm))
    after = _in_network(load, pad)
    change = np.array([])
    if after is not None and before is not None:
        known = np.isfinite(after) & np.isfinite(before) & (after != 0) & (before != 0)
        change = DB * np.log(np.abs(after[known] / before[known]))
    return PadDesign(
        name,
        pad.series_ohm,
        pad.parallel_ohm,
        -float(level.max()),
        -float(level.min()),
        float(seen.min()),
        float(seen.max()),
        float(np.max(np.abs(level - aim.level_db))),
        float(np.max(np.abs(seen / np.abs(aim.load_ohm) - 1))),
        float(np.sqrt(pad_cost(pad.series_ohm, pad.parallel_ohm, aim))),
        float(change.min()) if change.size else float("nan"),
        float(change.max()) if change.size else float("nan"),
        pad_power(pad, aim.ohm),
        level,
        seen,
    )


def _with_sentences(study: PadStudy) -> PadStudy:
    said = list(_control_sentences(study) if study.control else _drop_sentences(study))
    return replace(study, sentences=(*said, HEAT_RULE))


def _drop_sentences(study: PadStudy) -> list[str]:
    book, best = study.design("textbook"), study.design("best fit")
    if study.driver == "resistor":
        return ["the textbook pair is exact on a resistor: the drop as wanted, the load unchanged"]
    said = [
        f"the textbook pair for {ohms(study.nominal_ohm)} drops this driver by {book.least_drop_db:.1f} to "
        f"{book.most_drop_db:.1f} dB; the pair made for its curve by {best.least_drop_db:.1f} to "
        f"{best.most_drop_db:.1f} dB, with half weight on its load",
    ]
    if study.network is not None and math.isnan(book.network_least_db):
        said.append(f"what they do in network '{study.network}' is not known: no voltage is known to reach the driver")
    elif study.network is not None:
        # The filter has the last word: what the pad does to its load comes back as level.
        name, off = min(
            ((d.name, _network_error(d, study.attenuation_db)) for d in study.designs), key=lambda pair: pair[1]
        )
        said.append(
            f"in network '{study.network}' the textbook pair is off by at most "
            f"{_network_error(book, study.attenuation_db):.2f} dB, of all four the {name} pair by least, {off:.2f} dB; "
            f"that is {audibility(off)}"
        )
    return said


def _network_error(design: PadDesign, down_db: float) -> float:
    return max(abs(design.network_least_db + down_db), abs(design.network_most_db + down_db))


def _control_sentences(study: PadStudy) -> list[str]:
    control, nearest_pair = study.control, study.design(PREFERRED[0])
    assert control is not None  # the caller has looked
    parts = "fixed resistor" if control.kind is ControlKind.RHEOSTAT else "pair of fixed resistors"
    said = [
        f"taken as {WORDS[control.kind]}",
        f"the {parts} in the first row equals the control in level and load, at every frequency and on any driver",
        f"{PREFERRED[0]} values come within {nearest_pair.level_error_db:.2f} dB and "
        f"{100 * nearest_pair.load_error:.1f} % of load: {audibility(nearest_pair.level_error_db)}",
    ]
    if any(d.name == "L-pad" for d in study.designs):
        pad = study.design("L-pad")
        said.append(
            f"a constant-impedance pad of the same mean drop is something else: it moves the load by up to "
            f"{100 * pad.load_error:.0f} %, and the filter before it answers"
            + ("" if study.network is None else f" with {pad.network_least_db:+.1f} to {pad.network_most_db:+.1f} dB")
        )
    return said
