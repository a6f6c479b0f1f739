"""An impedance jig in a general circuit simulator: its two voltages must give the driver back.

An impedance jig: a generator with an output resistance of its own, the reference resistor, and the classical circuit of
a driver. The judge is ngspice, which also gives the driver's impedance itself, as voltage over current.
"""

import math
import subprocess

import numpy as np
import pytest
from ngspice_judge import LumpedDriver, require_ngspice

from xover.driver.jig import Across
from xover.studies.desk.jig.study import study_jig

pytestmark = pytest.mark.outside

DRIVER = LumpedDriver(re_ohm=5.8, le_h=0.6e-3, res_ohm=24.0, lces_h=18e-3, cmes_f=420e-6)
REFERENCE = 10.0
OUTPUT = 56.0  # a headphone output: it must not matter


def simulated(folder, across):
    """Rows of frequency, ratio (complex), impedance (complex), as ngspice has them."""
    first, second = ("a", "b") if across is Across.DRIVER else ("a", "c")
    wiring = (
        [f"Rref a b {REFERENCE}", *DRIVER.cards("d", "b", "0")]
        if across is Across.DRIVER
        else [*DRIVER.cards("d", "a", "c"), f"Rref c 0 {REFERENCE}"]
    )
    bottom = "0" if across is Across.DRIVER else "c"
    top = "b" if across is Across.DRIVER else "a"
    through = f"(v(a)-v(b))/{REFERENCE}" if across is Across.DRIVER else f"v(c)/{REFERENCE}"
    over = f"v({top})" if bottom == "0" else f"(v({top})-v({bottom}))"
    out = folder / "out.txt"
    text = [
        "* an impedance jig",
        "Vgen g 0 dc 0 ac 1",
        f"Rgen g a {OUTPUT}",
        *wiring,
        ".control",
        "set wr_singlescale",
        "set numdgt=15",
        "ac dec 40 20 20000",
        f"let ratio = v({second})/v({first})",
        f"let z = {over}/({through})",
        f"wrdata {out} ratio z",
        "quit",
        ".endc",
        ".end",
    ]
    (folder / "jig.cir").write_text("\n".join(text) + "\n")
    subprocess.run(["ngspice", "-b", folder / "jig.cir"], check=True, capture_output=True, timeout=60)
    rows = np.loadtxt(out)
    return rows[:, 0], rows[:, 1] + 1j * rows[:, 2], rows[:, 3] + 1j * rows[:, 4]


@pytest.mark.parametrize("across", list(Across))
def test_the_driver_comes_back(tmp_path, across):
    require_ngspice()
    f, ratio, z = simulated(tmp_path, across)
    table = tmp_path / "ratio.csv"
    rows = zip(f, 20 * np.log10(np.abs(ratio)), np.degrees(np.angle(ratio)), strict=True)
    table.write_text("Hz,dB,deg\n" + "".join(f"{a:.9g},{b:.10f},{c:.9f}\n" for a, b, c in rows))
    study = study_jig(table, REFERENCE, across=across)
    assert len(study.frequency_hz) == len(f)
    np.testing.assert_allclose(study.impedance_ohm, z, rtol=1e-6)
    np.testing.assert_allclose(study.impedance_ohm, DRIVER.impedance_ohm(f), rtol=1e-6)
    peak = float(np.abs(study.impedance_ohm[f < 500]).max())
    assert math.isclose(peak, DRIVER.re_ohm + DRIVER.res_ohm, rel_tol=0.02)
