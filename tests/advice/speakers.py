"""The speakers of the cases, all invented: the folders that a builder writes, and those that are more."""

from __future__ import annotations

import io
import re
from contextlib import redirect_stdout
from dataclasses import replace
from pathlib import Path

from builder import Driver, Folder

from xover.cli.main import main

# The parts' values were found by a search on these formulas, then rounded to values that are sold.

WOOFER = Driver(5.8, 52, 3.5, 0.7, 0.55, 1500, 88.5, 165, (0, -90, -5), ((52, 0.75),), (3600, 0.7), ((1100, 1.0, 0.8),))
TWEETER = Driver(
    5.4, 900, 2.0, 1.1, 0.05, 6000, 91.0, 25, (0, 60, 0), ((850, 0.75),), (26_000, 0.8), response_hz=(200, 40_000)
)
AGED_1 = "w 0 7uF loss=3.4@1kHz,1.9@10kHz kind=electrolytic volts=100"
AGED_2 = "in t 3.3uF loss=3.2@1kHz,1.8@10kHz kind=electrolytic volts=100"

SHELF = Folder(
    {"woofer": WOOFER, "tweeter": TWEETER},
    {
        "L1": "in w 0.68mH dcr=0.3 core=air tol=5%",
        "C1": "w 0 10uF df=0.03@1kHz kind=electrolytic volts=100 tol=10%",
        "Xlow": "w 0 woofer",
        "C2": "in t 4.7uF df=0.03@1kHz kind=electrolytic volts=100 tol=10%",
        "L2": "t 0 0.27mH dcr=0.3 core=air tol=5%",
        "R1": "t p 2.7 watts=10 tol=5%",
        "R2": "p 0 33 watts=10 tol=5%",
        "Xhigh": "p 0 tweeter",
    },
)
"""A fine two-way: fourth-order slopes at 3 kHz, drivers in phase."""

POOR = SHELF.marked(
    L1="in w 1.5mH dcr=0.4 core=air tol=5%",
    C1="w 0 15uF df=0.03@1kHz kind=electrolytic volts=100 tol=10%",
    C2="in t 3.3uF df=0.03@1kHz kind=electrolytic volts=100 tol=10%",
    L2="t 0 0.15mH dcr=0.2 core=air tol=5%",
    R1="t p 0.47 watts=10 tol=5%",
    R2="p 0 39 watts=10 tol=5%",
)
"""The same drivers with corners two octaves apart: a hole between them that neither wires nor a pad fill."""
POOR_AGED = POOR.found(
    C1="w 0 11uF loss=3.0@1kHz,1.7@10kHz kind=electrolytic volts=100",
    C2="in t 2.5uF loss=3.6@1kHz,2.0@10kHz kind=electrolytic volts=100",
)

LOW_CORNER = replace(
    SHELF.marked(
        L1="in w 2.2mH dcr=0.3 core=iron tol=5%",
        C1="w 0 47uF df=0.01@1kHz kind=film volts=250 tol=5%",
        C2="in t 30uF df=0.001@1kHz kind=film volts=250 tol=5%",
        L2=None,
        R1="t p 1.0 watts=50 tol=5%",
        R2="p 0 47 watts=20 tol=5%",
    ),
    amplifier={"minimum_load_ohm": 4, "output_ohm": 0.05, "rated_power_w": 100, "rated_load_ohm": 8},
)
"""A flat sum, and a capacitor alone before the tweeter: its corner lies at the tweeter's resonance of 900 Hz."""

HORN = Folder(
    {
        "woofer": Driver(
            6.2, 42, 5.0, 0.45, 0.9, 900, 94.0, 300, (0, -260, -40), ((42, 0.7),), (2600, 0.8), ((400, 0.6, 1.0),)
        ),
        "horn": Driver(
            6.6,
            520,
            2.2,
            0.9,
            0.08,
            5000,
            104.5,
            100,
            (0, 150, -60),
            ((480, 0.8), (430, 0.9)),
            (17_000, 0.8),
            response_hz=(200, 40_000),
        ),
    },
    {
        "L1": "in w 1.0mH dcr=0.3 core=air tol=5%",
        "C1": "w 0 12uF df=0.005@1kHz kind=film volts=250 tol=5%",
        "Xlow": "w 0 woofer",
        "C2": "in t 4.7uF df=0.005@1kHz kind=film volts=250 tol=5%",
        "L2": "t 0 0.43mH dcr=0.3 core=air tol=5%",
        "R1": "t p 5.6 watts=20 tol=5%",
        "R2": "p 0 3.9 watts=20 tol=5%",
        "Xhigh": "p 0 horn",
    },
    title="Barn horn two-way",
)
"""A horn 10 dB more sensitive than its woofer, padded."""

TURNED_HORN = HORN.marked(
    L1="in w 1.2mH dcr=0.3 core=air tol=5%",
    C1="w 0 18uF df=0.005@1kHz kind=film volts=250 tol=5%",
    C2="in t 8.2uF df=0.005@1kHz kind=film volts=250 tol=5%",
    L2="t 0 0.68mH dcr=0.3 core=air tol=5%",
    R1="t p 3.9 watts=20 tol=5%",
    R2="p 0 2.5 watts=20 tol=5%",
    Xhigh="0 p horn",
)
"""Wired in reverse by design, where the other way round is flatter by over 3 dB."""

HALF = replace(WOOFER, re_ohm=11.6, le_mh=1.1, sensitivity_db=82.5)
TWINS = Folder(
    {
        "woofer": replace(HALF, position_mm=(0, -150, 3)),
        "woofer2": replace(HALF, position_mm=(0, 150, 3)),
        "tweeter": replace(TWEETER, position_mm=(0, 0, 0)),
    },
    {**SHELF.original, "Xlow": "w 0 woofer", "Xlow2": "w 0 woofer2"},
    title="Column two-way",
)
"""The shelf speaker's woofer as two of half its sensitivity in parallel, round the tweeter."""
OLD_STOCK = replace(
    HALF, re_ohm=5.6, fs_hz=35, qes=0.35, le_mh=1.6, sensitivity_db=84.0, low_pass=(800, 1.3), high_pass=((35, 0.6),)
)
"""What somebody put in the place of a woofer: heavier, softer, dull above 800 Hz."""

THREE = Folder(
    {
        "woofer": Driver(6.0, 38, 3.5, 0.6, 1.1, 900, 88.0, 250, (0, -330, -10), ((38, 0.7),), (1800, 0.7)),
        "mid": Driver(
            6.2, 170, 2.5, 0.9, 0.25, 2500, 90.0, 110, (0, -60, -6), ((160, 0.75),), (7000, 0.8), ((900, 0.6, 1.0),)
        ),
        "tweeter": TWEETER,
    },
    {
        "L1": "in w 2.5mH dcr=0.3 core=iron tol=5%",
        "C1": "w 0 22uF df=0.03@1kHz kind=electrolytic volts=100 tol=10%",
        "Xlow": "w 0 woofer",
        "C2": "in m1 18uF df=0.03@1kHz kind=electrolytic volts=100 tol=10%",
        "L2": "m1 0 10mH dcr=0.5 core=iron tol=5%",
        "L3": "m1 m2 1.2mH dcr=0.3 core=air tol=5%",
        "C3": "m2 0 2.2uF df=0.005@1kHz kind=film volts=250 tol=5%",
        "R1": "m2 m3 4.7 watts=20 tol=5%",
        "Xmid": "0 m3 mid",
        "C4": "in t1 6.8uF df=0.005@1kHz kind=film volts=250 tol=5%",
        "L4": "t1 0 0.56mH dcr=0.3 core=air tol=5%",
        "R2": "t1 t2 0.56 watts=10 tol=5%",
        "R3": "t2 0 18 watts=10 tol=5%",
        "Xhigh": "t2 0 tweeter",
    },
    title="Den three-way",
)
"""Mid in reverse, as marked: in phase at both crossovers."""

LOW_LOAD = replace(
    SHELF.driver("woofer", re_ohm=3.0, le_mh=0.28).marked(
        L1="in w 0.36mH dcr=0.15 core=air tol=5%", C1="w 0 18uF df=0.01@1kHz kind=film volts=250 tol=5%"
    ),
    amplifier={"minimum_load_ohm": 6, "output_ohm": 0.05, "rated_power_w": 40, "rated_load_ohm": 8},
    title="Loft two-way",
)
"""A woofer of 3 ohm on an amplifier that wants 6: no other network makes 6 ohm of it but by wasting power."""

CHANNELS = {
    "woofer": {"minimum_load_ohm": 2.5, "rated_power_w": 50, "rated_load_ohm": 4},
    "tweeter": {"minimum_load_ohm": 4, "rated_power_w": 30, "rated_load_ohm": 8},
}
TWO_AMPLIFIERS = {
    "bypass": {"frequency_hz": 3000, "slope": "LR4"},
    "channels": CHANNELS,
    "means": {"money": 0, "channels": 4},
}
LOUD = {"level_db": 94, "distance_m": 3, "headroom_db": 9}
QUIET = {"level_db": 68, "distance_m": 2, "headroom_db": 12}
SHEET_WOOFER = {"re_ohm": 5.8, "fs_hz": 52, "qms": 3.5, "qes": 0.7, "le_mh": 0.5, "sensitivity_db": 88}
SHEET_TWEETER = {"re_ohm": 5.4, "fs_hz": 900, "qms": 2.0, "qes": 1.1, "le_mh": 0.05, "sensitivity_db": 91}


def from_datasheets(folder: Folder) -> Folder:
    """The same speaker, known from datasheets only."""
    bare = replace(folder, impedances=False, responses=False, timing="unknown")
    return bare.driver("woofer", keys={"datasheet": SHEET_WOOFER}).driver("tweeter", keys={"datasheet": SHEET_TWEETER})


DOUBLE_DRY = SHELF.found(C1=AGED_1, C2=AGED_2)
HALVED = SHELF.found(C2="in t 2.35uF df=0.03@1kHz kind=electrolytic volts=100")
TURNED = SHELF.found(Xhigh="0 p tweeter")


def started(parent: Path) -> Path:
    """What `xover new` gives, untouched."""
    with redirect_stdout(io.StringIO()):
        status = main(["new", str(parent / "speaker")])
    if status != 0:
        raise RuntimeError(f"xover new ended with {status}")
    return parent / "speaker"


def one_driver_edited(parent: Path) -> Path:
    """A started folder of which only the tweeter's values were filled in."""
    folder = started(parent)
    path = folder / "speaker.toml"
    head, tail = path.read_text().split("[drivers.tweeter.datasheet]")
    for key, value in (("re_ohm", 5.9), ("fs_hz", 1230), ("qms", 2.6), ("qes", 1.3), ("sensitivity_db", 92.5)):
        tail, n = re.subn(rf"(?m)^{key} = .*$", f"{key} = {value}", tail)
        if n != 1:
            raise RuntimeError(f"the template has {key} {n} times")
    path.write_text(head + "[drivers.tweeter.datasheet]" + tail)
    return folder


def template_as_original(parent: Path) -> Path:
    """The fine speaker, measured; but original.cir is what `xover new` put there."""
    template = started(parent / "template")
    folder = SHELF.write(parent)
    (folder / "original.cir").write_bytes((template / "original.cir").read_bytes())
    return folder


def with_mate(parent: Path) -> Path:
    """Left with somebody's woofer, and beside it the right speaker as it was made."""
    replace(SHELF, name="right", title="Shelf two-way, right").write(parent)
    odd = replace(
        OLD_STOCK, re_ohm=4.4, le_mh=0.9, sensitivity_db=88.0, position_mm=WOOFER.position_mm, low_pass=(800, 1.1)
    )
    left = replace(SHELF, name="left", title="Shelf two-way, left")
    return replace(left, drivers={**SHELF.drivers, "woofer": odd}).write(parent)
