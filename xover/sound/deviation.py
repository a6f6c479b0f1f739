"""How far a sum strays from its mean, and where: one reading in the judged band."""

from __future__ import annotations

from xover.acoustic.level import BandLevel, band_level
from xover.curve import Float
from xover.rules.bands import JUDGED_HZ, Band


def sum_deviation(frequency_hz: Float, level_db: Float, band_hz: Band | None = None) -> BandLevel:
    """Mean, highest, lowest and rms deviation of a sum.

    Parameters
    ----------
    frequency_hz, level_db : (n,) each; what is not finite counts as unknown.
    band_hz : by default the judged band, as far as the grid reaches into it.

    Raises
    ------
    InputError : the band's ends are not in order.
    """
    first, last = float(frequency_hz[0]), float(frequency_hz[-1])
    low, high = band_hz or (max(JUDGED_HZ[0], first), min(JUDGED_HZ[1], last))
    if band_hz is None and not low < high:
        low, high = first, last
    return band_level(frequency_hz, level_db, low, high)
