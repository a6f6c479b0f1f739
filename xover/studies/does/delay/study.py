"""Delay, level and polarity of each driver from recordings of drivers together."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from xover.acoustic.level import NEPER_DB
from xover.acoustic.summing import make_branch, missing_bound
from xover.acoustic.time import delay_factor, delay_s
from xover.curve import Complex, Curve, Float, log_grid
from xover.errors import InputError, OptionError, named, nearest_word
from xover.network import Network, solve
from xover.quantity import hertz
from xover.rules import timing as rules
from xover.rules.margins import CANCELS
from xover.sound.prediction import RESPONSE_DISTANCE_M
from xover.sound.timing import Timing, averaged, denied, find_timings
from xover.sound.timing_starts import Recording, meeting_hz
from xover.speaker import PhaseSource, Speaker
from xover.studies.does.delay.result import DelayStudy, DriverTiming, Unclear
from xover.studies.does.delay.words import headline
from xover.studies.given import response_curve

PER_OCTAVE: Final = 12
_TURNS: Final = 4
_UNPLUGGED_OHM: Final = 1e9
_FAINT: Final = 10.0 ** (-30.0 / 20.0)


@dataclass(frozen=True, eq=False)
class _Heard:
    """One recording as it was given: its curve, the sign of each driver that plays, and the network, if any."""

    curve: Curve
    signs: Mapping[str, int]
    network: Network | None


def study_delay(
    speaker: Speaker,
    bare: Sequence[Any] | Mapping[Any, Any],
    finished: Sequence[Any] | Mapping[Any, Any],
    network: str | None,
    band_hz: tuple[float, float],
    within_us: float | None,
) -> DelayStudy:
    """Find them.

    Raises OptionError, InputError: there is no recording, it cannot be read, names a driver that is not there, or
    tells of one driver alone; a driver has no record of its own.
    """
    wired = speaker.network(speaker.network_or_default(network)) if finished or network else None
    heard: list[_Heard] = []
    said: list[str] = []
    for given, through in ((bare, None), (finished, wired)):
        for one in given.items() if isinstance(given, Mapping) else given:
            source, names = one if isinstance(one, tuple) else (one, "")
            if not isinstance(source, str | Path | Curve):
                raise OptionError("a recording is meant by its file", "give its name, or a list of (file, drivers)")
            curve, notes = response_curve(source)
            said += notes
            heard.append(_Heard(curve, _signs(speaker, names, through), through))
    if not heard:
        raise OptionError("there is no recording of drivers together", f"give {named('bare')} or {named('finished')}")
    names = [n for n in speaker.drivers if any(n in h.signs for h in heard)]
    own = {n: _own(speaker, n) for n in names}
    every = [[_recording(speaker, h, own, band_hz, turn / _TURNS) for h in heard] for turn in range(_TURNS)]
    recordings = every[0]
    _all_sound(names, recordings)
    shared = _shared_hz(recordings)
    rebuilt = [_ends(own[n]) if speaker.drivers[n].phase_source is PhaseSource.MINIMUM else None for n in names]
    usual = rules.MEASURED_WITHIN_US if None in rebuilt else rules.REBUILT_WITHIN_US
    within = usual if within_us is None else within_us
    found = find_timings(recordings, rebuilt, within * 1e-6, within_us is not None) if shared is not None else ()
    found = tuple(averaged(t, every[1:], rebuilt) if t is found[0] else t for t in found)
    torn = bool(found) and denied(found[0], recordings, rebuilt, within * 1e-6, rules.CLEAR)
    return _answer(speaker, names, recordings, found, shared, within, torn, tuple(said))


def _signs(speaker: Speaker, names: str, network: Network | None) -> dict[str, int]:
    """+1 or -1 for each driver that plays."""
    usual = list(speaker.drivers) if network is None else list(network.driver_names)
    signs: dict[str, int] = {}
    for word in names.split(",") if names.strip() else usual:
        turned, name = word.strip().startswith("-"), word.strip().lstrip("-").strip()
        if name not in usual:
            near = nearest_word(name, usual)
            remedy = f"did you mean {near}?" if near else f"the drivers are {', '.join(usual)}"
            raise OptionError(f"behind the @ of a recording stands '{name[:40]}', which is no driver", remedy)
        if name in signs:
            raise OptionError(f"a recording names {name} twice", "name each driver once")
        signs[name] = -1 if turned else 1
    if len(signs) < 2:
        raise OptionError(f"a recording of {', '.join(signs)} alone tells no timing", "record two drivers together")
    return signs


def _own(speaker: Speaker, name: str) -> Curve:
    """The record of one driver alone, with the phase that is to be used."""
    response = speaker.drivers[name].response
    if response is None:
        problem = f"drivers.{name} has no response: there is nothing to hold its delay against"
        file = speaker.file
        raise InputError(problem, "record it alone and name that table", file.path, file.line("drivers", name))
    return response


def _ends(curve: Curve) -> tuple[float, float]:
    return curve.lowest_hz, curve.highest_hz


def _recording(
    speaker: Speaker, heard: _Heard, own: Mapping[str, Curve], band_hz: tuple[float, float], shift: float
) -> Recording:
    """A recording on common rows, that share of a step apart from even ones, beside what each driver adds to it."""
    curve = heard.curve
    rows = (curve.frequency_hz.size - 1) / math.log2(curve.highest_hz / curve.lowest_hz)
    if rows < rules.FEWEST_ROWS_PER_OCTAVE:
        problem = f"holds {rows:.0f} rows in an octave, too few to tell a delay"
        raise InputError(problem, f"sweep with {PER_OCTAVE} or more", curve.source or None)
    low, high = max(band_hz[0], curve.lowest_hz), min(band_hz[1], curve.highest_hz)
    if not 2.0 * low < high:
        problem = f"the recording tells less than an octave between {hertz(band_hz[0])} and {hertz(band_hz[1])}"
        raise OptionError(problem, f"sweep farther, or widen {named('band_hz')}")
    f = log_grid(low, high, PER_OCTAVE)
    f = f[:-1] * (f[1] / f[0]) ** shift
    fed = _fed(speaker, heard, f)
    parts, bounds = np.zeros((len(own), f.size), dtype=complex), np.zeros(f.size)
    for row, (name, response) in enumerate(own.items()):
        if name in fed:
            branch = make_branch(name, fed[name], response.at(f), timing_known=False)
            parts[row], bounds = branch.pressure, bounds + missing_bound(f, branch)
    known = np.isfinite(curve.at(f)) & (bounds <= _FAINT * np.nan_to_num(np.abs(parts)).max(axis=0))
    if np.count_nonzero(known) <= PER_OCTAVE:
        problem = "the records of the drivers and the recording of them share less than an octave"
        raise OptionError(problem, "sweep all of them over the same band")
    return Recording(f[known], curve.at(f[known]), curve.has_phase, np.nan_to_num(parts[:, known]))


def _fed(speaker: Speaker, heard: _Heard, f: Float) -> dict[str, Complex]:
    """(n,) what feeds each driver that plays, with its sign; the delay of its place too where its phase is rebuilt."""
    places: list[tuple[str, Complex, Any]] = []
    if heard.network is None:
        places = [(n, np.ones(f.size, dtype=complex), speaker.drivers[n].position_mm) for n in heard.signs]
    else:
        ohms = speaker.impedances_ohm(heard.network, f)
        ohms |= {n: np.full(f.size, _UNPLUGGED_OHM, dtype=complex) for n in ohms if n not in heard.signs}
        drive = solve(heard.network, f, ohms).drive
        cards = [c for c in heard.network.drivers if c.driver in heard.signs]
        places = [(c.driver, drive[c.key], speaker.drivers[c.driver].place_mm(c.name[1:])) for c in cards]
    fed: dict[str, Complex] = {}
    for name, volts, place in places:
        if place is not None and speaker.drivers[name].phase_source is PhaseSource.MINIMUM:
            volts = volts * delay_factor(f, delay_s(place, RESPONSE_DISTANCE_M))
        fed[name] = fed.get(name, 0.0) + heard.signs[name] * volts
    return fed


def _all_sound(names: Sequence[str], recordings: Sequence[Recording]) -> None:
    """Raise OptionError for a driver that is in no recording but by rounding: nothing tells its delay."""
    most = np.max([np.abs(r.parts).max(axis=1) for r in recordings], axis=0)
    for name, size in zip(names, most, strict=True):
        if not size > CANCELS * max(1.0, most.max()):
            raise OptionError(
                f"{name} adds nothing to any recording, so nothing tells its delay",
                "'xover check' tells why it gets nothing; or name the drivers that play behind the @ of the recording",
            )


def _shared_hz(recordings: Sequence[Recording]) -> tuple[float, float] | None:
    """Where two drivers lie near each other; None where that is too little."""
    rows = []
    for r in recordings:
        size = np.sort(np.abs(r.parts), axis=0)
        rows.append(r.frequency_hz[size[-2] >= size[-1] * 10.0 ** (-rules.SHARED_DB / 20.0)])
    most = max(rows, key=lambda shared: shared.size)
    if most.size < rules.LEAST_SHARED_OCTAVES * PER_OCTAVE:
        return None
    return float(min(r.min() for r in rows if r.size)), float(max(r.max() for r in rows if r.size))


def _answer(
    speaker: Speaker,
    names: Sequence[str],
    recordings: Sequence[Recording],
    found: Sequence[Timing],
    shared: tuple[float, float] | None,
    within_us: float,
    torn: bool,
    said: tuple[str, ...],
) -> DelayStudy:
    best = found[0] if found else None
    others = [t for t in found[1:] if best is not None and t.polarity != best.polarity]
    unfit = Unclear.MISFIT if torn else _unfit(best, shared, within_us)
    drivers = _drivers(names, recordings, found, unfit is None) if best is not None else ()
    unclear = unfit if unfit is not None else _unclear(drivers, best)
    study = DelayStudy(
        title=speaker.title,
        headline="",
        reference=names[0],
        unclear=unclear,
        drivers=drivers,
        rival=_drivers(names, recordings, found[1:], False) if len(found) > 1 else (),
        odds_log10=float(best.clear.min()) / math.log(10.0) if best is not None and best.clear is not None else 0.0,
        rms_db=best.rms_db if best is not None else math.nan,
        other_rms_db=min((t.rms_db for t in others), default=math.nan),
        folder_rms_db=_folder_rms_db(speaker, names, recordings),
        shared_hz=shared if shared is not None else (math.nan, math.nan),
        within_us=within_us,
        keys=_keys(speaker, names[0], [d for d in drivers if d.told]),
        warnings=said,
    )
    return replace(study, headline=headline(study))


def _unfit(best: Timing | None, shared: tuple[float, float] | None, within_us: float) -> Unclear | None:
    """Why nothing at all is told."""
    if best is None or shared is None:
        return Unclear.SHARED
    if np.abs(best.delay_s).max() * 1e6 > within_us:
        return Unclear.BEYOND
    return Unclear.MISFIT if best.error_db > rules.MOST_ERROR_DB else None


def _unclear(drivers: Sequence[DriverTiming], best: Timing | None) -> Unclear | None:
    if all(d.told for d in drivers):
        return None
    rivals = best is None or best.clear is None or best.clear.min() < rules.CLEAR
    return Unclear.RIVALS if rivals else Unclear.WIDE


def _drivers(
    names: Sequence[str], recordings: Sequence[Recording], found: Sequence[Timing], fits: bool
) -> tuple[DriverTiming, ...]:
    """Each driver but the first by the first of some answers; told only where that `fits` and leads the others."""
    best, told = found[0], []
    # Wider than a quarter of a cycle either way, polarity and delay are one question.
    quarter_us = 0.25e6 / meeting_hz(recordings)
    for i, name in enumerate(names[1:], start=1):
        late, wide = best.delay_s[i] * 1e6, 1.96e6 * best.delay_sigma_s[i]
        gain, loud = best.gain_db[i], 1.96 * best.gain_sigma_db[i]
        read_us = 1.96e6 * best.read_sigma_s[i]
        turned = [best.log_evidence - t.log_evidence for t in found[1:] if t.polarity[i] != best.polarity[i]]
        clear = best.clear is not None and best.clear[i] >= rules.CLEAR
        told.append(
            DriverTiming(
                driver=name,
                delay_us=float(late),
                low_us=float(late - wide),
                high_us=float(late + wide),
                as_read_us=float(read_us),
                gain_db=float(gain),
                gain_low_db=float(gain - loud),
                gain_high_db=float(gain + loud),
                reversed=best.polarity[i] < 0,
                told=bool(fits and clear and read_us <= quarter_us[i]),
                polarity_told=bool(fits and min(turned, default=math.inf) >= rules.CLEAR),
            )
        )
    return tuple(told)


def _folder_rms_db(speaker: Speaker, names: Sequence[str], recordings: Sequence[Recording]) -> float:
    """How far the levels of the sum stay from the recordings with what the folder says now, each level matched."""
    miss = []
    for r in recordings:
        total = np.zeros(r.frequency_hz.size, dtype=complex)
        for part, driver in zip(r.parts, (speaker.drivers[n] for n in names), strict=True):
            late = delay_factor(r.frequency_hz, (driver.delay_us or 0.0) * 1e-6)
            total += part * late * math.exp(driver.gain_db / NEPER_DB)
        off = NEPER_DB * (np.log(np.abs(r.value)) - np.log(np.abs(total) + 1e-9))
        miss.append(off - np.median(off))
    return float(np.sqrt(np.mean(np.concatenate(miss) ** 2)))


def _keys(speaker: Speaker, reference: str, drivers: Sequence[DriverTiming]) -> dict[tuple[str, ...], float] | None:
    """None where a driver plays the other way round: no delay makes up for that; or where none is told."""
    if not drivers or any(d.reversed for d in drivers):
        return None
    first = speaker.drivers[reference]
    keys: dict[tuple[str, ...], float] = {}
    for d in drivers:
        keys["drivers", d.driver, "delay_us"] = round(d.delay_us + (first.delay_us or 0.0), 1)
        keys["drivers", d.driver, "delay_uncertainty_us"] = round(d.as_read_us, 1)
        keys["drivers", d.driver, "gain_db"] = round(d.gain_db + first.gain_db, 2)
    return keys
