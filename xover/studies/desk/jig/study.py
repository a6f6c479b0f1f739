"""A driver's impedance from what an impedance jig measured: how sure is it?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from xover.blocks import Block, Head, fact, plain_table
from xover.curve import Complex, Curve, Evidence, Float
from xover.driver.jig import Across, error_gain, impedance_of_ratio
from xover.errors import InputError, OptionError, named
from xover.figures import hertz, ohm
from xover.files.tables import read_response
from xover.plain import some_of
from xover.quantity import ohms
from xover.readable import Readable
from xover.rules.likeness import CHANNEL_ERROR_DB, DOUBTFUL, REFERENCE_ERROR

FEWEST: Final = 8
_TURNED: Final = 0.5
"""Where more of the rows than this make no passive impedance, the wiring was not as said."""


@dataclass(frozen=True)
class KnownResistor:
    """A resistor of known value, measured by the same jig.

    Attributes
    ----------
    known_ohm : by a meter. read_ohm : median of the magnitude. worst_share, worst_at_hz : largest departure, and where.
    worst_deg : largest phase, degrees, without sign.
    """

    known_ohm: float
    read_ohm: float
    worst_share: float
    worst_at_hz: float
    worst_deg: float


@dataclass(frozen=True, eq=False, repr=False)
class JigStudy(Readable):
    """An impedance sweep from voltage ratios.

    Attributes
    ----------
    frequency_hz : (n,) of the rows that could be worked out. impedance_ohm : (n,) complex.
    error_share : (n,) bound of the relative error of the impedance, from those of the channels and of the resistor.
    worst_share, worst_at_hz : the largest of it. check : of the known resistor; None without one.
    """

    source: str
    across: Across
    reference_ohm: float
    leads_ohm: float
    frequency_hz: Float
    impedance_ohm: Complex
    error_share: Float
    check: KnownResistor | None
    warnings: tuple[str, ...]

    @property
    def worst_share(self) -> float:
        """Largest bound of the relative error."""
        return float(self.error_share.max())

    @property
    def worst_at_hz(self) -> float:
        """Where it is."""
        return float(self.frequency_hz[int(np.argmax(self.error_share))])

    @property
    def table(self) -> str:
        """The sweep as a measurement table that every command reads."""
        head = "frequency Hz,impedance ohm,phase deg\n"
        rows = zip(self.frequency_hz, np.abs(self.impedance_ohm), np.degrees(np.angle(self.impedance_ohm)), strict=True)
        return head + "".join(f"{f:.6g},{z:.6g},{p:.4f}\n" for f, z, p in rows)

    def plain(self) -> dict[str, Any]:
        """Curves and figures; SI units."""
        return some_of(
            self,
            "source across reference_ohm leads_ohm frequency_hz error_share worst_share worst_at_hz warnings",
            impedance_ohm=np.abs(self.impedance_ohm),
            phase_deg=np.degrees(np.angle(self.impedance_ohm)),
            known_resistor=self.check,
        )


def study_jig(
    ratio_file: Path | str,
    reference_ohm: float,
    *,
    across: Across = Across.DRIVER,
    leads_ohm: float = 0.0,
    both_file: Path | str | None = None,
    known: tuple[Path | str, float] | None = None,
    channel_error_db: float | None = None,
    reference_error: float = REFERENCE_ERROR,
) -> JigStudy:
    """Turn the ratio of two channels into an impedance.

    Parameters
    ----------
    ratio_file : table of frequency, dB and degrees: second channel over first.
    reference_ohm : the resistor, by a meter. leads_ohm : resistance of the leads to the driver, taken off.
    both_file : the same with both channels on one point: what they differ by is taken off.
    known : the same with a known resistor in the driver's place, and its ohms.
    channel_error_db : how alike the channels are; by default 0.1 dB, a tenth of it where `both_file` is given.
    reference_error : of the resistor, a fraction.

    Raises InputError, OptionError: files or values that cannot be right, channels that were swapped.
    """
    warnings: list[str] = []
    both = _ratio(both_file, warnings) if both_file is not None else None
    f, z, gain, dropped = _worked_out(_ratio(ratio_file, warnings), both, reference_ohm, across, Path(ratio_file))
    z = z - leads_ohm
    if dropped:
        warnings.append(
            f"{dropped} rows left out: no passive impedance gives their ratio, or it was not calibrated there"
        )
    error_db = channel_error_db if channel_error_db is not None else CHANNEL_ERROR_DB * (1.0 if both is None else 0.1)
    share = gain * (10.0 ** (error_db / 20.0) - 1.0) + reference_error
    check = None
    if known is not None:
        check = _known(*known, both, reference_ohm, across, leads_ohm, warnings)
        if check.worst_share > DOUBTFUL:
            warnings.append(
                f"the known resistor of {ohms(known[1])} reads {100.0 * check.worst_share:.1f} % off at "
                f"{hertz(check.worst_at_hz)}: mend the jig before you trust it"
            )
    if both is None and channel_error_db is None:
        warnings.append(
            f"the channels are taken to be alike within {CHANNEL_ERROR_DB:g} dB: measure both on one point and give "
            "that sweep too"
        )
    doubtful = share > DOUBTFUL
    if doubtful.any():
        where = f"{hertz(f[doubtful][0])} to {hertz(f[doubtful][-1])}"
        warnings.append(
            f"less sure than {100.0 * DOUBTFUL:g} % at {int(doubtful.sum())} of {len(f)} rows ({where}): take a "
            f"resistor nearer to the {ohms(float(np.median(np.abs(z[doubtful]))))} there"
        )
    return JigStudy(str(ratio_file), across, reference_ohm, leads_ohm, f, z, share, check, tuple(warnings))


def _ratio(path: Path | str, warnings: list[str]) -> Curve:
    curve, found = read_response(path, Evidence.MEASURED, ratio=True)
    if not curve.has_phase:
        raise InputError("has no phase: the arithmetic needs it", "export the transfer function with its phase", path)
    warnings += [f"{Path(path).name}: {w}" for w in found]
    return curve


def _worked_out(
    ratio: Curve, both: Curve | None, reference_ohm: float, across: Across, path: Path
) -> tuple[Float, Complex, Float, int]:
    """Frequencies, impedance and error gain of the rows that make sense, and how many do not."""
    h = ratio.value if both is None else ratio.value / both.at(ratio.frequency_hz)
    z = impedance_of_ratio(h, reference_ohm, across)
    good = np.isfinite(z.real) & np.isfinite(z.imag)
    good &= np.where(good, z.real, -1.0) > 0.0
    if good.sum() < FEWEST or good.mean() < 1.0 - _TURNED:
        other = Across.RESISTOR if across is Across.DRIVER else Across.DRIVER
        raise InputError(
            f"most rows give no passive impedance with the second channel across the {across}",
            f"swap the channels (the table must be second over first), or say that it is across the {other}",
            path,
        )
    return ratio.frequency_hz[good], z[good], error_gain(h)[good], int((~good).sum())


def _known(
    path: Path | str,
    known_ohm: float,
    both: Curve | None,
    reference_ohm: float,
    across: Across,
    leads_ohm: float,
    warnings: list[str],
) -> KnownResistor:
    if not (np.isfinite(known_ohm) and known_ohm > 0.0):
        raise OptionError(
            f"{named('known')}: a resistor of {known_ohm:g} ohm", "give what a meter reads on it, above 0"
        )
    f, z, _, _ = _worked_out(_ratio(path, warnings), both, reference_ohm, across, Path(path))
    z = z - leads_ohm
    off = np.abs(z / known_ohm - 1.0)
    worst = int(np.argmax(off))
    return KnownResistor(
        known_ohm,
        float(np.median(np.abs(z))),
        float(off[worst]),
        float(f[worst]),
        float(np.abs(np.degrees(np.angle(z))).max()),
    )


def tell(study: JigStudy) -> Iterator[Block]:
    """The sweep in a few rows, and how sure it is."""
    yield Head(f"{Path(study.source).name}: impedance by a resistor of {study.reference_ohm:g} ohm")
    size, f = np.abs(study.impedance_ohm), study.frequency_hz
    low, high = int(np.argmin(size)), int(np.argmax(size))
    yield fact("rows", f"{len(f)}, {hertz(f[0])} to {hertz(f[-1])}")
    yield fact("lowest", f"{ohm(float(size[low]), 2)} ohm at {hertz(f[low])}")
    yield fact("highest", f"{ohm(float(size[high]), 1)} ohm at {hertz(f[high])}")
    yield fact("sure to", f"{100.0 * study.worst_share:.1f} % at worst, at {hertz(study.worst_at_hz)}")
    if study.check is not None:
        c = study.check
        yield fact(
            "known resistor",
            f"{c.known_ohm:g} ohm reads {c.read_ohm:.4g}; off by {100.0 * c.worst_share:.1f} % at worst, at "
            f"{hertz(c.worst_at_hz)}, and {c.worst_deg:.1f} deg",
        )
    angle = np.degrees(np.angle(study.impedance_ohm))
    rows = [
        [f"{f[i]:.4g}", ohm(float(size[i]), 2), f"{angle[i]:.0f}", f"{100 * study.error_share[i]:.1f}"]
        for i in np.unique(np.linspace(0, len(f) - 1, 11).astype(int))
    ]
    yield plain_table(["Hz", "ohm", "deg", "sure to %"], rows)
