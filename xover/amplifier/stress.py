"""What programme does to every part and driver of a solved network, and which rating a part needs for it.

All channels carry the same signal, each at its own voltage. Heat follows the spectrum of the programme; peaks are
told twice, as nobody can know them: by the crest factor, and for a steady sine that swings as far as the programme's
peak at whatever frequency is worst for the part.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.amplifier.extremum import Extremum, Sought, extremes
from xover.amplifier.programme import Spectrum, band_weights, programme_weights
from xover.curve import Complex, Float
from xover.errors import InputError
from xover.network import Capacitor, DriverCard, Inductor, Network, Part, Resistor, Solution
from xover.network.parts import changed
from xover.quantity import QuantityKind, format_quantity
from xover.readable import Readable
from xover.rules.bands import LEAST_KNOWN_OF_CHANGE
from xover.rules.margins import CAPACITOR_MARGIN, COIL_MARGIN, RESISTOR_MARGIN, USUAL_VOLTS, USUAL_WATTS

PEAK_NOTE: Final = (
    "peak by crest: the part's own rms times the crest factor of the programme; full sine: a steady sine as high as "
    "the programme's peak, at the worst frequency. Neither is a limit for a clipped signal: a square wave drives a "
    "resonance up to 4/pi = 1.27 times as far as the sine, and an edge drives a current through a capacitor up to "
    "twice as far for an instant (derived)"
)


class ElementKind(StrEnum):
    """What bears the stress."""

    RESISTOR = "resistor"
    LAMP = "lamp"
    COIL = "coil"
    CAPACITOR = "capacitor"
    DRIVER = "driver"


@dataclass(frozen=True, eq=False)
class ElementStress:
    """What one part or driver bears. NaN where its currents are known at no frequency.

    Attributes
    ----------
    name : the card's; key : the driver's key, else the card's name again.
    power_w : heat of the programme: of a coil in its DCR, of a capacitor in its losses; of a driver all that it draws.
    power_share : that over the sum of all parts and drivers.
    voltage_rms_v, current_rms_a : of the programme.
    crest_voltage_peak_v, crest_current_peak_a : those times the crest factor.
    sine_voltage_peak_v, sine_current_peak_a : peaks under a full sine at its worst frequency, `.._at_hz`; infinite
        where parts without losses give no limit.
    sine_power_w : heat of that sine at its own worst frequency. What decides on a part (amperes of coils, volts of
        capacitors, watts of resistors) is sought between the points of the grid too, the rest on the grid.
    bounded : False where one of these has no limit.
    known_share : share of the programme's power, at the amplifier, that lies at frequencies where all this is known.
        The watts and rms values are those of that share alone.
    band_power_w : (31,) heat by third octaves, 20 Hz to 20 kHz.
    """

    name: str
    key: str
    kind: ElementKind
    power_w: float
    power_share: float
    voltage_rms_v: float
    current_rms_a: float
    crest_voltage_peak_v: float
    crest_current_peak_a: float
    sine_voltage_peak_v: float
    sine_voltage_at_hz: float
    sine_current_peak_a: float
    sine_current_at_hz: float
    sine_power_w: float
    sine_power_at_hz: float
    bounded: bool
    known_share: float
    band_power_w: Float = field(repr=False)

    def scaled(self, rms_factor: float, crest_factor: float) -> ElementStress:
        """The same under programme of another level and crest factor; every channel takes part alike."""
        power, peak = rms_factor**2, rms_factor * crest_factor
        return replace(
            self,
            power_w=self.power_w * power,
            voltage_rms_v=self.voltage_rms_v * rms_factor,
            current_rms_a=self.current_rms_a * rms_factor,
            crest_voltage_peak_v=self.crest_voltage_peak_v * peak,
            crest_current_peak_a=self.crest_current_peak_a * peak,
            sine_voltage_peak_v=self.sine_voltage_peak_v * peak,
            sine_current_peak_a=self.sine_current_peak_a * peak,
            sine_power_w=self.sine_power_w * peak**2,
            band_power_w=self.band_power_w * power,
        )


@dataclass(frozen=True, eq=False, repr=False)
class NetworkStress(Readable):
    """What a whole network bears.

    Attributes
    ----------
    elements : parts in the order of the cards, then drivers.
    power_w : the sum of their watts.
    drawn_w : what the channels give, from their own currents, where all of it is known.
    drawn_known_share : share of the programme's power for which `drawn_w` is known.
    """

    elements: tuple[ElementStress, ...]
    power_w: float
    drawn_w: float
    drawn_known_share: float

    def of(self, name: str) -> ElementStress:
        """The stress of a part, a driver card or a driver's key. Raises InputError if there is none."""
        for element in self.elements:
            if name.lower() in (element.name.lower(), element.key.lower()):
                return element
        raise InputError(f"the network has no part {name}", "name one of " + ", ".join(e.name for e in self.elements))

    def scaled(self, rms_factor: float, crest_factor: float) -> NetworkStress:
        """The same network with one channel, all rms values `rms_factor` and the crest factor `crest_factor` times."""
        return replace(
            self,
            elements=tuple(e.scaled(rms_factor, crest_factor) for e in self.elements),
            power_w=self.power_w * rms_factor**2,
            drawn_w=self.drawn_w * rms_factor**2,
        )

    def of_kind(self, *kinds: ElementKind) -> tuple[ElementStress, ...]:
        """The stress of all parts of some kinds."""
        return tuple(e for e in self.elements if e.kind in kinds)


@dataclass(frozen=True, eq=False)
class _Bearing:
    """Complex volts and amperes (n,) of an element, and the resistance (n,) that heats; None: V I counts."""

    volts: Complex
    amps: Complex
    resistance_ohm: Float | None

    def size_v(self) -> Float:
        return np.abs(self.volts)

    def size_a(self) -> Float:
        return np.abs(self.amps)

    def watts(self) -> Float:
        if self.resistance_ohm is None:
            return np.asarray((self.volts * np.conj(self.amps)).real)
        return np.asarray(np.abs(self.amps) ** 2 * self.resistance_ohm)

    def known(self) -> NDArray[np.bool_]:
        return np.isfinite(self.watts()) & np.isfinite(self.volts) & np.isfinite(self.amps)


# What is told of every element, and the kinds of part on which it decides.
_SIZES: Final[tuple[tuple[Callable[[_Bearing], Float], tuple[ElementKind, ...]], ...]] = (
    (_Bearing.size_v, (ElementKind.CAPACITOR,)),
    (_Bearing.size_a, (ElementKind.RESISTOR, ElementKind.LAMP, ElementKind.COIL)),
    (_Bearing.watts, (ElementKind.RESISTOR, ElementKind.LAMP)),
)


def read_stress(
    solution: Solution,
    rms_v: Mapping[str, float],
    crest: float,
    spectrum: Spectrum = Spectrum.PROGRAMME,
    refine: Callable[[Float], Solution] | None = None,
) -> NetworkStress:
    """Tell what each part and driver bears.

    Parameters
    ----------
    solution : over a grid of rising frequencies; of candidates, one at most.
    rms_v : of the programme, by channel.
    crest : peak over rms of the programme, 1 or more.
    refine : solves the same network at other frequencies, to find the worst one between the points of the grid.

    Raises InputError: a voltage below 0 or missing, or a crest factor below 1.
    """
    _check(solution.network, rms_v, crest)
    weights = programme_weights(solution.frequency_hz, spectrum)
    bands = band_weights(solution.frequency_hz, spectrum)
    elements = (*solution.network.parts, *solution.network.drivers)
    bearings = [_bearing(solution, element, rms_v) for element in elements]
    worst = _worst(solution, elements, bearings, rms_v, refine)
    found = [
        _read_element(element, one, three, crest, weights, bands)
        for element, one, three in zip(elements, bearings, worst, strict=True)
    ]
    total = sum(e.power_w for e in found if not math.isnan(e.power_w))
    drawn = _drawn(solution, rms_v)
    known = np.isfinite(drawn)
    return NetworkStress(
        elements=tuple(_with_share(e, total) for e in found),
        power_w=float(total),
        drawn_w=float(np.sum(weights[known] * drawn[known])) if known.any() else math.nan,
        drawn_known_share=_known_share(weights, known),
    )


def element_power_w(solution: Solution, name: str, rms_v: Mapping[str, float]) -> Float:
    """(n,) watts of a part or driver if all of the programme's voltage stood at that frequency; NaN if not known."""
    element = next(e for e in (*solution.network.parts, *solution.network.drivers) if e.name.lower() == name.lower())
    return _bearing(solution, element, rms_v).watts()


def _check(network: Network, rms_v: Mapping[str, float], crest: float) -> None:
    for channel in network.channels:
        if not (channel.name in rms_v and 0.0 <= rms_v[channel.name] < math.inf):
            raise InputError(f"no voltage is given for channel {channel.name}", "give volts of 0 or more")
    if not 1.0 <= crest < math.inf:
        raise InputError(f"the crest factor is {crest:g}", "give peak over rms, 1 or more; music has 4 or so")


def _worst(
    solution: Solution,
    elements: Sequence[Part | DriverCard],
    bearings: Sequence[_Bearing],
    rms_v: Mapping[str, float],
    refine: Callable[[Float], Solution] | None,
) -> list[list[Extremum]]:
    """Highest volts, amperes and watts of each element; what decides on a part is sought between the points too."""
    sought: list[Sought[Solution]] = []
    between: list[bool] = []
    for element, one in zip(elements, bearings, strict=True):
        for size, deciding in _SIZES:
            value = np.where(one.known(), size(one), np.nan)
            sought.append(Sought(value, partial(_size_of, element, size, rms_v)))
            between.append(_kind(element) in deciding)
    found = list(extremes(solution.frequency_hz, sought, None))
    if refine is not None:
        rows = [i for i, here in enumerate(between) if here]
        for row, better in zip(rows, extremes(solution.frequency_hz, [sought[i] for i in rows], refine), strict=True):
            found[row] = replace(better, value=math.inf) if better.runaway else better
    return [found[i : i + len(_SIZES)] for i in range(0, len(found), len(_SIZES))]


def _size_of(
    element: Part | DriverCard, size: Callable[[_Bearing], Float], rms_v: Mapping[str, float], solution: Solution
) -> Float:
    return size(_bearing(solution, element, rms_v))


def _read_element(
    element: Part | DriverCard,
    one: _Bearing,
    worst: Sequence[Extremum],
    crest: float,
    weights: Float,
    bands: Float,
) -> ElementStress:
    watts, known = one.watts(), one.known()
    power, volts, amps = (
        float(np.sum(weights[known] * x[known])) if known.any() else math.nan
        for x in (watts, np.abs(one.volts) ** 2, np.abs(one.amps) ** 2)
    )
    v, i, p = worst
    return ElementStress(
        name=element.name,
        key=element.key if isinstance(element, DriverCard) else element.name,
        kind=_kind(element),
        power_w=power,
        power_share=math.nan,
        voltage_rms_v=math.sqrt(volts),
        current_rms_a=math.sqrt(amps),
        crest_voltage_peak_v=crest * math.sqrt(volts),
        crest_current_peak_a=crest * math.sqrt(amps),
        sine_voltage_peak_v=crest * v.value,
        sine_voltage_at_hz=v.at_hz,
        sine_current_peak_a=crest * i.value,
        sine_current_at_hz=i.at_hz,
        # A full sine is crest / sqrt 2 times the programme's rms.
        sine_power_w=crest * crest / 2.0 * p.value,
        sine_power_at_hz=p.at_hz,
        bounded=all(math.isfinite(x) or math.isnan(x) for x in (v.value, i.value, p.value)),
        known_share=_known_share(weights, known),
        band_power_w=bands[:, known] @ watts[known],
    )


def _known_share(weights: Float, known: NDArray[np.bool_]) -> float:
    return float(np.sum(weights[known]))


def _with_share(element: ElementStress, total_w: float) -> ElementStress:
    return replace(element, power_share=element.power_w / total_w if total_w > 0 else math.nan)


def _kind(element: Part | DriverCard) -> ElementKind:
    if isinstance(element, Resistor):
        return ElementKind.LAMP if element.is_lamp else ElementKind.RESISTOR
    if isinstance(element, Inductor):
        return ElementKind.COIL
    return ElementKind.CAPACITOR if isinstance(element, Capacitor) else ElementKind.DRIVER


def _bearing(solution: Solution, element: Part | DriverCard, rms_v: Mapping[str, float]) -> _Bearing:
    """Volts and amperes of an element with every channel at its own voltage."""
    rms = np.array([rms_v[c.name] for c in solution.network.channels])
    for block in solution.blocks:
        if element.name in block.names:
            row = block.names.index(element.name)
            volts, amps = block.told_voltage(row, rms), block.told_current(row, rms)
            return _Bearing(volts[0], amps[0], _resistance(solution, element))
    raise InputError(f"{element.name} was not solved", "name a part or driver of the network")


def _resistance(solution: Solution, element: Part | DriverCard) -> Float | None:
    if isinstance(element, DriverCard):
        return None
    omega = 2.0 * np.pi * solution.frequency_hz
    first = {name: values[0] for name, values in solution.values.items()}
    return np.asarray(changed(element, first).impedance_ohm(omega).real)


def _drawn(solution: Solution, rms_v: Mapping[str, float]) -> Float:
    """(n,) watts out of all channels, from the current that leaves each channel's plus."""
    total = np.zeros(solution.frequency_hz.shape)
    for channel in solution.network.channels:
        amps = np.zeros(solution.frequency_hz.shape, dtype=complex)
        for element in (*solution.network.parts, *solution.network.drivers):
            sign = (element.a == channel.plus) - (element.b == channel.plus)
            if sign:
                amps = amps + sign * _bearing(solution, element, rms_v).amps
        total = total + rms_v[channel.name] * amps.real
    return total


class RatingVerdict(StrEnum):
    """How a card's rating compares with what the part bears."""

    ENOUGH = "enough"
    THIN = "thin"
    OVER = "over"
    NOT_KNOWN = "not known"


@dataclass(frozen=True)
class PartRating:
    """What a part bears, what it needs and what its card says.

    Attributes
    ----------
    quantity : "power_w" of the programme for a resistor, "voltage_v" at the peak of a full sine for a capacitor,
        "current_a" at the peak of a full sine for a coil (its card's `amps=`, read as the peak that the core stands).
    stress : in that quantity; needed : with the margin; NaN if not known.
    usual : the next usual rating; None for coils, and where none is large enough.
    said : what the card says, or None.
    verdict : enough; thin, when the margin is missing; over, when the stress itself passes the rating.
    sentence : the same in words.
    """

    name: str
    quantity: str
    stress: float
    margin: float
    needed: float
    usual: float | None
    said: float | None
    verdict: RatingVerdict
    sentence: str

    @property
    def broken(self) -> bool:
        """Whether the card's rating is below what is needed."""
        return self.verdict in (RatingVerdict.THIN, RatingVerdict.OVER)


_RATINGS: Final = {
    ElementKind.RESISTOR: ("watts", "power_w", RESISTOR_MARGIN, USUAL_WATTS),
    ElementKind.CAPACITOR: ("volts", "voltage_v", CAPACITOR_MARGIN, USUAL_VOLTS),
    ElementKind.COIL: ("amps", "current_a", COIL_MARGIN, ()),
}


def rate_part(part: Part, stress: ElementStress) -> PartRating | None:
    """Compare a part's card with its stress; None for a lamp, which is meant to get hot."""
    if stress.kind not in _RATINGS:
        return None
    said_as, quantity, margin, usual = _RATINGS[stress.kind]
    bears = {
        "power_w": stress.power_w,
        "voltage_v": stress.sine_voltage_peak_v,
        "current_a": stress.sine_current_peak_a,
    }[quantity]
    needed = margin * bears
    said: float | None = getattr(part, said_as)
    verdict = _verdict(bears, needed, said)
    if verdict is RatingVerdict.ENOUGH and stress.known_share < LEAST_KNOWN_OF_CHANGE:
        verdict = RatingVerdict.NOT_KNOWN  # what is missing comes on top
    return PartRating(
        name=part.name,
        quantity=quantity,
        stress=bears,
        margin=margin,
        needed=needed,
        usual=next((u for u in usual if u >= needed), None),
        said=said,
        verdict=verdict,
        sentence=_sentence(part.name, stress.kind, bears, needed, said, verdict),
    )


def _verdict(bears: float, needed: float, said: float | None) -> RatingVerdict:
    if said is None or math.isnan(bears):
        return RatingVerdict.NOT_KNOWN
    if bears > said:
        return RatingVerdict.OVER
    return RatingVerdict.THIN if needed > said else RatingVerdict.ENOUGH


def _sentence(
    name: str, kind: ElementKind, bears: float, needed: float, said: float | None, verdict: RatingVerdict
) -> str:
    if math.isnan(bears):
        return f"{name}: what it bears is not known"
    what = {
        ElementKind.RESISTOR: f"{name} turns {_amount(bears, kind)} into heat",
        ElementKind.CAPACITOR: f"{name} bears {_amount(bears, kind)} at the peak of a full sine",
        ElementKind.COIL: f"{name} carries {_amount(bears, kind)} at the peak of a full sine",
    }[kind]
    with_margin = f", and with the usual margin needs {_amount(needed, kind)}" if needed != bears else ""
    if said is None:
        return f"{what}{with_margin}; its card states no rating"
    end = {
        RatingVerdict.OVER: f"over its rating of {_amount(said, kind)}",
        RatingVerdict.THIN: f"more than its rating of {_amount(said, kind)}",
        RatingVerdict.ENOUGH: f"its rating of {_amount(said, kind)} will do",
        RatingVerdict.NOT_KNOWN: f"too little is known to say whether its rating of {_amount(said, kind)} will do",
    }[verdict]
    return f"{what}, {end}" if verdict is RatingVerdict.OVER else f"{what}{with_margin}: {end}"


def _amount(value: float, kind: ElementKind) -> str:
    if math.isinf(value):
        return "any current" if kind is ElementKind.COIL else "any voltage"
    if kind is ElementKind.COIL:
        return f"{value:.3g} A"
    return format_quantity(value, QuantityKind.POWER if kind is ElementKind.RESISTOR else QuantityKind.VOLTAGE)
