"""How every drive depends on the impedance of one part, all else fixed: two solves serve any number of values.

By Thevenin's theorem the part, of impedance Z0, sees a source behind Zt. With another impedance Z0 + d in its place,
every voltage of the network is

    H(d) = H0 + d g / (1 + d y),    g = dH/dZ at Z0,    y = 1/(Zt + Z0)

(derived). Both come from one volt in series with the part: y is the current that it drives, and g is what it adds to H,
times the part's own current, with the sign turned.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from xover.curve import Complex, Float
from xover.errors import OptionError
from xover.network.series_source import series_volt
from xover.network.solve import Solution


@dataclass(frozen=True, eq=False)
class OpenPart:
    """A network, or k candidates of it, with one part's impedance left open.

    Attributes
    ----------
    part_ohm : (k or 1, n) Z0, what stands in the solution.
    loop_siemens : (k, n) y.
    drive : (k, n) H0 by driver's key, and slope : (k, n) g, per ohm; drivers of the part's own section alone: no
        other is touched.
    """

    part_ohm: Complex
    loop_siemens: Complex
    drive: Mapping[str, Complex]
    slope: Mapping[str, Complex]

    def power(self, impedance_ohm: Complex, candidates: slice = slice(None)) -> dict[str, Float]:
        """(k, c, n) |H|^2 of each drive with each of (c, n) impedances in the part's place, for some candidates.

        One row stands for all where the section does not vary. NaN where an impedance is not known.
        """

        def some(value: Complex) -> Complex:
            return value[candidates, None] if value.shape[0] > 1 else value[:, None]

        step, loop = impedance_ohm[None] - some(self.part_ohm), some(self.loop_siemens)
        out: dict[str, Float] = {}
        with np.errstate(divide="ignore", invalid="ignore"):
            below = 1.0 / _square(1.0 + step * loop)
            for key, whole in self.drive.items():
                drive = some(whole)
                out[key] = _square(drive + step * (some(self.slope[key]) + drive * loop)) * below
        return out


def open_part(solution: Solution, name: str) -> OpenPart:
    """Leave one part's impedance open, for the drives with all channels at one volt.

    Parameters
    ----------
    name : of a part that is not 0 ohm.

    Raises
    ------
    OptionError : no part of that name was solved.
    """
    block = next((b for b in solution.blocks if name in b.names), None)
    if block is None:
        raise OptionError(f"the network has no part {name}", "name a part of the netlist")
    row, elements = block.names.index(name), len(block.block.names)
    with np.errstate(divide="ignore", invalid="ignore"):
        own = 1.0 / block.admittance[row] if row < elements else block.branch_ohm[row - elements]
    cards = [d for d in solution.network.drivers if d.name in block.names]
    volts, amps = series_volt(block, [name], [d.name for d in cards], [name])
    flow = block.current(row).sum(axis=0)
    return OpenPart(
        part_ohm=own,
        loop_siemens=amps[0, 0],
        drive={d.key: block.voltage(block.names.index(d.name)).sum(axis=0) for d in cards},
        slope={d.key: -flow * volts[0, i] for i, d in enumerate(cards)},
    )


def _square(value: Complex) -> Float:
    return np.asarray(value.real * value.real + value.imag * value.imag)
