"""A driver's impedance from what an impedance jig measured: how sure is it?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from xover.blocks import Block, Head, fact, plain_table
from xover.curve import Complex, Float
from xover.driver.jig import Across, error_gain, gains_of_three, impedance_of_ratio, impedance_of_three
from xover.errors import InputError, OptionError, named
from xover.figures import hertz, ohm
from xover.files.add_curve import FolderCurve
from xover.plain import some_of
from xover.quantity import ohms
from xover.readable import Readable
from xover.recordings.faults import UNSTEADY, Found
from xover.recordings.rattle import Distortion
from xover.recordings.told import found_kinds, found_lines
from xover.rules.instruments import Instrument
from xover.rules.likeness import CHANNEL_ERROR_DB, CHANNEL_SKEW_S, DOUBTFUL, REFERENCE_ERROR
from xover.studies.desk.jig.ratios import ChannelRatio, read_ratio
from xover.studies.desk.jig.wiring import mending_of, miswired, oddities, other_resistor, passive, refuse_interchanged

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
    error_share : (n,) bound of the relative error of the impedance, from those of the channels, of the resistor and, of
        recordings, twice that of the noise. worst_share, worst_at_hz : the largest of it. check : of the known
        resistor; None
        without one, or where it serves to calibrate. found : what is wrong with which recording. scatter_share : of
        the takes. conditions : how it was got, in a few words each. calibrated : a known resistor has shown that the
        jig is right, or made it so. distortion : of the current; None of a table.
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
    found: tuple[tuple[str, Found], ...] = ()
    scatter_share: float | None = None
    conditions: tuple[str, ...] = ()
    calibrated: bool = False
    distortion: Distortion | None = None

    @property
    def for_folder(self) -> FolderCurve:
        """As a speaker folder takes it."""
        steady = UNSTEADY.isdisjoint(one.fault for _, one in self.found)
        instrument = Instrument.CALIBRATED if self.calibrated and steady else Instrument.UNCALIBRATED
        why = "held to a known resistor" if self.calibrated else "as no known resistor was measured, or it read wrong"
        why = why if steady else "as a gain moved"
        sure = f"sure to {100.0 * self.worst_share:.1f} % at worst, at {hertz(self.worst_at_hz)}"
        c = self.check
        read = [] if c is None else [f"it reads {c.read_ohm:.4g} ohm, off by {100.0 * c.worst_share:.1f} % at worst"]
        lines = (
            *self.conditions,
            *read,
            sure,
            *(["found: " + ", ".join(found_kinds(self.found))] if self.found else ()),
        )
        return FolderCurve(self.table, lines, instrument, f"{instrument.value}, {why}")

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
        """The sweep as a measurement table that every command reads, with how sure each row is."""
        head = "frequency Hz,impedance ohm,phase deg,uncertainty (%)\n"
        size, angle = np.abs(self.impedance_ohm), np.degrees(np.angle(self.impedance_ohm))
        rows = zip(self.frequency_hz, size, angle, 100.0 * self.error_share, strict=True)
        return head + "".join(f"{f:.6g},{z:.6g},{p:.4f},{u:.3g}\n" for f, z, p, u in rows)

    def plain(self) -> dict[str, Any]:
        """Curves and figures; SI units."""
        return some_of(
            self,
            "source across reference_ohm leads_ohm frequency_hz error_share worst_share worst_at_hz scatter_share "
            "warnings",
            impedance_ohm=np.abs(self.impedance_ohm),
            phase_deg=np.degrees(np.angle(self.impedance_ohm)),
            known_resistor=self.check,
            found=[{"file": name, **f.plain()} for name, f in self.found],
            distortion=self.distortion,
        )


def study_jig(
    ratio_file: Path | str,
    reference_ohm: float,
    *,
    across: Across = Across.DRIVER,
    leads_ohm: float = 0.0,
    both_file: Path | str | None = None,
    known: tuple[Path | str, float] | None = None,
    open_file: Path | str | None = None,
    short_file: Path | str | None = None,
    again: Sequence[Path | str] = (),
    played: Sequence[Path | str] = (),
    channel_error_db: float | None = None,
    reference_error: float = REFERENCE_ERROR,
) -> JigStudy:
    """Turn the ratio of two channels into an impedance.

    Parameters
    ----------
    ratio_file : recording of both channels, or table of frequency, dB and degrees: second channel over first.
    reference_ohm : the resistor, by a meter. leads_ohm : resistance of the leads to the driver, taken off.
    both_file : the same with both channels on one point: what they differ by is taken off.
    known : the same with a known resistor in the driver's place, and its ohms. open_file, short_file : with nothing,
        and
        with a short, in its place: the three together calibrate the jig. again : more takes. played : the
        sweep's file, or files where not all recordings are of one.
    channel_error_db : how alike the channels are; by default 0.1 dB, a tenth of it where `both_file` is given.
    reference_error : of the resistor, a fraction.

    Raises InputError, OptionError: files or values that cannot be right, channels that were swapped.
    """
    warnings: list[str] = []
    current = (1.0, -1.0) if across is Across.DRIVER else (0.0, 1.0)
    taken = read_ratio([ratio_file, *again], played, warnings, current=current)
    both = read_ratio([both_file], played, warnings) if both_file is not None else None
    others = [read_ratio([open_file], played, warnings)] if open_file is not None else []
    others += [read_ratio([short_file], played, warnings, shorted=True)] if short_file is not None else []
    if len(others) == 1 or (others and known is None):
        raise OptionError(
            f"{named('open_file')}, {named('short_file')} and {named('known')} only serve together", "give all three"
        )
    error_db = channel_error_db if channel_error_db is not None else CHANNEL_ERROR_DB * (0.1 if both or others else 1.0)
    error = 10.0 ** (error_db / 20.0) - 1.0
    unlike = both is None and not others and channel_error_db is None
    # Of a table nobody knows what was taken off already.
    skew_s = CHANNEL_SKEW_S if unlike and played else 0.0
    check: KnownResistor | None = None
    calibration: tuple[ChannelRatio, ChannelRatio, ChannelRatio] | None = None
    if others and known is not None:
        calibration = (others[0], others[1], read_ratio([known[0]], played, warnings))
        refuse_interchanged(*calibration[:2], across, open_file or "")
        rows = _calibrated(taken, calibration, known[1], error, Path(ratio_file))
        warnings += other_resistor(*calibration, known[1], reference_ohm)
    else:
        rows = _worked_out(taken, both, reference_ohm, across, leads_ohm, (error, skew_s), Path(ratio_file))
    f, z, share, dropped = rows.frequency_hz, rows.impedance_ohm, rows.error_share + reference_error, rows.dropped
    warnings += oddities(f, z, reference_ohm, across)
    if dropped:
        warnings.append(
            f"{dropped} rows left out: no passive impedance gives their ratio, or it was not calibrated there"
        )
    if known is not None and calibration is None:
        check = _known(known, played, both, reference_ohm, across, leads_ohm, warnings)
        if check.worst_share > DOUBTFUL:
            warnings.append(
                f"the known resistor of {ohms(known[1])} reads {100.0 * check.worst_share:.1f} % off at "
                f"{hertz(check.worst_at_hz)}: mend the jig before you trust it"
            )
    if unlike:
        timed = f" and {1e6 * skew_s:g} us" if skew_s else ""
        warnings.append(
            f"the channels are taken to be alike within {CHANNEL_ERROR_DB:g} dB{timed}: measure both on one point "
            "and give that sweep too"
        )
    doubtful = share > DOUBTFUL
    if doubtful.any():
        where = f"{hertz(f[doubtful][0])} to {hertz(f[doubtful][-1])}"
        there = ohms(float(np.median(np.abs(z[doubtful]))))
        warnings.append(
            f"less sure than {100.0 * DOUBTFUL:g} % at {int(doubtful.sum())} of {len(f)} rows ({where}): "
            f"{'do that, or ' if skew_s else ''}take a resistor nearer to the {there} there"
        )
    every = [taken, *([both] if both else []), *(calibration or ())]
    return JigStudy(
        str(ratio_file),
        across,
        reference_ohm,
        leads_ohm,
        f,
        z,
        share,
        check,
        tuple(warnings),
        tuple(found for one in every for found in one.found),
        taken.scatter_share,
        _conditions(
            ratio_file, again, played, reference_ohm, across, leads_ohm, both_file, known, open_file, short_file
        ),
        calibration is not None or (check is not None and check.worst_share <= DOUBTFUL),
        taken.distortion,
    )


@dataclass(frozen=True, eq=False)
class _Rows:
    """Rows that make sense: (n,) each, the error without the resistor's, and how many rows make none."""

    frequency_hz: Float
    impedance_ohm: Complex
    error_share: Float
    dropped: int


def _conditions(
    ratio_file: Path | str,
    again: Sequence[Path | str],
    played: Sequence[Path | str],
    reference_ohm: float,
    across: Across,
    leads_ohm: float,
    both_file: Path | str | None,
    known: tuple[Path | str, float] | None,
    open_file: Path | str | None,
    short_file: Path | str | None,
) -> tuple[str, ...]:
    def names(*paths: Path | str) -> str:
        return ", ".join(Path(p).name for p in paths)

    jig = f"resistor {reference_ohm:g} ohm, second channel across the {across}"
    lines = [f"read from {names(ratio_file, *again)}" + (f"; played {names(*played)}" if played else "")]
    lines.append(jig + (f", leads of {leads_ohm:g} ohm taken off" if leads_ohm else ""))
    others = [
        f"{what} {names(path)}"
        for what, path in (("both on one point", both_file), ("open", open_file), ("short", short_file))
        if path is not None
    ]
    others += [f"known resistor {known[1]:g} ohm {names(known[0])}"] if known is not None else []
    return (*lines, *(["; ".join(others)] if others else []))


def _worked_out(
    ratio: ChannelRatio,
    both: ChannelRatio | None,
    reference_ohm: float,
    across: Across,
    leads_ohm: float,
    unlike: tuple[float, float],
    path: Path,
) -> _Rows:
    """By the resistor alone; `unlike` : how much the channels may differ, as a share and in seconds."""
    f, h = ratio.curve.frequency_hz, ratio.curve.value
    sigma = ratio.sigma / np.abs(h)
    if both is not None:
        same, more = both.at(f)
        h, sigma = h / same, np.hypot(sigma, more / np.abs(same))
    z = impedance_of_ratio(h, reference_ohm, across)
    good = passive(z)
    if good.sum() < FEWEST or good.mean() < 1.0 - _TURNED:
        mending = mending_of(miswired(h, reference_ohm, across), across)
        raise InputError(mending.problem, mending.remedy, path)
    share = error_gain(h) * (unlike[0] + 2.0 * np.pi * f * unlike[1] + 2.0 * sigma)
    size = np.abs(z)
    z = z - leads_ohm
    good &= passive(z)
    if good.sum() < FEWEST or good.mean() < 1.0 - _TURNED:
        raise OptionError(
            f"{named('leads_ohm')} is {leads_ohm:g} ohm, more than most rows measure", "measure the leads again"
        )
    # What is left of the impedance is less sure where leads were a part of it.
    share[good] *= size[good] / np.abs(z[good])
    return _Rows(f[good], z[good], share[good], int((~good).sum()))


def _calibrated(
    ratio: ChannelRatio, three: tuple[ChannelRatio, ...], known_ohm: float, error: float, path: Path
) -> _Rows:
    """By open, short and known resistor."""
    f = ratio.curve.frequency_hz
    values, sigmas = zip(*((r.at(f)) for r in (ratio, *three)), strict=True)
    h, opened, shorted, known = values
    z = impedance_of_three(h, opened, shorted, known, known_ohm)
    gains = gains_of_three(h, opened, shorted, known)
    good = passive(z)
    if good.sum() < FEWEST or good.mean() < 1.0 - _TURNED:
        raise InputError(
            "most rows give no passive impedance by open, short and known resistor",
            "make sure which recording is which; the resistor stands in the driver's place, nothing else moved",
            path,
        )
    noise = sum((g * s / np.abs(v)) ** 2 for g, s, v in zip(gains, sigmas, values, strict=True))
    share = error * gains[0] + 2.0 * np.sqrt(noise)
    return _Rows(f[good], z[good], share[good], int((~good).sum()))


def _known(
    known: tuple[Path | str, float],
    played: Sequence[Path | str],
    both: ChannelRatio | None,
    reference_ohm: float,
    across: Across,
    leads_ohm: float,
    warnings: list[str],
) -> KnownResistor:
    path, known_ohm = known
    if not (np.isfinite(known_ohm) and known_ohm > 0.0):
        raise OptionError(
            f"{named('known')}: a resistor of {known_ohm:g} ohm", "give what a meter reads on it, above 0"
        )
    rows = _worked_out(
        read_ratio([path], played, warnings), both, reference_ohm, across, leads_ohm, (0.0, 0.0), Path(path)
    )
    f, z = rows.frequency_hz, rows.impedance_ohm
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
    if study.scatter_share is not None:
        yield fact("takes", f"differ by {100.0 * study.scatter_share:.1f} % of the ratio at worst")
    yield from found_lines(study.found)
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
