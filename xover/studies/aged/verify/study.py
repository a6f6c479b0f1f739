"""Does the build do what was predicted, and if not, which part or wire is to blame?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np

from xover.acoustic.level import nominal_hz
from xover.curve import Curve, log_grid
from xover.explain.fault_fit import FaultSetup, Fits, apart, fit_states, log_miss, make_bench
from xover.explain.faults import Fault, FaultKind, FaultState, fault_states
from xover.explain.terminals import NOMINAL, KnobKind, on_cores
from xover.figures import odds
from xover.network import Network
from xover.rules.bands import AUDIO_BAND_HZ, MICROPHONE_HZ
from xover.rules.likeness import ONE_PART
from xover.speaker import Speaker
from xover.studies.aged.phone.study import change_heard
from xover.studies.aged.verify.ear import Ear, listen
from xover.studies.aged.verify.result import (
    RankedFault,
    SoundDifference,
    SoundShift,
    TerminalDifference,
    Verdict,
    VerifyStudy,
)
from xover.studies.aged.verify.shows import response_shows, sound_band_db, sweep_shows
from xover.studies.aged.verify.sound import hear, known_sum_hz, unknown_sum
from xover.studies.aged.verify.sound_fit import matched, plain_level_db, sound_apart
from xover.studies.aged.verify.weigh import (
    CLEAR,
    LN10,
    TIE_ODDS,
    TURNED,
    Candidate,
    against_heard,
    against_sound,
    against_sweep,
    beyond,
    candidates_of,
    number_ties,
)
from xover.studies.aged.verify.words import about, fault_words, next_test, verdict_headline

MOST_FAULTS: Final = 12


def verify(
    speaker: Speaker,
    network_name: str,
    impedance: Curve,
    *,
    response: Curve | None = None,
    third_octaves: bool = False,
    levels: Path | None = None,
    channel: str | None = None,
    noise: float | None = None,
    response_sigma_db: float | None = None,
    band_hz: tuple[float, float] = AUDIO_BAND_HZ,
    response_band_hz: tuple[float, float] = MICROPHONE_HZ,
) -> VerifyStudy:
    """Hold a finished speaker's sweep, and its sound if given, against the prediction of a network.

    Parameters
    ----------
    impedance : at the terminals. response : level of the whole speaker; its phase is not used.
    third_octaves : `response` holds averages over third octaves. levels : a column for this network, one for another.
    noise : relative noise of the sweep; estimated if None. response_sigma_db : of a third octave.
    band_hz, response_band_hz : where the two count.

    Raises
    ------
    InputError, OptionError, NoSolutionError.
    """
    network = speaker.network(network_name)
    bench = make_bench(speaker, network, impedance, channel=channel, band_hz=band_hz, noise=noise)
    states = fault_states(network, bench.terminals)
    fits = fit_states(bench.terminals, [s.state for s in states], bench.sweep)
    warnings = [*bench.warnings]
    heard_of = None
    if levels is not None:
        heard_of = change_heard(speaker, levels, network_name)
    ear = None
    if response is not None:
        deaf = unknown_sum(speaker, network)
        if deaf is not None:
            warnings.append(f"the response is not used, as no one sum is predicted: {deaf}")
        else:
            grid = log_grid(*response_band_hz, 24)
            heard = hear(
                response, third_octaves, response_sigma_db, response_band_hz, known_sum_hz(speaker, network, grid)
            )
            ear = listen(bench, states, fits, heard)
    candidates = candidates_of(network, states, fits, ear)
    none = next(c for c in candidates if c.fault is None)
    faults = [c for c in candidates if c.fault is not None]
    reasons = _reasons(bench, states, fits, none, faults)
    unheard = [
        *([] if ear is None else against_sound(ear, none)),
        *([] if heard_of is None else against_heard(heard_of)),
    ]
    by_sound = [] if reasons or ear is None else _by_sound(bench, states, fits, ear, none, faults)
    if by_sound:
        faults = [*by_sound, *(c for c in faults if c not in by_sound)]
        reasons = [*unheard, _clear_words(network, faults[0], none)]
    ranked = _rank(bench, states, fits, ear, faults) if reasons else ()
    # What is wrong with a driver or the jig is alike in both columns of a phone, and falls out of their difference.
    alike = heard_of is None or heard_of.agrees
    drivers = _drivers_alone(bench, states, fits, none) if alike else None
    verdict = _verdict(bool(reasons), bool(unheard), ranked, drivers)
    first = faults[0] if reasons else None
    warnings += _warnings(bench, ear)
    return VerifyStudy(
        title=speaker.title,
        network=network_name,
        channel=bench.terminals.channel,
        sweep=impedance.source,
        verdict=verdict,
        headline=verdict_headline(verdict, ranked, drivers or "", unheard),
        reasons=tuple(reasons or unheard),
        terminals=_terminals(bench, fits, None if first is None else first.row),
        sound=None if ear is None else _sound(bench, ear, first or none, first is not None),
        heard=heard_of,
        faults=ranked,
        tried=len({c.fault for c in faults}),
        not_excluded=() if ranked else tuple(_not_excluded(network, faults, none)),
        sweep_shows={} if ranked else sweep_shows(bench, states, fits),
        response_shows={} if ranked or ear is None or not ear.holds else response_shows(bench, ear),
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _reasons(
    bench: FaultSetup, states: Sequence[FaultState], fits: Fits, none: Candidate, faults: Sequence[Candidate]
) -> list[str]:
    """Why the impedance does not agree, in words; it rules the parts."""
    said = against_sweep(bench.terminals, states, fits, none.row)
    seen = [c for c in faults if c.fault and c.fault.seen_at_terminals and c.fault.kind is not FaultKind.OTHER_VALUE]
    clear = min(seen, key=lambda c: float(fits.cost[c.row]), default=None)
    if clear is not None and float(fits.cost[none.row] - fits.cost[clear.row]) > CLEAR:
        said.append(_clear_words(bench.network, clear, none))
    return said


def _clear_words(network: Network, clear: Candidate, none: Candidate) -> str:
    assert clear.fault is not None  # no fault is not among them
    likelier = odds((none.cost - clear.cost) / LN10)
    return f"{fault_words(network, clear.fault)}, against no fault: {likelier}, as far as the model holds"


def _by_sound(
    bench: FaultSetup,
    states: Sequence[FaultState],
    fits: Fits,
    ear: Ear,
    none: Candidate,
    faults: Sequence[Candidate],
) -> list[Candidate]:
    """The faults that explain a sound which level, delay, microphone and ripple do not; likeliest first."""
    heard = bool(against_sound(ear, none))
    found = []
    for c in faults:
        turned = c.fault is not None and not c.fault.seen_at_terminals
        likelier = none.cost - c.cost > (TURNED if turned else CLEAR)
        holds = not against_sound(ear, c) and not against_sweep(bench.terminals, states, fits, c.row)
        if likelier and holds and (turned or heard):
            found.append(c)
    return found


def _rank(
    bench: FaultSetup, states: Sequence[FaultState], fits: Fits, ear: Ear | None, faults: Sequence[Candidate]
) -> tuple[RankedFault, ...]:
    """The likeliest faults with what they leave, those that cannot be told apart numbered alike."""
    ties = _ties(bench, fits, ear, faults)
    ranked: list[RankedFault] = []
    for candidate, tie in zip(faults, ties, strict=True):
        if len(ranked) >= MOST_FAULTS and tie:
            continue
        fault, row = candidate.fault, candidate.row
        assert fault is not None  # no fault is not among them
        beside = [c.fault for c, t in zip(faults, ties, strict=True) if t == tie and c.fault is not None]
        value = _value(bench, fits, fault, row)
        against = against_sweep(bench.terminals, states, fits, row)
        sound = None
        if ear is not None:
            sound = float(np.sqrt(np.mean(ear.fits.difference_db[candidate.voice] ** 2)))
            against += against_sound(ear, candidate) if ear.holds else []
        ranked.append(
            RankedFault(
                fault=fault,
                residual=float(fits.residual[row]),
                sound_db=sound,
                explains=not against,
                tie=tie,
                odds_log10=(faults[0].cost - candidate.cost) / LN10,
                value=value[0],
                low=value[1],
                high=value[2],
                needs=tuple(words for _, words in beyond(bench.terminals, states[row].state, fits, row)),
                words=fault_words(bench.network, fault, value[0]),
                next_test=next_test(bench.network, fault, beside),
                told=about(bench.network, fault, value[0]),
            )
        )
    return tuple(ranked)


def _ties(bench: FaultSetup, fits: Fits, ear: Ear | None, faults: Sequence[Candidate]) -> list[int]:
    """Number of the tie of each fault."""
    rows = [c.row for c in faults]
    squares = []
    for leader in faults:
        square = apart(fits.log_ohm[leader.row], fits.log_ohm[rows], bench.sweep)
        if ear is not None and ear.holds:
            levels = ear.fits.level_db[[c.voice for c in faults]]
            sigma = ear.fits.sigma_db[leader.voice]
            square = square + sound_apart(ear.fits.level_db[leader.voice], levels, sigma)
        squares.append(square)
    return number_ties([c.cost for c in faults], squares)


def _value(bench: FaultSetup, fits: Fits, fault: Fault, row: int) -> tuple[float | None, float | None, float | None]:
    """The fitted value of a part whose value is free, and its 95 % interval."""
    if fault.kind is not FaultKind.OTHER_VALUE:
        return None, None, None
    column = next(i for i, k in enumerate(bench.terminals.knobs) if k.name == fault.part)
    turned, doubt = float(fits.turned[row, column]), 1.96 * float(fits.doubt[row, column])
    start = bench.terminals.nominal[fault.part]
    return start * math.exp(turned), start * math.exp(turned - doubt), start * math.exp(turned + doubt)


def _terminals(bench: FaultSetup, fits: Fits, first: int | None) -> TerminalDifference:
    miss = log_miss(bench.sweep, bench.predicted_log_ohm[None, :])[0]
    spread = bench.terminals.spreads([NOMINAL])[0]
    _, slopes = bench.terminals.look([NOMINAL], np.zeros((1, spread.size)))
    moved = slopes[0] * spread
    band = 2.0 * np.sqrt(np.sum(moved.real**2, axis=1) + bench.sweep.sigma**2)
    band_angle = 2.0 * np.sqrt(np.sum(moved.imag**2, axis=1) + bench.sweep.sigma**2)
    percent = 100.0 * np.expm1(miss.real)
    worst = int(np.argmax(np.abs(percent)))
    has_phase = bench.sweep.has_phase
    ratio = np.exp(miss if has_phase else miss.real)
    left = None
    if first is not None:
        left = 100.0 * np.expm1(log_miss(bench.sweep, fits.log_ohm[first][None, :])[0].real)
    return TerminalDifference(
        frequency_hz=bench.frequency_hz,
        percent=percent,
        band_percent=100.0 * np.expm1(band),
        phase_deg=np.degrees(miss.imag) if has_phase else None,
        band_deg=np.degrees(band_angle) if has_phase else None,
        left_percent=left,
        noise=bench.noise,
        noise_source=bench.noise_source,
        residual=float(np.sqrt(np.mean(np.abs(ratio - 1.0) ** 2))),
        worst_percent=float(percent[worst]),
        worst_at_hz=float(bench.frequency_hz[worst]),
    )


def _sound(bench: FaultSetup, ear: Ear, held: Candidate, is_fault: bool) -> SoundDifference:
    """Against the network as it is, not as the impedance would have it; what was set free is as `held` has it."""
    voices = ear.voices
    nominal = bench.terminals.drive(
        [NOMINAL], bench.terminals.begin([NOMINAL]), voices.frequency_hz.reshape(-1), voices.impedance_ohm
    )
    difference, offset = matched(ear.heard, plain_level_db(voices.parts(nominal, [None]))[0])
    worst = int(np.argmax(np.abs(difference)))
    fits, row = ear.fits, held.voice
    return SoundDifference(
        centre_hz=np.array([nominal_hz(float(f)) for f in ear.heard.centre_hz]),
        difference_db=difference,
        band_db=sound_band_db(bench, ear),
        left_db=fits.difference_db[row] if is_fault else None,
        offset_db=offset,
        sigma_db=ear.heard.sigma_db,
        rms_db=float(np.sqrt(np.mean(difference**2))),
        worst_db=float(difference[worst]),
        worst_at_hz=nominal_hz(float(ear.heard.centre_hz[worst])),
        left_rms_db=float(np.sqrt(np.mean(fits.difference_db[row] ** 2))),
        first=voices.names[0],
        drivers=tuple(
            SoundShift(name, *(float(of[row, i]) for of in (fits.delay_s, fits.delay_doubt_s, fits.gain_db)))
            for i, name in enumerate(voices.names[1:])
        ),
    )


def _not_excluded(network: Network, faults: Sequence[Candidate], none: Candidate) -> list[str]:
    """Faults that fit what was measured nearly as well as none does."""
    return [
        fault_words(network, c.fault)
        for c in faults
        if c.fault is not None and c.fault.kind is not FaultKind.OTHER_VALUE and c.cost - none.cost < TIE_ODDS
        if c.fault.is_driver or c.fault.kind is not FaultKind.REVERSED or c.fault.part in on_cores(network, ONE_PART)
    ]


def _drivers_alone(bench: FaultSetup, states: Sequence[FaultState], fits: Fits, none: Candidate) -> str | None:
    """What of the drivers or the jig, and of nothing else, has moved; None where that does not explain it."""
    outside = beyond(bench.terminals, states[none.row].state, fits, none.row)
    moved = all(knob.kind in (KnobKind.DRIVER, KnobKind.JIG) for knob, _ in outside)
    if not outside or not moved or len(against_sweep(bench.terminals, states, fits, none.row)) > 1:
        return None
    return ", ".join(words for _, words in outside)


def _verdict(faulty: bool, unheard: bool, ranked: Sequence[RankedFault], drivers: str | None) -> Verdict:
    if not faulty:
        return Verdict.RESPONSE if unheard else Verdict.AGREES
    explaining = [f for f in ranked if f.tie == 0 and f.explains]
    if drivers is not None and (not explaining or explaining[0].fault.kind is FaultKind.OTHER_VALUE):
        return Verdict.DRIVERS
    return Verdict.ONE_FAULT if explaining else Verdict.SEVERAL


def _warnings(bench: FaultSetup, ear: Ear | None) -> list[str]:
    said = []
    if ear is None and len(bench.network.drivers) > 1:
        said.append("a driver's polarity does not show in the impedance: only a response tells")
    if ear is not None and not ear.holds:
        said.append("no state of the network sounds like the response: the sweep alone is judged")
    if not bench.sweep.has_phase:
        said.append("the sweep has no phase: its magnitude alone is compared, which tells less")
    said += [n for name in bench.network.driver_names for n in bench.speaker.drivers[name].notes]
    return said
