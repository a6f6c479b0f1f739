"""How every result of a network depends on every part, exactly, by the adjoint network.

A network of resistors, coils, capacitors and drivers is reciprocal and its matrix symmetric, so that the
adjoint network is the network itself. One ampere into the terminals of a driver, with the amplifier silent,
gives a current j_k in each element. With i_k its current in use,

    dV/dZ_k = i_k j_k        dV/dZ_kl = i_k j_l + i_l j_k  (coupled coils)

and, as the load is its own adjoint, dZ_in/dZ_k = (i_k/I_in)^2 (Cohn; Vratsanos 1957, from memory). So one solve
for each driver gives its derivatives to all parts; those of the load need none.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from xover.curve import Complex, Float
from xover.errors import OptionError
from xover.network.network import Network
from xover.network.parts import Capacitor, Coupling, Inductor, numbers_of
from xover.network.solve import Solution, SolvedBlock


class ParameterKind(StrEnum):
    """What a parameter is of its part."""

    OHM = "ohm"
    HENRY = "henry"
    FARAD = "farad"
    DCR = "dcr"
    ESR = "esr"
    DISSIPATION = "df"
    COUPLING = "k"
    DRIVER = "driver"
    FALL = "fall"
    CORE = "core"
    """How much of the fall that goes with a constant loss angle a capacitance has; what a coil's core loses, as its
    reactance at 1 kHz over the resistance beside it. No parameters of a network."""


@dataclass(frozen=True)
class Parameter:
    """A number that the network's results depend on.

    Attributes
    ----------
    name : as `solve` takes it: the part's or coupling's own, NAME_dcr, NAME_esr, NAME_df; Z_NAME for the impedance
        of a driver, on all its cards together.
    part : the part, coupling or driver that it belongs to.
    value : ohm, henry, farad or a plain number; None for a driver, whose impedance is a curve.
    """

    name: str
    part: str
    kind: ParameterKind
    value: float | None


def network_parameters(network: Network) -> tuple[Parameter, ...]:
    """Everything that a network's results depend on: values first, then losses, couplings, drivers.

    Raises OptionError: a part bears the name of another part's loss, so that names would not tell them apart.
    """
    numbers = [
        Parameter(part.name + ending, part.name, ParameterKind(ending[1:] or attribute), getattr(part, attribute))
        for part in network.parts
        for ending, attribute in numbers_of(part).items()
    ]
    numbers.sort(key=lambda parameter: parameter.name != parameter.part)
    couplings = [Parameter(c.name, c.name, ParameterKind.COUPLING, c.k) for c in network.couplings]
    drivers = [Parameter(f"Z_{name}", name, ParameterKind.DRIVER, None) for name in network.driver_names]
    found = (*numbers, *couplings, *drivers)
    names = {p.name: p for p in found}
    for parameter in found:
        other = names[parameter.name]
        if other is not parameter:
            raise OptionError(
                f"{parameter.name} is both {other.kind} of {other.part} and {parameter.kind} of {parameter.part}",
                "rename one of the parts",
            )
    return found


def drive_gradient(solution: Solution) -> dict[str, dict[str, Complex]]:
    """Derivative of each drive to each parameter, dH/dx.

    Returns
    -------
    By driver's key, then by parameter's name (see `Parameter`): (n,) or (k, n) complex, per ohm, henry, farad or
    unit; per ohm of common change for a driver. Zero for what stands in another section; NaN where an impedance of
    the section is not known. The source is ideal, all channels at one volt, as for `solution.drive`.

    Raises OptionError: as `network_parameters`.
    """
    slopes = _slopes(solution)
    out: dict[str, dict[str, Complex]] = {}
    for block in solution.blocks:
        cards = [card for card in solution.network.drivers if card.name in block.names]
        if not cards:
            continue
        flow = {name: block.current(row).sum(axis=0) for row, name in enumerate(block.names)}
        for card, amps in zip(cards, answers(block, [card.name for card in cards]), strict=True):
            out[card.key] = _collect(solution, slopes, flow, dict(zip(block.names, amps, strict=True)))
    return {card.key: out[card.key] for card in solution.network.drivers}


def impedance_gradient(solution: Solution) -> dict[str, dict[str, Complex]]:
    """Derivative of each channel's load to each parameter, dZ/dx, the other channels silent.

    Returns
    -------
    By channel, then by parameter's name: as `drive_gradient`, in ohm per unit. NaN where the channel
    carries no current.

    Raises OptionError: as `network_parameters`.
    """
    slopes = _slopes(solution)
    currents = {n: block.current(row) for block in solution.blocks for row, n in enumerate(block.names)}
    out: dict[str, dict[str, Complex]] = {}
    for index, channel in enumerate(solution.network.channels):
        flow = {n: amps[index] for n, amps in currents.items()}
        load = solution.impedance_ohm[channel.name]
        square = np.where(np.isfinite(load), load, np.nan) ** 2
        gradient = _collect(solution, slopes, flow, flow)
        out[channel.name] = {name: square * slope for name, slope in gradient.items()}
    return out


def impedance_sensitivity(solution: Solution) -> dict[str, dict[str, Complex]]:
    """Relative derivative of each channel's load to each parameter, d ln Z/d ln x = x/Z dZ/dx.

    Zero for a parameter that is zero; NaN where the load is.

    Returns
    -------
    By channel, then by parameter's name: (n,) or (k, n) complex.
    """
    return _relative(solution, impedance_gradient(solution), solution.impedance_ohm)


# The element, or the two coupled coils, that a parameter acts on, and dZ/dx: broadcasts to (k, n).
_Slope = tuple[tuple[str, ...], Complex]


def _slopes(solution: Solution) -> dict[str, list[_Slope]]:
    """What each parameter acts on, and how."""
    return {p.name: list(_acts_on(solution, p)) for p in network_parameters(solution.network)}


def _acts_on(solution: Solution, parameter: Parameter) -> Iterator[_Slope]:
    network, kind, name = solution.network, parameter.kind, parameter.part
    omega = 2.0 * np.pi * solution.frequency_hz[None, :]
    alone = np.ones((1, 1), dtype=complex)
    if kind is ParameterKind.HENRY:
        yield (name,), np.asarray(1j * omega, dtype=complex)
        for coupling in network.couplings:  # M = k sqrt(L1 L2) grows with either coil
            pair = _coils(network, coupling)
            if name in pair:
                other = pair[1] if name == pair[0] else pair[0]
                k = _given(solution, coupling.name, coupling.k)
                yield pair, np.asarray(0.5j * omega * k * np.sqrt(_henry(solution, other) / _henry(solution, name)))
    elif kind is ParameterKind.COUPLING:
        pair = _coils(network, next(c for c in network.couplings if c.name == name))
        yield pair, np.asarray(1j * omega * np.sqrt(_henry(solution, pair[0]) * _henry(solution, pair[1])))
    elif kind in (ParameterKind.FARAD, ParameterKind.DISSIPATION):
        capacitor = network.part(name)
        assert isinstance(capacitor, Capacitor)  # its kind says so
        farad = _given(solution, name, capacitor.farad)
        factor = _given(solution, f"{name}_df", capacitor.dissipation_factor)
        if kind is ParameterKind.FARAD:
            yield (name,), np.asarray((1j - factor) / (omega * farad * farad), dtype=complex)
        else:
            yield (name,), np.asarray(1.0 / (omega * farad), dtype=complex)
    elif kind is ParameterKind.DRIVER:
        yield from (((card.name,), alone) for card in network.drivers if card.driver == name)
    else:
        yield (name,), alone


def _coils(network: Network, coupling: Coupling) -> tuple[str, str]:
    return network.part(coupling.first).name, network.part(coupling.second).name


def _henry(solution: Solution, name: str) -> Float:
    coil = solution.network.part(name)
    assert isinstance(coil, Inductor)  # the topology check has seen to it
    return _given(solution, coil.name, coil.henry)


def _given(solution: Solution, name: str, value: float) -> Float:
    """(k or 1, 1) the candidates of a value, or the network's own."""
    return np.asarray(solution.values.get(name, np.array([value])), dtype=float)[:, None]


def answers(solved: SolvedBlock, elements: Sequence[str]) -> Complex:
    """Currents for one ampere into an element's first node and out of its second, the amplifiers silent.

    Returns
    -------
    (a, e, k, n) for each of the `elements`, the current of every element in the order of `solved.names`; zero
    straight across an amplifier, which takes the ampere; NaN where an impedance of the section is not known.
    """
    block = solved.block
    rows, nodes = len(block.names), len(block.nodes)
    batch, count = solved.admittance.shape[1:]
    stack = batch * count
    if block.size == 0:
        return np.zeros((len(elements), len(solved.names), batch, count), dtype=complex)

    def sources(_: Complex) -> Complex:
        source = np.zeros((block.size, len(elements), stack), dtype=complex)
        for column, name in enumerate(elements):
            source[:nodes, column] = block.incidence[solved.names.index(name)][:, None]
        return source

    x, admittance, _ = solved.again(sources)
    across = block.incidence[:rows].astype(complex) @ x[:nodes].reshape(nodes, -1)
    amps = np.empty((len(elements), len(solved.names), stack), dtype=complex)
    amps[:, :rows] = (admittance[:, None] * across.reshape(rows, len(elements), stack)).swapaxes(0, 1)
    amps[:, rows:] = x[nodes:].swapaxes(0, 1)
    return amps.reshape(len(elements), len(solved.names), batch, count)


@dataclass(frozen=True, eq=False)
class ElementCurrents:
    """Currents of some elements, of which every derivative is a product.

    Attributes
    ----------
    flow : (e, k, n) in use, all channels at one volt.
    answer : (d, e, k, n) for one ampere into each driver, in the order of the cards; 0 in other sections.
    """

    flow: Complex
    answer: Complex


def element_currents(solution: Solution, elements: Sequence[str]) -> ElementCurrents:
    """Currents of some elements: dV_d/dZ_e = answer[d, e] flow[e]."""
    cards = [card.name for card in solution.network.drivers]
    batch = max(block.admittance.shape[1] for block in solution.blocks)
    count = solution.frequency_hz.size
    flow = np.zeros((len(elements), batch, count), dtype=complex)
    answer = np.zeros((len(cards), len(elements), batch, count), dtype=complex)
    for block in solution.blocks:
        inside = [i for i, name in enumerate(elements) if name in block.names]
        rows = [block.names.index(elements[i]) for i in inside]
        for i, row in zip(inside, rows, strict=True):
            flow[i] = block.current(row).sum(axis=0)
        fed = [d for d, name in enumerate(cards) if name in block.names]
        if inside and fed:
            amps = answers(block, [cards[d] for d in fed])
            answer[np.ix_(fed, inside)] = amps[:, rows]
    return ElementCurrents(flow, answer)


def _collect(
    solution: Solution, slopes: Mapping[str, list[_Slope]], flow: Mapping[str, Complex], answer: Mapping[str, Complex]
) -> dict[str, Complex]:
    """Sum over the elements that each parameter acts on; zero for elements of other sections."""
    shape = next(iter(solution.drive.values())).shape
    out: dict[str, Complex] = {}
    for name, terms in slopes.items():
        total: Complex | None = None
        for pair, slope in terms:
            if pair[0] not in answer:
                continue
            if len(pair) == 1:
                part = flow[pair[0]] * answer[pair[0]] * slope
            else:
                part = (flow[pair[0]] * answer[pair[1]] + flow[pair[1]] * answer[pair[0]]) * slope
            total = part if total is None else total + part
        if total is None:
            out[name] = np.zeros(shape, dtype=complex)
        else:
            out[name] = np.broadcast_to(total, shape).copy() if len(shape) == 2 else total.reshape(shape)
    return out


def _relative(
    solution: Solution, gradients: Mapping[str, Mapping[str, Complex]], of: Mapping[str, Complex]
) -> dict[str, dict[str, Complex]]:
    value = {p.name: _value(solution, p) for p in network_parameters(solution.network)}
    out: dict[str, dict[str, Complex]] = {}
    for key, gradient in gradients.items():
        result = np.where((of[key] != 0) & np.isfinite(of[key]), of[key], np.nan)
        with np.errstate(invalid="ignore"):
            out[key] = {n: (value[n] * slope / result).reshape(result.shape) for n, slope in gradient.items()}
    return out


def _value(solution: Solution, parameter: Parameter) -> Complex:
    """What a parameter is, broadcasts to (k, n)."""
    if parameter.value is not None:
        return np.asarray(_given(solution, parameter.name, parameter.value), dtype=complex)
    card = next(c for c in solution.network.drivers if c.driver == parameter.part)
    block = next(b for b in solution.blocks if card.name in b.names)
    with np.errstate(invalid="ignore"):
        return np.asarray(1.0 / block.admittance[block.names.index(card.name)], dtype=complex)
