"""Does the build do what was predicted, and if not, which part or wire is to blame?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.acoustic.level import nominal_hz
from xover.curve import Curve, Float, log_grid
from xover.explain.fault_fit import FaultSetup, Fits, apart, fit_states, log_miss, make_bench
from xover.explain.faults import Fault, FaultKind, FaultState, fault_states, polarity_faults
from xover.explain.terminals import NOMINAL, ONE_PART, SIGMAS, Knob, KnobKind, State, Terminals, on_cores
from xover.figures import odds
from xover.network import Network
from xover.rules.bands import AUDIO_BAND_HZ, MICROPHONE_HZ
from xover.speaker import Speaker
from xover.studies.aged.verify.result import RankedFault, SoundDifference, TerminalDifference, Verdict, VerifyStudy
from xover.studies.aged.verify.sound import (
    Heard,
    Likeness,
    Voices,
    compare_sound,
    hear,
    known_sum_hz,
    make_voices,
    sound_apart,
    sound_band_db,
    unknown_sum,
)
from xover.studies.aged.verify.words import about, fault_words, knob_words, next_test, verdict_headline

MOST_FAULTS: Final = 12
MISFIT: Final = 1.5
"""A fit leaves noise only, up to so many times the noise."""
CHANCE: Final = 1e-4
"""What noise and spreads do as rarely as this or more rarely, they did not do."""
CLEAR: Final = math.log(1e4)
"""A fault or change that is so many times likelier than none (natural logarithm) is to blame."""
TIE_CHI_SQUARE: Final = 9.0
TIE_ODDS: Final = math.log(1e3)
"""Two are tied where fitted curves lie within three standard deviations of noise of each other, all rows together, and
neither needs so much less likely parts."""
OUTSIDE_OTHERS: Final = 3.0
"""Standard deviations beyond which a driver, a loss or the jig is not what it is taken for."""
MOST_TOLERANCE: Final = 0.9
FREE: Final = 3.0
"""A spread so many times the usual is that of something sought, which is nowhere out of place."""
FARTHEST: Final = 4
LN10: Final = math.log(10.0)


@dataclass(frozen=True, eq=False)
class _Candidate:
    """A fault (None: none) with the state that stands for it best."""

    fault: Fault | None
    row: int
    cost: float
    level_db: Float | None


@dataclass(frozen=True, eq=False)
class _Ear:
    """The measured response and what every state sounds like, reversed drivers last."""

    heard: Heard
    voices: Voices
    level_db: Float
    likeness: Likeness


def verify(
    speaker: Speaker,
    network_name: str,
    impedance: Curve,
    *,
    response: Curve | None = None,
    third_octaves: bool = False,
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
    third_octaves : `response` holds averages over third octaves.
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
            ear = _listen(bench, states, fits, heard)
    candidates = _candidates(network, states, fits, ear)
    none = next(c for c in candidates if c.fault is None)
    faults = [c for c in candidates if c.fault is not None]
    reasons = _against(bench, states, fits, ear, none)
    clear = next((c for c in faults if c.fault and c.fault.kind is not FaultKind.OTHER_VALUE), None)
    if clear is not None and clear.fault is not None and none.cost - clear.cost > CLEAR:
        likelier = odds((none.cost - clear.cost) / LN10)
        reasons.append(f"{fault_words(network, clear.fault)}, against no fault: {likelier}, as far as the model holds")
    agrees = not reasons
    ranked = () if agrees else _rank(bench, states, fits, ear, faults)
    drivers = _drivers_alone(bench, states, fits, ear, none)
    verdict = _verdict(agrees, ranked, drivers)
    warnings += _warnings(bench, ear)
    return VerifyStudy(
        title=speaker.title,
        network=network_name,
        channel=bench.terminals.channel,
        sweep=impedance.source,
        verdict=verdict,
        headline=verdict_headline(verdict, ranked, drivers or ""),
        reasons=tuple(reasons),
        terminals=_terminals(bench, fits, None if agrees else faults[0].row),
        sound=None if ear is None else _sound(bench, ear, None if agrees else faults[0]),
        faults=ranked,
        tried=len({c.fault for c in faults}),
        not_excluded=tuple(_not_excluded(network, faults, none)) if agrees else (),
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _listen(bench: FaultSetup, states: Sequence[FaultState], fits: Fits, heard: Heard) -> _Ear:
    """What every state sounds like, its knobs as the impedance has them; then no fault with each driver reversed."""
    voices = make_voices(bench.speaker, bench.network, heard.centre_hz)
    reversed_keys = [f.part for f in polarity_faults(bench.network)]
    rows = [*range(len(states)), *([0] * len(reversed_keys))]
    drive = bench.terminals.drive(
        [states[i].state for i in rows], fits.turned[rows], voices.frequency_hz.reshape(-1), voices.impedance_ohm
    )
    level = voices.level_db(drive, [*([None] * len(states)), *reversed_keys])
    return _Ear(heard, voices, level, compare_sound(heard, level))


def _candidates(network: Network, states: Sequence[FaultState], fits: Fits, ear: _Ear | None) -> list[_Candidate]:
    """Every fault once, with its likeliest state; likeliest first."""
    found: dict[Fault | None, _Candidate] = {}
    listed = [(s.fault, row, row) for row, s in enumerate(states)]
    if ear is not None:
        listed += [(f, 0, len(states) + i) for i, f in enumerate(polarity_faults(network))]
    for fault, row, voice in listed:
        cost = float(fits.cost[row]) + (0.0 if ear is None else float(ear.likeness.cost[voice]))
        level = None if ear is None else ear.level_db[voice]
        if fault not in found or cost < found[fault].cost:
            found[fault] = _Candidate(fault, row, cost, level)
    return sorted(found.values(), key=lambda c: c.cost)


def _against(
    bench: FaultSetup, states: Sequence[FaultState], fits: Fits, ear: _Ear | None, candidate: _Candidate
) -> list[str]:
    """What speaks against a state, in words; nothing where noise and tolerances explain what it leaves."""
    said = []
    row = candidate.row
    if not fits.misfit[row] <= MISFIT:
        said.append(f"the impedance is left {fits.misfit[row]:.1f} times as far off as its noise explains")
    outside = beyond(bench.terminals, states[row].state, fits, row)
    if outside:
        said.append(
            "within tolerance no part explains the impedance, it would take " + ", ".join(words for _, words in outside)
        )
    if ear is not None and candidate.level_db is not None:
        like = compare_sound(ear.heard, candidate.level_db[None, :])
        square = float(np.sum((like.difference_db[0] / ear.heard.sigma_db) ** 2))
        if square > chi_square(ear.heard.level_db.size - 1):
            worst = int(np.argmax(np.abs(like.difference_db[0])))
            where = nominal_hz(float(ear.heard.centre_hz[worst]))
            said.append(f"the sound is {like.difference_db[0, worst]:+.1f} dB off near {where:g} Hz")
    return said


def _rank(
    bench: FaultSetup, states: Sequence[FaultState], fits: Fits, ear: _Ear | None, faults: Sequence[_Candidate]
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
        against = _against(bench, states, fits, ear, candidate)
        sound = None
        if ear is not None and candidate.level_db is not None:
            like = compare_sound(ear.heard, candidate.level_db[None, :])
            sound = float(np.sqrt(np.mean(like.difference_db**2)))
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


def _ties(bench: FaultSetup, fits: Fits, ear: _Ear | None, faults: Sequence[_Candidate]) -> list[int]:
    """Number of the tie of each fault."""
    rows = [c.row for c in faults]
    squares = []
    for leader in faults:
        square = apart(fits.log_ohm[leader.row], fits.log_ohm[rows], bench.sweep)
        if ear is not None and leader.level_db is not None:
            levels = np.stack([c.level_db for c in faults if c.level_db is not None])
            square = square + sound_apart(leader.level_db, levels, ear.heard.sigma_db)
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


def _sound(bench: FaultSetup, ear: _Ear, first: _Candidate | None) -> SoundDifference:
    """Against the network as it is, not as the impedance would have it."""
    voices = ear.voices
    nominal = bench.terminals.drive(
        [NOMINAL], bench.terminals.begin([NOMINAL]), voices.frequency_hz.reshape(-1), voices.impedance_ohm
    )
    like = compare_sound(ear.heard, voices.level_db(nominal, [None]))
    difference = like.difference_db[0]
    worst = int(np.argmax(np.abs(difference)))
    left = None
    if first is not None and first.level_db is not None:
        left = compare_sound(ear.heard, first.level_db[None, :]).difference_db[0]
    return SoundDifference(
        centre_hz=np.array([nominal_hz(float(f)) for f in ear.heard.centre_hz]),
        difference_db=difference,
        band_db=sound_band_db(bench.terminals, voices, ear.heard),
        left_db=left,
        offset_db=float(like.offset_db[0]),
        sigma_db=ear.heard.sigma_db,
        rms_db=float(np.sqrt(np.mean(difference**2))),
        worst_db=float(difference[worst]),
        worst_at_hz=nominal_hz(float(ear.heard.centre_hz[worst])),
    )


def _not_excluded(network: Network, faults: Sequence[_Candidate], none: _Candidate) -> list[str]:
    """Faults that fit what was measured nearly as well as none does."""
    return [
        fault_words(network, c.fault)
        for c in faults
        if c.fault is not None and c.fault.kind is not FaultKind.OTHER_VALUE and c.cost - none.cost < TIE_ODDS
        if c.fault.is_driver or c.fault.kind is not FaultKind.REVERSED or c.fault.part in on_cores(network, ONE_PART)
    ]


def _drivers_alone(
    bench: FaultSetup, states: Sequence[FaultState], fits: Fits, ear: _Ear | None, none: _Candidate
) -> str | None:
    """What of the drivers or the jig, and of nothing else, has moved; None where that does not explain it."""
    outside = beyond(bench.terminals, states[none.row].state, fits, none.row)
    moved = all(knob.kind in (KnobKind.DRIVER, KnobKind.JIG) for knob, _ in outside)
    if not outside or not moved or len(_against(bench, states, fits, ear, none)) > 1:
        return None
    return ", ".join(words for _, words in outside)


def _verdict(agrees: bool, ranked: Sequence[RankedFault], drivers: str | None) -> Verdict:
    if agrees:
        return Verdict.AGREES
    explaining = [f for f in ranked if f.tie == 0 and f.explains]
    if drivers is not None and (not explaining or explaining[0].fault.kind is FaultKind.OTHER_VALUE):
        return Verdict.DRIVERS
    return Verdict.ONE_FAULT if explaining else Verdict.SEVERAL


def _warnings(bench: FaultSetup, ear: _Ear | None) -> list[str]:
    said = []
    if ear is None and len(bench.network.drivers) > 1:
        said.append("a driver's polarity does not show in the impedance: only a response tells")
    if not bench.sweep.has_phase:
        said.append("the sweep has no phase: its magnitude alone is compared, which tells less")
    said += [n for name in bench.network.driver_names for n in bench.speaker.drivers[name].notes]
    return said


def beyond(terminals: Terminals, state: State, fits: Fits, row: int) -> list[tuple[Knob, str]]:
    """The knobs that stand, for certain, where they have no business, farthest first, with it in words.

    A part beyond its tolerance, anything else beyond three standard deviations, by more than twice the doubt of the
    fit. If none does, but all together stand farther off than chance has it, the farthest are told.
    """
    far, strain, count = [], 0.0, 0
    for column, knob in enumerate(terminals.knobs):
        spread = state.spreads.get(knob.name, knob.spread)
        if spread == 0.0 or spread > FREE * knob.spread:
            continue
        turned, doubt = float(fits.turned[row, column]), float(fits.doubt[row, column])
        strain, count = strain + (turned / spread) ** 2, count + 1
        outside = abs(turned) - 2.0 * doubt > _limit(knob, spread, turned)
        far.append((abs(turned) / spread, outside, (knob, knob_words(knob, turned))))
    far.sort(key=lambda each: -each[0])
    found = [each for _, outside, each in far if outside]
    if not found and strain > chi_square(count):
        found = [each for _, _, each in far[:FARTHEST]]
    return found


def _limit(knob: Knob, spread: float, turned: float) -> float:
    """How far a knob may stand: of a part the logarithm of its tolerance, to that side."""
    if knob.kind is not KnobKind.PART:
        return OUTSIDE_OTHERS * spread
    tolerance = min(SIGMAS * spread, MOST_TOLERANCE)
    return math.log1p(tolerance) if turned > 0 else -math.log1p(-tolerance)


def chi_square(freedom: int) -> float:
    """What a sum of squares of that many standard normal numbers exceeds with the probability CHANCE."""
    from scipy.special import chdtri

    return float(chdtri(freedom, CHANCE))


def number_ties(costs: Sequence[float], apart_from: Sequence[Float]) -> list[int]:
    """Number what cannot be told apart alike, 0 first, each group about its likeliest.

    Parameters
    ----------
    costs : (m,) rising. apart_from : for each of them the chi-square (m,) between it and all.
    """
    numbers: dict[int, int] = {}
    for leader, cost in enumerate(costs):
        if leader in numbers:
            continue
        number = max(numbers.values(), default=-1) + 1
        near = (np.asarray(apart_from[leader]) < TIE_CHI_SQUARE) & (np.asarray(costs) - cost < TIE_ODDS)
        for other in (leader, *np.flatnonzero(near)):
            numbers.setdefault(int(other), number)
    return [numbers[i] for i in range(len(costs))]
