"""How well the one driver model follows invented drivers: residual, DC resistance, time.

The 42 share with it the law of the coil, K (j w)^n, and no other; the last two rows give them coils of other laws.

    python tests/benchmarks/driver_fits.py            # the table of the 42 invented drivers, and the summary
    python tests/benchmarks/driver_fits.py --brief    # the summary alone

Run from the project's folder, with the project installed. Noise is 0.2 % of each value; the meter reads Re with 1 %.
Time is that of one process (`time.process_time`); on a machine that does other work it is more.
"""

from __future__ import annotations

import math
import os
import sys
import time
from dataclasses import dataclass
from pathlib import Path

# As the command line does: threads of small solves only wait, and count as time.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from invented.drivers import DRIVERS, SWEPT_HZ, Coil, Invented, PowersApart, ThickSheet

from xover.curve import Float
from xover.driver.fit import DriverFit, fit_driver

FROM_20: Float = SWEPT_HZ[SWEPT_HZ >= 20.0]
KINDS: dict[str, tuple[Float, bool, bool, type[Coil]]] = {
    "10 Hz up, with phase": (SWEPT_HZ, True, False, Coil),
    "20 Hz up, with phase": (FROM_20, True, False, Coil),
    "20 Hz up, Re metered": (FROM_20, True, True, Coil),
    "10 Hz up, no phase": (SWEPT_HZ, False, False, Coil),
    "20 Hz up, no phase": (FROM_20, False, False, Coil),
    "20 Hz up, no phase, Re metered": (FROM_20, False, True, Coil),
    "20 Hz up, with phase, powers apart": (FROM_20, True, False, PowersApart),
    "20 Hz up, metered, powers apart": (FROM_20, True, True, PowersApart),
    "20 Hz up, with phase, thick sheets": (FROM_20, True, False, ThickSheet),
}
"""Frequencies, whether with phase, whether Re was metered, law of the coil."""


@dataclass(frozen=True)
class Followed:
    """One driver and its fit: Re off by a share of the truth, and the seconds that it took."""

    driver: Invented
    fit: DriverFit
    re_off: float
    seconds: float


def follow(driver: Invented, kind: str, seed: int = 0) -> Followed:
    """Sweep and fit one driver."""
    f, phase, metered, law = KINDS[kind]
    driver = driver.with_coil(law)
    true = driver.coil.re_ohm
    read = true * (1.0 + 0.01 * float(np.random.default_rng([seed, 7]).standard_normal())) if metered else None
    curve = driver.sweep(f, seed=seed, phase=phase)
    begun = time.process_time()
    fit = fit_driver(curve, re_ohm=read)
    return Followed(driver, fit, fit.model.re_ohm / true - 1.0, time.process_time() - begun)


def summary(those: list[Followed]) -> str:
    """The figures of one kind, in a line."""
    rms = np.array([x.fit.relative_rms for x in those])
    off = np.array([abs(x.re_off) for x in those if x.fit.holds])
    seen = [x for x in those if x.fit.holds and x.fit.parameter("re_ohm").relative_se > 0]
    inside = np.mean([abs(math.log1p(x.re_off)) <= 2.0 * x.fit.parameter("re_ohm").relative_se for x in seen])
    took = np.array([x.seconds for x in those])
    return (
        f"rms <= 2 % {np.mean(rms <= 0.02):4.0%}, worst {rms.max():.2%}; Re within 2 % {np.mean(off <= 0.02):4.0%}, "
        f"worst {off.max():.1%}, within 2 s.e. {inside:.0%}; fails {sum(not x.fit.holds for x in those)}; "
        f"{np.median(took):.3f} s, at most {took.max():.3f} s"
    )


def main() -> None:
    """Print the table and the summary."""
    follow(DRIVERS[0], next(iter(KINDS)))
    for kind in KINDS:
        those = [follow(driver, kind) for driver in DRIVERS]
        if "--brief" not in sys.argv and kind == next(iter(KINDS)):
            print(f"{'driver':24s} {'rms %':>6s} {'Re %':>6s} {'fs Hz':>7s} {'true':>6s} {'tuned':>6s} {'s':>6s}")
            for x in those:
                tuned = x.fit.box.tuned_hz if x.fit.box is not None else 0.0
                print(
                    f"{x.driver.name:24s} {100 * x.fit.relative_rms:6.2f} {100 * x.re_off:6.2f} {x.fit.fs_hz:7.1f} "
                    f"{x.driver.fs_hz:6.0f} {f'{tuned:6.1f}' if tuned else '     -'} {x.seconds:6.3f}"
                )
        print(f"{kind}: {summary(those)}")


if __name__ == "__main__":
    main()
